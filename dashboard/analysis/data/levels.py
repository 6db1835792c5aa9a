"""At which level lines are compared: a technique, a phase as a whole, or a work as a whole.

An estimate says how many hours a technique, a phase or a work will take, and an entry on which of them hours
were spent; the two need not agree. Lines whose hours cannot be told apart are compared as one, the coarsest
of them, which is called their head; so no hour is counted twice and none is lost:

- What is logged stands under the nearest line above it that was estimated: hours of techniques under their
  phase as a whole.
- What is logged on a whole phase or work that has lines estimated within it may have been spent on any of
  these: all of them are compared together.
- Everything else is compared as it is, and so is a record in which every line names its technique.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Flags, Integers

LineLevel = Literal["technique", "part", "phase", "work"]
LEVELS: tuple[LineLevel, ...] = ("technique", "part", "phase", "work")  # by `level_of` of the schema


class LineHierarchy:
    """Which lines of the same objects stand above which."""

    def __init__(self, lines: pd.DataFrame) -> None:
        """
        Parameters
        ----------
        lines : `object`, `phase`, `technique`, `part` of n lines; an empty technique is the phase as a whole,
            an empty phase the work as a whole.
        """
        self.count = len(lines)
        named = pd.DataFrame(
            {name: lines[name].to_numpy() for name in ("object", "phase", "technique", "part")}
        ).assign(place=np.arange(self.count))
        coarse = named[named["technique"] == ""]
        pairs = named.merge(coarse.drop(columns="technique"), on="object", suffixes=("", "_above"))
        within = (pairs["phase_above"] == "") | (
            (pairs["phase_above"] == pairs["phase"])
            & ((pairs["part_above"] == "") | (pairs["part_above"] == pairs["part"]))
        )
        pairs = pairs[within]
        self._line, self._above = pairs["place"].to_numpy(), pairs["place_above"].to_numpy()
        self._height = np.select([pairs["phase_above"] == "", pairs["part_above"] == ""], [3, 2], default=1)

    def heads(self, estimated: Flags, logged: Flags) -> Integers:
        """(n,) the place of the line under which each is compared; its own where it stands by itself.

        Parameters
        ----------
        estimated : (n,) the estimate has it.
        logged : (n,) hours were spent on it that are held against the estimate.
        """
        own = np.arange(self.count)
        if not len(self._line):
            return own
        blurs = np.zeros(self.count, dtype=bool)
        blurs[self._above[estimated[self._line]]] = True
        blurs &= logged
        highest = self._outermost(blurs[self._above], -self._height)
        head_of_estimated = np.where(highest >= 0, highest, own)
        nearest = self._outermost(estimated[self._above], self._height)
        nearest = np.where(estimated, own, nearest)
        heads: Integers = np.where(blurs, highest, np.where(nearest >= 0, head_of_estimated[nearest], own))
        return heads

    def _outermost(self, which: Flags, order: Integers) -> Integers:
        """(n,) of each line the first, by `order`, of some lines that hold it; -1 where none does."""
        line, above = self._line[which], self._above[which]
        last = np.argsort(-order[which], kind="stable")  # what is assigned last stands
        found = np.full(self.count, -1)
        found[line[last]] = above[last]
        return found
