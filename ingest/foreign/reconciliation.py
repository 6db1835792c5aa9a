"""Rows that came in before, when their table was read otherwise or their words meant something else: they
would count twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.errors import NotationError
from ingest.foreign.convert import ConvertedRows, convert, source_texts
from ingest.foreign.earlier import EarlierStatement
from ingest.foreign.long_rows import LongRows, long_rows
from ingest.foreign.reading import Reading, ReadingError, RowKind, word_columns
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.words import Meaning, Meanings, Studio
from ingest.importing.cell_readers import READERS
from ingest.importing.check import check
from ingest.importing.rows import rows_of_table
from ingest.sql import Connection
from ingest.values.numbers import MARK_OF_SEPARATOR
from ingest.values.spelling import folded

Changes = Mapping[tuple[str, str], tuple[Meaning, Meaning]]
"""By our column and the text, folded: what it meant before, and what it means now."""
_ALREADY_HELD: Mapping[RowKind, str] = {
    "time entries": """
        SELECT r."row", s.entry
        FROM resolved AS r JOIN row_status AS t ON t."row" = r."row" AND t.status = 'already held'
        LEFT JOIN repeats AS n ON n."row" = r."row"
        LEFT JOIN (
            SELECT content, entry, row_number() OVER (PARTITION BY content ORDER BY entry) AS rank FROM spells
        ) AS s ON s.content = r.content AND s.rank = coalesce(n.rank, 1)
        WHERE r.entry IS NULL ORDER BY r."row"
    """,
    "estimates": """
        SELECT r."row", CASE WHEN v.same_lines THEN r.object || ' version ' || r.version END AS entry,
            r.version
        FROM resolved AS r JOIN row_status AS t ON t."row" = r."row" AND t.status = 'already held'
        JOIN compared AS v ON v.object = r.object AND v.version = r.version
        ORDER BY r."row"
    """,
    "objects": """
        SELECT r."row", CASE WHEN l.unchanged THEN r.object END AS entry
        FROM resolved AS r JOIN laid AS l ON l."row" = r."row"
        WHERE l.unchanged OR l.said_before ORDER BY r."row"
    """,
}
"""By what the rows are: those that are held, and in what as it was said then; null where that says otherwise
now."""
_NONE = pd.DataFrame({"row": pd.Series(dtype="int64"), "entry": pd.Series(dtype="str")})


@dataclass(frozen=True, slots=True, kw_only=True)
class CameInBefore:
    """Rows of a table that came in when it was read otherwise, or its words meant something else.

    Attributes
    ----------
    rows : frame of `row` (of those that are read now, from 0), `entry`, in which it is held as it was said
        then, and `statement`; no entry where that was corrected or taken back since, which stands.
    changes : of what words of the table mean.
    readings : by `statement`, how the table was read.
    """

    rows: pd.DataFrame
    changes: Changes
    readings: Sequence[Reading]


def came_in_before(
    con: Connection,
    table: tuple[Book, Sheet, int],
    rows: LongRows,
    reading: Reading,
    meanings: Meanings,
    converted: ConvertedRows,
    before: Sequence[EarlierStatement],
    studio: Studio,
) -> CameInBefore:
    """Read a table by what was said of it before, and look which of its rows are held so and say otherwise
    now; nothing is written but temporary tables.

    Parameters
    ----------
    table : the file, the sheet, and the row of its heads, from 0.
    rows, reading, meanings, converted : the table in its own words, what is said of it now, and its rows by
        that.
    before : what was said at earlier times, the latest first.
    """
    held_rows = [_NONE.assign(statement=pd.Series(dtype="int64"))]
    changes: dict[tuple[str, str], tuple[Meaning, Meaning]] = {}
    written = source_texts(rows, reading)
    for number, earlier in enumerate(before):
        if earlier.reading.rows != reading.rows:
            continue
        changed = _changed(written, word_columns(reading), meanings, earlier.meanings, studio)
        if not changed and earlier.reading == reading:
            continue
        of_statement = _held_rows(con, table, rows, converted, earlier, studio)
        held_rows.append(of_statement.assign(statement=number))
        changes = {**changed, **changes}
    came_before = _each_once(held_rows, converted, several=reading.rows != "time entries")
    return CameInBefore(rows=came_before, changes=changes, readings=[earlier.reading for earlier in before])


def _each_once(held_rows: Sequence[pd.DataFrame], converted: ConvertedRows, *, several: bool) -> pd.DataFrame:
    """Of the rows that are held as they were read at several times each once: by the latest of these by which
    it is held as it was said then, or else by the latest. What was corrected since may be another row's.

    Parameters
    ----------
    several : a version, or a work, is held for several rows; an entry for one.
    """
    equal = pd.util.hash_pandas_object(converted.cells, index=False).to_numpy()
    came_before = held_rows[0].assign(own=pd.Series(dtype="int64"))
    for is_held in (True, False):
        for of_statement in held_rows[1:]:
            more = of_statement[of_statement["entry"].notna() == is_held]
            more = more.assign(own=more["row"])
            if not several and is_held:
                more = more[~more["entry"].isin(came_before["entry"])]
            if not is_held:
                more = more[~more["own"].isin(came_before["own"])]
            if not several:
                more = _on_the_last(more, equal, came_before["row"])
            more = more[~more["row"].isin(came_before["row"])]
            came_before = pd.concat([came_before, more], ignore_index=True)
    return came_before.drop(columns="own")


def _on_the_last(
    held_rows: pd.DataFrame, equal: npt.NDArray[np.integer[Any]], taken: pd.Series[int]
) -> pd.DataFrame:
    """Rows that are held, those that say the same now put on the last of all rows that do: of equal rows the
    first are those that are held as they are said now.

    Parameters
    ----------
    equal : by row, the same of those that say the same now.
    taken : rows that are held otherwise.
    """
    free = np.setdiff1d(np.arange(len(equal)), taken)
    places = pd.DataFrame({"row": free, "equal": equal[free]})
    places["place"] = places.groupby("equal").cumcount(ascending=False)
    wanted = held_rows.assign(equal=equal[held_rows["row"].to_numpy(dtype=np.int64)])
    wanted["place"] = wanted.groupby("equal").cumcount(ascending=False)
    put = wanted.drop(columns="row").merge(places, on=["equal", "place"])
    return put[held_rows.columns].sort_values("row", ignore_index=True)


def _changed(
    written: Mapping[str, pd.Series[str]],
    columns: Sequence[str],
    meanings: Meanings,
    earlier: Meanings,
    studio: Studio,
) -> dict[tuple[str, str], tuple[Meaning, Meaning]]:
    """The texts of the table that meant something before, and mean something else now."""
    changed = {}
    for column in columns:
        for text in map(str, written[column].unique() if column in written else ()):
            key = (column, folded(text))
            known = studio.known(column, text)
            then, now = earlier.get(key) or known, meanings.get(key) or known
            if text and then and now and not _same(then, now, studio):
                changed[key] = (then, now)
    return changed


def _same(then: Meaning, now: Meaning, studio: Studio) -> bool:
    """They mean the same, in whatever spelling."""
    return (
        then.left_out == now.left_out and studio.in_own_words(then).values == studio.in_own_words(now).values
    )


def _held_rows(
    con: Connection,
    table: tuple[Book, Sheet, int],
    rows: LongRows,
    converted: ConvertedRows,
    earlier: EarlierStatement,
    studio: Studio,
) -> pd.DataFrame:
    """The rows that are held as they were read then, and say otherwise now: frame of `row` and `entry`."""
    (book, sheet, row), reading_then = table, earlier.reading
    try:
        rows_then = long_rows(sheet, reading_then, row)
    except ReadingError:  # of other columns than this file has
        return _NONE
    mark = MARK_OF_SEPARATOR.get(book.separator, "")
    today = studio.context.today.isoformat()
    then = convert(rows_then, reading_then, earlier.meanings, studio, mark=mark, today=today)
    row_now = _rows_now(then, rows_then, converted, rows)
    checked = check(
        con,
        then.form,
        rows_of_table(
            con,
            then.form,
            then.cells,
            then.lines,
            path=book.path,
            separator=book.separator,
            cell_faults=then.faults,
        ),
        studio.context,
        "new",
    )
    if not checked.outcome.already_held:
        return _NONE
    held_rows = con.execute(_ALREADY_HELD[reading_then.rows]).df()
    held_rows["row"] = row_now[held_rows["row"].to_numpy(dtype=np.int64)]
    held_rows = held_rows[held_rows["row"] >= 0]
    if reading_then.rows == "estimates":
        # of another version it says something new, and nothing of what came in
        version_now = _versions_of(converted, studio)[held_rows["row"].to_numpy(dtype=np.int64)]
        held_rows = held_rows[held_rows["version"].to_numpy(dtype=np.int64) == version_now]
    return held_rows[["row", "entry"]]


def _versions_of(converted: ConvertedRows, studio: Studio) -> npt.NDArray[np.int64]:
    """By row the number of its version; 0 where that cannot be read."""
    read = READERS["version"].read
    codes, texts = pd.factorize(converted.cells["version"])
    numbers = np.zeros(len(texts), dtype=np.int64)
    for place, text in enumerate(map(str, texts)):
        with suppress(NotationError):
            numbers[place] = int(str(read(studio.context, text.strip()))) if text.strip() else 0
    return numbers[codes]


def _rows_now(
    then: ConvertedRows, rows_then: LongRows, now: ConvertedRows, rows_now: LongRows
) -> npt.NDArray[np.int64]:
    """By row as it was read then, which it is now, from 0; -1 where it is none now, or says the same."""
    place_now = pd.Series(np.arange(len(now.places)), index=rows_now.places[now.places])
    row_now = place_now.reindex(rows_then.places[then.places], fill_value=-1).to_numpy(dtype=np.int64)
    columns = then.cells.columns.union(now.cells.columns)
    cells_then = then.cells.reindex(columns=columns, fill_value="").to_numpy(dtype=object)
    cells_now = now.cells.reindex(columns=columns, fill_value="").to_numpy(dtype=object)
    if not len(cells_now):
        return row_now
    same = (cells_then == cells_now[row_now]).all(axis=1)
    return np.where(same, -1, row_now)
