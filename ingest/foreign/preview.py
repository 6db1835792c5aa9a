"""For who says what a table means: how its first rows would be kept, and its texts, each once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from ingest.foreign.bring_in import as_rows, converted_rows
from ingest.foreign.convert import ConvertedRows, days_of, source_texts
from ingest.foreign.long_rows import left_out_by_day, long_rows
from ingest.foreign.reading import Reading, word_columns
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.words import Meaning, Meanings, Studio, Word, words_of
from ingest.importing.cell_readers import Context
from ingest.importing.check import Checked, check
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now
from ingest.values.parsing import MARK_OF_SEPARATOR, folded


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """How the first rows of a table would be kept.

    Attributes
    ----------
    rows : frame of `line` (of the file), the columns of our form, `status` (stored, corrects, already held,
        held back, rejected), `reason` and `mend` of what is wrong.
    checked : the account of these rows.
    all_rows, left_out : of the whole sheet: rows of our form, and rows that are none, by what was said.
    """

    rows: pd.DataFrame
    checked: Checked
    all_rows: int
    left_out: int


def preview(
    store: Store,
    book: Book,
    sheet: Sheet,
    row: int,
    reading: Reading,
    meanings: Meanings,
    *,
    rows: int = 20,
    now: datetime | None = None,
) -> Preview:
    """The first rows through the one check; nothing is written. Raises `ReadingError` where too little was
    said.

    Parameters
    ----------
    row : of the heads, from 0.
    meanings : by our column and the text, folded.
    rows : how many are looked at.
    """
    now = now or utc_now()
    with store.reading() as con:
        context = Context.of(con, now=now, decimal_mark=MARK_OF_SEPARATOR.get(book.separator, ""))
        converted = converted_rows(
            long_rows(sheet, reading, row),
            reading,
            meanings,
            Studio.of(con, context),
            book,
            context.today.isoformat(),
        )
        # their works would be made first
        context.objects |= {folded(code): code for code in converted.new_works}
        first = ConvertedRows(
            form=converted.form,
            cells=converted.cells.head(rows),
            lines=converted.lines[:rows],
            places=converted.places[:rows],
            faults=converted.faults[converted.faults["row"] < rows],
            left_out=converted.left_out,
        )
        checked = check(con, first.form, as_rows(con, first, book, ""), context)
        frame = _with_status(con, first.cells, checked)
    return Preview(rows=frame, checked=checked, all_rows=len(converted.lines), left_out=converted.left_out)


def _with_status(con: Connection, cells: pd.DataFrame, checked: Checked) -> pd.DataFrame:
    statuses = con.execute(
        """SELECT coalesce(s.status, CASE WHEN c."row" IS NULL THEN 'stored' ELSE 'corrects' END)
        FROM raw LEFT JOIN row_status AS s USING ("row") LEFT JOIN corrections AS c USING ("row")
        ORDER BY raw."row" """
    ).fetchall()
    remarks = checked.faults[["row"]].join(checked.problems[["reason", "mend"]]).dropna(subset=["row"])
    by_row = {name: remarks.groupby("row")[name].agg(" / ".join).to_dict() for name in ("reason", "mend")}
    frame = cells.copy()
    frame.insert(0, "line", checked.rows.lines)
    frame["status"] = [status for (status,) in statuses]
    for name, texts in by_row.items():
        frame[name] = [texts.get(row, "") for row in range(len(frame))]
    return frame


def words_in(
    con: Connection,
    sheets: Sequence[tuple[Sheet, int]],
    reading: Reading,
    meanings: Meanings,
    likely: int = 3,
    now: datetime | None = None,
) -> list[Word]:
    """The different texts of works, phases, techniques and people in sheets that are read alike; those alone
    that stand in rows which are not left out.

    Parameters
    ----------
    sheets : each with the row of its heads, from 0.
    likely : how many matches are offered for each.
    """
    by_column: dict[str, list[pd.Series[str]]] = {}
    context = Context.of(con, now=now or utc_now())
    for sheet, row in sheets:
        rows = long_rows(sheet, reading, row)
        out, _ = left_out_by_day(days_of(rows, reading, mark=""), reading.left_out, context.today.isoformat())
        texts = source_texts(rows, reading)
        for column in word_columns(reading):
            if column in texts:
                by_column.setdefault(column, []).append(texts[column][~out])
    joined = {column: pd.concat(texts, ignore_index=True) for column, texts in by_column.items()}
    return words_of(joined, meanings, Studio.of(con, context), reading, likely)


def first_years(sheets: Sequence[tuple[Sheet, int]], reading: Reading, column: str) -> dict[str, int]:
    """By the text of one of our columns, folded, the year of its first row; of a day that can be read two
    ways the year as it stands.

    Parameters
    ----------
    sheets : each with the row of its heads, from 0.
    """
    frames = []
    for sheet, row in sheets:
        rows = long_rows(sheet, reading, row)
        texts = source_texts(rows, reading)
        if column in texts:
            days = days_of(rows, reading, mark="")
            written = texts.get("date", texts.get("started_at", days))
            year = days.where(days != "", written).str.extract(r"(?<!\d)((?:19|20)\d\d)(?!\d)", expand=False)
            frames.append(pd.DataFrame({"text": texts[column], "year": pd.to_numeric(year)}))
    if not frames:
        return {}
    first = pd.concat(frames, ignore_index=True).dropna().groupby("text")["year"].min()
    years: dict[str, int] = {}
    for text, year in first.items():
        key = folded(str(text))
        years[key] = min(int(year), years.get(key, int(year)))
    return years


def by_folded(meanings: Mapping[tuple[str, str], Meaning]) -> dict[tuple[str, str], Meaning]:
    """Meanings by the text as it is compared, from meanings by the text as it is written."""
    return {(column, folded(text)): meaning for (column, text), meaning in meanings.items()}
