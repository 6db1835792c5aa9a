"""Disks and folders in which writing fails: a small one that is full, and ones that may only be read."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def _mounted(folder: Path, *options: str) -> bool:
    if os.geteuid() or not shutil.which("mount"):
        return False
    return (
        subprocess.run(
            ["mount", "-t", "tmpfs", *options, "tmpfs", str(folder)], check=False, capture_output=True
        ).returncode
        == 0
    )


@contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[Path]:
    """A disk of its own of some size where this machine lets us make one; else a limit on the size of each
    file this process writes, which fails as a full disk does.
    """
    folder.mkdir()
    if _mounted(folder, "-o", f"size={kilobytes}k"):
        try:
            yield folder
        finally:
            subprocess.run(["umount", "-l", str(folder)], check=True)
        return
    import resource  # noqa: PLC0415  not on every system
    import signal  # noqa: PLC0415

    before, heard = resource.getrlimit(resource.RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 1024, before[1]))
    try:
        yield folder
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, heard)


@contextmanager
def only_to_read(folder: Path, holds: list[Path]) -> Iterator[Path]:
    """A folder with copies of some files, in which nothing may be written; root may write everywhere, so
    there it is a disk of its own.
    """
    folder.mkdir()
    mounted = _mounted(folder)
    for file in holds:
        shutil.copy(file, folder)
    if mounted:
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
    else:
        for file in folder.iterdir():
            file.chmod(0o444)
        folder.chmod(0o555)
    try:
        yield folder
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)
        else:
            folder.chmod(0o755)
