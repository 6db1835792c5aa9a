"""Levels of the factors of the hours model, and the usual size that a line is held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.data.lines import Lines, Names, codes
from dashboard.analysis.models.quantity_growth import QuantityGrowth


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorLevels:
    """Names the fit knows, in order, and the size that a line is held against.

    Attributes
    ----------
    usual_size : (techniques,) mean log quantity of the technique's own lines, treated or else quoted; not a
        number where no line has one.
    sized, measured : (techniques,) lines with such a quantity; finished ones of which it was treated.
    usual_picture : (techniques + 1,) mean log area (dm²) of the pictures of the lines with such a quantity,
        or where there is none of all its lines; last: of all lines. Not a number: no area is known.
    part_measured : techniques of which some lines have a quantity and some have none.
    wholes : names of whole phases and works, among `techniques`; None where lines are of techniques alone.
    day : the day for which it is asked (days since 1970).
    """

    phases: tuple[str, ...]
    techniques: tuple[str, ...]
    kinds: tuple[str, ...]
    people: tuple[str, ...]
    usual_size: Floats
    sized: Integers
    measured: Integers
    usual_picture: Floats
    part_measured: tuple[str, ...]
    wholes: tuple[str, ...] | None
    day: int

    @classmethod
    def of(cls, lines: Lines, today: int, grown: QuantityGrowth, *, of_wholes: bool = False) -> FactorLevels:
        """`of_wholes`: whole phases and works may be asked about, though no line is of one."""
        techniques, place = lines.coded("technique")
        count = len(techniques)
        log_size = log_sizes(lines, grown)[0]
        has_size = ~np.isnan(log_size) & (lines.unit != "")
        sized = np.bincount(place[has_size], minlength=count)
        of_picture = (lines.area > 0) & (has_size | (sized[place] == 0))
        log_area = np.log(np.where(lines.area > 0, lines.area, 1.0))
        every = lines.area > 0
        whole = lines.is_whole
        with np.errstate(invalid="ignore"):  # of what nobody measured nothing is usual
            usual_size = np.bincount(place[has_size], log_size[has_size], count) / np.where(
                sized > 0, sized, np.nan
            )
            pictures = np.bincount(place[of_picture], minlength=count)
            usual_picture = np.bincount(place[of_picture], log_area[of_picture], count) / np.where(
                pictures > 0, pictures, np.nan
            )
        without = np.bincount(place[~has_size], minlength=count)
        return cls(
            phases=tuple(lines.coded("phase")[0]),
            techniques=tuple(techniques),
            kinds=tuple(lines.coded("kind")[0]),
            people=tuple(
                name
                for name, has in zip(lines.people, np.any(lines.shares > 0, axis=0).tolist(), strict=True)
                if has
            ),
            usual_size=usual_size,
            sized=sized,
            measured=np.bincount(place[lines.quantity > 0], minlength=count),
            usual_picture=np.append(usual_picture, log_area[every].mean() if every.any() else np.nan),
            part_measured=tuple(techniques[(sized > 0) & (without > 0)]),
            wholes=tuple(np.unique(lines.technique[whole])) if of_wholes or whole.any() else None,
            day=today,
        )

    @property
    def has_size(self) -> frozenset[str]:
        """Techniques of which some line has a quantity."""
        return frozenset(
            name for name, count in zip(self.techniques, self.sized.tolist(), strict=True) if count
        )

    def reference(self, technique: Names) -> Floats:
        """(n,) log of the usual quantity of each technique; not a number where none of its lines has one."""
        return self.reference_at(codes(technique, self.techniques))

    def reference_at(self, place: Integers) -> Floats:
        """Likewise, by places among the techniques."""
        usual: Floats = np.append(self.usual_size, np.nan)[place]
        return usual

    def picture(self, technique: Names) -> Floats:
        """(n,) log area (dm²) of the usual picture of each technique; of one that was never done that of the
        studio; not a number where it is not known.
        """
        return self.picture_at(codes(technique, self.techniques))

    def picture_at(self, place: Integers) -> Floats:
        """Likewise, by places among the techniques."""
        usual: Floats = self.usual_picture[place]
        return usual


def log_sizes(lines: Lines, grown: QuantityGrowth) -> tuple[Floats, Floats]:
    """(n,) log of what is treated, or will be of what was quoted; and of what was seen when it was quoted, or
    would have been. Not a number where neither is known.
    """
    more, _ = grown.of_lines(lines)
    log_treated, log_quoted = (
        np.log(np.where(quantity > 0, quantity, np.nan)) for quantity in (lines.quantity, lines.quoted)
    )
    return np.where(np.isnan(log_treated), log_quoted + more, log_treated), np.where(
        np.isnan(log_quoted), log_treated - more, log_quoted
    )
