"""Where a work under way will end: what is finished stays, what was begun goes on from where it is, what was not begun follows with the luck that the work has shown, and something may still
turn up.

The luck of a work is what its lines share beyond all that is known of techniques, sizes, people and figures. Its finished lines bear on it through the calibration; its open lines say "more than so far",
and where it was said how far they are, about how much more. That is brought together exactly, on a grid of the luck and of each open line, and then drawn: so hours more on a line, with all else
as it was, never lower what is foretold of it or of the work.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from dashboard.analysis import calibration, discovery, joint
from dashboard.analysis.basis import LEVELS
from dashboard.analysis.calibration import NORMAL_SCORES, Calibration, at_scores
from dashboard.analysis.discovery import Described, Discoveries, MayTurnUp
from dashboard.analysis.lines import Lines, join
from dashboard.analysis.mixed import Flags, Floats, Integers
from dashboard.analysis.promise import as_lines
from dashboard.analysis.record import RESTS_LONG
from dashboard.analysis.totals import DRAWS, SEED

_LUCK = np.linspace(-7, 7, 141)
_EVENLY = special.ndtr(np.linspace(-4.5, 4.5, 91))
_SCORES = np.linspace(-4.5, 4.5, 91)
_STEP = NORMAL_SCORES[1] - NORMAL_SCORES[0]
_LEAST_SLOPE = 0.05  # of log hours by a step of the normal score, beyond the end of a table
_COARSE, _FINE, _WIDTHS = 241, 161, 6.0
_MOST_LUCK = 0.98
_WHEN_WORTH = 6.0  # finds that "any time is as likely" is worth
_UNFINISHED = 0.6  # of lines that stand open as nobody has said yet whether they are finished, of those that are shorter than such lines are
_JITTER = 1e-6
_SAME = 1e-9  # of an hour


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderWay:
    """Works that are told together, one or those of a commission, and their n lines that are not finished.

    Attributes
    ----------
    lines : as they are asked about; hours and quantity are not known. works : what each is, by its name in `lines.object`; `techniques` on its sheet, `worked` begun already.
    finished_hours : what the finished lines of each took.
    so_far : (n,) hours; nought: not begun. all_done : (n,) it was said to be all done with its last hours: stays as it is.
    said_at : (n,) hours it had taken when it was last said how far it is; said : (n,) the share of its hours that had passed by that; said_sd : (n,) standard deviation of the log of that share;
        not a number: nobody said.
    goes_on : (n,) chance that a line stands open because more is to come; else nobody has said yet whether it is finished, and it ends where such lines end, or just here where it is beyond that.
    left : (n,) left for weeks while the work went on. whole : (n,) all that was quoted was treated with its last hours: it goes on only where there is more to treat than that.
    in_estimate : (n,) it was foreseen.
    pinned : (n,) log of a pinned rate by that of the record.
    bears_on : of each technique which of the three conditions bears on it (0, 1, 2), where one does.
    agreed_in_part : works of which a first stage alone is agreed: what is not on their sheet is no surprise.
    """

    lines: Lines
    works: Mapping[str, Described]
    finished_hours: Mapping[str, float]
    so_far: Floats
    all_done: Flags
    said_at: Floats
    said: Floats
    said_sd: Floats
    goes_on: Floats
    left: Flags
    whole: Flags
    in_estimate: Flags
    pinned: Floats
    bears_on: Mapping[str, int]
    agreed_in_part: frozenset[str] = frozenset()

    def of(self, names: Collection[str]) -> UnderWay:
        """Some of the works alone."""
        its = np.isin(self.lines.object, list(names))
        arrays = {
            name: getattr(self, name)[its] for name in ("so_far", "all_done", "said_at", "said", "said_sd", "goes_on", "left", "whole", "in_estimate", "pinned")
        }
        return UnderWay(
            lines=self.lines.take(its), works={name: self.works[name] for name in names}, finished_hours={name: self.finished_hours[name] for name in names}, bears_on=self.bears_on,
            agreed_in_part=self.agreed_in_part & frozenset(names), **arrays,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class StillToFind:
    """What may still turn up on a work, with the chance that it does, and its hours: if it does at even chance, and on average over all that may come."""

    work: str
    found: MayTurnUp
    hours_if_found: float
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Where works will end.

    Attributes
    ----------
    totals : (draws,) equally likely hours in the end of each work, by its name; those of one place belong together.
    lines : (n, 4) hours of each line at `LEVELS`. mean : (n,) on average.
    found : what may still turn up, the likeliest first.
    luck : by work, how much longer its lines take than such lines do here, as a factor at even chance.
    """

    totals: dict[str, Floats]
    lines: Floats
    mean: Floats
    found: tuple[StillToFind, ...]
    luck: dict[str, float]

    @property
    def together(self) -> Floats:
        """(draws,) hours in the end of all of them."""
        total: Floats = np.sum(list(self.totals.values()), axis=0)
        return total


def chance_over(total: Floats, hours: float) -> float:
    """How likely something ends above so many hours."""
    return float((total > hours + _SAME).mean())


def hours_over(total: Floats, hours: float) -> float:
    """Hours above so many, on average over all that may come: the chance times the size."""
    return float(np.maximum(total - hours, 0.0).mean())


def foretell(known: Calibration, discoveries: Discoveries, when: Floats, asked: UnderWay, draws: int = DRAWS) -> Forecast:
    """Where works will end.

    Parameters
    ----------
    known : calibrated without the open lines of these works. when : (k,) 0 to 1, how far finished works were, of their hours, when what nobody foresaw turned up on them.
    """
    lines, n = asked.lines, len(asked.lines)
    names = list(asked.works)
    pairs = [(name, one) for name, work in asked.works.items() if name not in asked.agreed_in_part for one in discovery.expected(discoveries, work)]
    work = np.array([names.index(name) for name in [*lines.object.tolist(), *(name for name, _ in pairs)]], dtype=np.int64)
    foretold = calibration.foretell(known, join(lines, as_lines(known, pairs, asked.works, asked.bears_on, lines.people)) if pairs else lines)
    table = foretold.table.copy()
    table[:n] += (asked.pinned * (1 - foretold.figure_weight[:n]))[:, None]
    table[np.concatenate([~asked.in_estimate, np.ones(len(pairs), dtype=bool)])] += discoveries.smaller
    loading = np.clip(foretold.with_luck, 0.0, _MOST_LUCK)
    own = np.sqrt(1 - loading**2)
    told = {line: _told(table[line], float(loading[line]), asked, line) for line in np.flatnonzero(asked.so_far > 0).tolist()}
    luck_by, apart, even, cause_by = (np.random.default_rng([SEED, stream]) for stream in (3, 4, 5, 6))
    scores = luck_by.standard_normal((len(names), draws))
    luck = np.stack([_drawn_luck([one.chance for line, one in told.items() if work[line] == number], scores[number]) for number in range(len(names))])
    within = np.where(work[:, None] == work[None, :], np.outer(loading, loading), 0.0)
    rest = _root((foretold.correlation - within) / np.outer(own, own)) @ apart.standard_normal((len(work), draws))
    evenly = even.random((len(work), draws))
    hours = np.zeros((len(work), draws))

    def ends(line: int, at: Integers | slice) -> Floats:
        score = loading[line] * luck[work[line], at] + own[line] * rest[line, at]
        found: Floats = np.exp(at_scores(table[line : line + 1], score[None, :]))[0]
        return found

    needed = 1 - known.unneeded.chance(lines)
    for line in range(n):
        if line in told:
            hours[line] = told[line].drawn(luck[work[line]], rest[line], evenly[line], lambda line=line: ends(line, slice(None)))  # type: ignore[misc]
        else:
            at = np.flatnonzero(evenly[line] < needed[line])
            hours[line, at] = ends(line, at)
    usual = np.exp([np.interp(0.0, NORMAL_SCORES, row) for row in table])
    passed = [_passed(asked, name, usual[:n]) for name in names]
    cause = cause_by.standard_normal((len(names), draws))
    share = discoveries.together
    found = []
    for number, (name, one) in enumerate(pairs, n):
        left = _still(one, when, passed[work[number]])
        threshold = special.ndtri(np.clip(left.chance, 1e-12, 1 - 1e-12))
        at = np.flatnonzero(evenly[number] < special.ndtr((threshold + np.sqrt(share) * cause[work[number]]) / np.sqrt(1 - share)))
        hours[number, at] = ends(number, at)
        found.append(StillToFind(work=name, found=left, hours_if_found=float(usual[number]), hours=float(hours[number].mean())))
    return Forecast(
        totals={name: asked.finished_hours[name] + hours[work == number].sum(axis=0) for number, name in enumerate(names)}, lines=np.quantile(hours[:n], LEVELS, axis=1).T,
        mean=hours[:n].mean(axis=1), found=tuple(sorted(found, key=lambda one: (-one.hours, one.found.technique))),
        luck={name: _lasting(known, name, luck[number]) for number, name in enumerate(names)},
    )  # fmt: skip


def _lasting(known: Calibration, name: str, luck: Floats) -> float:
    """How much longer lines of a work take than such lines do, at even chance."""
    middle, sd = joint.luck(known.joint, name)
    return float(np.exp(middle + sd * np.median(luck)))


def _passed(asked: UnderWay, name: str, usual: Floats) -> float:
    """How far a work is, of the hours of its known lines. Of one under way as much as was said, or half: that it takes long does not bring the end any nearer."""
    of = asked.lines.object == name
    part = np.where(asked.all_done | asked.whole, 1.0, np.where(np.isnan(asked.said), np.where(asked.so_far > 0, 0.5, 0.0), asked.said))[of]
    done = asked.finished_hours[name]
    end = done + float(usual[of].sum())
    return (done + float((part * usual[of]).sum())) / end if end > 0 else 0.0


def _still(one: MayTurnUp, when: Floats, passed: float) -> MayTurnUp:
    """What may turn up, and has not by now: the less likely the further the work is."""
    seen = float(((when <= passed).sum() + _WHEN_WORTH * passed) / (len(when) + _WHEN_WORTH))
    left = one.chance * (1 - seen) / (1 - one.chance * seen) if one.chance * seen < 1 else 0.0
    return replace(one, chance=left)


def _root(correlation: Floats) -> Floats:
    """A matrix that times its transpose is the correlation, or where that is none by a hair the nearest that is."""
    if not len(correlation):
        return correlation
    value, vector = np.linalg.eigh(correlation + _JITTER * np.eye(len(correlation)))
    root = vector * np.sqrt(np.maximum(value, 0.0))
    found: Floats = root / np.sqrt(np.maximum((root**2).sum(axis=1, keepdims=True), 1e-12))
    return found


def _drawn_luck(chances: list[Floats], scores: Floats) -> Floats:
    """(draws,) the luck of the work, given what its open lines say; the same scores with worse lines give worse luck, draw by draw."""
    if not chances:
        return scores
    log_density = -(_LUCK**2) / 2 + np.sum(chances, axis=0)
    density = np.exp(log_density - log_density.max())
    upto = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    found: Floats = np.interp(special.ndtr(scores), upto / upto[-1], _LUCK)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What is known of a begun line: log chance of what it shows by the luck of the work (141,), quantiles of its log hours by luck and normal score (141, 91) where more is to come, with which chance it
    stands open for that, and, where it does not, with which chance it is not finished though such lines take more; `all_done`: it stays as it is."""

    chance: Floats
    ends: Floats
    goes_on: float
    unfinished: float
    so_far: float
    all_done: bool

    def drawn(self, luck: Floats, score: Floats, evenly: Floats, otherwise: Callable[[], Floats]) -> Floats:
        """(draws,) hours in the end; `otherwise`: what such a line takes, whatever it took so far."""
        if self.all_done:
            return np.full(len(luck), self.so_far)
        place = (np.clip(luck, _LUCK[0], _LUCK[-1]) - _LUCK[0]) / (_LUCK[1] - _LUCK[0])
        row = np.minimum(place.astype(np.int64), len(_LUCK) - 2)
        at = (np.clip(score, _SCORES[0], _SCORES[-1]) - _SCORES[0]) / (_SCORES[1] - _SCORES[0])
        column = np.minimum(at.astype(np.int64), len(_SCORES) - 2)
        by_luck, by_score = place - row, at - column
        lower = self.ends[row, column] * (1 - by_score) + self.ends[row, column + 1] * by_score
        upper = self.ends[row + 1, column] * (1 - by_score) + self.ends[row + 1, column + 1] * by_score
        hours = np.exp(lower * (1 - by_luck) + upper * by_luck)
        if self.goes_on < 1:
            left = np.where(evenly < self.goes_on + (1 - self.goes_on) * self.unfinished, otherwise(), self.so_far)
            hours = np.where(evenly < self.goes_on, hours, left)
        found: Floats = np.maximum(hours, self.so_far)
        return found


def _told(table: Floats, loading: float, asked: UnderWay, line: int) -> _Told:
    """What is known of a line that was begun."""
    own = float(np.sqrt(1 - loading**2))
    so_far = float(asked.so_far[line])
    lowest = float(_score(table, np.log(so_far)))
    # that nothing more is to come: it ends just here
    here = -(((lowest - loading * _LUCK) / own) ** 2) / 2
    if asked.all_done[line]:
        return _Told(chance=here, ends=np.zeros((0, 0)), goes_on=0.0, unfinished=0.0, so_far=so_far, all_done=True)
    goes_on = float(asked.goes_on[line])
    said = not np.isnan(asked.said[line])
    grid = max(lowest, -6.0) + (max(6.5, lowest + 4.0) - max(lowest, -6.0)) * np.linspace(0, 1, _COARSE) ** 1.5
    if said:
        centre = np.log(asked.said_at[line] / asked.said[line])
        width = max(float(asked.said_sd[line]), 0.01)
        near = _score(table, centre + width * np.linspace(-_WIDTHS, _WIDTHS, _FINE))
        grid = np.unique(np.concatenate([grid, near[near > grid[0]]]))
    log_hours = _log_hours(table, grid)
    density = -(((grid[None, :] - loading * _LUCK[:, None]) / own) ** 2) / 2
    if said:
        density = density - (((log_hours - centre) / width) ** 2)[None, :] / 2
    most = density.max(axis=1, keepdims=True)
    value = np.exp(density - most)
    upto = np.concatenate([np.zeros((len(_LUCK), 1)), np.cumsum((value[:, 1:] + value[:, :-1]) / 2 * np.diff(grid), axis=1)], axis=1)
    beyond = most[:, 0] + np.log(upto[:, -1])
    ends = np.stack([np.interp(_EVENLY, row / row[-1], log_hours) for row in upto])
    prior = -(_LUCK**2) / 2
    # such lines take more than this so often; of those that were left for weeks fewer go on
    more = float(special.ndtr(-lowest))
    unfinished = 0.0 if asked.whole[line] else RESTS_LONG / (RESTS_LONG * more + 1 - more) if asked.left[line] else _UNFINISHED
    shares = ((goes_on + (1 - goes_on) * more * unfinished, beyond), ((1 - goes_on) * (1 - more * unfinished), here))
    both = [np.log(share) + chance - special.logsumexp(prior + chance) for share, chance in shares if share > 0]
    return _Told(chance=np.logaddexp.reduce(both, axis=0), ends=ends, goes_on=goes_on, unfinished=unfinished, so_far=so_far, all_done=False)


def _slopes(table: Floats) -> tuple[float, float]:
    """By how much log hours change with a normal score of one beyond either end of a table."""
    reach = 10
    return max(float(table[reach] - table[0]) / (reach * _STEP), _LEAST_SLOPE), max(float(table[-1] - table[-1 - reach]) / (reach * _STEP), _LEAST_SLOPE)


def _log_hours(table: Floats, scores: Floats) -> Floats:
    """(k,) log hours at normal scores; beyond the ends of the table as straight as it ends."""
    low, high = _slopes(table)
    inside = np.interp(scores, NORMAL_SCORES, table)
    found: Floats = inside + high * np.maximum(scores - NORMAL_SCORES[-1], 0.0) + low * np.minimum(scores - NORMAL_SCORES[0], 0.0)
    return found


def _score(table: Floats, log_hours: Floats | float) -> Floats:
    """(k,) normal scores at log hours; where many scores have the same hours the last of them."""
    low, high = _slopes(table)
    rising = np.maximum.accumulate(table) + 1e-9 * np.arange(len(table))
    found: Floats = np.interp(log_hours, rising, NORMAL_SCORES) + np.maximum(log_hours - table[-1], 0.0) / high + np.minimum(log_hours - table[0], 0.0) / low
    return found
