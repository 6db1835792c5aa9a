"""What quantity, technique, person and condition say of the hours of a line, and what the conservator's own figure says beside them: one model of both.

    log hours  = level of phase and technique + size, or else picture + condition + kind + person + drift + year + luck of the work + luck of the line
    log figure = the same without drift and year + how far figures are off, by phase, technique, size, condition, person, drift + the same two of its own

Both lucks are correlated between the two, so that a figure that saw more than the record knows moves the hours with it, as far as figures did before. Effects
are shrunk: a technique towards its phase, a phase towards the studio (see `dashboard.analysis.mixed`). A line whose hours repeat its figure to the digit says
nothing of hours; how often that happens is told apart (`calibration.Chances`). The size of hours is what was treated; the size of a figure is what was quoted, and
before the work is done what was quoted and how much more there usually is (`growth`).

A size is held against the usual one of its own technique, from that technique's own lines alone. Of a line that nobody measured the size is unknown: its hours are those of a usual line, scaled by the
picture as far as the record bears that out ("picture"), with a spread of their own; where other lines of the technique were measured, how far the usual line of the unmeasured ones is from theirs is an
effect too ("usual size"). A technique that was never measured nor quoted by quantity has no usual size: a quantity says nothing of its hours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import sparse

from dashboard.analysis import blocks, growth
from dashboard.analysis.growth import Growth
from dashboard.analysis.lines import DAYS_A_YEAR, Lines, Names, codes
from dashboard.analysis.mixed import Fitted, Flags, Floats, Integers, Prior, Rows, fit, given

# Priors, from invented studios with known truth (tests/benchmarks/known_truth.py): (mean, standard deviation) of single effects; (standard deviation, how many
# effects that is worth) of grouped ones.
_SINGLE = {
    "level": (0.7, 1.5), "size": (0.85, 0.15), "condition": (0.05, 0.07), "drift": (0.0, 0.05), "off": (-0.15, 0.4), "off size": (-0.05, 0.10), "off condition": (0.0, 0.05), "off drift": (0.0, 0.05),
    "picture, by area": (0.7, 0.25), "picture, by length or count": (0.4, 0.3), "picture, by line": (0.1, 0.2),
}  # fmt: skip
_PICTURES = {"dm2": "picture, by area", "cm": "picture, by length or count", "pcs": "picture, by length or count", "": "picture, by line"}
_GROUPED = {
    "phase": (0.40, 4.0), "technique": (0.60, 10.0), "size of technique": (0.12, 40.0), "kind": (0.08, 6.0), "person": (0.12, 4.0), "year": (0.05, 6.0),
    "off phase": (0.12, 4.0), "off technique": (0.28, 10.0), "off person": (0.10, 4.0),
}  # fmt: skip
_SHARED, _SHARED_COUNT = np.array([[0.09, 0.015], [0.015, 0.0225]]), 10.0
_RESIDUAL, _RESIDUAL_COUNT = np.array([[0.20, 0.04], [0.04, 0.16]]), 30.0
_NO_QUANTITY, _NO_PICTURE = 0.18, 0.36  # added to every cell where what is counted was not measured, with the size of the picture and without
_ALIKE, _ALIKE_NO_PICTURE = 0.08, 0.20  # of that, what lines of one work have in common: where there is more to fill there is more to retouch
_USUAL_APART = 0.5  # standard deviation of log sizes of one technique, of pictures of one size
_STEPS = 8
_VARIANCES_KEPT = 64  # of blocks of long records: a few numbers each
_YEARS = 10
_MIDDLE_CONDITION = 1.5
FOUR_IN_FIVE = 1.2815515655446004  # standard deviations to either side hold 4 in 5
ECHO = 1e-6  # hours that differ from the figure by less than this part of it repeat it


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Names the fit knows, in order, and the size that a line is held against.

    Attributes
    ----------
    usual_size : (techniques,) mean log quantity of the technique's own lines, treated or else quoted; not a number where no line has one.
    sized, measured : (techniques,) lines with such a quantity; finished ones of which it was treated.
    usual_picture : (techniques + 1,) mean log area (dm²) of the pictures of the lines with such a quantity, or where there is none of all its lines; last: of all lines. Not a number: no area is known.
    part_measured : techniques of which some lines have a quantity and some have none.
    now : the day for which it is asked (days since 1970).
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
    now: int

    @classmethod
    def of(cls, lines: Lines, now: int, grown: Growth) -> Levels:
        techniques, place = lines.coded("technique")
        count = len(techniques)
        log_size = _log_sizes(lines, grown)[0]
        has_size = ~np.isnan(log_size) & (lines.unit != "")
        sized = np.bincount(place[has_size], minlength=count)
        of_picture = (lines.area > 0) & (has_size | (sized[place] == 0))
        log_area = np.log(np.where(lines.area > 0, lines.area, 1.0))
        every = lines.area > 0
        with np.errstate(invalid="ignore"):  # of what nobody measured nothing is usual
            usual_size = np.bincount(place[has_size], log_size[has_size], count) / np.where(sized > 0, sized, np.nan)
            pictures = np.bincount(place[of_picture], minlength=count)
            usual_picture = np.bincount(place[of_picture], log_area[of_picture], count) / np.where(pictures > 0, pictures, np.nan)
        without = np.bincount(place[~has_size], minlength=count)
        return cls(
            phases=tuple(lines.coded("phase")[0]), techniques=tuple(techniques), kinds=tuple(lines.coded("kind")[0]),
            people=tuple(name for name, has in zip(lines.people, np.any(lines.shares > 0, axis=0).tolist(), strict=True) if has),
            usual_size=usual_size, sized=sized, measured=np.bincount(place[lines.quantity > 0], minlength=count), usual_picture=np.append(usual_picture, log_area[every].mean() if every.any() else np.nan),
            part_measured=tuple(techniques[(sized > 0) & (without > 0)]), now=now,
        )  # fmt: skip

    @property
    def has_size(self) -> frozenset[str]:
        """Techniques of which some line has a quantity."""
        return frozenset(name for name, count in zip(self.techniques, self.sized.tolist(), strict=True) if count)

    def reference(self, technique: Names) -> Floats:
        """(n,) log of the usual quantity of each technique; not a number where none of its lines has one."""
        return self.reference_at(codes(technique, self.techniques))

    def reference_at(self, place: Integers) -> Floats:
        """Likewise, by places among the techniques."""
        usual: Floats = np.append(self.usual_size, np.nan)[place]
        return usual

    def picture(self, technique: Names) -> Floats:
        """(n,) log area (dm²) of the usual picture of each technique; of one that was never done that of the studio; not a number where it is not known."""
        return self.picture_at(codes(technique, self.techniques))

    def picture_at(self, place: Integers) -> Floats:
        """Likewise, by places among the techniques."""
        usual: Floats = self.usual_picture[place]
        return usual


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where the effects of each kind lie among the columns; names that the fit does not know come behind them."""

    starts: dict[str, int]
    sizes: dict[str, int]
    prior: Prior
    groups: tuple[str, ...]

    @classmethod
    def of(cls, levels: Levels) -> Layout:
        sizes = dict.fromkeys(_PICTURES.values(), 1) | {
            "usual size": len(levels.part_measured),
            "level": 1, "size": 1, "condition": 1, "drift": 1, "off": 1, "off size": 1, "off condition": 1, "off drift": 1,
            "phase": len(levels.phases), "technique": len(levels.techniques), "size of technique": len(levels.techniques), "kind": len(levels.kinds),
            "person": len(levels.people), "year": _YEARS, "off phase": len(levels.phases), "off technique": len(levels.techniques), "off person": len(levels.people),
        }  # fmt: skip
        starts = dict(zip(sizes, np.cumsum([0, *sizes.values()])[:-1].tolist(), strict=True))
        groups = tuple(_GROUPED)
        mean: list[float] = []
        variance: list[float] = []
        group: list[int] = []
        for name, size in sizes.items():
            middle, sd = _SINGLE[name] if name in _SINGLE else (0.0, _GROUPED[name][0] if name in _GROUPED else 0.0)
            mean += [middle] * size
            variance += _usual_apart(levels, np.asarray(levels.part_measured, dtype=str)).tolist() if name == "usual size" else [sd**2] * size
            group += [groups.index(name) if name in _GROUPED else -1] * size
        residual = np.stack([_RESIDUAL, _RESIDUAL + _NO_QUANTITY, _RESIDUAL, _RESIDUAL, _RESIDUAL + _NO_PICTURE])  # by what is known of size, see `_sizes`
        prior = Prior(
            mean=np.array(mean), variance=np.array(variance), group=np.array(group), counts=np.array([_GROUPED[name][1] for name in groups]),
            shared=_SHARED, shared_count=_SHARED_COUNT, residual=residual, residual_count=_RESIDUAL_COUNT,
        )  # fmt: skip
        return cls(starts=starts, sizes=sizes, prior=prior, groups=groups)


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """The model fitted to a record.

    Attributes
    ----------
    levels, layout, fitted : what it knows by name, where that lies, and what is believed of it.
    works : names of the works it has learnt from, in order.
    mix : (people,) how the work is shared between people of late.
    rows : the lines it has learnt from, as the model sees them, and `lines` themselves.
    growth : how much more there is to treat than was quoted.
    """

    levels: Levels
    layout: Layout
    fitted: Fitted
    works: tuple[str, ...]
    mix: Floats
    rows: Rows
    lines: Lines
    growth: Growth

    @property
    def between_people(self) -> float:
        """How far paces of people lie apart where it is not known who will do it; variance of log hours."""
        pace = self.effects("person")
        return float(self.mix @ pace**2 - (self.mix @ pace) ** 2)

    def effects(self, name: str) -> Floats:
        start = self.layout.starts[name]
        return self.fitted.effects[start : start + self.layout.sizes[name]]

    def variance(self, name: str) -> float:
        """The fitted variance between effects of one kind."""
        return float(self.fitted.variance[self.layout.starts[name]]) if self.layout.sizes[name] else _GROUPED[name][0] ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """(n,) logs of hours, or of factors on them: the middle, and the range that holds the true one 4 times in 5."""

    middle: Floats
    low: Floats
    high: Floats

    @classmethod
    def of(cls, middle: Floats, sd: Floats) -> Pace:
        return cls(middle=middle, low=middle - FOUR_IN_FIVE * sd, high=middle + FOUR_IN_FIVE * sd)


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What is expected of the log hours of the lines of one work: (n,) and (n, n), figures known; `of_figure` (n,) is how far a line's own figure moves its hours: 1 is as far as
    itself; `with_luck` (n,) is how much longer each takes where the luck of its work is worse by one standard deviation of what is not known of it yet."""

    mean: Floats
    covariance: Floats
    of_figure: Floats
    with_luck: Floats


def repeats_figure(lines: Lines) -> Flags:
    """Hours that are the figure, to the digit."""
    with np.errstate(invalid="ignore"):
        same: Flags = np.abs(lines.hours - lines.figure) <= ECHO * lines.figure
    return same & ~lines.is_open


def learn(lines: Lines, now: int) -> Joint:
    """Fit the model.

    Parameters
    ----------
    lines : finished ones, and open ones with hours so far; each has hours.
    now : the day for which it is asked (days since 1970).
    """
    grown = growth.learn(lines)
    levels = Levels.of(lines, now, grown)
    layout = Layout.of(levels)
    works, work = lines.coded("object")
    rows, _ = _rows(lines, levels, layout, work, grown)
    if len(lines) > blocks.MOST_LINES:  # variances are learnt on a part, effects on all
        fitted = fit(rows, _with_variances(lines, rows, layout, now), steps=2, learning=False)
    else:
        fitted = fit(rows, layout.prior, steps=_STEPS)
    recent = 0.5 ** ((now - lines.day) / DAYS_A_YEAR)
    mix = recent @ _known_shares(lines, levels)
    return Joint(
        levels=levels, layout=layout, fitted=fitted, works=tuple(works), mix=mix / mix.sum() if mix.sum() else mix, rows=rows, lines=lines, growth=grown
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Variances:
    """What a block of finished works taught: variance between the effects of each group that it had any of, and what works and lines have to themselves."""

    groups: dict[int, float]
    shared: Floats
    residual: Floats


_taught = blocks.Taught[_Variances](_VARIANCES_KEPT)


def _with_variances(lines: Lines, rows: Rows, layout: Layout, now: int) -> Prior:
    """The prior of a long record, with its variances as whole works that are over taught them; where most of it is under way, as the latest lines did."""
    prior = layout.prior
    over = blocks.lines_of_whole_works(lines, now)
    if over is None:
        latest = np.sort(np.argsort(-lines.day, kind="stable")[: blocks.MOST_LINES])
        return given(fit(rows.take(latest), prior, steps=_STEPS), prior)
    taught = _taught.by(lines.take(over), _variances)
    variance = prior.variance.copy()
    for group, value in taught.groups.items():
        variance[prior.group == group] = value
    return replace(prior, variance=variance, shared=taught.shared, residual=taught.residual)


def _variances(lines: Lines) -> _Variances:
    """Learnt from some lines as if they were the record of the day on which the last of them was finished: nothing that comes later moves them."""
    grown, now = growth.learn(lines), int(lines.day.max())
    levels = Levels.of(lines, now, grown)
    layout = Layout.of(levels)
    rows, _ = _rows(lines, levels, layout, lines.coded("object")[1], grown)
    fitted, group = fit(rows, layout.prior, steps=_STEPS), layout.prior.group
    return _Variances(
        groups={number: float(fitted.variance[group == number][0]) for number in range(len(layout.groups)) if (group == number).any()},
        shared=fitted.shared,
        residual=fitted.residual,
    )


def _known_shares(lines: Lines, levels: Levels) -> Floats:
    """(n, known people) shares of the hours of each line."""
    found = np.zeros((len(lines), len(levels.people)))
    for number, name in enumerate(levels.people):
        if name in lines.people:
            found[:, number] = lines.shares[:, lines.people.index(name)]
    return found


@dataclass(slots=True)
class _Cells:
    """Cells of the two designs as they are put together."""

    layout: Layout
    lines: int
    columns: int
    cells: tuple[list[tuple[Integers, Integers, Floats]], list[tuple[Integers, Integers, Floats]]]
    extra_variance: list[float]

    def put(self, name: str, place: Integers, hours: Floats | float, figure: Floats | float, names: Names | None = None, variance: float = 0.0) -> None:
        """A column for each line, with its value in either answer: where its name is not known, one behind the others with the variance of its kind."""
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


def _rows(lines: Lines, levels: Levels, layout: Layout, work: Integers, grown: Growth, joint: Joint | None = None) -> tuple[Rows, Floats]:
    """The lines as the model sees them, and the variances of columns that stand for names it does not know."""
    n = len(lines)
    none = np.zeros(n, dtype=np.int64)
    size, seen, picture, kind = _sizes(lines, levels, grown)
    grade = np.where(np.isnan(lines.condition), 0.0, lines.condition - _MIDDLE_CONDITION)
    of_phase, of_technique = lines.codes("phase", levels.phases), lines.codes("technique", levels.techniques)
    cells = _Cells(layout, n, len(layout.prior.mean), ([], []), [])
    variance = joint.variance if joint else lambda _: 0.0
    cells.put("level", none, 1.0, 1.0)
    cells.put("size", none, size, seen)
    cells.put("condition", none, grade, grade)
    for name in dict.fromkeys(_PICTURES.values()):
        scaled = np.where(np.isin(lines.unit, [unit for unit, of in _PICTURES.items() if of == name]), picture, 0.0)
        cells.put(name, none, scaled, scaled)
    part = lines.codes("technique", levels.part_measured)
    unlike = np.where((part >= 0) & _without_size(kind), 1.0, 0.0)
    cells.put("usual size", np.maximum(part, 0), unlike, unlike)
    cells.put("off", none, 0.0, 1.0)
    cells.put("off size", none, 0.0, seen)
    cells.put("off condition", none, 0.0, grade)
    for off in ("", "off "):
        cells.put(f"{off}phase", of_phase, 0.0 if off else 1.0, 1.0, lines.phase, variance(f"{off}phase"))
        cells.put(f"{off}technique", of_technique, 0.0 if off else 1.0, 1.0, lines.technique, variance(f"{off}technique"))
    cells.put("size of technique", of_technique, size, seen, lines.technique, variance("size of technique"))
    of_kind = lines.codes("kind", levels.kinds)
    has_kind = ((lines.kind != "") & (of_kind >= 0)).astype(float)
    cells.put("kind", np.maximum(of_kind, 0), has_kind, has_kind)
    shares = _known_shares(lines, levels)
    if joint is not None:
        shares = shares + (1 - shares.sum(axis=1, keepdims=True)) * joint.mix  # not known who, or somebody new: as the studio's work is shared
    for number in range(len(levels.people)):
        cells.put("person", none + number, shares[:, number], shares[:, number])
        cells.put("off person", none + number, 0.0, shares[:, number])
    if joint is None:
        age = (levels.now - lines.day) / DAYS_A_YEAR
        year = np.floor(age).astype(np.int64)
        cells.put("drift", none, -np.maximum(age, 0.0), 0.0)
        cells.put("off drift", none, 0.0, -np.maximum(age, 0.0))
        cells.put("year", np.clip(year, 0, _YEARS - 1), np.where(year < _YEARS, 1.0, 0.0), 0.0)
    else:
        cells.put("year", none, 1.0, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        answers = np.log(np.stack([np.where(repeats_figure(lines), np.nan, lines.hours), lines.figure], axis=1))
    answers[~np.isfinite(answers)] = np.nan
    found = Rows(
        first=cells.design(0),
        second=cells.design(1),
        answers=answers,
        kind=kind,
        work=work,
        more_than=lines.is_open & ~np.isnan(answers[:, 0]),
        weight=lines.weight,
    )
    return found, np.array(cells.extra_variance)


def _log_sizes(lines: Lines, grown: Growth) -> tuple[Floats, Floats]:
    """(n,) log of what is treated, or will be of what was quoted; and of what was seen when it was quoted, or would have been. Not a number where neither is known."""
    more, _ = grown.of_lines(lines)
    log_treated, log_quoted = (np.log(np.where(quantity > 0, quantity, np.nan)) for quantity in (lines.quantity, lines.quoted))
    return np.where(np.isnan(log_treated), log_quoted + more, log_treated), np.where(np.isnan(log_quoted), log_treated - more, log_quoted)


def _sizes(lines: Lines, levels: Levels, grown: Growth) -> tuple[Floats, Floats, Floats, Integers]:
    """Log size of what is treated, of what was seen when it was quoted, against the usual one of the technique; where none is known or nothing is usual, how much larger the picture is (log area) than usual pictures; and what is
    known of the size: 0 the quantity, 1 the picture alone, 2 it has none, 3 what was quoted, 4 nothing."""
    place = lines.codes("technique", levels.techniques)  # long records have few names
    usual = levels.reference_at(place)
    size, seen = (value - usual for value in _log_sizes(lines, grown))
    counted = lines.unit != ""
    known = ~np.isnan(size) & counted
    picture = np.log(np.where(lines.area > 0, lines.area, np.nan)) - levels.picture_at(place)
    kind = np.where(known, np.where(lines.quantity > 0, 0, 3), np.where(~counted, 2, np.where(np.isnan(picture), 4, 1)))
    return np.where(known, size, 0.0), np.where(known, seen, 0.0), np.where(known | np.isnan(picture), 0.0, picture), kind


def _without_size(kind: Integers) -> Flags:
    """(n,) lines of what is counted, of which no quantity is known."""
    found: Flags = (kind == 1) | (kind == 4)
    return found


def _sizes_alike(kind: Integers) -> Floats:
    """(n,) standard deviation of log hours that lines without a quantity have in common with each other on one work, as what there is of one thing goes with what there is of another; part of what each line has to itself."""
    found: Floats = np.sqrt(np.select([kind == 1, kind == 4], [_ALIKE, _ALIKE_NO_PICTURE], 0.0))
    return found


def _usual_apart(levels: Levels, technique: Names) -> Floats:
    """(n,) variance of log hours of not knowing how far a usual line of each technique is from those few that have a quantity; nought where none has."""
    sized = np.append(levels.sized, 0)[codes(technique, levels.techniques)]
    found: Floats = np.where(sized > 0, (_SINGLE["size"][0] * _USUAL_APART) ** 2 / np.maximum(sized, 1), 0.0)
    return found


def _of_usual_size(joint: Joint, lines: Lines, kind: Integers) -> Floats:
    """(n,) that variance, of lines without a quantity of techniques of which every other line has one: of the others it is an effect of the fit."""
    learnt = codes(lines.technique, joint.levels.part_measured) >= 0
    found: Floats = np.where(_without_size(kind) & ~learnt, _usual_apart(joint.levels, lines.technique), 0.0)
    return found


def expect(joint: Joint, lines: Lines) -> Expected:
    """What is expected of lines that are not in the record, given the figures of all of them and what of their works is in the record.

    Lines of one work share its luck; those of several works, quoted together, only what is not known of rates.
    """
    fitted, n = joint.fitted, len(lines)
    names, of = np.unique(lines.object, return_inverse=True)
    rows, strange = _rows(lines, joint.levels, joint.layout, -1 - of, joint.growth, joint)
    told = np.flatnonzero(~np.isnan(rows.answers[:, 1]))
    design = np.vstack([rows.first.toarray(), rows.second.toarray()[told]])
    p = len(fitted.effects)
    known = design[:, :p]
    covariance = known @ fitted.covariance @ known.T + (design[:, p:] * strange) @ design[:, p:].T
    mean = known @ fitted.effects
    which = np.concatenate([np.zeros(n, dtype=np.int64), np.ones(len(told), dtype=np.int64)])
    of_work = np.concatenate([of, of[told]])
    luck, luck_variance = np.zeros((len(design), len(names))), np.zeros(len(names))  # of the hours of each work, beside the lines
    for number, work in enumerate(codes(names, joint.works)):
        its = np.flatnonzero(of_work == number)
        square = np.ix_(its, its)
        if work < 0:
            covariance[square] += fitted.shared[np.ix_(which[its], which[its])]
            luck[its, number], luck_variance[number] = fitted.shared[which[its], 0], fitted.shared[0, 0]
            continue
        mean[its] += fitted.of_work[work][which[its]]
        of_luck, with_effects = fitted.with_work(work)
        crossed = known @ with_effects.T[:, which[its]]
        covariance[:, its] += crossed
        covariance[its, :] += crossed.T
        covariance[square] += of_luck[np.ix_(which[its], which[its])]
        luck[:, number] = known @ with_effects.T[:, 0]
        luck[its, number] += of_luck[which[its], 0]
        luck_variance[number] = of_luck[0, 0]
    own = fitted.residual[np.where(rows.kind == 3, 0, rows.kind)]  # a quoted quantity will be measured; until then it may grow
    at = np.arange(n)
    _, may_grow = joint.growth.of_lines(lines)
    covariance[at, at] += (
        own[:, 0, 0]
        + _of_somebody(joint, lines)
        + _of_usual_size(joint, lines, rows.kind)
        + np.where(rows.kind == 3, elasticity(joint, lines.technique) ** 2 * may_grow, 0.0)
    )
    behind = n + np.arange(len(told))
    covariance[behind, behind] += own[told, 1, 1]
    covariance[told, behind] += own[told, 0, 1]
    covariance[behind, told] += own[told, 0, 1]
    line = np.concatenate([at, told])
    alike = _sizes_alike(rows.kind)[line]
    covariance += np.where((of_work[:, None] == of_work[None, :]) & (line[:, None] != line[None, :]), np.outer(alike, alike), 0.0)
    found = _conditional(mean, covariance, n, rows.answers[told, 1], told)
    if len(told):
        weighed = np.linalg.solve(covariance[n:, n:], luck[n:])
        luck_variance = luck_variance - np.einsum("ij,ij->j", luck[n:], weighed)
        luck = luck[:n] - covariance[:n, n:] @ weighed
    sd = np.sqrt(np.maximum(luck_variance, 0.0))
    return replace(found, with_luck=np.where(sd[of] > 0, luck[:n][at, of] / np.where(sd[of] > 0, sd[of], 1.0), 0.0))


def luck(joint: Joint, work: str) -> tuple[float, float]:
    """What is known of the luck of a work from its finished lines: by how much their log hours lie above those of such lines, and how sure that is (standard deviation)."""
    at = int(codes(np.array([work]), joint.works)[0])
    if at < 0:
        return 0.0, float(np.sqrt(joint.fitted.shared[0, 0]))
    return float(joint.fitted.of_work[at][0]), float(np.sqrt(joint.fitted.with_work(at)[0][0, 0]))


def elasticity(joint: Joint, technique: Names) -> Floats:
    """How hours grow with size: 1 in proportion, less where a big one goes faster for its size."""
    own = np.append(joint.effects("size of technique"), 0.0)
    found: Floats = joint.effects("size")[0] + own[codes(technique, joint.levels.techniques)]
    return found


def _of_somebody(joint: Joint, lines: Lines) -> Floats:
    """Variance of not knowing who, or of somebody whose pace is not known."""
    known = _known_shares(lines, joint.levels).sum(axis=1)
    found: Floats = np.where(known > 0, 0.0, np.where(lines.person == "", joint.between_people, joint.variance("person")))
    return found


def _conditional(mean: Floats, covariance: Floats, n: int, figures: Floats, told: Integers) -> Expected:
    """Of the first n, given the others."""
    of_figure = np.zeros(n)
    if not len(told):
        return Expected(mean=mean[:n], covariance=covariance[:n, :n], of_figure=of_figure, with_luck=of_figure)
    crossed = np.linalg.solve(covariance[n:, n:], covariance[n:, :n]).T
    of_figure[told] = covariance[told, n + np.arange(len(told))] / np.diag(covariance)[n:]
    return Expected(
        mean=mean[:n] + crossed @ (figures - mean[n:]), covariance=covariance[:n, :n] - crossed @ covariance[n:, :n], of_figure=of_figure, with_luck=of_figure
    )


def left_out(joint: Joint, works: Integers) -> tuple[Integers, Floats, Floats]:
    """What would have been expected of lines had their work not been in the record (variances as they are).

    Leaving a block of answers out of a linear mixed model: R. Christensen, L. M. Pearson, W. Johnson, "Case-deletion diagnostics for mixed models", Technometrics 34
    (1992) 38-45, in the form of the marginal covariance.

    Parameters
    ----------
    works : numbers of works (places in `joint.works`).

    Returns
    -------
    The lines (places in `joint.lines`), the expected log hours of each given the figures of its work, and the standard deviation.
    """
    fitted, rows = joint.fitted, joint.rows
    number = np.full(len(joint.works), -1)
    number[works] = np.arange(len(works))
    of_work = number[rows.work]
    judged = np.flatnonzero(of_work >= 0)
    judged = judged[np.argsort(of_work[judged], kind="stable")]
    # their answers one behind the other, work by work, hours before figures
    which, at = np.nonzero(~np.isnan(rows.answers[judged].T))
    order = np.argsort(2 * of_work[judged[at]] + which, kind="stable")
    line, which = judged[at[order]], which[order]
    design = np.where((which == 0)[:, None], rows.first[line].toarray(), rows.second[line].toarray())
    answers = fitted.answers[line, which]
    missed, uncertain = answers - design @ fitted.effects, design @ fitted.covariance
    own = fitted.residual[rows.kind[line]] / fitted.weight[line][:, None, None]
    ends = np.searchsorted(of_work[line], np.arange(len(works) + 1))
    places, means, sds = [], [], []
    for begin, end in pairwise(ends.tolist()):
        of, n = slice(begin, end), int((which[begin:end] == 0).sum())
        if not n:
            continue
        same_line = line[of, None] == line[None, of]
        row = np.arange(end - begin)[:, None]
        within = fitted.shared[np.ix_(which[of], which[of])] + np.where(same_line, own[of][row, which[of, None], which[None, of]], 0.0)
        inverse = np.linalg.inv(within)
        certain = inverse - inverse @ (uncertain[of] @ design[of].T) @ inverse
        covariance = np.linalg.inv(certain)
        found = _conditional_miss(covariance @ (inverse @ missed[of]), covariance, n)
        places.append(line[of][:n])
        means.append(answers[of][:n] - found[0])
        sds.append(found[1])
    if not places:
        return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0)
    return np.concatenate(places), np.concatenate(means), np.concatenate(sds)


def _conditional_miss(out: Floats, covariance: Floats, n: int) -> tuple[Floats, Floats]:
    """How far the first n answers lie from what the others let expect, and the standard deviation of each."""
    if len(out) == n:
        return out, np.sqrt(np.diag(covariance))
    crossed = np.linalg.solve(covariance[n:, n:], covariance[n:, :n]).T
    return out[:n] - crossed @ out[n:], np.sqrt(np.diag(covariance)[:n] - np.einsum("ij,ji->i", crossed, covariance[n:, :n]))


def level(joint: Joint, lines: Lines) -> tuple[Floats, Floats]:
    """(n,) expected log hours of lines but for their luck and that of their work, and how sure that is (standard deviation)."""
    design, strange = _designs(joint, lines)[0]
    p = len(joint.fitted.effects)
    known = design[:, :p]
    variance = np.einsum("ij,jk,ik->i", known, joint.fitted.covariance, known, optimize=True) + (design[:, p:] ** 2) @ strange
    return known @ joint.fitted.effects, np.sqrt(variance)


def alone(joint: Joint, lines: Lines) -> tuple[Floats, Floats]:
    """(n,) expected log hours of lines without a figure, each on a new work, and their standard deviation."""
    mean, sd = level(joint, lines)
    kind = _sizes(lines, joint.levels, joint.growth)[-1]
    return mean, np.sqrt(
        sd**2 + joint.fitted.shared[0, 0] + joint.fitted.residual[kind, 0, 0] + _of_somebody(joint, lines) + _of_usual_size(joint, lines, kind)
    )


def weight_of_figure(joint: Joint, lines: Lines) -> Floats:
    """(n,) how far a figure for this line alone would move its expected hours: 1 is as far as the figure itself."""
    (hours, strange), (figure, _) = _designs(joint, lines)
    p = len(joint.fitted.effects)
    half = figure[:, :p] @ joint.fitted.covariance
    fitted, kind = joint.fitted, _sizes(lines, joint.levels, joint.growth)[-1]
    crossed = (half * hours[:, :p]).sum(axis=1) + (hours[:, p:] * figure[:, p:]) @ strange + fitted.shared[0, 1] + fitted.residual[kind, 0, 1]
    own = (half * figure[:, :p]).sum(axis=1) + (figure[:, p:] ** 2) @ strange + fitted.shared[1, 1] + fitted.residual[kind, 1, 1]
    found: Floats = np.clip(crossed / own, 0.0, 1.0)
    return found


def own_share(joint: Joint, technique: Names) -> Floats:
    """(n,) how far what is believed of a technique rests on its own lines: 0 not at all, towards 1 the more there are."""
    start = joint.layout.starts["technique"]
    place = codes(technique, joint.levels.techniques)
    left = np.append(np.diag(joint.fitted.covariance)[start : start + len(joint.levels.techniques)], joint.variance("technique"))
    found: Floats = np.clip(1 - left[place] / joint.variance("technique"), 0.0, 1.0)
    return found


def _designs(joint: Joint, lines: Lines) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    rows, strange = _rows(lines, joint.levels, joint.layout, np.full(len(lines), -1), joint.growth, joint)
    return (rows.first.toarray(), strange), (rows.second.toarray(), strange)


def paces(joint: Joint) -> Pace:
    """How each person's hours stand to those of the studio as it shares its work now; by their places in the levels."""
    start, n = joint.layout.starts["person"], len(joint.levels.people)
    against = np.eye(n) - joint.mix
    middle = against @ joint.effects("person")
    covariance = joint.fitted.covariance[start : start + n, start : start + n]
    return Pace.of(middle, np.sqrt(np.einsum("ij,jk,ik->i", against, covariance, against)))


def drift(joint: Joint) -> tuple[float, float, float]:
    """Change of log hours with each year, and the range that holds the true one 4 times in 5."""
    place = joint.layout.starts["drift"]
    middle, spread = float(joint.fitted.effects[place]), FOUR_IN_FIVE * float(np.sqrt(joint.fitted.covariance[place, place]))
    return middle, middle - spread, middle + spread
