"""Rows that came in before, when their words meant something else: they would count twice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.foreign.convert import ConvertedRows, convert, source_texts
from ingest.foreign.long_rows import LongRows
from ingest.foreign.reading import Reading, word_columns
from ingest.foreign.sheets import Book
from ingest.foreign.words import Meaning, Meanings, Studio
from ingest.importing.cell_readers import Context
from ingest.importing.check import check
from ingest.importing.rows import rows_of_table
from ingest.sql import Connection
from ingest.values.parsing import MARK_OF_SEPARATOR, folded

Changes = Mapping[tuple[str, str], tuple[Meaning, Meaning]]
"""By our column and the text, folded: what it meant before, and what it means now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CameInBefore:
    """Rows of a table that came in when their words meant something else.

    Attributes
    ----------
    rows : frame of `place` (of the row of the table, from 0) and `entry`, in which it is held as it was said
        then; None where that was corrected or taken back since, which stands.
    changes : of what words of the table mean.
    """

    rows: pd.DataFrame
    changes: Changes


def came_in_before(
    con: Connection,
    rows: LongRows,
    reading: Reading,
    meanings: Meanings,
    before: Sequence[Meanings],
    studio: Studio,
    book: Book,
) -> CameInBefore:
    """Read a table by what its words meant before, and look which of its rows are held so; nothing is written
    but temporary tables.

    Parameters
    ----------
    meanings : what the words mean now.
    before : what they meant at earlier times, the latest first.
    """
    came_before = pd.DataFrame({"place": pd.Series(dtype="int64"), "entry": pd.Series(dtype="str")})
    changes: dict[tuple[str, str], tuple[Meaning, Meaning]] = {}
    if reading.rows != "time entries":
        return CameInBefore(rows=came_before, changes=changes)
    written = source_texts(rows, reading)
    columns = [column for column in word_columns(reading) if column in written]
    for earlier in before:
        changed = _changed(written, columns, meanings, earlier, studio)
        if not changed:
            continue
        held_rows = _held_rows(con, rows, reading, earlier, studio, book)
        held_rows = held_rows[
            _with_changed(written, columns, changed)[held_rows["place"]]
            & ~held_rows["place"].isin(came_before["place"])
            & ~held_rows["entry"].isin(came_before["entry"].dropna())
        ]
        came_before = pd.concat([came_before, held_rows], ignore_index=True)
        changes = {**changed, **changes}
    return CameInBefore(rows=came_before, changes=changes)


def by_row(came_before: CameInBefore, converted: ConvertedRows) -> pd.DataFrame:
    """The same by the rows as they are read now: frame of `row` and `entry`."""
    rows = pd.DataFrame({"place": converted.places, "row": np.arange(len(converted.places))})
    return rows.merge(came_before.rows, on="place")[["row", "entry"]]


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
        for text in map(str, written[column].unique()):
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


def _with_changed(
    written: Mapping[str, pd.Series[str]], columns: Sequence[str], changed: Changes
) -> npt.NDArray[np.bool_]:
    """By row, whether it has a changed text."""
    has = np.zeros(len(next(iter(written.values()))), dtype=bool)
    for column in columns:
        texts = [text for text in written[column].unique() if (column, folded(str(text))) in changed]
        has |= written[column].isin(texts).to_numpy()
    return has


def _held_rows(
    con: Connection, rows: LongRows, reading: Reading, earlier: Meanings, studio: Studio, book: Book
) -> pd.DataFrame:
    """The rows that are held as they were read then: frame of `place` and `entry`."""
    mark = MARK_OF_SEPARATOR.get(book.separator, "")
    context: Context = studio.context
    read = convert(rows, reading, earlier, studio, mark=mark, today=context.today.isoformat())
    check(
        con,
        read.form,
        rows_of_table(
            con,
            read.form,
            read.cells,
            read.lines,
            path=book.path,
            separator=book.separator,
            cell_faults=read.faults,
        ),
        context,
        "new",
    )
    held_rows = con.execute(
        """SELECT r."row", s.entry
        FROM resolved AS r JOIN row_status AS t ON t."row" = r."row" AND t.status = 'already held'
        LEFT JOIN repeats AS n ON n."row" = r."row"
        LEFT JOIN (
            SELECT content, entry, row_number() OVER (PARTITION BY content ORDER BY entry) AS rank FROM spells
        ) AS s ON s.content = r.content AND s.rank = coalesce(n.rank, 1)
        WHERE r.entry IS NULL ORDER BY r."row" """
    ).df()
    return pd.DataFrame(
        {"place": read.places[held_rows["row"].to_numpy(dtype=np.int64)], "entry": held_rows["entry"]}
    )
