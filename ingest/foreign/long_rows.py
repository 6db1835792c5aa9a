"""The rows of a sheet as a reading has them: heads taken away, wide columns made rows, what is no row left
out.

All still in the table's own words; every row that is left out is counted by its rule.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.errors import NotationError
from ingest.foreign import notations
from ingest.foreign.bounds import MOST_COLUMNS
from ingest.foreign.reading import ANY, CELL, TODAY, LeaveOut, Reading, check_reading
from ingest.foreign.sheets import ROWS_LOOKED_AT, Sheet, heads
from ingest.importing.csv_file import distinct_names

WIDE_HEAD = "head"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOutRows:
    """Rows that a rule of texts left out.

    Attributes
    ----------
    texts, lines, origins : as of `LongRows`.
    rules : by row, the place of the rule in the reading, from 0.
    """

    texts: pd.DataFrame
    lines: npt.NDArray[np.int64]
    origins: npt.NDArray[np.str_]
    rules: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LongRows:
    """Rows in the table's words.

    Attributes
    ----------
    texts : frame of texts; columns as those of the table by name, with `CELL` and `WIDE_HEAD` of a wide one.
    lines : by row, its number in the file.
    left_out : by rule, in the order of the reading, how many rows it left out.
    sheet : name of the sheet.
    not_read : heads of a wide table that are neither known nor what its wide columns are.
    places : by row, where it stands in the sheet: the number of its row there, from 0, times `MOST_COLUMNS`,
        and of a wide table the number of its column besides.
    origins : by row, as of `ingest.importing.rows.Rows`.
    without : the rows that a rule of texts left out.
    """

    texts: pd.DataFrame
    lines: npt.NDArray[np.int64]
    left_out: tuple[int, ...]
    sheet: str
    not_read: tuple[str, ...] = ()
    places: npt.NDArray[np.int64]
    origins: npt.NDArray[np.str_]
    without: LeftOutRows


@dataclass(frozen=True, slots=True)
class RowOfHeads:
    """A row near the top of a sheet, from 0, as heads: all names, and those of heads that are not empty."""

    row: int
    names: frozenset[str]
    named: frozenset[str]


def rows_of_heads(sheet: Sheet, head_rows: int) -> list[RowOfHeads]:
    """The rows near the top of a sheet that have anything in them, each as heads over so many rows."""
    rows = []
    for row in range(min(len(sheet.lines) - head_rows + 1, ROWS_LOOKED_AT)):
        texts = heads(sheet, row, head_rows)
        if named := named_heads(texts):
            rows.append(RowOfHeads(row, frozenset(distinct_names(texts)), named))
    return rows


def head_row(rows: Sequence[RowOfHeads], names: frozenset[str], *, among_others: bool = False) -> int | None:
    """The row where these heads stand, in any order and alone, or `among_others` as those of a wide table do;
    None where they stand nowhere.
    """
    for row in rows:
        if names and (names <= row.names if among_others else names == row.named):
            return row.row
    return None


def named_heads(texts: Sequence[str]) -> frozenset[str]:
    """The names of heads that are not empty."""
    return frozenset(name for name, text in zip(distinct_names(texts), texts, strict=True) if text)


def long_rows(sheet: Sheet, reading: Reading, row: int) -> LongRows:
    """The rows below the heads; raises `ReadingError` where the reading is of another table.

    Parameters
    ----------
    row : of the heads, from 0.
    """
    written = heads(sheet, row, reading.head_rows)
    names = distinct_names(written)
    check_reading(reading, names)
    begins = row + reading.head_rows
    texts = sheet.cells.iloc[begins:].set_axis(names, axis=1).reset_index(drop=True)
    lines = sheet.lines[begins:]
    places_of_rows = np.arange(begins, len(sheet.lines)) * MOST_COLUMNS
    if reading.filled_down:
        columns = list(reading.filled_down)
        texts[columns] = texts[columns].replace("", None).ffill().fillna("")
    by_sheet = any(source.origin == "sheet" for source in reading.columns.values())
    origins = _digests(texts, [*written, sheet.name] if by_sheet else written)
    not_read: tuple[str, ...] = ()
    if reading.wide_of:
        places = wide_columns(written, reading)
        not_read = tuple(
            text
            for place, (text, name) in enumerate(zip(written, names, strict=True))
            if text and place not in places and name not in reading.fixed_names
        )
        texts, which, columns_of = _melted(texts, written, places)
        places_of_rows = places_of_rows[which] + columns_of
        lines, origins = lines[which], np.char.add(origins[which], texts[WIDE_HEAD].to_numpy(dtype=np.str_))
    rules = _rules_left_out(texts, reading)
    remaining = rules < 0
    return LongRows(
        texts=texts[remaining].reset_index(drop=True),
        lines=lines[remaining],
        left_out=tuple(int((rules == place).sum()) for place in range(len(reading.left_out))),
        sheet=sheet.name,
        not_read=not_read,
        places=places_of_rows[remaining],
        origins=origins[remaining],
        without=LeftOutRows(
            texts=texts[~remaining].reset_index(drop=True),
            lines=lines[~remaining],
            origins=origins[~remaining],
            rules=rules[~remaining],
        ),
    )


def _digests(texts: pd.DataFrame, above: Sequence[str]) -> npt.NDArray[np.str_]:
    """A digest of each row, with what it means by what stands above it: filled down, in the heads, or as the
    name of the sheet.
    """
    digest_above = hashlib.md5(json.dumps(list(above)).encode(), usedforsecurity=False).hexdigest()
    numbers = pd.util.hash_pandas_object(texts, index=False).to_numpy()
    return np.char.add(f"{digest_above} ", numbers.astype(np.str_))


def wide_columns(written: Sequence[str], reading: Reading) -> list[int]:
    """Places of the columns of a wide table that have hours in them: all that are not known by name and whose
    head is what the reading says.
    """
    places = []
    for place, (text, name) in enumerate(zip(written, distinct_names(written), strict=True)):
        if text and name not in reading.fixed_names and _may_be_head(text, reading):
            places.append(place)
    return places


def _may_be_head(text: str, reading: Reading) -> bool:
    try:
        if reading.wide_of == "date":
            notations.day(text, reading.day_order, reading.year, serial=reading.serial_days)
        elif reading.wide_of == "weekday":
            notations.weekday(text)
    except NotationError as error:
        return error.code == "day_or_month_first"  # a day, and it must be said in which order
    return True


def _melted(
    texts: pd.DataFrame, written: Sequence[str], places: Sequence[int]
) -> tuple[pd.DataFrame, npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """A row for each filled cell of the wide columns at these places, line by line, and from which row and
    column of the table it is.
    """
    cells = texts.iloc[:, list(places)].to_numpy(dtype=object)
    row, column = np.nonzero(cells != "")
    fixed = texts.drop(columns=texts.columns[list(places)]).iloc[row].reset_index(drop=True)
    head_texts = np.array([written[place] for place in places], dtype=object)
    fixed[CELL] = pd.Series(cells[row, column], dtype="str")
    fixed[WIDE_HEAD] = pd.Series(head_texts[column] if len(places) else [], dtype="str")
    return fixed, row, np.array(places, dtype=np.int64)[column]


def _rules_left_out(texts: pd.DataFrame, reading: Reading) -> npt.NDArray[np.int64]:
    """By row, the first rule of texts that leaves it out, -1 where none does. Rules of days are for
    `ingest.foreign.convert`, which reads them.
    """
    rules = np.full(len(texts), -1, dtype=np.int64)
    for place, rule in enumerate(reading.left_out):
        rules[(rules < 0) & _matches(texts, rule)] = place
    return rules


def _matches(texts: pd.DataFrame, rule: LeaveOut) -> npt.NDArray[np.bool_]:
    columns = list(texts.columns) if rule.column == ANY else [rule.column] if rule.column in texts else []
    matched = np.zeros(len(texts), dtype=bool)
    text = rule.text.casefold()
    begins = rf"{re.escape(text)}(?![^\W\d_])"  # a total is no Totally
    for name in columns:
        column = texts[name]
        match rule.test:
            case "empty":
                matched |= (column == "").to_numpy(dtype=bool)
            case "is":
                matched |= (column.str.casefold() == text).to_numpy(dtype=bool)
            case "begins":
                matched |= column.str.casefold().str.match(begins).to_numpy(dtype=bool)
            case "contains":
                matched |= column.str.casefold().str.contains(text, regex=False).to_numpy(dtype=bool)
    return matched


def left_out_by_day(
    days: pd.Series[str], rules: Sequence[LeaveOut], today: str
) -> tuple[npt.NDArray[np.bool_], list[int]]:
    """Which rows rules of days leave out, by the ISO day of each (empty where it is unknown), and how many
    each rule does.
    """
    out = np.zeros(len(days), dtype=bool)
    counts = []
    for rule in rules:
        matched = np.zeros(len(days), dtype=bool)
        limit = today if rule.text == TODAY else rule.text
        known = (days != "").to_numpy(dtype=bool)
        if rule.test == "before":
            matched = known & (days < limit).to_numpy(dtype=bool) & ~out
        elif rule.test == "after":
            matched = known & (days > limit).to_numpy(dtype=bool) & ~out
        counts.append(int(matched.sum()))
        out |= matched
    return out, counts
