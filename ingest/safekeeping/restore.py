"""The way back: a backup in the place of a database, or of all rows in one that stays open."""

from __future__ import annotations

import os
import shutil
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ingest.devices import ACCESS_TABLES
from ingest.errors import BenchHoursError, StoreError, why
from ingest.safekeeping.atomic_folder import own_folder
from ingest.safekeeping.backup import Copy, back_up, delete_devices, fsync_path, inspect_copy
from ingest.safekeeping.integrity import unreadable
from ingest.sql import Connection, quoted
from ingest.store import Store, tables


def restore(file: Path, to: Path, *, force: bool = False) -> tuple[Copy, Path | None]:
    """Put a backup in the place of a database that no process holds; what was restored, and where the file
    that was there is kept.

    Raises, and changes nothing, where there is a database and not `force`.
    """
    if not to.exists():
        with _working_copy(file, to.parent) as (partial, copy):
            delete_devices(partial)  # of a copy that was not made by this program
            fsync_path(partial)
            # of a database that is gone: with another one it would be read as damage
            _set_aside(to.with_name(to.name + ".wal"))
            os.replace(partial, to)
            fsync_path(to.parent)
        return copy, None
    if not force:
        raise exists_error(to)
    try:
        store = Store(to)
    except StoreError as error:
        if error.locked:
            raise
        return _replace_damaged(file, to)
    with store:
        with store.reading() as con:
            damaged = unreadable(con)
        if not damaged:
            copy, before = restore_into(store, file)
            return copy, before.file
    return _replace_damaged(file, to)


def exists_error(to: Path) -> BenchHoursError:
    """The error where a database is there already."""
    return BenchHoursError(
        f"{to} is there already", "Add --force to put the backup in its place; the present file is kept."
    )


def _free_name(file: Path) -> Path:
    """A name under which a file can be kept."""
    return next(
        place
        for n in range(1, 1000)
        if not (place := file.with_name(f"{file.name}.kept{f'-{n}' if n > 1 else ''}")).exists()
    )


def _set_aside(file: Path) -> None:
    if file.exists():
        os.replace(file, _free_name(file))


def _replace_damaged(file: Path, to: Path) -> tuple[Copy, Path]:
    """Replace a file that cannot be opened or read to its end; it is kept under another name."""
    with _working_copy(file, to.parent) as (partial, copy):
        aside, log = _free_name(to), to.with_name(to.name + ".wal")
        pairs = [(to, aside), *([(log, aside.with_name(aside.name + ".wal"))] if log.exists() else [])]
        try:
            for there, place in pairs:  # copied and not moved: should the disk be full, all is where it was
                shutil.copyfile(there, place)
                fsync_path(place)
        except OSError:
            for _, place in pairs:
                place.unlink(missing_ok=True)
            raise
        delete_devices(partial)
        fsync_path(partial)
        log.unlink(missing_ok=True)
        os.replace(partial, to)
        fsync_path(to.parent)
    return copy, aside


def inspect_backup(file: Path, *, path: Path | None = None) -> Copy:
    """Content of a backup, which is not touched. `path` is its name for people, where that differs."""
    with _working_copy(file, Path(tempfile.gettempdir()), path) as (_, copy):
        return copy


def restore_into(store: Store, file: Path) -> tuple[Copy, Copy]:
    """Put what a backup holds in the place of all that is held, in one write; the pages may stay open. What
    was restored, and a backup of what was there.
    """
    folder = Path(tempfile.gettempdir()) if str(store.path) == ":memory:" else Path(store.path).parent
    # what somebody saved between the two would be in neither
    with _working_copy(file, folder) as (partial, copy), store.write_lock():
        before = _back_up_first(store)
        name = f"copy_{uuid.uuid4().hex}"
        beside = store.cursor()
        beside.execute(f"ATTACH {quoted(partial)} AS {name} (READ_ONLY)")
        try:
            with store.writing() as con:
                _replace_tables(con, name)
        finally:
            beside.execute(f"DETACH {name}")
            beside.close()
    return copy, before


def _back_up_first(store: Store) -> Copy:
    with store.reading() as con:
        damaged = unreadable(con)
    if damaged:
        raise StoreError(
            f"{store.path} is damaged: {damaged[0].what}",
            "Stop the pages, then restore the backup by command: the damaged file is kept as it is.",
        )
    return back_up(store, purpose="before-restore", noted=False)


def _replace_tables(con: Connection, other: str) -> None:
    """Replace every table by that of another database, except backups made, devices and the counter of
    changes, which only grows.
    """
    for table in tables(con, other):
        if table in ("schema_versions", "change_counter", *ACCESS_TABLES):
            continue
        if table != "backups":
            con.execute(f"DELETE FROM {table}")
        con.execute(
            f"""INSERT INTO {table} BY NAME
            SELECT * FROM {other}.{table}{" EXCEPT SELECT * FROM backups" if table == "backups" else ""}"""
        )
    con.execute(
        f"""UPDATE change_counter
        SET changes = greatest(changes, (SELECT max(changes) FROM {other}.change_counter))"""
    )


@contextmanager
def _working_copy(file: Path, folder: Path, path: Path | None = None) -> Iterator[tuple[Path, Copy]]:
    """A copy of a backup to look at and to work with: the backup itself is not touched."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with own_folder("restore", folder) as own:
            partial = own / "copy.duckdb"
            shutil.copyfile(file, partial)
            log = file.with_name(file.name + ".wal")
            if log.exists():
                shutil.copyfile(log, partial.with_name(partial.name + ".wal"))
            if not partial.stat().st_size:
                raise StoreError(f"{path or file} is empty", "Choose another backup.")
            yield partial, inspect_copy(partial, path=path or file)
    except OSError as error:
        raise BenchHoursError(
            f"{path or file} cannot be restored ({why(error)})",
            "See that it is there and may be read, and that the disk has room.",
        ) from error
