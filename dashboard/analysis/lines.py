"""The lines that teach, and those that are asked about, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

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

    def __len__(self) -> int:
        return len(self.object)

    def take(self, which: Flags | Integers) -> Lines:
        """Some of them, in that order."""
        return Lines(people=self.people, **{one.name: getattr(self, one.name)[which] for one in fields(self) if one.name != "people"})


def codes(names: Names, known: Sequence[str]) -> Integers:
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
        **{field.name: np.concatenate([getattr(one, field.name), getattr(other, field.name)]) for field in fields(one) if field.name != "people"},
    )
