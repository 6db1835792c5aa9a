"""What a table would count twice, for who reads it or says its words otherwise than before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.foreign.bring_in import as_rows, converted_rows
from ingest.foreign.convert import ConvertedRows, source_texts
from ingest.foreign.earlier import EarlierStatement, read_all_earlier
from ingest.foreign.long_rows import LongRows, long_rows
from ingest.foreign.reading import Reading
from ingest.foreign.reconciliation import CameInBefore, came_in_before
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.words import Meaning, Meanings, Studio
from ingest.importing.cell_readers import Context
from ingest.importing.check import Checked, check
from ingest.importing.rows import SaidOtherwise, SaidOtherwiseAs
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now
from ingest.values.numbers import MARK_OF_SEPARATOR
from ingest.values.spelling import folded


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOtherwise:
    """A reading by which rows came in that say otherwise by what is said now.

    Attributes
    ----------
    rows : how many would count twice, of those without a word that is said otherwise.
    """

    then: Reading
    now: Reading
    rows: int


@dataclass(frozen=True, slots=True)
class CheckedTable:
    """A table checked against the record and what came in of it before.

    Attributes
    ----------
    rows : in the table's own words.
    converted : those that were checked; all_places : as of `ConvertedRows`, of all of them.
    """

    rows: LongRows
    converted: ConvertedRows
    all_places: npt.NDArray[np.int64]
    checked: Checked
    came_before: CameInBefore

    @property
    def all_rows(self) -> int:
        """How many rows the table has that are none which is left out."""
        return len(self.all_places)


def check_table(
    con: Connection,
    table: tuple[Book, Sheet, int],
    reading: Reading,
    meanings: Meanings,
    before: Sequence[EarlierStatement],
    now: datetime,
    most: int | None = None,
    become: SaidOtherwiseAs = "ask",
) -> CheckedTable:
    """Check a sheet by what is said of it; nothing is written but temporary tables. Raises `ReadingError`
    where too little was said.

    Parameters
    ----------
    table : the file, the sheet, and the row of its heads, from 0.
    before : what was said at earlier times, the latest first.
    most : how many rows are checked; all if None.
    become : what would become of rows that are held by other words.
    """
    book, sheet, row = table
    mark = MARK_OF_SEPARATOR.get(book.separator, "")
    studio = Studio.of(con, Context.of(con, now=now, decimal_mark=mark))
    rows = long_rows(sheet, reading, row)
    converted = converted_rows(rows, reading, meanings, studio, book, studio.context.today.isoformat())
    came_before = came_in_before(con, table, rows, reading, meanings, converted, before, studio)
    # their works would be made first
    studio.context.objects |= {folded(code): code for code in converted.new_works}
    first = converted.first(most)
    to_check = as_rows(con, first, book, "")
    entries = came_before.rows[["row", "entry"]]
    to_check.said_otherwise = SaidOtherwise(entries=entries[entries["row"] < len(first.lines)], become=become)
    checked = check(con, first.form, to_check, studio.context)
    return CheckedTable(rows, first, converted.places, checked, came_before)


def would_count_twice(
    store: Store,
    table_heads: str,
    sheets: Sequence[tuple[Book, Sheet, int]],
    reading: Reading,
    meanings: Meanings,
    now: datetime | None = None,
) -> list[WordSaidOtherwise | ReadOtherwise]:
    """The words, and then the readings, of which rows are held by what was said before and would be new by
    what is said now; nothing is written.

    Parameters
    ----------
    table_heads : under which what was said is kept.
    sheets : that are read alike, each with its file and the row of its heads, from 0.
    meanings : by our column and the text, folded.
    """
    rows_by_word: Counter[tuple[str, str]] = Counter()
    rows_by_statement: Counter[int] = Counter()
    changes: dict[tuple[str, str], tuple[Meaning, Meaning]] = {}
    written: dict[tuple[str, str], str] = {}
    with store.reading() as con:
        before = read_all_earlier(con, table_heads)
        for table in sheets if before else ():
            result = check_table(con, table, reading, meanings, before, now or utc_now())
            twice = _counted_twice(con, result)
            changes |= result.came_before.changes
            texts = source_texts(result.rows, reading)
            by_word = np.zeros(len(twice), dtype=bool)
            for column in {column for column, _ in result.came_before.changes}:
                of_rows = texts[column].iloc[result.converted.places[twice["row"]]]
                for text, count in of_rows.value_counts().items():
                    if (key := (column, folded(str(text)))) in result.came_before.changes:
                        by_word |= (of_rows == text).to_numpy(dtype=bool)
                        rows_by_word[key] += int(count)
                        written.setdefault(key, str(text))
            rows_by_statement.update(twice["statement"][~by_word].tolist())
    return [
        *(
            WordSaidOtherwise(
                column=key[0], text=written[key], then=changes[key][0], now=changes[key][1], rows=count
            )
            for key, count in rows_by_word.most_common()
        ),
        *(
            ReadOtherwise(then=before[statement].reading, now=reading, rows=count)
            for statement, count in rows_by_statement.most_common()
        ),
    ]


def _counted_twice(con: Connection, table: CheckedTable) -> pd.DataFrame:
    """The rows that would come in a second time: frame of `row`, from 0, and `statement`."""
    held_back = con.execute("SELECT \"row\" FROM row_status WHERE status = 'held back'").df()["row"]
    came_before = table.came_before.rows
    return came_before[came_before["entry"].notna() & came_before["row"].isin(held_back)]
