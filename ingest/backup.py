"""Backups: a copy of the whole file at one moment, looked at after it is written; and the way back.

A copy is made while the studio goes on. It is written under a name of its own and gets the name asked for only when it was opened,
counted and found equal: there is no half a backup.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from ingest.devices import OF_THE_DOOR
from ingest.errors import BenchHoursError, StoreError, why
from ingest.history import utc_now
from ingest.integrity import Fault, faults, sums, unreadable
from ingest.partial import own_folder
from ingest.sql import quoted
from ingest.store import Store, schema_version, tables

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
    file : where to; a folder for a name with day, time and form in it; None for such a name in the folder `backups` beside the database. A
        file that is there is never written over.
    purpose : a word for the end of a name made here.
    noted : it counts as the last backup of the studio.
    """
    place = _place(store, file, purpose)
    if place.exists():
        raise BenchHoursError(f"{place} is there already", "Name another file: no backup is ever written over.")
    made_at = utc_now()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with own_folder("backup", place.parent) as folder:
            partial = folder / place.name
            with store.reading() as con:
                holds = sums(con)
                _copy(con, partial)
            _shut_door(partial)
            copy = looked_at(partial, called=place, holds=holds)
            partial.chmod(0o600)
            _settle(partial)
            if noted:  # in one: a backup that is there is the last one, and of one that is not nothing is noted
                with store.writing(counts=False) as con:
                    con.execute("INSERT INTO backups VALUES (?, ?, ?, ?)", [made_at, str(place.absolute()), copy.works, copy.entries])
                    _name(partial, place)
            else:
                _name(partial, place)
    except FileExistsError:  # taken in the same second
        return back_up(store, file, purpose=purpose, noted=noted)
    except (OSError, duckdb.Error) as error:
        raise BenchHoursError(f"no backup was written to {place} ({why(error)})", "See that the disk has room and the folder may be written.") from error
    return copy


def _name(partial: Path, place: Path) -> None:
    """Give a file its name, and never one that somebody else took meanwhile, where the disk can tell."""
    try:
        os.link(partial, place)
    except FileExistsError:
        raise
    except OSError:  # a disk on which a file has one name only
        os.replace(partial, place)
    _settle(place.parent)


def _place(store: Store, file: Path | None, purpose: str) -> Path:
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


def _copy(con: duckdb.DuckDBPyConnection, file: Path) -> None:
    """Copy the database as this transaction sees it into a new file."""
    name = f"copy_{uuid.uuid4().hex}"
    ours = '"' + con.execute("SELECT current_database()").fetchall()[0][0].replace('"', '""') + '"'
    con.execute(f"ATTACH {quoted(file)} AS {name}")
    try:
        con.execute(f"COPY FROM DATABASE {ours} TO {name}")
        con.execute("COMMIT")
        con.execute(f"CHECKPOINT {name}")  # on a full disk it fails here, aloud; closing would leave the rows in the log beside the file and say nothing
    except duckdb.Error:
        with contextlib.suppress(duckdb.Error):  # the copy's own failure is the one to show
            con.execute("ROLLBACK")
        raise
    finally:
        with contextlib.suppress(duckdb.Error):
            con.execute(f"DETACH {name}")


def looked_at(file: Path, *, called: Path | None = None, holds: dict[str, tuple[int, int]] | None = None) -> Copy:
    """Open a copy, count it, and look whether it holds together.

    A copy of an older form is brought up to date, so look only at what nobody else needs. `called` is its name for people; `holds` the sums of what it should hold.
    """
    try:
        with Store(file) as store:
            store.cursor().execute("CHECKPOINT")
            with store.reading() as con:
                if holds is not None and _but_the_door(sums(con)) != _but_the_door(holds):
                    raise BenchHoursError(f"{called or file} does not hold what it should", "The disk may be failing: write the backup to another one.")
                works, entries, last = con.execute("SELECT (SELECT count(*) FROM objects), count(*), max(day)::VARCHAR FROM spells").fetchall()[0]
                copy = Copy(file=called or file, works=works, entries=entries, form=schema_version(con), last_day=last, faults=faults(con))
        if file.with_name(file.name + ".wal").exists():
            raise BenchHoursError(f"{called or file} could not be written whole", "See that the disk has room.")
        return copy
    except StoreError as error:
        # what the store advises is about the database one works with, and not about a backup
        raise StoreError(error.what.replace(str(file), str(called or file)), "Choose another backup." if error.other_file else error.mend) from error
    except duckdb.Error as error:
        raise StoreError(f"{called or file} is damaged ({why(error)})", "Choose another backup.") from error


def _but_the_door(holds: dict[str, tuple[int, int]]) -> dict[str, tuple[int, int]]:
    return {table: held for table, held in holds.items() if table not in OF_THE_DOOR}


def _settle(path: Path) -> None:
    """See that what was written is on the disk before it is said to be there."""
    with contextlib.suppress(OSError):  # not every system lets a folder be opened for this
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# --- the way back


def restore(file: Path, to: Path, *, force: bool = False) -> tuple[Copy, Path | None]:
    """Put a backup in the place of a database that no process holds; what was restored, and where the file that was there is kept.

    Raises, and changes nothing, where there is a database and not `force`.
    """
    if not to.exists():
        with _own_copy(file, to.parent) as (partial, copy):
            _shut_door(partial)  # of a copy that was not made by this program
            _settle(partial)
            _set_aside(to.with_name(to.name + ".wal"))  # of a database that is gone: with another one it would be read as damage
            os.replace(partial, to)
            _settle(to.parent)
        return copy, None
    if not force:
        raise not_unforced(to)
    try:
        store = Store(to)
    except StoreError as error:
        if error.held:
            raise
        return _in_place_of_what_is_damaged(file, to)
    with store:
        with store.reading() as con:
            damaged = unreadable(con)
        if not damaged:
            copy, kept = bring_back(store, file)
            return copy, kept.file
    return _in_place_of_what_is_damaged(file, to)


def not_unforced(to: Path) -> BenchHoursError:
    """What is said where there is a database already."""
    return BenchHoursError(f"{to} is there already", "Add --force to put the backup in its place; the present file is kept.")


def _kept_name(file: Path) -> Path:
    """A name under which a file can be kept."""
    return next(place for n in range(1, 1000) if not (place := file.with_name(f"{file.name}.kept{f'-{n}' if n > 1 else ''}")).exists())


def _set_aside(file: Path) -> None:
    if file.exists():
        os.replace(file, _kept_name(file))


def _in_place_of_what_is_damaged(file: Path, to: Path) -> tuple[Copy, Path]:
    """The file that is there cannot be opened, or not be read to its end: it is kept as it is, under another name."""
    with _own_copy(file, to.parent) as (partial, copy):
        kept, log = _kept_name(to), to.with_name(to.name + ".wal")
        pairs = [(to, kept), *([(log, kept.with_name(kept.name + ".wal"))] if log.exists() else [])]
        try:
            for there, place in pairs:  # copied and not moved: should the disk be full, all is where it was
                shutil.copyfile(there, place)
                _settle(place)
        except OSError:
            for _, place in pairs:
                place.unlink(missing_ok=True)
            raise
        _shut_door(partial)
        _settle(partial)
        log.unlink(missing_ok=True)
        os.replace(partial, to)
        _settle(to.parent)
    return copy, kept


def _shut_door(partial: Path) -> None:
    """Of a copy, as nobody could tell later who was sent away since it was made: devices are to be paired anew."""
    with Store(partial) as store:
        with store.writing(counts=False) as con:
            for table in OF_THE_DOOR:
                con.execute(f"DELETE FROM {table}")
        store.cursor().execute("CHECKPOINT")


def look(file: Path, *, called: Path | None = None) -> Copy:
    """What a backup holds; it is not touched. `called` is its name for people, where that is another."""
    with _own_copy(file, Path(tempfile.gettempdir()), called) as (_, copy):
        return copy


def bring_back(store: Store, file: Path) -> tuple[Copy, Copy]:
    """Put what a backup holds in the place of all that is held, in one write; the pages may stay open. What was restored, and a backup of what was there."""
    folder = Path(tempfile.gettempdir()) if str(store.path) == ":memory:" else Path(store.path).parent
    with _own_copy(file, folder) as (partial, copy), store.alone():  # what somebody saved between the two would be in neither
        kept = _kept_first(store)
        name = f"copy_{uuid.uuid4().hex}"
        beside = store.cursor()
        beside.execute(f"ATTACH {quoted(partial)} AS {name} (READ_ONLY)")
        try:
            with store.writing() as con:
                _take_over(con, name)
        finally:
            beside.execute(f"DETACH {name}")
            beside.close()
    return copy, kept


def _kept_first(store: Store) -> Copy:
    with store.reading() as con:
        damaged = unreadable(con)
    if damaged:
        raise StoreError(
            f"{store.path} is damaged: {damaged[0].what}",
            "Stop the pages, then restore the backup by command: the damaged file is kept as it is.",
        )
    return back_up(store, purpose="before-restore", noted=False)


def _take_over(con: duckdb.DuckDBPyConnection, other: str) -> None:
    """Every table as another database has it; but that backups were made of this file stays true, who may come in does not go back, and figures computed before are old."""
    for table in tables(con, other):
        if table in ("schema_versions", "change_counter", *OF_THE_DOOR):
            continue
        if table != "backups":
            con.execute(f"DELETE FROM {table}")
        con.execute(f"INSERT INTO {table} BY NAME SELECT * FROM {other}.{table}{' EXCEPT SELECT * FROM backups' if table == 'backups' else ''}")
    con.execute(f"UPDATE change_counter SET changes = greatest(changes, (SELECT max(changes) FROM {other}.change_counter))")


@contextmanager
def _own_copy(file: Path, folder: Path, called: Path | None = None) -> Iterator[tuple[Path, Copy]]:
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
                raise StoreError(f"{called or file} is empty", "Choose another backup.")
            yield partial, looked_at(partial, called=called or file)
    except OSError as error:
        raise BenchHoursError(
            f"{called or file} cannot be restored ({why(error)})", "See that it is there and may be read, and that the disk has room."
        ) from error


@dataclass(frozen=True, slots=True)
class Last:
    """The last backup that was made of a database: when, in UTC, where, how many works and entries."""

    made_at: datetime
    file: str
    works: int
    entries: int


def last(con: duckdb.DuckDBPyConnection) -> Last | None:
    """The last backup; None where none was made yet."""
    rows = con.execute("SELECT made_at, file, works, entries FROM backups ORDER BY made_at DESC LIMIT 1").fetchall()
    return Last(*rows[0]) if rows else None


def those_beside(path: Path) -> list[Path]:
    """The backups in the folder beside a database, the latest first."""
    folder = path.parent / FOLDER
    return sorted(folder.glob("*.duckdb"), key=lambda file: file.stat().st_mtime, reverse=True) if folder.is_dir() else []
