"""Atomic output: files are written out of sight and get their names when they are whole."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_LEFT_BEHIND_S = 3600


@contextmanager
def own_folder(what: str, beside: Path) -> Iterator[Path]:
    """A hidden folder in a folder, on the same disk as what will be moved there; those left behind by a
    process that was killed are cleared away.
    """
    ours = f".bench-hours-{what}-"  # a folder of somebody else's may be called anything
    for old in beside.glob(f"{ours}*"):
        if old.is_dir() and time.time() - old.stat().st_mtime > _LEFT_BEHIND_S:
            shutil.rmtree(old, ignore_errors=True)
    folder = Path(tempfile.mkdtemp(prefix=ours, dir=beside))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def write_private(place: Path, content: bytes) -> None:
    """Write a file that nobody but this user may read, not even for a moment, in place of the one that is
    there; it survives a power cut whole.
    """
    with own_folder("private", place.parent) as folder:
        partial = folder / place.name
        with open(os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.replace(partial, place)
