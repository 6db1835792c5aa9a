"""A table as it is looked at for a first guess: heads, what stands below, what its rows seem to be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from ingest.foreign import notations
from ingest.foreign.appearance import (
    MOST,
    TOTALS,
    WORDS,
    Contents,
    day_in_any_order,
    is_head_of,
    is_of_a_promise,
    reads,
)
from ingest.foreign.reading import RowKind
from ingest.foreign.sheets import Sheet, heads
from ingest.foreign.words import Studio
from ingest.importing.csv_file import distinct_names

_LOOKED_AT = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """The heads of a table and the first rows below them.

    Attributes
    ----------
    written : the heads; names : the same as names; head : by name, the head as written.
    contents : without the rows of sums. sums : the words with which these begin.
    sheet_name : where it stands. above : texts that stand above it, the names of file and sheet among them.
    studio : whose words it may have.
    """

    written: Sequence[str]
    names: Sequence[str]
    head: dict[str, str]
    contents: Contents
    sums: Sequence[str]
    sheet_name: str
    above: Sequence[str]
    studio: Studio

    @classmethod
    def of(cls, sheet: Sheet, row: int, studio: Studio, file: str, head_rows: int) -> LookedAt:
        """The table whose heads stand in a row of a sheet, from 0, and over so many."""
        written = heads(sheet, row, head_rows)
        names = distinct_names(written)
        cells = sheet.cells.iloc[row + head_rows : row + head_rows + _LOOKED_AT].set_axis(names, axis=1)
        sums, is_sum = _sums(cells)
        return cls(
            written=written,
            names=names,
            head=dict(zip(names, written, strict=True)),
            contents=Contents(cells[~is_sum], studio),
            sums=sums,
            sheet_name=sheet.name,
            above=[file, sheet.name, *sheet.cells.iloc[:row].to_numpy().ravel()],
            studio=studio,
        )

    def filled_names(self) -> list[str]:
        """The columns with anything in them, their head or a cell."""
        return [name for name in self.names if (self.contents.cells[name] != "").any() or self.head[name]]

    def kind(self) -> RowKind:
        """What each row seems to be."""
        named = {column for column in WORDS for text in self.written if is_head_of(text, column)}
        has_day = any(self.contents.share(name, day_in_any_order) > MOST for name in self.filled_names())
        if named & {"height_cm", "width_cm", "owner", "maker"} and "hours" not in named:
            return "objects"
        if "price" in named and "hours" in named and not has_day:
            return "estimates"
        return "estimates" if self._is_of_promises() else "time entries"

    def _is_of_promises(self) -> bool:
        """Heads speak of an estimate, and no other says when somebody worked and how long: a diary may have
        what was promised beside it.
        """
        if is_of_a_promise(self.sheet_name):
            return any(is_head_of(text, "hours") for text in self.written)
        others = [name for name in self.names if not is_of_a_promise(self.head[name])]
        return len(others) < len(self.names) and not (
            any(self.contents.share(name, day_in_any_order) > MOST for name in others)
            and any(is_head_of(self.head[name], "hours") for name in others)
        )

    def wide_of(self) -> str | None:
        """What the heads of the columns are where there is a column for each; None: the table is not wide."""
        heads_written = [text for text in self.written if text]
        if sum(reads(text, day_in_any_order) for text in heads_written) > 2:
            return "date"
        if sum(reads(text, notations.weekday) for text in heads_written) > 2:
            return "weekday"
        for column in ("person", "object"):
            if sum(self.studio.known(column, text) is not None for text in heads_written) > 1:
                return column
        return None

    def wide_names(self, wide: str | None) -> list[str]:
        """The columns that have such a head."""
        is_wide: Callable[[str], bool] = {
            "date": lambda text: reads(text, day_in_any_order),
            "weekday": lambda text: reads(text, notations.weekday),
            "person": lambda text: self.studio.known("person", text) is not None,
            "object": lambda text: self.studio.known("object", text) is not None,
        }.get(wide or "", lambda _: False)
        return [name for name, text in self.head.items() if text and is_wide(text)]


def _sums(cells: pd.DataFrame) -> tuple[list[str], pd.Series[bool]]:
    """The words with which rows of sums begin, and which rows are such."""
    words, rows = [], pd.Series(False, index=cells.index)
    for word in TOTALS:
        begins = cells.apply(lambda column, word=word: column.str.match(rf"(?i){word}\b"))
        if begins.any(axis=None):
            words.append(word)
            rows |= begins.any(axis=1)
    return words, rows
