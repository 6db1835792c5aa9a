"""A first guess of how a table is read, from its heads and what stands below: offered, never applied
unasked.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from ingest.foreign.appearance import WORDS, day_in_any_order, is_head_of, reads
from ingest.foreign.calendar_cells import HEADS as CALENDAR_HEADS
from ingest.foreign.guessed_columns import guessed_columns
from ingest.foreign.guessed_notation import day_order, has_serial_days, is_in_minutes, rules, year_of_heads
from ingest.foreign.long_rows import named_heads
from ingest.foreign.looked_at import LookedAt
from ingest.foreign.reading import TODAY, LeaveOut, Reading, RowKind, Source
from ingest.foreign.sheets import ROWS_LOOKED_AT, Book, Sheet, heads
from ingest.foreign.words import Studio


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A reading to begin with, and where its heads stand: the row of the sheet, from 0."""

    sheet: Sheet
    row: int
    reading: Reading


def guess(book: Book, studio: Studio) -> Guess:
    """The likeliest sheet, the row of its heads, and what its columns seem to be. What it cannot tell it
    leaves unsaid (`ingest.foreign.reading.missing`).
    """
    sheet, row = max(
        ((sheet, likeliest_head_row(sheet)) for sheet in book.sheets),
        key=lambda item: len(item[0].lines) - item[1],
    )
    return guess_at(book, studio, sheet, row)


def guess_at(
    book: Book, studio: Studio, sheet: Sheet, row: int, *, rows: RowKind | None = None, head_rows: int = 1
) -> Guess:
    """The same where the sheet and the row of its heads are known.

    Parameters
    ----------
    row : of the heads, from 0.
    rows : what each row is, where that is known too.
    head_rows : over how many rows the heads stand.
    """
    if book.kind == "calendar" and rows in (None, "time entries"):
        return Guess(sheet=sheet, row=0, reading=_of_calendar(sheet, studio))
    table = LookedAt.of(sheet, row, studio, book.path.stem, head_rows)
    return Guess(sheet=sheet, row=row, reading=_reading(table, rows or table.kind(), head_rows))


def likeliest_head_row(sheet: Sheet) -> int:
    """The row with the most heads that are words, from 0; of equal ones the first."""

    def score(row: int) -> float:
        texts = [text for text in heads(sheet, row) if text]
        words = [text for text in texts if re.search(r"[^\W\d_]", text) and len(text) < 40]
        known = sum(1 for text in words if any(is_head_of(text, name) for name in WORDS))
        days = sum(1 for text in texts if reads(text, day_in_any_order))
        return len(set(words)) + 2 * known + (days if days > 2 else 0) - row / ROWS_LOOKED_AT

    return max(range(min(len(sheet.lines), ROWS_LOOKED_AT)), key=score)


def _reading(table: LookedAt, rows: RowKind, head_rows: int) -> Reading:
    wide = table.wide_of() if rows == "time entries" else None
    wide_names = table.wide_names(wide)
    columns = guessed_columns(table, rows, wide, wide_names)
    named = {source.text for source in columns.values()}
    filled_down = tuple(
        source.text
        for name, source in columns.items()
        if name in ("date", "object")
        and source.origin == "column"
        and table.contents.is_written_once(source.text)
    )
    known = named_heads(table.written)
    return Reading(
        rows=rows,
        columns=columns,
        not_read=tuple(name for name in table.names if name in known - named - set(wide_names)),
        head_rows=head_rows,
        day_order=day_order(table, columns, wide_names),
        year=year_of_heads(table, wide_names) if wide == "date" else None,
        serial_days=has_serial_days(table, columns),
        hours_unit="minutes" if is_in_minutes(table, columns) else "hours",
        wide_of=wide,
        filled_down=filled_down,
        left_out=rules(table, columns, filled_down, wide),
    )


def _of_calendar(sheet: Sheet, studio: Studio) -> Reading:
    """A calendar has the columns that it has: the work is in its summary, what was done a category."""
    columns: Mapping[str, Source] = {
        name: Source(origin="column", text=text)
        for name, text in (
            *(("date", "date"), ("started_at", "start"), ("ended_at", "end"), ("object", "summary")),
            *((("technique", "categories"),) if (sheet.cells.iloc[1:, 1] != "").any() else ()),
        )
    }
    people = sorted(set(studio.context.people.values()))
    if len(people) == 1:
        columns = {**columns, "person": Source(origin="fixed", text=people[0])}
    named = {source.text for source in columns.values()}
    return Reading(
        rows="time entries",
        columns=columns,
        not_read=tuple(name for name in CALENDAR_HEADS if name not in named),
        left_out=(
            LeaveOut(column="whole_day", test="is", text="yes"),
            LeaveOut(column="status", test="is", text="cancelled"),
            LeaveOut(test="after", text=TODAY),
        ),
    )
