"""Files as they arrive: our own forms, tables that are known, and those of which more must be said."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ingest.errors import FileError
from ingest.foreign.any_table import is_no_csv
from ingest.foreign.bring_in import form_sheets
from ingest.foreign.memory import KnownSheet, Remembered, draft_of, known_sheets, read_tables
from ingest.foreign.reading_drafts import ReadingDraft
from ingest.foreign.sheets import Book, read_book
from ingest.importing.files import recognize
from ingest.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """A table in other words than ours.

    Attributes
    ----------
    known : its first sheet of which it was said to the end how it is read.
    begun : what was half said of it, with the table under which that is kept.
    not_ours : what was wrong with it as a CSV file of ours; None where it is no CSV file.
    """

    book: Book
    known: KnownSheet | None
    begun: tuple[ReadingDraft, Remembered] | None
    not_ours: FileError | None


def look_over(store: Store, path: Path, now: datetime) -> Arrival | None:
    """What a file is; None where it holds our own forms. Raises `FileError` where it cannot be read.

    Parameters
    ----------
    now : UTC; repetitions of a calendar that begin later are not read.
    """
    not_ours: FileError | None = None
    if not is_no_csv(path):
        try:
            with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
                recognize([path], Path(folder))
        except FileError as error:
            not_ours = error
        else:
            return None
    try:
        book = read_book(path, now)
    except FileError as error:
        raise (not_ours or error) from error
    if book.kind == "workbook" and form_sheets(book):
        return None
    tables = read_tables(store.cursor())
    known = known_sheets(book, tables)
    return Arrival(
        book=book, known=known[0] if known else None, begun=_begun(book, tables), not_ours=not_ours
    )


def _begun(book: Book, tables: list[Remembered]) -> tuple[ReadingDraft, Remembered] | None:
    draft = draft_of(book, tables)
    if draft is None:
        return None
    reading_draft = ReadingDraft.from_draft(draft[1].draft)
    names = {sheet.name: sheet for sheet in book.sheets}
    # next month's sheet of the same heads has another name
    if reading_draft and (sheet := names.get(reading_draft.sheet)) and reading_draft.row < len(sheet.lines):
        return reading_draft, draft[1]
    return None
