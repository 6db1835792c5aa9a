"""The lines that teach, and those that are asked about, as arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np
import numpy.typing as npt

from dashboard.analysis.mixed import Flags, Floats, Integers

Names = npt.NDArray[np.str_]
DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """n lines, each one phase, technique and part of an object; unknown is not a number, or an empty name.

    Attributes
    ----------
    object, phase, technique, part, unit, kind : names; `kind` is of the object.
    hours : what it took; of an open line what it has taken so far; of one that is asked about not known.
    quantity : what was treated, in its unit. quoted : what the estimate had of it.
    figure : hours by the conservator's own estimate as it stood at the first entry.
    condition : grade, 0 to 3, of the condition that bears on the technique. area : of the picture, dm².
    person : who is to do it, by the estimate. shares : (n, people) who did how much of it; a row of noughts: not known.
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
    _places: dict[str, tuple[Names, Integers]] = field(init=False, repr=False, compare=False, default_factory=dict)  # see `coded`

    def __len__(self) -> int:
        return len(self.object)

    def take(self, which: Flags | Integers) -> Lines:
        """Some of them, in that order."""
        if which.dtype == bool:  # looked through once, not for each column
            which = np.flatnonzero(which)
        found = Lines(people=self.people, **{name: getattr(self, name)[which] for name in ROWS})
        return found.with_places({name: (known, place[which]) for name, (known, place) in tuple(self._places.items())})

    def with_places(self, places: Mapping[str, tuple[Names, Integers]]) -> Lines:
        """The same lines, of which some names were looked up before: by column, names in order, more than there are perhaps, and the place of each line's among them."""
        self._places.update(places)
        return self

    def coded(self, column: str) -> tuple[Names, Integers]:
        """The different names of a column in order, and the place of each line's among them; looked up once, as names are slow to compare."""
        if column not in self._places:
            self._places[column] = np.unique(getattr(self, column), return_inverse=True)
            return self._places[column]
        known, place = self._places[column]
        there = np.bincount(place, minlength=len(known)) > 0
        if not there.all():
            known, place = known[there], (np.cumsum(there) - 1)[place]
            self._places[column] = known, place
        return known, place

    def coded_of(self, column: str, which: Flags | None) -> tuple[Names, Integers]:
        """As `coded`, of some of the lines alone (None: of all)."""
        known, place = self.coded(column)
        if which is None:
            return known, place
        place = place[which]
        there = np.bincount(place, minlength=len(known)) > 0
        return known[there], (np.cumsum(there) - 1)[place]

    def codes(self, column: str, known: Sequence[str] | Names) -> Integers:
        """The place of each line's name among the known ones, which are in order; -1 where it is none of them."""
        names, place = self.coded(column)
        return codes(names, known)[place]


ROWS = tuple(one.name for one in fields(Lines) if one.init and one.name != "people")  # columns that have a value for each line


def codes(names: Names, known: Sequence[str] | Names) -> Integers:
    """The place of each name among the known ones, which are in order; -1 where it is none of them."""
    if not len(known):
        return np.full(len(names), -1)
    at = np.minimum(np.searchsorted(known, names), len(known) - 1)
    return np.where(np.asarray(known)[at] == names, at, -1)


def named_shares(person: Names, people: Sequence[str]) -> Floats:
    """(n, people) a line for each name, all of it that person's; a name that is none of them, or empty: nobody's."""
    found: Floats = (person[:, None] == np.asarray(people, dtype=str)[None, :]).astype(float) if len(people) else np.zeros((len(person), 0))
    return found


def with_hours(lines: Lines) -> Lines:
    """The same lines, with those people alone who have worked on them: whoever is new elsewhere changes nothing here."""
    has = np.any(lines.shares > 0, axis=0)
    return replace(lines, people=tuple(name for name, there in zip(lines.people, has.tolist(), strict=True) if there), shares=lines.shares[:, has])


def join(one: Lines, other: Lines) -> Lines:
    """The lines of both, of the same people."""
    return Lines(
        people=one.people,
        **{name: np.concatenate([getattr(one, name), getattr(other, name)]) for name in ROWS},
    )
