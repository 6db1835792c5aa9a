"""Studios that are made once by a process of tests, and copied for each test: a copy is opened in a quarter
of the time that a new database takes, and holds the same.
"""

from __future__ import annotations

import atexit
import functools
import itertools
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from datetime import datetime
from pathlib import Path

import duckdb

from ingest.importing.files import import_files
from ingest.store import Store
from ingest.studio.settings import write_settings

ZONE = "Europe/Berlin"
# What is written into the prepared studios is written at this moment, UTC.
NOW = datetime(2026, 6, 1, 12, 0)
TWO_WORKS = """object,title,shape,height_cm,width_cm,received_on
24-001,Ferry in snow,rectangle,60,80,2024-01-02
24-002,Weir at dusk,oval,40,30,2024-01-03
"""
_numbers = itertools.count()


@functools.cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="bench-hours-tests-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@functools.cache
def _new() -> Path:
    """A database as it is made where there is none."""
    path = _folder() / "new.duckdb"
    Store(path).close()
    return path


@functools.cache
def _studio(*, works: bool) -> Path:
    """A studio in `ZONE`, with two works to log on or without."""
    path = _folder() / f"studio-{works}.duckdb"
    shutil.copyfile(_new(), path)
    with Store(path) as store:
        with store.writing() as con:
            write_settings(con, {"zone": ZONE})
        if works:
            file = _folder() / "objects.csv"
            file.write_text(TWO_WORKS)
            assert import_files(store, [file], now=NOW)[0].complete
    return path


@contextmanager
def _copied(path: Path) -> Iterator[Store]:
    copy = _folder() / f"{next(_numbers)}.duckdb"
    shutil.copyfile(path, copy)
    try:
        with Store(copy) as store:
            yield store
            # nobody opens it again; the test may have closed it
            with suppress(duckdb.Error):
                store.cursor().execute("PRAGMA disable_checkpoint_on_shutdown")
    finally:
        for left in (copy, copy.with_name(f"{copy.name}.wal")):
            left.unlink(missing_ok=True)


def copied(name: str, make: Callable[[Store, Path], object]) -> AbstractContextManager[Store]:
    """A copy of the studio with two works in which `make` was done once, until the block ends; what makes is
    given the store and a folder for files.
    """
    path = _folder() / f"{name}.duckdb"
    if not path.exists():
        folder = _folder() / f"{name} is made"
        folder.mkdir()
        shutil.copyfile(_studio(works=True), folder / path.name)
        with Store(folder / path.name) as store:
            make(store, folder)
        shutil.copyfile(folder / path.name, path)
    return _copied(path)


def new_file(place: Path) -> None:
    """A database at a place, as it is made where there is none."""
    shutil.copyfile(_new(), place)


def new_store() -> AbstractContextManager[Store]:
    """A database as it is made where there is none, until the block ends."""
    return _copied(_new())


def new_studio(*, works: bool = False) -> AbstractContextManager[Store]:
    """The same of a studio in `ZONE`, with two works to log on or without."""
    return _copied(_studio(works=works))
