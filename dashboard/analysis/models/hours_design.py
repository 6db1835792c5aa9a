"""Design matrices and priors of the hours model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.lines import DAYS_A_YEAR, Lines, Names, codes
from dashboard.analysis.models.factor_levels import FactorLevels, log_sizes
from dashboard.analysis.models.mixed_data import MixedModelData, Prior
from dashboard.analysis.models.quantity_growth import QuantityGrowth

# Priors, from invented studios with known truth (tests/benchmarks/known_truth.py): (mean, standard deviation)
# of single effects; (standard deviation, how many effects that is worth) of grouped ones.
_SINGLE = {
    "level": (0.7, 1.5),
    "size": (0.85, 0.15),
    "condition": (0.05, 0.07),
    "drift": (0.0, 0.05),
    "off": (-0.15, 0.4),
    "off size": (-0.05, 0.10),
    "off condition": (0.0, 0.05),
    "off drift": (0.0, 0.05),
    "picture, by area": (0.7, 0.25),
    "picture, by length or count": (0.4, 0.3),
    "picture, by line": (0.1, 0.2),
    "whole phase": (1.0, 0.7),
    "whole work": (2.3, 0.7),
    "picture, of a whole": (0.4, 0.3),
}


_PICTURES = {
    "dm2": "picture, by area",
    "cm": "picture, by length or count",
    "pcs": "picture, by length or count",
    "": "picture, by line",
}


GROUPED_PRIORS = {
    "phase": (0.40, 4.0),
    "technique": (0.60, 10.0),
    "size of technique": (0.12, 40.0),
    "kind": (0.08, 6.0),
    "person": (0.12, 4.0),
    "year": (0.05, 6.0),
    "off phase": (0.12, 4.0),
    "off technique": (0.28, 10.0),
    "off person": (0.10, 4.0),
    "picture of a whole": (0.25, 10.0),
}


_SHARED = np.array([[0.09, 0.015], [0.015, 0.0225]])
_SHARED_COUNT = 10.0
_RESIDUAL = np.array([[0.20, 0.04], [0.04, 0.16]])
_RESIDUAL_COUNT = 30.0
# added to every cell where what is counted was not measured, with the size of the picture and without
_NO_QUANTITY = 0.18
_NO_PICTURE = 0.36
# of that, what lines of one work have in common: where there is more to fill there is more to retouch
_ALIKE = 0.08
_ALIKE_NO_PICTURE = 0.20
# added to every cell of a whole phase or work: of what it was made up this time, which the figure saw too
_MADE_UP = 0.15
_OFF_OF_PHASE, _OFF_OF_WORK = 0.6, 0.25
# variance of log hours that remembering adds, before the record can tell: 30 per cent (common practice, no
# source); what was quoted stands in letters
_FROM_MEMORY = np.array([[0.09, 0.0], [0.0, 0.0]])
_USUAL_APART = 0.5  # standard deviation of log sizes of one technique, of pictures of one size
_YEARS = 10
_MIDDLE_CONDITION = 1.5
ECHO = 1e-6  # hours that differ from the figure by less than this part of it repeat it


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignLayout:
    """Where the effects of each kind lie among the columns; names that the fit does not know come behind
    them.
    """

    starts: dict[str, int]
    sizes: dict[str, int]
    prior: Prior
    groups: tuple[str, ...]

    @classmethod
    def of(cls, levels: FactorLevels) -> DesignLayout:
        sizes = dict.fromkeys(_PICTURES.values(), 1) | {
            "usual size": len(levels.part_measured),
            "level": 1,
            "size": 1,
            "condition": 1,
            "drift": 1,
            "off": 1,
            "off size": 1,
            "off condition": 1,
            "off drift": 1,
            "phase": len(levels.phases),
            "technique": len(levels.techniques),
            "size of technique": len(levels.techniques),
            "kind": len(levels.kinds),
            "person": len(levels.people),
            "year": _YEARS,
            "off phase": len(levels.phases),
            "off technique": len(levels.techniques),
            "off person": len(levels.people),
        }
        if levels.wholes is not None:
            sizes |= dict.fromkeys(("whole phase", "whole work", "picture, of a whole"), 1)
            sizes["picture of a whole"] = len(levels.wholes)
        starts = dict(zip(sizes, np.cumsum([0, *sizes.values()])[:-1].tolist(), strict=True))
        groups = tuple(name for name in GROUPED_PRIORS if name in sizes)
        mean: list[float] = []
        variance: list[float] = []
        group: list[int] = []
        for name, size in sizes.items():
            middle, sd = (
                _SINGLE[name]
                if name in _SINGLE
                else (0.0, GROUPED_PRIORS[name][0] if name in GROUPED_PRIORS else 0.0)
            )
            mean += [middle] * size
            variance += (
                _usual_apart(levels, np.asarray(levels.part_measured, dtype=str)).tolist()
                if name == "usual size"
                else [sd**2] * size
            )
            group += [groups.index(name) if name in GROUPED_PRIORS else -1] * size
        # by what is known of size, see `_sizes`
        residual = np.stack(
            [
                *(_RESIDUAL, _RESIDUAL + _NO_QUANTITY, _RESIDUAL, _RESIDUAL, _RESIDUAL + _NO_PICTURE),
                *(
                    []
                    if levels.wholes is None
                    else [_RESIDUAL + _MADE_UP, _RESIDUAL + _MADE_UP + _FROM_MEMORY]
                ),
            ]
        )
        prior = Prior(
            mean=np.array(mean),
            variance=np.array(variance),
            group=np.array(group),
            counts=np.array([GROUPED_PRIORS[name][1] for name in groups]),
            shared=_SHARED,
            shared_count=_SHARED_COUNT,
            residual=residual,
            residual_count=_RESIDUAL_COUNT,
        )
        return cls(starts=starts, sizes=sizes, prior=prior, groups=groups)


def repeats_figure(lines: Lines) -> Flags:
    """Hours that are the figure, to the digit."""
    with np.errstate(invalid="ignore"):
        same: Flags = np.abs(lines.hours - lines.figure) <= ECHO * lines.figure
    return same & ~lines.is_open


def known_shares(lines: Lines, levels: FactorLevels) -> Floats:
    """(n, known people) shares of the hours of each line."""
    shares = np.zeros((len(lines), len(levels.people)))
    for number, name in enumerate(levels.people):
        if name in lines.people:
            shares[:, number] = lines.shares[:, lines.people.index(name)]
    return shares


@dataclass(slots=True)
class _Cells:
    """Cells of the two designs as they are put together."""

    layout: DesignLayout
    lines: int
    columns: int
    cells: tuple[list[tuple[Integers, Integers, Floats]], list[tuple[Integers, Integers, Floats]]]
    extra_variance: list[float]

    def put(
        self,
        name: str,
        place: Integers,
        hours: Floats | float,
        figure: Floats | float,
        names: Names | None = None,
        variance: float = 0.0,
    ) -> None:
        """A column for each line, with its value in either answer: where its name is not known, one behind
        the others with the variance of its kind.
        """
        column = self.layout.starts[name] + place
        strange = place < 0
        if strange.any() and names is not None:
            new, which = np.unique(names[strange], return_inverse=True)
            column[strange] = self.columns + which
            self.columns += len(new)
            self.extra_variance += [variance] * len(new)
        for cells, value in zip(self.cells, (hours, figure), strict=True):
            full = np.broadcast_to(np.asarray(value, dtype=float), column.shape)
            at = np.flatnonzero(full)
            cells.append((at, column[at], full[at]))

    def design(self, answer: int) -> sparse.csr_matrix:
        row, column, value = (np.concatenate(parts) for parts in zip(*self.cells[answer], strict=True))
        return sparse.csr_matrix((value, (row, column)), shape=(self.lines, self.columns))


# 84 lines: one column of the design after the other
def design_rows(
    lines: Lines,
    levels: FactorLevels,
    layout: DesignLayout,
    work: Integers,
    grown: QuantityGrowth,
    variance: Callable[[str], float] = lambda _name: 0.0,
    mix: Floats | None = None,
) -> tuple[MixedModelData, Floats]:
    """The lines as the mixed model takes them, and the variances of columns for names it does not know.

    Parameters
    ----------
    work : (n,) number of the work of each line.
    variance : of a group of effects, for names that are not among the levels.
    mix : (people,) how the studio shares its work, for lines of nobody in particular; None while learning.
    """
    n = len(lines)
    none = np.zeros(n, dtype=np.int64)
    size, quoted_size, picture, kind = sizes_of(lines, levels, grown)
    grade = np.where(np.isnan(lines.condition), 0.0, lines.condition - _MIDDLE_CONDITION)
    of_phase, of_technique = lines.codes("phase", levels.phases), lines.codes("technique", levels.techniques)
    cells = _Cells(layout, n, len(layout.prior.mean), ([], []), [])
    cells.put("level", none, 1.0, 1.0)
    cells.put("size", none, size, quoted_size)
    cells.put("condition", none, grade, grade)
    for name in dict.fromkeys(_PICTURES.values()):
        scaled = np.where(
            np.isin(lines.unit, [unit for unit, of in _PICTURES.items() if of == name]), picture, 0.0
        )
        cells.put(name, none, scaled, scaled)
    if levels.wholes is not None:
        _put_wholes(cells, lines, levels, picture, variance("picture of a whole"))
    part = lines.codes("technique", levels.part_measured)
    unlike = np.where((part >= 0) & _without_size(kind), 1.0, 0.0)
    cells.put("usual size", np.maximum(part, 0), unlike, unlike)
    cells.put("off", none, 0.0, 1.0)
    cells.put("off size", none, 0.0, quoted_size)
    cells.put("off condition", none, 0.0, grade)
    own_off = _own_off(lines) if levels.wholes is not None else 1.0
    for off, hours, figure in (("", 1.0, 1.0), ("off ", 0.0, own_off)):
        for name, place, names in (
            ("phase", of_phase, lines.phase),
            ("technique", of_technique, lines.technique),
        ):
            cells.put(f"{off}{name}", place, hours, figure, names, variance(f"{off}{name}"))
    cells.put(
        "size of technique", of_technique, size, quoted_size, lines.technique, variance("size of technique")
    )
    of_kind = lines.codes("kind", levels.kinds)
    has_kind = ((lines.kind != "") & (of_kind >= 0)).astype(float)
    cells.put("kind", np.maximum(of_kind, 0), has_kind, has_kind)
    shares = known_shares(lines, levels)
    if mix is not None:
        # not known who, or somebody new: as the studio's work is shared
        shares = shares + (1 - shares.sum(axis=1, keepdims=True)) * mix
    for number in range(len(levels.people)):
        cells.put("person", none + number, shares[:, number], shares[:, number])
        cells.put("off person", none + number, 0.0, shares[:, number])
    if mix is None:
        age = (levels.day - lines.day) / DAYS_A_YEAR
        year = np.floor(age).astype(np.int64)
        cells.put("drift", none, -np.maximum(age, 0.0), 0.0)
        cells.put("off drift", none, 0.0, -np.maximum(age, 0.0))
        cells.put("year", np.clip(year, 0, _YEARS - 1), np.where(year < _YEARS, 1.0, 0.0), 0.0)
    else:
        cells.put("year", none, 1.0, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        answers = np.log(
            np.stack([np.where(repeats_figure(lines), np.nan, lines.hours), lines.figure], axis=1)
        )
    answers[~np.isfinite(answers)] = np.nan
    data = MixedModelData(
        first=cells.design(0),
        second=cells.design(1),
        answers=answers,
        kind=kind,
        work=work,
        more_than=lines.is_open & ~np.isnan(answers[:, 0]),
        weight=lines.weight,
    )
    return data, np.array(cells.extra_variance)


def _own_off(lines: Lines) -> Floats:
    """(n,) how far figures for a whole are off in a way of its own, beside those for a technique: they are
    sums, in which what is too much here is too little there.
    """
    values: Floats = np.select([~lines.is_whole, lines.phase != ""], [1.0, _OFF_OF_PHASE], _OFF_OF_WORK)
    return values


def _put_wholes(cells: _Cells, lines: Lines, levels: FactorLevels, picture: Floats, variance: float) -> None:
    """How much more a whole takes than a technique, and how it grows with the picture."""
    whole, none = lines.is_whole, np.zeros(len(lines), dtype=np.int64)
    of_work = whole & (lines.phase == "")
    for name, which in (("whole phase", whole & ~of_work), ("whole work", of_work)):
        cells.put(name, none, which.astype(float), which.astype(float))
    scaled = np.where(whole, picture, 0.0)
    cells.put("picture, of a whole", none, scaled, scaled)
    at = np.flatnonzero(whole)
    if len(at):
        place = np.zeros(len(lines), dtype=np.int64)
        place[at] = lines.codes("technique", levels.wholes or ())[at]
        cells.put("picture of a whole", place, scaled, scaled, lines.technique, variance)


def sizes_of(
    lines: Lines, levels: FactorLevels, grown: QuantityGrowth
) -> tuple[Floats, Floats, Floats, Integers]:
    """Log size of what is treated, of what was seen when it was quoted, against the usual one of the
    technique; where none is known or nothing is usual, how much larger the picture is (log area) than usual
    pictures; and what is known of the size: 0 the quantity, 1 the picture alone, 2 it has none, 3 what was
    quoted, 4 nothing, 5 it is a whole phase or work, 6 one whose hours were remembered.
    """
    place = lines.codes("technique", levels.techniques)  # long records have few names
    usual = levels.reference_at(place)
    size, quoted_size = (value - usual for value in log_sizes(lines, grown))
    whole = lines.is_whole
    counted = (lines.unit != "") & ~whole
    has_size = ~np.isnan(size) & counted
    picture = np.log(np.where(lines.area > 0, lines.area, np.nan)) - levels.picture_at(place)
    kind = np.where(
        has_size, np.where(lines.quantity > 0, 0, 3), np.where(~counted, 2, np.where(np.isnan(picture), 4, 1))
    )
    kind = np.where(whole, 5 + lines.is_remembered, kind)
    return (
        np.where(has_size, size, 0.0),
        np.where(has_size, quoted_size, 0.0),
        np.where(has_size | np.isnan(picture), 0.0, picture),
        kind,
    )


def _without_size(kind: Integers) -> Flags:
    """(n,) lines of what is counted, of which no quantity is known."""
    mask: Flags = (kind == 1) | (kind == 4)
    return mask


def sizes_alike(kind: Integers) -> Floats:
    """(n,) standard deviation of log hours that lines without a quantity have in common with each other on
    one work, as what there is of one thing goes with what there is of another; part of what each line has to
    itself.
    """
    values: Floats = np.sqrt(np.select([kind == 1, kind == 4], [_ALIKE, _ALIKE_NO_PICTURE], 0.0))
    return values


def _usual_apart(levels: FactorLevels, technique: Names) -> Floats:
    """(n,) variance of log hours of not knowing how far a usual line of each technique is from those few that
    have a quantity; nought where none has.
    """
    sized = np.append(levels.sized, 0)[codes(technique, levels.techniques)]
    values: Floats = np.where(sized > 0, (_SINGLE["size"][0] * _USUAL_APART) ** 2 / np.maximum(sized, 1), 0.0)
    return values


def of_usual_size(levels: FactorLevels, lines: Lines, kind: Integers) -> Floats:
    """(n,) that variance, of lines without a quantity of techniques of which every other line has one: of the
    others it is an effect of the fit.
    """
    learnt = codes(lines.technique, levels.part_measured) >= 0
    values: Floats = np.where(_without_size(kind) & ~learnt, _usual_apart(levels, lines.technique), 0.0)
    return values
