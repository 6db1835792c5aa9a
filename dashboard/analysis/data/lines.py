"""The lines that teach, and those that are asked about, as arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np
import numpy.typing as npt

from dashboard.analysis.arrays import Flags, Floats, Integers

Names = npt.NDArray[np.str_]
DAYS_A_YEAR = 365.25
# what stands for the unit of a line of a whole phase or work, of which nothing is counted: as it was logged,
# or as it was remembered
WHOLE, REMEMBERED = "whole", "remembered"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """n lines, each one phase, technique and part of an object; unknown is not a number, or an empty name.

    Attributes
    ----------
    object, phase, technique, part, unit, kind : names; `kind` is of the object.
    hours : what it took; of an open line what it has taken so far; of one that is asked about not known.
    quantity : what was treated, in its unit.
    quoted : what the estimate had of it.
    figure : hours by the conservator's own estimate as it stood at the first entry.
    condition : grade, 0 to 3, of the condition that bears on the technique.
    area : of the picture, dm².
    person : who is to do it, by the estimate.
    shares : (n, people) who did how much of it; a row of noughts: not known.
    people : names of the columns of `shares`.
    day : on which it was finished, or last worked (days since 1970).
    is_open : more is to come, with the chance `weight`; of a finished line that is 1.
    """

    object: Names
    phase: Names
    technique: Names
    part: Names
    unit: Names
    kind: Names
    hours: Floats
    quantity: Floats
    quoted: Floats
    figure: Floats
    condition: Floats
    area: Floats
    person: Names
    shares: Floats
    people: tuple[str, ...]
    day: Integers
    is_open: Flags
    weight: Floats
    # see `coded`
    _places: dict[str, tuple[Names, Integers]] = field(
        init=False, repr=False, compare=False, default_factory=dict
    )

    def __len__(self) -> int:
        return len(self.object)

    def take(self, which: Flags | Integers) -> Lines:
        """Some of them, in that order."""
        if which.dtype == bool:  # looked through once, not for each column
            which = np.flatnonzero(which)
        lines = Lines(people=self.people, **{name: getattr(self, name)[which] for name in ROWS})
        return lines.with_places(
            {name: (names, place[which]) for name, (names, place) in tuple(self._places.items())}
        )

    def with_places(self, places: Mapping[str, tuple[Names, Integers]]) -> Lines:
        """The same lines, of which some names were looked up before: by column, names in order, more than
        there are perhaps, and the place of each line's among them.
        """
        self._places.update(places)
        return self

    @property
    def is_whole(self) -> Flags:
        """(n,) it is of a whole phase or work."""
        units, place = self.coded("unit")
        flags: Flags = np.isin(units, (WHOLE, REMEMBERED))[place]
        return flags

    @property
    def is_remembered(self) -> Flags:
        """(n,) its hours were told from memory when the work was long over."""
        units, place = self.coded("unit")
        flags: Flags = (units == REMEMBERED)[place]
        return flags

    def coded(self, column: str) -> tuple[Names, Integers]:
        """The different names of a column in order, and the place of each line's among them; looked up once,
        as names are slow to compare.
        """
        if column not in self._places:
            self._places[column] = np.unique(getattr(self, column), return_inverse=True)
            return self._places[column]
        names, place = self._places[column]
        occurs = np.bincount(place, minlength=len(names)) > 0
        if not occurs.all():
            names, place = names[occurs], (np.cumsum(occurs) - 1)[place]
            self._places[column] = names, place
        return names, place

    def coded_of(self, column: str, which: Flags | None) -> tuple[Names, Integers]:
        """As `coded`, of some of the lines alone (None: of all)."""
        names, place = self.coded(column)
        if which is None:
            return names, place
        place = place[which]
        occurs = np.bincount(place, minlength=len(names)) > 0
        return names[occurs], (np.cumsum(occurs) - 1)[place]

    def codes(self, column: str, levels: Sequence[str] | Names) -> Integers:
        """The place of each line's name among the known ones, which are in order; -1 where it is none of
        them.
        """
        names, place = self.coded(column)
        return codes(names, levels)[place]


# columns that have a value for each line
ROWS = tuple(item.name for item in fields(Lines) if item.init and item.name != "people")


def codes(names: Names, levels: Sequence[str] | Names) -> Integers:
    """The place of each name among the known ones, which are in order; -1 where it is none of them."""
    if not len(levels):
        return np.full(len(names), -1)
    at = np.minimum(np.searchsorted(levels, names), len(levels) - 1)
    return np.where(np.asarray(levels)[at] == names, at, -1)


def named_shares(person: Names, people: Sequence[str]) -> Floats:
    """(n, people) a line for each name, all of it that person's; a name that is none of them, or empty:
    nobody's.
    """
    values: Floats = (
        (person[:, None] == np.asarray(people, dtype=str)[None, :]).astype(float)
        if len(people)
        else np.zeros((len(person), 0))
    )
    return values


def with_hours(lines: Lines) -> Lines:
    """The same lines, with those people alone who have worked on them: whoever is new elsewhere changes
    nothing here.
    """
    has = np.any(lines.shares > 0, axis=0)
    return replace(
        lines,
        people=tuple(name for name, has_hours in zip(lines.people, has.tolist(), strict=True) if has_hours),
        shares=lines.shares[:, has],
    )


def join(lines: Lines, other: Lines) -> Lines:
    """The lines of both, of the same people."""
    return Lines(
        people=lines.people,
        **{name: np.concatenate([getattr(lines, name), getattr(other, name)]) for name in ROWS},
    )
