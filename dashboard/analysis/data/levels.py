"""At which level lines are compared and teach: a technique, a phase as a whole, or a work as a whole.

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

from collections.abc import Iterable

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Flags, Integers
from dashboard.analysis.data.lines import Names
from ingest.values.line_names import line_name

PHASE, WORK = 2, 3  # levels, see `level_of` in the schema
NAMES = ["object", "phase", "technique", "part"]
# where more than this part of the hours of a phase (or work) is known for the whole of it only, hours of
# techniques in it are short of what they took, and the whole teaches in their place
_KNOWN_IN_PARTS = 0.1
_MARK = "\x1e"  # of a whole among names of techniques, where no technique has it
WHOLE_WORK = _MARK  # the name of a whole work among these


def marked_techniques(phase: Names, technique: Names) -> Names:
    """(n,) names of techniques, and of each whole phase or work one of its own, as models tell them apart."""
    whole = technique == ""
    names: Names = np.where(whole, np.char.add(_MARK, phase), technique) if whole.any() else technique
    return names


def marked(lines: pd.DataFrame) -> Names:
    """(n,) likewise, of a frame `phase`, `technique`."""
    return marked_techniques(lines["phase"].to_numpy(dtype=str), lines["technique"].to_numpy(dtype=str))


def with_marked(lines: pd.DataFrame) -> pd.DataFrame:
    """A frame `phase`, `technique` with those names: what is in one whole phase is no other's."""
    return lines.assign(technique=marked(lines))


def whole_of(phase: str) -> str:
    """The name of a whole phase among those; of no phase that of a whole work."""
    return _MARK + phase


def written_techniques(marked: Names) -> Names:
    """(n,) those names as the record has them: empty of a whole."""
    names: Names = np.where(np.char.startswith(marked, _MARK), "", marked)
    return names


def shown_technique(marked: str) -> str:
    """A name, as models have it, in words."""
    return line_name(marked[1:], "") if marked.startswith(_MARK) else marked


def is_whole(marked: Iterable[str]) -> Flags:
    """(n,) names, as models have them, that are of a whole phase or work."""
    return np.array([name.startswith(_MARK) for name in marked], dtype=bool)


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
        named = lines[NAMES].assign(place=np.arange(self.count))
        coarse = named[named["technique"] == ""].drop(columns="technique")
        pairs = named.merge(coarse, on="object", suffixes=("", "_above"))
        same_part = (pairs["part_above"] == "") | (pairs["part_above"] == pairs["part"])
        pairs = pairs[(pairs["phase_above"] == "") | ((pairs["phase_above"] == pairs["phase"]) & same_part)]
        self._line, self._above = pairs["place"].to_numpy(), pairs["place_above"].to_numpy()
        self._height = np.select([pairs["phase_above"] == "", pairs["part_above"] == ""], [WORK, PHASE], 1)

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
        highest = self._first(blurs[self._above], -self._height)
        nearest = np.where(estimated, own, self._first(estimated[self._above], self._height))
        of_estimated = np.where(highest >= 0, highest, own)
        heads: Integers = np.where(blurs, highest, np.where(nearest >= 0, of_estimated[nearest], own))
        return heads

    def _first(self, which: Flags, order: Integers) -> Integers:
        """(n,) of each line the first, by `order`, of some lines that hold it; -1 where none does."""
        line, above = self._line[which], self._above[which]
        backwards = np.argsort(-order[which], kind="stable")  # what is assigned last stands
        first = np.full(self.count, -1)
        first[line[backwards]] = above[backwards]
        return first


def by_technique(lines: pd.DataFrame, hours: pd.Series) -> pd.DataFrame:
    """Under which line each teaches rates of techniques: itself, or the whole phase or work of which too
    little is known in parts.

    Parameters
    ----------
    lines : `line`, `object`, `phase`, `technique`, `part`.
    hours : by `line`, what each took.

    Returns
    -------
    `object`, `phase`, `technique`, `part` of that line, in the order of `lines`; all null where its hours
    teach nothing.
    """
    took = hours.reindex(lines["line"]).fillna(0.0).to_numpy()
    coarse = (lines["technique"] == "").to_numpy()
    of_work, in_phase = (lines["phase"] == "").to_numpy(), [lines["object"], lines["phase"]]
    whole_works = _known_as_a_whole(took, of_work, [lines["object"]])
    whole_phases = _known_as_a_whole(took, coarse, in_phase) & ~of_work
    under = lines[NAMES].copy()
    under.loc[whole_phases | whole_works, ["technique", "part"]] = ""
    under.loc[whole_works, "phase"] = ""
    under.loc[coarse & ~whole_phases & ~whole_works] = None
    return under


def by_phase(lines: pd.DataFrame, hours: pd.Series) -> pd.DataFrame:
    """Likewise, for rates of whole phases."""
    took = hours.reindex(lines["line"]).fillna(0.0).to_numpy()
    of_work = (lines["phase"] == "").to_numpy()
    whole_works = _known_as_a_whole(took, of_work, [lines["object"]])
    under = lines[["object", "phase"]].assign(technique="", part="")
    under.loc[whole_works, "phase"] = ""
    under.loc[of_work & ~whole_works] = None
    return under


def by_work(lines: pd.DataFrame) -> pd.DataFrame:
    """Likewise, for rates of whole works."""
    return lines[["object"]].assign(phase="", technique="", part="")


def _known_as_a_whole(hours: np.ndarray, coarse: Flags, of: list[pd.Series]) -> Flags:
    """(n,) too much of the hours of what a line is in is known for the whole of it only."""
    sums = pd.DataFrame({"all": hours, "coarse": np.where(coarse, hours, 0.0)}).groupby(of).transform("sum")
    flags: Flags = (sums["coarse"] > _KNOWN_IN_PARTS * sums["all"]).to_numpy()
    return flags
