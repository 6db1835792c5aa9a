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

from ingest.errors import StoreError, why
from ingest.sql import Connection
from ingest.studio import people, vocabulary
from ingest.studio.settings import write_settings, zone_of_this_machine
from ingest.tables.audit_log import derive_events, utc_now

_MAGIC = b"DUCK"  # at byte 8 of every DuckDB file
_MIGRATION_NAME = re.compile(r"(\d{3})_(.+)\.sql")


def default_path() -> Path:
    """The studio's database: `BENCH_HOURS_DB`, or a file in the user's own data folder."""
    path = os.environ.get("BENCH_HOURS_DB")
    return (
        Path(path).expanduser()
        if path
        else Path(platformdirs.user_data_dir("bench-hours", appauthor=False)) / "studio.duckdb"
    )


def demo_path() -> Path:
    """The demo studio's database, beside the studio's own place and never the same file."""
    return Path(platformdirs.user_data_dir("bench-hours", appauthor=False)) / "demo.duckdb"


def migrations() -> list[tuple[int, str, str]]:
    """Number, name and text of each migration, in order."""
    steps = []
    for file in resources.files("ingest").joinpath("migrations").iterdir():
        if named := _MIGRATION_NAME.fullmatch(file.name):
            steps.append((int(named[1]), named[2], file.read_text(encoding="utf-8")))
    return sorted(steps)


class Store:
    """One database instance: a cursor for each reader, writers in turn.

    Parameters
    ----------
    path : the file, made with its folder where it is missing; `:memory:` for none.
    """

    def __init__(self, path: Path | str) -> None:
        self.path = path
        self.writes = 0
        """Transactions stored so far by this process; caches of rows are stale when it has grown."""
        self._changes: tuple[int, int] | None = None
        """The number of changes, and how many writes were stored when it was read."""
        self._turn = threading.RLock()
        self._long_work = 0
        self._counting = threading.Lock()
        self._cursors: WeakSet[Connection] = WeakSet()
        self._handing_out = threading.Lock()
        self._con = _connect(path)
        try:
            self._migrate()
        except BaseException:
            self._con.close()
            raise

    def cursor(self) -> Connection:
        """A connection of its own to the same database, for one request or thread."""
        with self._handing_out:
            con = self._con.cursor()
            self._cursors.add(con)
        return con

    def changes(self) -> int:
        """Number of writes to the file that figures may depend on; read anew only after a write, as nobody
        else can write to it while it is open here.
        """
        writes, known = self.writes, self._changes
        if known is None or known[1] != writes:
            changes = self.cursor().execute("SELECT changes FROM change_counter").fetchall()[0][0]
            known = self._changes = (int(changes), writes)
        return known[0]

    @contextmanager
    def writing(self, *, counts: bool = True) -> Iterator[Connection]:
        """One transaction, alone: stored when the block ends well, undone when it raises.

        `counts` false: nothing that a figure rests on is changed, so what is computed from the file stays
        good.
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
                    raise StoreError(f"{self.path} cannot be written ({why(error)})", _SEE_DISK) from error
                raise
            finally:
                con.close()
            self.checkpoint_if_large()

    def checkpoint_if_large(self) -> None:
        """Checkpoint the WAL when it exceeds 16 MB and the disk has room for both.

        Left to do it by itself, DuckDB tries on a full disk too, and is closed for good when it fails: nobody
        could read or write until a new start.
        """
        log = Path(f"{self.path}.wal")
        # somebody is just writing, or there is no log: the next write looks again
        with self._turn, contextlib.suppress(OSError, duckdb.TransactionException):
            grown = log.stat().st_size
            if grown > _LOG_BYTES and shutil.disk_usage(log.parent).free > 3 * grown:
                self._con.cursor().execute("CHECKPOINT")

    @contextmanager
    def use_all_processors(self) -> Iterator[None]:
        """Let queries use all processors until the block ends: for long work over many rows, such as a large
        file (see `_CONFIG`).
        """
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
    def write_lock(self) -> Iterator[None]:
        """Hold the (re-entrant) write lock."""
        with self._turn:
            yield

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A cursor that sees the file as it stands now, whatever is written meanwhile."""
        con = self.cursor()
        con.execute("BEGIN")
        try:
            yield con
        finally:
            _roll_back(con)
            con.close()

    def close(self) -> None:
        """Close the file: a write that is under way in another thread is let end, a question is cut off, as
        DuckDB closes nothing that is busy.
        """
        ended = self._turn.acquire(timeout=_WRITE_TIMEOUT_S)
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
        version = _stored_version(con, self.path)
        steps = migrations()
        if version > steps[-1][0]:
            raise StoreError(
                f"{self.path} was written by a newer bench-hours (its form is {version}, this one knows"
                f" {steps[-1][0]})",
                "Install the newer version; the file is as it was.",
            )
        if version == steps[-1][0]:
            return
        con.execute("BEGIN")  # one for all: a file is of its old form or of the newest, never between
        try:
            con.execute(
                "CREATE TABLE IF NOT EXISTS schema_versions (version INTEGER PRIMARY KEY, name VARCHAR NOT"
                " NULL, migrated_at TIMESTAMP NOT NULL)"
            )
            for number, name, text in steps:
                if number <= version:
                    continue
                con.execute(text)
                if number in _PYTHON_STEPS:
                    _PYTHON_STEPS[number](con)
                con.execute("INSERT INTO schema_versions VALUES (?, ?, ?)", [number, name, utc_now()])
            con.execute("COMMIT")
        except BaseException as error:
            _roll_back(con)
            if isinstance(error, duckdb.Error):
                raise StoreError(
                    f"{self.path} cannot be brought up to date ({why(error)})", _SEE_DISK
                ) from error
            raise


_LOG_BYTES = 16_000_000
# of a write; and to cut off what is asked, each time after a hundredth of a second
_WRITE_TIMEOUT_S, _TRIES = (10.0, 500)
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "wal_autocheckpoint": "1TB",  # see `checkpoint_if_large`
    # Of each query: a studio's tables are too short to be shared out, and to wake others costs a third of a
    # query; see `use_all_processors`.
    "threads": 1,
}
_START_AGAIN = (
    "Make room if the disk is full, then stop bench-hours and start it again; what was stored is kept."
)
_SEE_DISK = "Nothing was changed; see that the disk has room and the file and its folder may be written."


def _roll_back(con: Connection) -> None:
    # where the failure already ended the transaction, its own error is the one to show
    with contextlib.suppress(duckdb.Error):
        con.execute("ROLLBACK")


def _fill_new(con: Connection) -> None:
    vocabulary.create(con)
    write_settings(con, {"zone": zone_of_this_machine()})


# What a migration does beyond SQL, in the same transaction.
_PYTHON_STEPS: dict[int, Callable[[Connection], None]] = {
    1: _fill_new,
    2: people.add_stored_spellings,
    10: derive_events,
}


def schema_version(con: Connection) -> int:
    """The form of an open database."""
    return int(con.execute("SELECT coalesce(max(version), 0) FROM schema_versions").fetchall()[0][0])


def tables(con: Connection, database: str | None = None) -> list[str]:
    """The tables of the open database, or of another one attached to it."""
    rows = con.execute(
        """SELECT table_name FROM duckdb_tables()
        WHERE database_name = coalesce(?, current_database()) AND NOT temporary ORDER BY table_name""",
        [database],
    ).fetchall()
    return [row[0] for row in rows]


def _stored_version(con: Connection, path: Path | str) -> int:
    """The form of a database that may be of any, 0 where it is empty; raises where it is not one of ours."""
    names = tables(con)
    if "schema_versions" in names:
        return schema_version(con)
    if names:
        raise StoreError(
            f"{path} is a database, but not one of bench-hours",
            "Name another file with --db.",
            other_file=True,
        )
    return 0


def _connect(path: Path | str) -> Connection:
    if str(path) == ":memory:":
        return duckdb.connect(":memory:", config=_CONFIG)
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir():
            raise StoreError(f"{path} is a folder, not a database", "Name a file with --db.", other_file=True)
        if path.exists() and path.stat().st_size and _first_bytes(path)[8:12] != _MAGIC:
            # DuckDB would read a CSV file as a database of its own that is never written
            raise StoreError(
                f"{path} is not a bench-hours database, or it is damaged",
                "Name another file with --db, or restore a backup.",
                other_file=True,
            )
        return duckdb.connect(str(path), config=_CONFIG)
    except OSError as error:
        raise StoreError(
            f"{path} cannot be opened ({why(error)})", "Name another place with --db.", other_file=True
        ) from error
    except duckdb.Error as error:
        raise _opening_error(path, error) from error


def _first_bytes(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(12)


def _opening_error(path: Path, error: duckdb.Error) -> StoreError:
    message = str(error)
    # the second on Windows, from memory
    if "Could not set lock" in message or "being used by another process" in message:
        holder = re.search(r"PID (\d+)", message)
        program = re.search(r"held in ([^(]+?) \(PID", message)
        by = (
            " ".join(filter(None, [program and program[1], holder and f"process {holder[1]}"]))
            or "another process"
        )
        return StoreError(
            f"{path} is open in {by}",
            "Close that bench-hours (serve is stopped with Ctrl-C), then try again.",
            locked=True,
        )
    if any(
        word in message
        for word in ("not a valid DuckDB database", "Corrupt", "checksum", "Could not read enough bytes")
    ):
        return StoreError(
            f"{path} is not a bench-hours database, or it is damaged",
            "Name another file with --db, or restore a backup.",
            other_file=True,
        )
    return StoreError(
        f"{path} cannot be opened ({why(error)})",
        "See that the file and its folder may be written, or name another with --db.",
        other_file=True,
    )
