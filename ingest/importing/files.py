"""Files in, and an account of what became of every row.

One transaction a file. Files of one call may come in any order: they are stored in the order in which one
kind may name what another brings.
"""

from __future__ import annotations

import secrets
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

from ingest.errors import FileError
from ingest.importing import rejects
from ingest.importing.cell_readers import Context
from ingest.importing.check import Checked, check, store
from ingest.importing.csv_file import CsvFile, open_csv
from ingest.importing.entry_matching import HeldBackAs
from ingest.importing.rows import Rows, rows_of_file
from ingest.importing.settled_rejects import settle_come_in
from ingest.schema.csv_columns import IN_ORDER, REJECT_COLUMNS, Form, form_of, header_name
from ingest.sql import Connection
from ingest.store import Store
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import Change, utc_now

Progress = Callable[[str], None]
_LARGE_BYTES = 2_000_000


class RowSource(Protocol):
    """Rows of one form in a file: the whole of a CSV file, or a sheet of a workbook."""

    @property
    def path(self) -> Path: ...

    @property
    def form(self) -> Form: ...

    def rows(self, con: Connection) -> Rows:
        """The rows, in the temporary tables of the connection."""


@dataclass(frozen=True, slots=True)
class RecognizedFile:
    """A file and the form that it was recognised as."""

    file: CsvFile
    form: Form

    @property
    def path(self) -> Path:
        return self.file.path

    def rows(self, con: Connection) -> Rows:
        return rows_of_file(con, self.file, self.form)


Recognizer = Callable[[Sequence[Path], Path], Sequence[Sequence[RowSource]]]
"""From files, and a folder for copies, to what they hold, in the order in which it is stored; what stands
together comes in together or not at all.
"""


def recognize_each(paths: Sequence[Path], folder: Path) -> Sequence[Sequence[RowSource]]:
    """Our own forms alone, each file by itself."""
    return [[item] for item in recognize(paths, folder)]


def import_files(
    into: Store,
    paths: Sequence[Path],
    *,
    held_back_as: HeldBackAs = "ask",
    by: str | None = None,
    now: datetime | None = None,
    write_rejects: bool = True,
    settles_rejects: bool = True,
    settings: Mapping[str, str] | None = None,
    progress: Progress = lambda _: None,
    done: Callable[[Checked], None] = lambda _: None,
    recognizer: Recognizer = recognize_each,
) -> list[Checked]:
    """Store CSV files; raises `FileError` before anything is stored if a file is none of the forms.

    Parameters
    ----------
    into : where to.
    paths : the files, in any order.
    held_back_as : what to do with rows that may correct a held entry.
    by : who brings them in, for the history.
    now : the present instant in UTC; the machine's clock where not given.
    write_rejects : write `NAME.rejects.csv` beside each file that has rejected rows.
    settles_rejects : rows that waited to be mended and come in with these files are settled; not where these
        are such rows, which `ingest.importing.pending_rejects.brought_in` settles.
    settings : said with the files, and kept with the first of them.
    progress : called with a few words as the work goes on.
    done : called with what became of each file once it is stored, whatever comes of the next.
    recognizer : by which the files are known; `ingest.foreign` has one for any table.
    """
    now = now or utc_now()
    reports: list[Checked] = []
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        for together in recognizer(paths, Path(folder)):
            parts: list[Checked] = []
            with _width(into, together), into.writing() as con:
                if settings and not reports:
                    write_settings(con, settings)
                for item in together:
                    checked = _check_file(con, item, now, held_back_as, progress)
                    store(
                        con,
                        checked,
                        Change(by=by, reason=f"brought in with {checked.file}", event="brought in", at=now),
                    )
                    if settles_rejects:
                        checked = replace(checked, settled=settle_come_in(con, checked))
                    if write_rejects and checked.rejected:
                        checked = replace(checked, rejects=rejects.write(checked.rejected, item.path))
                    parts.append(checked)
            for checked in parts:
                progress(f"{checked.file}: done")
                reports.append(checked)
                done(checked)
    return reports


def check_files(
    studio: Store,
    paths: Sequence[Path],
    *,
    settings: Mapping[str, str] | None = None,
    now: datetime | None = None,
    progress: Progress = lambda _: None,
    recognizer: Recognizer = recognize_each,
) -> list[Checked]:
    """The same without storing: nobody who writes waits for it. The files of one call see each other, and
    `settings` hold for this call only.
    """
    now = now or utc_now()
    reports: list[Checked] = []
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        files = [item for together in recognizer(paths, Path(folder)) for item in together]
        with (
            _width(studio, files),
            _temporary_copy(studio) if settings or len(files) > 1 else studio.reading() as con,
        ):
            if settings:
                write_settings(con, settings)
            for file in files:
                checked = _check_file(con, file, now, "ask", progress)
                progress(f"{checked.file}: done")
                reports.append(checked)
                if file is not files[-1]:
                    store(con, checked, Change(by=None, reason="checked", event="brought in", at=now))
    return reports


def _width(store: Store, files: Sequence[RowSource]) -> AbstractContextManager[None]:
    """All processors for large files; small ones are faster on one."""
    large = sum({file.path: file.path.stat().st_size for file in files}.values()) > _LARGE_BYTES
    return store.use_all_processors() if large else nullcontext()


@contextmanager
def _temporary_copy(store: Store) -> Iterator[Connection]:
    """A copy of the record in memory, which may be written and is forgotten."""
    name = f"stand_in_{secrets.token_hex(8)}"  # the server may check for several at once
    with store.reading() as con:
        home = con.execute("SELECT current_database()").fetchall()[0][0]
        con.execute(f"ROLLBACK; ATTACH ':memory:' AS {name}; BEGIN")
        try:
            con.execute(f'COPY FROM DATABASE "{home}" TO {name}; USE {name}')
            yield con
        finally:
            con.execute(f'ROLLBACK; USE "{home}"; DETACH {name}; BEGIN')


def recognize(paths: Iterable[Path], folder: Path) -> list[RecognizedFile]:
    """Recognize all files before any is stored, in the order of `IN_ORDER`."""
    recognized = []
    for path in paths:
        file = open_csv(path, folder)
        names = [header_name(text) for text in file.header]
        repeated = next((name for name in names if name and names.count(name) > 1), None)
        if repeated:
            raise FileError(f'{path.name} has the column "{repeated}" more than once', "Keep one of them.")
        try:
            recognized.append(
                RecognizedFile(file, form_of(name for name in names if name not in REJECT_COLUMNS))
            )
        except FileError as error:
            raise FileError(f"{path.name} {error.what}", error.mend) from error
    order = {form.kind: number for number, form in enumerate(IN_ORDER)}
    return sorted(recognized, key=lambda item: order[item.form.kind])


def _check_file(
    con: Connection, item: RowSource, now: datetime, held_back_as: HeldBackAs, progress: Progress
) -> Checked:
    progress(f"{item.path.name}: reading {item.form.kind}")
    rows = item.rows(con)
    progress(f"{item.path.name}: checking {len(rows.lines):,} rows")
    return check(con, item.form, rows, Context.of(con, now=now, decimal_mark=rows.decimal_mark), held_back_as)
