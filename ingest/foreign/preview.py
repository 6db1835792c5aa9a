"""For who says what a table means: what would become of its rows, and its texts, each once."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

import numpy as np
import pandas as pd

from ingest.foreign.convert import NOT_SAID, days_of, source_texts
from ingest.foreign.counted_twice import CheckedTable, check_table
from ingest.foreign.earlier import read_all_earlier
from ingest.foreign.long_rows import left_out_by_day, long_rows
from ingest.foreign.reading import Reading, word_columns
from ingest.foreign.said_elsewhere import read_said_elsewhere
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.waiting_rows import rows_waiting_for_words
from ingest.foreign.word_list import words_of
from ingest.foreign.words import Meaning, Meanings, Studio, Word
from ingest.importing.cell_readers import Context
from ingest.importing.check import Checked
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now
from ingest.values.spelling import folded

RowOutcome = Literal["stored", "held already", "asked about", "held back", "left out", "rejected"]
OUTCOMES: tuple[RowOutcome, ...] = get_args(RowOutcome)
MOST_CHECKED = 20_000
"""Rows that are looked at while somebody says what a table means."""
MOST_LEFT_OUT = 1_000
"""Rows that are left out and can be looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What would become of the rows of a table.

    Attributes
    ----------
    rows : frame of `line` (of the file), the columns of our form, `outcome`, `status` (stored, corrects,
        already held, held back, rejected), `reason` and `mend` of what is wrong, and `asks`, the texts of
        which it is still to say what they mean, each with our column.
    left_out : frame of the first rows that are none, by what was said: `line`, `written` (as the table has
        them), `rule` (its place in the reading; -1: no rule of texts) and `asks` (its texts that do).
    counts : of all rows that were looked at, by outcome.
    checked : the account of `rows`.
    all_rows : of the whole sheet, those that are left out among them.
    """

    rows: pd.DataFrame
    left_out: pd.DataFrame
    counts: Mapping[RowOutcome, int]
    checked: Checked
    all_rows: int


def preview(
    store: Store,
    book: Book,
    sheet: Sheet,
    row: int,
    reading: Reading,
    meanings: Meanings,
    *,
    table_heads: str = "",
    half_chosen: Collection[tuple[str, str]] = (),
    rows: int = MOST_CHECKED,
    now: datetime | None = None,
) -> Preview:
    """The rows through the one check; nothing is written. Raises `ReadingError` where too little was said.

    Parameters
    ----------
    row : of the heads, from 0.
    meanings : by our column and the text, folded.
    table_heads : under which is kept what was said of the table before.
    half_chosen : texts likewise of which it is about to be said that they mean something else.
    rows : how many are looked at.
    """
    with store.reading() as con:
        before = read_all_earlier(con, table_heads)
        table = check_table(con, (book, sheet, row), reading, meanings, before, now or utc_now(), rows)
        frame = _with_status(con, table.converted.cells, table.checked)
        waiting = rows_waiting_for_words(con, table.checked) if reading.rows == "estimates" else set()
    frame["asks"] = pd.Series(_asks(table, reading, half_chosen), index=frame.index, dtype=object)
    frame["outcome"] = _outcomes(frame, table.checked, waiting)
    converted = table.converted
    outcomes = frame["outcome"]
    counts: dict[RowOutcome, int] = {outcome: int((outcomes == outcome).sum()) for outcome in OUTCOMES}
    counts["left out"] = converted.left_out
    return Preview(
        rows=frame,
        left_out=_left_out(table, reading, meanings),
        counts=counts,
        checked=table.checked,
        all_rows=table.all_rows + converted.left_out,
    )


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


def _asks(
    table: CheckedTable, reading: Reading, half_chosen: Collection[tuple[str, str]]
) -> list[tuple[tuple[str, str], ...]]:
    """By row, the texts of which it is still to say what they mean, each with our column."""
    written = source_texts(table.rows, reading)
    faults = table.checked.faults
    unsaid = faults[faults["code"] == NOT_SAID]
    frames = [pd.DataFrame({"row": unsaid["row"], "column": unsaid["column"], "text": unsaid["value"]})]
    for column in word_columns(reading):
        if column in written and half_chosen:
            texts = written[column].iloc[table.converted.places].reset_index(drop=True)
            open_texts = [text for text in texts.unique() if (column, folded(str(text))) in half_chosen]
            chosen = texts[texts.isin(open_texts)]
            frames.append(pd.DataFrame({"row": chosen.index, "column": column, "text": chosen}))
    by_row: dict[int, list[tuple[str, str]]] = {}
    for row, column, text in pd.concat(frames).drop_duplicates().itertuples(index=False, name=None):
        by_row.setdefault(int(row), []).append((column, str(text)))
    return [tuple(by_row.get(row, ())) for row in range(len(table.converted.lines))]


def _outcomes(frame: pd.DataFrame, checked: Checked, waiting: Collection[int]) -> pd.Series[str]:
    """What becomes of each row: one that has a fault besides is refused, whatever its words mean.

    Parameters
    ----------
    waiting : rows that are kept out by others alone of which something is asked.
    """
    other_faults = checked.faults.loc[checked.faults["code"] != NOT_SAID, "row"]
    outcomes = frame["status"].replace("already held", "held already")
    outcomes = outcomes.where(outcomes.isin(["held already", "held back", "rejected"]), "stored")
    asked_about = frame["asks"].map(bool) & ~pd.Series(frame.index.isin(other_faults), index=frame.index)
    return outcomes.mask(asked_about | frame.index.isin(list(waiting)), "asked about")


def _left_out(table: CheckedTable, reading: Reading, meanings: Meanings) -> pd.DataFrame:
    """The first rows that are left out: by a rule of texts, by what a text of theirs means, by their day."""
    rows, without = table.rows, table.rows.without
    places = np.setdiff1d(np.arange(len(rows.lines)), table.all_places)[:MOST_LEFT_OUT]
    by_rule = pd.DataFrame(
        {
            "line": without.lines[:MOST_LEFT_OUT],
            "written": _joined(without.texts.head(MOST_LEFT_OUT)),
            "rule": without.rules[:MOST_LEFT_OUT],
            "asks": [()] * len(without.lines[:MOST_LEFT_OUT]),
        }
    )
    written = {column: texts.iloc[places] for column, texts in source_texts(rows, reading).items()}
    by_meaning = pd.DataFrame(
        {
            "line": rows.lines[places],
            "written": _joined(rows.texts.iloc[places]),
            "rule": -1,
            "asks": [
                tuple(
                    (column, str(written[column].iloc[number]))
                    for column in word_columns(reading)
                    if column in written
                    and (meaning := meanings.get((column, folded(str(written[column].iloc[number])))))
                    and meaning.left_out
                )
                for number in range(len(places))
            ],
        }
    )
    together = pd.concat([by_rule, by_meaning]).sort_values("line", kind="stable", ignore_index=True)
    return together.head(MOST_LEFT_OUT)


def _joined(texts: pd.DataFrame) -> list[str]:
    return [" · ".join(filter(None, cells)) for cells in texts.to_numpy(dtype=object).tolist()]


def words_in(
    con: Connection,
    sheets: Sequence[tuple[Sheet, int]],
    reading: Reading,
    meanings: Meanings,
    likely: int = 3,
    now: datetime | None = None,
    table_heads: str = "",
) -> list[Word]:
    """The different texts of works, phases, techniques and people in sheets that are read alike; those alone
    that stand in rows which are not left out.

    Parameters
    ----------
    sheets : each with the row of its heads, from 0.
    likely : how many matches are offered for each.
    table_heads : under which is kept what is said of the table; what is said of others is offered.
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
    said_elsewhere = read_said_elsewhere(con, table_heads)
    return words_of(joined, meanings, Studio.of(con, context), reading, likely, said_elsewhere)


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
