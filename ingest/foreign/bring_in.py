"""What stands in a file that is no CSV file of ours: our forms in a workbook, and tables in other words, by
what was said of them.

    book = read_book(path)                       # the file as it lies
    begun = guess(book, Studio.of(con))          # offered, and changed by who knows
    words_in(con, [(sheet, row)], reading, {})   # what texts there are, each once, with likely matches
    preview(store, book, sheet, row, reading, meanings)
    heads = signature(book, sheet, row, reading)
    remember(store, heads, reading, meanings, file=path.name, by=person)  # and from then on:
    import_files(store, [path], recognizer=any_table(store))
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from ingest.errors import FileError
from ingest.foreign.convert import ConvertedRows, convert, source_texts
from ingest.foreign.earlier import EarlierStatement, read_all_earlier, read_earlier
from ingest.foreign.long_rows import LongRows, long_rows
from ingest.foreign.memory import (
    KnownSheet,
    Unsaved,
    draft_of,
    known_sheets,
    read_meanings,
    read_tables,
    with_unsaved,
)
from ingest.foreign.reading import Reading, word_columns
from ingest.foreign.reconciliation import came_in_before
from ingest.foreign.sheets import Book, Sheet, read_book
from ingest.foreign.words import Meanings, Studio
from ingest.importing.cell_readers import Context
from ingest.importing.csv_file import distinct_names
from ingest.importing.files import RowSource
from ingest.importing.rows import Rows, SaidOtherwise, SaidOtherwiseAs, rows_of_table
from ingest.schema.csv_columns import OBJECTS, REJECT_COLUMNS, Form, form_of
from ingest.sql import Connection
from ingest.store import Store
from ingest.values.numbers import MARK_OF_SEPARATOR
from ingest.values.spelling import folded

_ASKED_FOR = "Bring it in under Bring in logs, which asks once what its columns mean."


@dataclass(frozen=True, slots=True)
class FormSheet:
    """A sheet of a workbook whose heads are those of one of our forms."""

    path: Path
    form: Form
    sheet: Sheet
    several: bool

    def rows(self, con: Connection) -> Rows:
        names = distinct_names([str(text) for text in self.sheet.cells.iloc[0]])
        cells = self.sheet.cells.iloc[1:].set_axis(names, axis=1)
        return rows_of_table(
            con,
            self.form,
            cells,
            self.sheet.lines[1:],
            path=self.path,
            sheet=self.sheet.name if self.several else "",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignSheet:
    """A sheet that is read by what was said of it."""

    book: Book
    sheet: Sheet
    row: int
    reading: Reading
    meanings: Meanings
    several: bool
    now: datetime
    before: Sequence[EarlierStatement] = ()
    said_otherwise_as: SaidOtherwiseAs = "ask"

    @property
    def path(self) -> Path:
        return self.book.path

    @property
    def form(self) -> Form:
        return self.reading.form

    def rows(self, con: Connection) -> Rows:
        mark = MARK_OF_SEPARATOR.get(self.book.separator, "")
        studio = Studio.of(con, Context.of(con, now=self.now, decimal_mark=mark))
        today = studio.context.today.isoformat()
        long = long_rows(self.sheet, self.reading, self.row)
        converted = converted_rows(long, self.reading, self.meanings, studio, self.book, today)
        table = (self.book, self.sheet, self.row)
        came_before = came_in_before(
            con, table, long, self.reading, self.meanings, converted, self.before, studio
        )
        rows = as_rows(con, converted, self.book, self.sheet.name if self.several else "")
        rows.said_otherwise = SaidOtherwise(
            entries=came_before.rows[["row", "entry"]], become=self.said_otherwise_as
        )
        rows.origins = long.origins[converted.places]
        by_meaning = np.delete(long.origins, converted.places)
        rows.origins_left_out = np.concatenate([long.without.origins, by_meaning])
        return rows


@dataclass(frozen=True, slots=True)
class WithOthers:
    """The last sheet of a file that is read, with the names of those that are not."""

    last: RowSource
    others: tuple[str, ...]

    @property
    def path(self) -> Path:
        return self.last.path

    @property
    def form(self) -> Form:
        return self.last.form

    def rows(self, con: Connection) -> Rows:
        rows = self.last.rows(con)
        rows.sheets_not_read = self.others
        return rows


@dataclass(frozen=True, slots=True)
class NewWorks:
    """Works that rows of a foreign table are of and that are not in the record yet: code to title."""

    path: Path
    titles: Mapping[str, str]

    @property
    def form(self) -> Form:
        return OBJECTS

    def rows(self, con: Connection) -> Rows:
        cells = pd.DataFrame({"object": list(self.titles), "title": list(self.titles.values())}, dtype="str")
        rows = rows_of_table(con, OBJECTS, cells, np.arange(1, len(cells) + 1), path=self.path)
        rows.made_of_table = True
        return rows


def parts_of(
    store: Store,
    path: Path,
    not_ours: FileError | None,
    now: datetime,
    said_otherwise_as: SaidOtherwiseAs = "ask",
    unsaved: Unsaved | None = None,
) -> list[list[RowSource]]:
    """What stands in a file that is no CSV file of ours, by what comes in together; raises `FileError` where
    nothing was said of it, with the page that asks.

    Parameters
    ----------
    not_ours : what was wrong with it as a CSV file of ours; None where it is none at all.
    said_otherwise_as : what becomes of rows that are held by other words.
    unsaved : what is said of a table and not kept yet; it stands before what was kept.
    """
    try:
        book = read_book(path, now)
    except FileError as error:
        raise (not_ours or error) from error
    with store.reading() as con:
        forms = form_sheets(book) if book.kind == "workbook" else []
        tables = read_tables(con)
        if unsaved:
            tables = with_unsaved(tables, unsaved)
        of_ours = {form.sheet.name for form in forms}
        known = [item for item in known_sheets(book, tables) if item.sheet.name not in of_ours]
        if not forms and not known:
            raise _nothing_said(book, not_ours, reading_draft=draft_of(book, tables) is not None)
        read = of_ours | {item.sheet.name for item in known}
        others = tuple(sheet.name for sheet in book.sheets if sheet.name not in read)
        parts: list[list[RowSource]] = [[item] for item in forms]
        if known:
            parts.append(_by_what_was_said(con, book, known, now, said_otherwise_as, unsaved))
        parts[-1][-1] = WithOthers(parts[-1][-1], others)
        return parts


def form_sheets(book: Book) -> list[FormSheet]:
    """The sheets of a workbook whose heads are those of one of our forms."""
    forms = []
    for sheet in book.sheets:
        names = distinct_names([str(text) for text in sheet.cells.iloc[0]])
        try:
            form = form_of(name for name in names if name not in REJECT_COLUMNS)
        except FileError:
            continue
        forms.append(FormSheet(book.path, form, sheet, len(book.sheets) > 1))
    return forms


def _nothing_said(book: Book, not_ours: FileError | None, *, reading_draft: bool) -> FileError:
    if reading_draft:
        return FileError(
            f"what the columns of {book.path.name} mean is said only in part",
            "Say the rest under Bring in logs.",
        )
    if not_ours:
        return FileError(
            not_ours.what, f"{not_ours.mend} Or: {_ASKED_FOR[0].lower()}{_ASKED_FOR[1:]}".strip()
        )
    return FileError(
        f"{book.path.name} is none of the known forms, and nobody has said yet how it is read", _ASKED_FOR
    )


def _by_what_was_said(
    con: Connection,
    book: Book,
    known: Sequence[KnownSheet],
    now: datetime,
    said_otherwise_as: SaidOtherwiseAs,
    unsaved: Unsaved | None,
) -> list[RowSource]:
    works: dict[str, str] = {}
    sheets: list[RowSource] = []
    stored_works = {folded(row[0]) for row in con.execute("SELECT object FROM objects").fetchall()}
    for item in known:
        meanings: Meanings = read_meanings(con, item.table.heads)
        before = read_earlier(con, item.table.heads)
        if unsaved and unsaved.heads == item.table.heads:
            meanings, before = unsaved.meanings, read_all_earlier(con, item.table.heads)
        rows = long_rows(item.sheet, item.reading, item.row)
        works |= {
            code: title
            for code, title in _new_works(rows, item.reading, meanings).items()
            if folded(code) not in stored_works
        }
        sheets.append(
            ForeignSheet(
                book=book,
                sheet=item.sheet,
                row=item.row,
                reading=item.reading,
                meanings=meanings,
                several=len(book.sheets) > 1,
                now=now,
                before=before,
                said_otherwise_as=said_otherwise_as,
            )
        )
    return [*([NewWorks(book.path, works)] if works else []), *sheets]


def _new_works(rows: LongRows, reading: Reading, meanings: Meanings) -> dict[str, str]:
    """Code to title of the new works that texts of these rows mean."""
    if reading.rows == "objects":
        return {}
    texts = source_texts(rows, reading)
    works = {}
    for column in word_columns(reading):
        if column in texts:
            for text in texts[column].unique():
                meaning = meanings.get((column, folded(str(text))))
                if meaning and meaning.new_title:
                    works[meaning.values["object"]] = meaning.new_title
    return works


def converted_rows(
    rows: LongRows, reading: Reading, meanings: Meanings, studio: Studio, book: Book, today: str
) -> ConvertedRows:
    """Rows of a file in our form; `today` is an ISO day."""
    mark = MARK_OF_SEPARATOR.get(book.separator, "")
    return convert(rows, reading, meanings, studio, mark=mark, today=today)


def as_rows(con: Connection, converted: ConvertedRows, book: Book, sheet: str) -> Rows:
    """The same for the check, in the temporary tables of the connection; `sheet` is empty where there is no
    other.
    """
    return rows_of_table(
        con,
        converted.form,
        converted.cells,
        converted.lines,
        path=book.path,
        separator=book.separator,
        sheet=sheet,
        left_out=converted.left_out,
        not_read=converted.not_read,
        cell_faults=converted.faults,
    )
