"""Backups: a copy of the whole file at one moment, looked at after it is written; and the way back.

A copy is made while the studio goes on. It is written under a name of its own and gets the name asked for
only when it was opened, counted and found equal: there is no half a backup.
"""

from __future__ import annotations

import contextlib
import os
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from ingest.devices import ACCESS_TABLES
from ingest.errors import BenchHoursError, StoreError, unwritten, why
from ingest.safekeeping.atomic_folder import own_folder
from ingest.safekeeping.integrity import Fault, faults, sums
from ingest.sql import Connection, quoted
from ingest.store import Store, schema_version
from ingest.tables.audit_log import utc_now

FOLDER = "backups"  # beside the database


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """A whole database as a file.

    Attributes
    ----------
    file : where it is.
    works, entries : how many it holds.
    form : its schema version.
    last_day : of its last entry, year-month-day; None where it has none.
    faults : what in it does not hold together.
    """

    file: Path
    works: int
    entries: int
    form: int
    last_day: str | None
    faults: Sequence[Fault] = ()


def back_up(store: Store, file: Path | None = None, *, purpose: str = "", noted: bool = True) -> Copy:
    """Write a copy of all that is held; raises where it cannot, and leaves nothing half written.

    Parameters
    ----------
    file : where to; a folder for a name with day, time and form in it; None for such a name in the folder
        `backups` beside the database. A file that is there is never written over.
    purpose : a word for the end of a name made here.
    noted : it counts as the last backup of the studio.
    """
    place = _target(store, file, purpose)
    if place.exists():
        raise BenchHoursError(
            f"{place} is there already", "Name another file: no backup is ever written over."
        )
    made_at = utc_now()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with own_folder("backup", place.parent) as folder:
            partial = folder / place.name
            with store.reading() as con:
                holds = sums(con)
                _copy(con, partial)
            delete_devices(partial)
            copy = inspect_copy(partial, path=place, holds=holds)
            partial.chmod(0o600)
            fsync_path(partial)
            # in one: a backup that is there is the last one, and of one that is not nothing is noted
            if noted:
                with store.writing(counts=False) as con:
                    con.execute(
                        "INSERT INTO backups VALUES (?, ?, ?, ?)",
                        [made_at, str(place.absolute()), copy.works, copy.entries],
                    )
                    _publish(partial, place)
            else:
                _publish(partial, place)
    except FileExistsError:  # taken in the same second
        return back_up(store, file, purpose=purpose, noted=noted)
    except (OSError, duckdb.Error) as error:
        raise unwritten(f"no backup was written to {place}", error) from error
    return copy


def _publish(partial: Path, place: Path) -> None:
    """Give a file its name, and never one that somebody else took meanwhile, where the disk can tell."""
    try:
        os.link(partial, place)
    except FileExistsError:
        raise
    except OSError:  # a disk on which a file has one name only
        os.replace(partial, place)
    fsync_path(place.parent)


def _target(store: Store, file: Path | None, purpose: str) -> Path:
    if file is not None and not file.is_dir():
        return file
    if file is None:
        if str(store.path) == ":memory:":
            raise BenchHoursError("this studio is held in memory only", "Name a file.")
        file = Path(store.path).parent / FOLDER
    stem = "studio" if str(store.path) == ":memory:" else Path(store.path).stem
    now = datetime.now(UTC).astimezone()
    with store.reading() as con:
        name = f"{stem}-{now:%Y-%m-%d-%H%M%S}-form-{schema_version(con)}{f'-{purpose}' if purpose else ''}"
    places = (file / f"{name}{f'-{n}' if n > 1 else ''}.duckdb" for n in range(1, 1000))
    return next(place for place in places if not place.exists())


def _copy(con: Connection, file: Path) -> None:
    """Copy the database as this transaction sees it into a new file."""
    name = f"copy_{uuid.uuid4().hex}"
    ours = '"' + con.execute("SELECT current_database()").fetchall()[0][0].replace('"', '""') + '"'
    con.execute(f"ATTACH {quoted(file)} AS {name}")
    try:
        con.execute(f"COPY FROM DATABASE {ours} TO {name}")
        con.execute("COMMIT")
        # On a full disk it fails here, aloud; closing would leave the rows in the WAL and raise nothing.
        con.execute(f"CHECKPOINT {name}")
    except duckdb.Error:
        with contextlib.suppress(duckdb.Error):  # the copy's own failure is the one to show
            con.execute("ROLLBACK")
        raise
    finally:
        with contextlib.suppress(duckdb.Error):
            con.execute(f"DETACH {name}")


def inspect_copy(
    file: Path, *, path: Path | None = None, holds: dict[str, tuple[int, int]] | None = None
) -> Copy:
    """Open a copy, count it, and look whether it holds together.

    A copy of an older form is brought up to date, so look only at what nobody else needs. `path` is its name
    for people; `holds` the sums of what it should hold.
    """
    try:
        with Store(file) as store:
            store.cursor().execute("CHECKPOINT")
            with store.reading() as con:
                if holds is not None and _without_devices(sums(con)) != _without_devices(holds):
                    raise BenchHoursError(
                        f"{path or file} does not hold what it should",
                        "The disk may be failing: write the backup to another one.",
                    )
                works, entries, last = con.execute(
                    "SELECT (SELECT count(*) FROM objects), count(*), max(day)::VARCHAR FROM spells"
                ).fetchall()[0]
                copy = Copy(
                    file=path or file,
                    works=works,
                    entries=entries,
                    form=schema_version(con),
                    last_day=last,
                    faults=faults(con),
                )
        if file.with_name(file.name + ".wal").exists():
            raise BenchHoursError(f"{path or file} could not be written whole", "See that the disk has room.")
        return copy
    except StoreError as error:
        # what the store advises is about the database one works with, and not about a backup
        raise StoreError(
            error.what.replace(str(file), str(path or file)),
            "Choose another backup." if error.other_file else error.mend,
        ) from error
    except duckdb.Error as error:
        raise StoreError(f"{path or file} is damaged ({why(error)})", "Choose another backup.") from error


def _without_devices(holds: dict[str, tuple[int, int]]) -> dict[str, tuple[int, int]]:
    return {table: digest for table, digest in holds.items() if table not in ACCESS_TABLES}


def fsync_path(path: Path) -> None:
    """See that what was written is on the disk before it is said to be there."""
    with contextlib.suppress(OSError):  # not every system lets a folder be opened for this
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# --- the way back


def delete_devices(partial: Path) -> None:
    """Delete the devices in a copy, as nobody can tell who was revoked since: devices are paired anew."""
    with Store(partial) as store:
        with store.writing(counts=False) as con:
            for table in ACCESS_TABLES:
                con.execute(f"DELETE FROM {table}")
        store.cursor().execute("CHECKPOINT")


@dataclass(frozen=True, slots=True)
class LastBackup:
    """The last backup that was made of a database: when, in UTC, where, how many works and entries."""

    made_at: datetime
    file: str
    works: int
    entries: int


def last(con: Connection) -> LastBackup | None:
    """The last backup; None where none was made yet."""
    rows = con.execute(
        "SELECT made_at, file, works, entries FROM backups ORDER BY made_at DESC LIMIT 1"
    ).fetchall()
    return LastBackup(*rows[0]) if rows else None


def list_backups(path: Path) -> list[Path]:
    """The backups in the folder beside a database, the latest first."""
    folder = path.parent / FOLDER
    return (
        sorted(folder.glob("*.duckdb"), key=lambda file: file.stat().st_mtime, reverse=True)
        if folder.is_dir()
        else []
    )
