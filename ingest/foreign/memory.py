"""What was said of foreign tables, kept under their heads: readings, those half said, and what texts mean."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from ingest.foreign.earlier import meaning_now, means_after, reading_after
from ingest.foreign.long_rows import RowOfHeads, head_row, named_heads, rows_of_heads
from ingest.foreign.reading import Reading
from ingest.foreign.sheets import Book, Sheet, heads
from ingest.foreign.words import Meaning
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now
from ingest.values.spelling import folded

_CALENDAR = "calendar "  # its name behind it: all calendars have the same heads


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """A table that was spoken of.

    Attributes
    ----------
    heads : by which it is known.
    reading : None where nothing was said to its end.
    draft : what a page keeps of a reading that is half said, anything that JSON holds; None where nothing is.
    file : the file of which it was said last.
    at : UTC.
    """

    heads: str
    reading: Reading | None
    draft: object
    file: str
    at: datetime
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsaved:
    """What is said of a table and not kept yet.

    Attributes
    ----------
    heads : by which the table is known.
    meanings : by our column and the text, folded.
    """

    heads: str
    reading: Reading
    meanings: Mapping[tuple[str, str], Meaning]


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSheet:
    """A sheet of which it is known how it is read; `row` is that of its heads, from 0."""

    sheet: Sheet
    row: int
    table: Remembered
    reading: Reading


def signature(book: Book, sheet: Sheet, row: int, reading: Reading | None = None, head_rows: int = 1) -> str:
    """The heads by which a table is known.

    Parameters
    ----------
    row : of the heads, from 0.
    reading : what was said of it; a wide table is known by the columns that stay the same.
    head_rows : where nothing was said yet, over how many rows the heads stand.
    """
    names = named_heads(heads(sheet, row, reading.head_rows if reading else head_rows))
    if reading and reading.wide_of:
        names &= reading.fixed_names
    return _heads_of(book, sheet, names)


def _heads_of(book: Book, sheet: Sheet, names: frozenset[str]) -> str:
    calendar = [f"{_CALENDAR}{folded(sheet.name)}"] if book.kind == "calendar" else []
    return json.dumps([*calendar, *sorted(names)], ensure_ascii=False)


def read_tables(con: Connection) -> list[Remembered]:
    """All tables that were spoken of, the latest first."""
    rows = con.execute(
        """SELECT heads, reading, draft, file, kept_at, kept_by FROM foreign_tables
        ORDER BY kept_at DESC, heads"""
    ).fetchall()
    return [
        Remembered(
            heads=names,
            reading=Reading.from_json(reading) if reading else None,
            draft=json.loads(draft) if draft else None,
            file=file,
            at=at,
            by=by,
        )
        for names, reading, draft, file, at, by in rows
    ]


def read_meanings(con: Connection, table_heads: str) -> dict[tuple[str, str], Meaning]:
    """What the texts of a table mean, by our column and the text, folded."""
    rows = con.execute(
        "SELECT column_name, spelling, means FROM foreign_words WHERE heads = ?", [table_heads]
    ).fetchall()
    return {(column, spelling): meaning_now(json.loads(means)) for column, spelling, means in rows}


def known_sheets(book: Book, tables: list[Remembered]) -> list[KnownSheet]:
    """The sheets of a file that are to be read by what was said before, each by the first table that fits."""
    known = []
    for sheet in book.sheets:
        tops: dict[int, list[RowOfHeads]] = {}  # by over how many rows the heads stand
        for table in tables:
            reading = table.reading
            if reading is None or (reading.sheets and sheet.name not in reading.sheets):
                continue
            calendar, names = _names(table.heads)
            if calendar != (folded(sheet.name) if book.kind == "calendar" else None):
                continue
            if reading.head_rows not in tops:
                tops[reading.head_rows] = rows_of_heads(sheet, reading.head_rows)
            row = head_row(tops[reading.head_rows], names, among_others=bool(reading.wide_of))
            if row is not None:
                known.append(KnownSheet(sheet=sheet, row=row, table=table, reading=reading))
                break
    return known


def sheets_with(book: Book, table_heads: str, reading: Reading) -> list[tuple[Sheet, int]]:
    """The sheets of a file that have these heads and are read by this reading, each with their row."""
    return [(known.sheet, known.row) for known in known_sheets(book, [_as_remembered(table_heads, reading)])]


def with_unsaved(tables: list[Remembered], unsaved: Unsaved) -> list[Remembered]:
    """All tables, as if what is said of one were kept already."""
    others = [table for table in tables if table.heads != unsaved.heads]
    return [_as_remembered(unsaved.heads, unsaved.reading), *others]


def _as_remembered(table_heads: str, reading: Reading) -> Remembered:
    return Remembered(heads=table_heads, reading=reading, draft=None, file="", at=utc_now(), by=None)


def draft_of(book: Book, tables: list[Remembered]) -> tuple[Sheet, Remembered] | None:
    """What was half said of a file, and of which of its sheets."""
    for sheet in book.sheets:
        if table := draft_of_sheet(book, sheet, tables):
            return sheet, table
    return None


def draft_of_sheet(book: Book, sheet: Sheet, tables: list[Remembered]) -> Remembered | None:
    """What was half said of a sheet of a file."""
    names = {row.named for head_rows in (1, 2) for row in rows_of_heads(sheet, head_rows)}
    signatures = {_heads_of(book, sheet, named) for named in names}
    return next((table for table in tables if table.draft is not None and table.heads in signatures), None)


def named_in(table_heads: str) -> list[str]:
    """The heads by which a table is known, and of a calendar its name, as names."""
    calendar, names = _names(table_heads)
    return [*([calendar] if calendar else []), *sorted(names)]


def _names(table_heads: str) -> tuple[str | None, frozenset[str]]:
    """The name of the calendar that a table is, or None, and the names of its heads."""
    names: list[str] = json.loads(table_heads)
    if names and names[0].startswith(_CALENDAR):
        return names[0].removeprefix(_CALENDAR), frozenset(names[1:])
    return None, frozenset(names)


def remember(
    store: Store,
    table_heads: str,
    reading: Reading,
    meanings: Mapping[tuple[str, str], Meaning],
    *,
    file: str,
    by: str | None,
    replacing: str | None = None,
    unsaid: Mapping[tuple[str, str], Meaning] | None = None,
) -> None:
    """Keep what was said of a table to its end, in one transaction; how it was read before is kept beside.

    Parameters
    ----------
    meanings : by our column and the text as written; what was said of other texts before stays, and what
        these meant before is kept beside.
    replacing : heads under which its draft was kept, which is forgotten.
    unsaid : what texts meant until now without a word said, as the studio spelt them so.
    """
    now = utc_now()
    with store.writing(counts=False) as con:
        before = con.execute("SELECT reading FROM foreign_tables WHERE heads = ?", [table_heads]).fetchall()
        con.execute(
            "INSERT OR REPLACE INTO foreign_tables VALUES (?, ?, NULL, ?, ?, ?)",
            [table_heads, reading_after(before[0][0] if before else None, reading, now), file, now, by],
        )
        if replacing is not None and replacing != table_heads:
            _forget_draft(con, replacing)
        _put_meanings(con, table_heads, meanings, now, by, unsaid or {})


def add_meanings(
    store: Store, table_heads: str, meanings: Mapping[tuple[str, str], Meaning], *, by: str | None
) -> None:
    """Keep what texts of a table mean, by our column and the text as written."""
    with store.writing(counts=False) as con:
        _put_meanings(con, table_heads, meanings, utc_now(), by, {})


def keep_draft(store: Store, table_heads: str, draft: object, *, file: str, by: str | None) -> None:
    """Keep a reading that is half said; one that was said to its end before stays beside it."""
    with store.writing(counts=False) as con:
        con.execute(
            """INSERT INTO foreign_tables VALUES (?, NULL, ?, ?, ?, ?)
            ON CONFLICT (heads) DO UPDATE SET draft = excluded.draft, file = excluded.file,
                kept_at = excluded.kept_at, kept_by = excluded.kept_by""",
            [table_heads, json.dumps(draft, ensure_ascii=False), file, utc_now(), by],
        )


def forget_draft(store: Store, table_heads: str) -> None:
    with store.writing(counts=False) as con:
        _forget_draft(con, table_heads)


def forget(store: Store, table_heads: str) -> None:
    """Forget a table, and what its texts mean; what came in by it stays."""
    with store.writing(counts=False) as con:
        con.execute("DELETE FROM foreign_words WHERE heads = ?", [table_heads])
        con.execute("DELETE FROM foreign_tables WHERE heads = ?", [table_heads])


def _forget_draft(con: Connection, table_heads: str) -> None:
    con.execute("UPDATE foreign_tables SET draft = NULL WHERE heads = ?", [table_heads])
    con.execute(
        """DELETE FROM foreign_tables WHERE heads = ? AND reading IS NULL
            AND heads NOT IN (SELECT heads FROM foreign_words)""",
        [table_heads],
    )


def _put_meanings(
    con: Connection,
    table_heads: str,
    meanings: Mapping[tuple[str, str], Meaning],
    now: datetime,
    by: str | None,
    unsaid: Mapping[tuple[str, str], Meaning],
) -> None:
    """What a text meant before stays beside what it means from now on: rows came in by it."""
    means_by_text: dict[tuple[str, str], dict[str, Any]] = {
        (column, spelling): json.loads(means)
        for column, spelling, means in con.execute(
            "SELECT column_name, spelling, means FROM foreign_words WHERE heads = ?", [table_heads]
        ).fetchall()
    }
    rows = []
    for (column, text), meaning in meanings.items():
        before = means_by_text.get((column, folded(text)))
        if before is None and (understood := unsaid.get((column, text))):
            before = asdict(understood)
        # with the first words of a table nothing had come in
        first = before is None and not means_by_text
        means = asdict(meaning) if first else means_after(before, meaning, now)
        rows.append({"column": column, "spelling": folded(text), "written": text, "means": json.dumps(means)})
    con.execute(
        """INSERT OR REPLACE INTO foreign_words
        SELECT ?, w.column, w.spelling, w.written, w.means::JSON, ?, ?
        FROM (
            SELECT unnest(from_json(
                ?, '[{"column": "VARCHAR", "spelling": "VARCHAR", "written": "VARCHAR", "means": "VARCHAR"}]'
            )) AS w
        )""",
        [table_heads, now, by, json.dumps(rows)],
    )
