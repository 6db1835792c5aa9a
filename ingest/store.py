"""The one DuckDB file: where it lies, opening it, bringing it up to date, and writing in turn."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from weakref import WeakSet

import duckdb
import platformdirs

from ingest import people, vocabulary
from ingest.errors import StoreError, why
from ingest.history import tell_events, utc_now
from ingest.settings import write_settings, zone_of_this_machine

_MAGIC = b"DUCK"  # at byte 8 of every DuckDB file
_MIGRATION_NAME = re.compile(r"(\d{3})_(.+)\.sql")


def default_path() -> Path:
    """The studio's database: `BENCH_HOURS_DB`, or a file in the user's own data folder."""
    said = os.environ.get("BENCH_HOURS_DB")
    return Path(said).expanduser() if said else Path(platformdirs.user_data_dir("bench-hours", appauthor=False)) / "studio.duckdb"


def demo_path() -> Path:
    """The demo studio's database, beside the studio's own place and never the same file."""
    return Path(platformdirs.user_data_dir("bench-hours", appauthor=False)) / "demo.duckdb"


def migrations() -> list[tuple[int, str, str]]:
    """Number, name and text of each migration, in order."""
    found = []
    for file in resources.files("ingest").joinpath("migrations").iterdir():
        if named := _MIGRATION_NAME.fullmatch(file.name):
            found.append((int(named[1]), named[2], file.read_text(encoding="utf-8")))
    return sorted(found)


class Store:
    """One database instance: a cursor for each reader, writers in turn.

    Parameters
    ----------
    path : the file, made with its folder where it is missing; `:memory:` for none.
    """

    def __init__(self, path: Path | str) -> None:
        self.path = path
        self.writes = 0
        """How many transactions this process has stored so far: who keeps rows in memory reads them again when it has grown."""
        self._turn = threading.RLock()
        self._long_work = 0
        self._counting = threading.Lock()
        self._cursors: WeakSet[duckdb.DuckDBPyConnection] = WeakSet()
        self._handing_out = threading.Lock()
        self._con = _connect(path)
        try:
            self._migrate()
        except BaseException:
            self._con.close()
            raise

    def cursor(self) -> duckdb.DuckDBPyConnection:
        """A connection of its own to the same database, for one request or thread."""
        with self._handing_out:
            con = self._con.cursor()
            self._cursors.add(con)
        return con

    def changes(self) -> int:
        """How many writes the file has seen that a figure may rest on."""
        return int(self.cursor().execute("SELECT changes FROM change_counter").fetchall()[0][0])

    @contextmanager
    def writing(self, *, counts: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
        """One transaction, alone: stored when the block ends well, undone when it raises.

        `counts` false: nothing that a figure rests on is changed, so what is computed from the file stays good.
        """
        with self._turn:
            con = self.cursor()
            con.execute("BEGIN")
            try:
                yield con
                if counts:
                    con.execute("UPDATE change_counter SET changes = changes + 1")
                con.execute("COMMIT")
                self.writes += 1
            except BaseException as error:
                _roll_back(con)
                if isinstance(error, duckdb.FatalException):
                    raise StoreError(f"{self.path} cannot be written ({why(error)})", _START_AGAIN) from error
                if isinstance(error, duckdb.IOException | duckdb.TransactionException):
                    raise StoreError(f"{self.path} cannot be written ({why(error)})", _ROOM) from error
                raise
            finally:
                con.close()
            self.fold_in()

    def fold_in(self) -> None:
        """Bring the log beside the file into the file once it has grown, where the disk has room for both.

        Left to do it by itself, DuckDB tries on a full disk too, and is closed for good when it fails: nobody could read or write until a new start.
        """
        log = Path(f"{self.path}.wal")
        with self._turn, contextlib.suppress(OSError, duckdb.TransactionException):  # somebody is just writing, or there is no log: the next write looks again
            grown = log.stat().st_size
            if grown > _LOG_BYTES and shutil.disk_usage(log.parent).free > 3 * grown:
                self._con.cursor().execute("CHECKPOINT")

    @contextmanager
    def on_all_processors(self) -> Iterator[None]:
        """Until the block ends queries are shared out over the processors: for long work over many rows, such as a large file; see `_CONFIG`."""
        with self._counting:
            self._long_work += 1
            self._con.cursor().execute(f"SET threads = {os.cpu_count() or 1}")
        try:
            yield
        finally:
            with self._counting:
                self._long_work -= 1
                if not self._long_work:
                    self._con.cursor().execute(f"SET threads = {_CONFIG['threads']}")

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else writes meanwhile; who writes in the block does."""
        with self._turn:
            yield

    @contextmanager
    def reading(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor that sees the file as it stands now, whatever is written meanwhile."""
        con = self.cursor()
        con.execute("BEGIN")
        try:
            yield con
        finally:
            _roll_back(con)
            con.close()

    def close(self) -> None:
        """Close the file: a write that is under way in another thread is let end, a question is cut off, as DuckDB closes nothing that is busy."""
        ended = self._turn.acquire(timeout=_LET_END_S)
        try:
            for _ in range(_TRIES):
                try:
                    with self._handing_out:
                        self._con.close()
                    return
                except duckdb.OperationalError:
                    with self._handing_out:
                        for con in self._cursors:
                            con.interrupt()
                    time.sleep(0.01)
            self._con.close()
        finally:
            if ended:
                self._turn.release()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _migrate(self) -> None:
        con = self._con
        held = _form(con, self.path)
        known = migrations()
        if held > known[-1][0]:
            raise StoreError(
                f"{self.path} was written by a newer bench-hours (its form is {held}, this one knows {known[-1][0]})",
                "Install the newer version; the file is as it was.",
            )
        if held == known[-1][0]:
            return
        con.execute("BEGIN")  # one for all: a file is of its old form or of the newest, never between
        try:
            con.execute("CREATE TABLE IF NOT EXISTS schema_versions (version INTEGER PRIMARY KEY, name VARCHAR NOT NULL, migrated_at TIMESTAMP NOT NULL)")
            for number, name, text in known:
                if number <= held:
                    continue
                con.execute(text)
                if number in _AFTER:
                    _AFTER[number](con)
                con.execute("INSERT INTO schema_versions VALUES (?, ?, ?)", [number, name, utc_now()])
            con.execute("COMMIT")
        except BaseException as error:
            _roll_back(con)
            if isinstance(error, duckdb.Error):
                raise StoreError(f"{self.path} cannot be brought up to date ({why(error)})", _ROOM) from error
            raise


_LOG_BYTES = 16_000_000
_LET_END_S, _TRIES = 10.0, 500  # of a write; and to cut off what is asked, each time after a hundredth of a second
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "wal_autocheckpoint": "1TB",  # see `fold_in`
    "threads": 1,  # of each query: a studio's tables are too short to be shared out, and to wake others costs a third of a query; see `on_all_processors`
}
_START_AGAIN = "Make room if the disk is full, then stop bench-hours and start it again; what was stored is kept."
_ROOM = "Nothing was changed; see that the disk has room and the file and its folder may be written."


def _roll_back(con: duckdb.DuckDBPyConnection) -> None:
    with contextlib.suppress(duckdb.Error):  # where the failure already ended the transaction, its own error is the one to show
        con.execute("ROLLBACK")


def _first_words(con: duckdb.DuckDBPyConnection) -> None:
    vocabulary.plant(con)
    write_settings(con, {"zone": zone_of_this_machine()})


# What a migration does beyond SQL, in the same transaction.
_AFTER: dict[int, Callable[[duckdb.DuckDBPyConnection], None]] = {1: _first_words, 2: people.spellings_of_those_held, 10: tell_events}


def schema_version(con: duckdb.DuckDBPyConnection) -> int:
    """The form of an open database."""
    return int(con.execute("SELECT coalesce(max(version), 0) FROM schema_versions").fetchall()[0][0])


def tables(con: duckdb.DuckDBPyConnection, database: str | None = None) -> list[str]:
    """The tables of the open database, or of another one attached to it."""
    rows = con.execute(
        "SELECT table_name FROM duckdb_tables() WHERE database_name = coalesce(?, current_database()) AND NOT temporary ORDER BY table_name", [database]
    ).fetchall()
    return [row[0] for row in rows]


def _form(con: duckdb.DuckDBPyConnection, path: Path | str) -> int:
    """The form of a database that may be of any, 0 where it is empty; raises where it is not one of ours."""
    found = tables(con)
    if "schema_versions" in found:
        return schema_version(con)
    if found:
        raise StoreError(f"{path} is a database, but not one of bench-hours", "Name another file with --db.", other_file=True)
    return 0


def _connect(path: Path | str) -> duckdb.DuckDBPyConnection:
    if str(path) == ":memory:":
        return duckdb.connect(":memory:", config=_CONFIG)
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir():
            raise StoreError(f"{path} is a folder, not a database", "Name a file with --db.", other_file=True)
        if path.exists() and path.stat().st_size and _start(path)[8:12] != _MAGIC:
            # DuckDB would read a CSV file as a database of its own that is never written
            raise StoreError(f"{path} is not a bench-hours database, or it is damaged", "Name another file with --db, or restore a backup.", other_file=True)
        return duckdb.connect(str(path), config=_CONFIG)
    except OSError as error:
        raise StoreError(f"{path} cannot be opened ({why(error)})", "Name another place with --db.", other_file=True) from error
    except duckdb.Error as error:
        raise _opening_error(path, error) from error


def _start(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(12)


def _opening_error(path: Path, error: duckdb.Error) -> StoreError:
    said = str(error)
    if "Could not set lock" in said or "being used by another process" in said:  # the second on Windows, from memory
        holder = re.search(r"PID (\d+)", said)
        program = re.search(r"held in ([^(]+?) \(PID", said)
        by = " ".join(filter(None, [program and program[1], holder and f"process {holder[1]}"])) or "another process"
        return StoreError(f"{path} is open in {by}", "Close that bench-hours (serve is stopped with Ctrl-C), then try again.", held=True)
    if any(word in said for word in ("not a valid DuckDB database", "Corrupt", "checksum", "Could not read enough bytes")):
        return StoreError(f"{path} is not a bench-hours database, or it is damaged", "Name another file with --db, or restore a backup.", other_file=True)
    return StoreError(f"{path} cannot be opened ({why(error)})", "See that the file and its folder may be written, or name another with --db.", other_file=True)
