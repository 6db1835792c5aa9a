"""What a table would count twice, for who says its words otherwise than before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from ingest.foreign.bring_in import as_rows, converted_rows
from ingest.foreign.convert import source_texts
from ingest.foreign.long_rows import LongRows, long_rows
from ingest.foreign.memory import read_earlier_meanings, read_meanings
from ingest.foreign.reading import Reading
from ingest.foreign.said_before import CameInBefore, by_row, came_in_before
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.words import Meaning, Meanings, Studio
from ingest.importing.cell_readers import Context
from ingest.importing.check import check
from ingest.importing.rows import SaidOtherwise
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now
from ingest.values.parsing import MARK_OF_SEPARATOR, folded


@dataclass(frozen=True, slots=True, kw_only=True)
class WordSaidOtherwise:
    """A text of which rows came in when it meant something else.

    Attributes
    ----------
    column : ours. text : as it is first written.
    then, now : what it meant, and what it means.
    rows : how many of the rows that have it would count twice.
    """

    column: str
    text: str
    then: Meaning
    now: Meaning
    rows: int


def would_count_twice(
    store: Store,
    table_heads: str,
    sheets: Sequence[tuple[Book, Sheet, int]],
    reading: Reading,
    meanings: Meanings,
    now: datetime | None = None,
) -> list[WordSaidOtherwise]:
    """The words of which rows are held by what they meant before and would be new by what they mean now;
    nothing is written.

    Parameters
    ----------
    table_heads : under which what they meant is kept.
    sheets : that are read alike, each with its file and the row of its heads, from 0.
    meanings : by our column and the text, folded.
    """
    rows: Counter[tuple[str, str]] = Counter()
    changes: dict[tuple[str, str], tuple[Meaning, Meaning]] = {}
    written: dict[tuple[str, str], str] = {}
    with store.reading() as con:
        before = [read_meanings(con, table_heads), *read_earlier_meanings(con, table_heads)]
        for book, sheet, row in sheets:
            mark = MARK_OF_SEPARATOR.get(book.separator, "")
            studio = Studio.of(con, Context.of(con, now=now or utc_now(), decimal_mark=mark))
            long = long_rows(sheet, reading, row)
            came_before = came_in_before(con, long, reading, meanings, before, studio, book)
            if came_before.rows.empty:
                continue
            changes |= came_before.changes
            places = _counted_twice(con, long, reading, meanings, studio, book, came_before)
            texts = source_texts(long, reading)
            for column in {column for column, _ in came_before.changes}:
                for text, count in texts[column].iloc[places].value_counts().items():
                    if (key := (column, folded(str(text)))) in came_before.changes:
                        rows[key] += int(count)
                        written.setdefault(key, str(text))
    return [
        WordSaidOtherwise(
            column=key[0], text=written[key], then=changes[key][0], now=changes[key][1], rows=count
        )
        for key, count in rows.most_common()
    ]


def _counted_twice(
    con: Connection,
    long: LongRows,
    reading: Reading,
    meanings: Meanings,
    studio: Studio,
    book: Book,
    came_before: CameInBefore,
) -> list[int]:
    """The rows of the table that would come in a second time, from 0."""
    today = studio.context.today.isoformat()
    converted = converted_rows(long, reading, meanings, studio, book, today)
    # their works would be made first
    studio.context.objects |= {folded(code): code for code in converted.new_works}
    rows = as_rows(con, converted, book, "")
    entries = by_row(came_before, converted)
    rows.said_otherwise = SaidOtherwise(entries=entries)
    check(con, converted.form, rows, studio.context)
    held_back = con.execute("SELECT \"row\" FROM row_status WHERE status = 'held back'").df()["row"]
    named = entries[entries["entry"].notna() & entries["row"].isin(held_back)]
    return [int(place) for place in converted.places[named["row"]]]
