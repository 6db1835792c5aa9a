"""Another sheet of a workbook, taken up by what was said of it before."""

from __future__ import annotations

import tempfile
from pathlib import Path

from dashboard.ui import page_data
from dashboard.ui.logs.waiting_tables import TableFile, WaitingTable, next_number, put_first
from ingest.foreign import memory
from ingest.foreign.guess import guess_at, likeliest_head_row
from ingest.foreign.memory import KnownSheet, Remembered
from ingest.foreign.reading_drafts import ReadingDraft
from ingest.foreign.sheets import Sheet, read_book
from ingest.foreign.words import Studio
from ingest.tables.audit_log import utc_now


def take_up(table: WaitingTable, sheet: Sheet) -> None:
    """Speak of another sheet of the file: as was said of it, to its end or in part; else from a first guess.

    What was said of the sheet that is left stays kept.
    """
    con = page_data.store().cursor()
    tables = memory.read_tables(con)
    heads_before = memory.signature(table.book, table.sheet, table.row, table.reading)
    known = next((item for item in memory.known_sheets(table.book, tables) if item.sheet is sheet), None)
    draft = _draft_of_sheet(table, sheet, tables)
    table.draft, table.draft_heads, table.choices = None, "", {}
    table.remembered = known.table if known else None
    if known or draft:
        _take_up_said(table, sheet, known, draft)
        return
    row = 0 if table.book.kind == "calendar" else likeliest_head_row(sheet)
    table.begin_at(sheet, row, table.rows_said, 1)
    if memory.signature(table.book, table.sheet, table.row, table.reading) != heads_before:
        table.meanings = {}


def open_sheet(file: TableFile, name: str) -> None:
    """Speak of another sheet of a file: it waits from now on, before all others."""
    sheet = next(sheet for sheet in file.book.sheets if sheet.name == name)
    studio = Studio.of(page_data.store().cursor())
    first = guess_at(file.book, studio, sheet, likeliest_head_row(sheet))
    table = WaitingTable(
        number=next_number(),
        files=[file],
        sheet=sheet,
        row=first.row,
        reading=first.reading,
        offered_rules=first.reading.left_out,
    )
    remembered = memory.read_tables(page_data.store().cursor())
    if draft := _draft_of_sheet(table, sheet, remembered):
        _take_up_said(table, sheet, None, draft)
    put_first(table)


def open_sheet_of(name: str, content: bytes, sheet: str) -> None:
    """The same of a file that was brought in."""
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        book = read_book(path, utc_now())
    open_sheet(TableFile(name, content, book), sheet)


def _draft_of_sheet(
    table: WaitingTable, sheet: Sheet, tables: list[Remembered]
) -> tuple[ReadingDraft, Remembered] | None:
    remembered = memory.draft_of_sheet(table.book, sheet, tables)
    reading_draft = ReadingDraft.from_draft(remembered.draft) if remembered else None
    if remembered and reading_draft and reading_draft.row < len(sheet.lines):
        return reading_draft, remembered
    return None


def _take_up_said(
    table: WaitingTable, sheet: Sheet, known: KnownSheet | None, draft: tuple[ReadingDraft, Remembered] | None
) -> None:
    """What was said to the end, and over that what was said in part."""
    table.meanings = {}
    if known:
        table.meanings = memory.read_meanings(page_data.store().cursor(), known.table.heads)
        table.take_up(sheet, known.row, known.reading)
    if draft:
        reading_draft, remembered = draft
        table.meanings |= reading_draft.meanings
        table.draft, table.draft_heads = reading_draft.to_draft(), remembered.heads
        table.take_up(sheet, reading_draft.row, reading_draft.reading)
