"""Keys that write rows into a sheet, and how long that takes by the keystroke-level model.

Card, Moran and Newell, The keystroke-level model for user performance time with interactive systems,
Communications of the ACM 23 (7), 1980, 396-410: the seconds below, from memory, and as summaries of it have
them. A key is a press: a capital is two, with that of shift. A field has one M, the preparation to write it;
what must be thought of beyond that is none of the model's.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

AVERAGE_TYPIST_S, SKILLED_TYPIST_S = 0.28, 0.20  # K: average non-secretary, average skilled (55 wpm)
PREPARE_S = 1.35  # M


class Keys(NamedTuple):
    """`text` typed into a cell (empty: none is), then the keys that lead on."""

    text: str
    then: tuple[str, ...]

    @property
    def presses(self) -> int:
        return len(self.text) + sum(sign.isupper() for sign in self.text) + len(self.then)


NEXT_ROW = ("Enter", "Home")
"""From any cell of a row to the first one of the next."""


def of_row(columns: Sequence[str], cells: dict[str, str]) -> list[Keys]:
    """The keys that write a row from its first cell on; cells without a text are passed by Tab, and those
    behind the last text are left.
    """
    last = max(place for place, column in enumerate(columns) if cells.get(column))
    return [
        Keys(cells.get(column, ""), ("Tab",) if place < last else NEXT_ROW)
        for place, column in enumerate(columns[: last + 1])
    ]


def seconds(presses: int, fields: int, key_s: float) -> tuple[float, float]:
    """What pressing takes, and what preparing to write takes."""
    return presses * key_s, fields * PREPARE_S
