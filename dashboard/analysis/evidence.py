"""Lines that were begun, brought together with those that were not: what their hours so far say of them, of the luck of their work, and so of all its other lines.

The luck of a work is what its lines share beyond all that is known of techniques, sizes, people and figures. Its open lines say "more than so far", and where it was said how far they are, about how
much more. That is brought together exactly, on a grid of the luck and of each open line, and then drawn: so hours more on a line, with all else as it was, never lower what is foretold of it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from scipy import special

from dashboard.analysis.calibration import NORMAL_SCORES, Foretold, at_scores
from dashboard.analysis.mixed import Flags, Floats, Integers
from dashboard.analysis.record import RESTS_LONG
from dashboard.analysis.totals import SEED

_LUCK = np.linspace(-7, 7, 141)
_EVENLY = special.ndtr(np.linspace(-4.5, 4.5, 181))
_SCORES = np.linspace(-4.5, 4.5, 181)
_STEP = NORMAL_SCORES[1] - NORMAL_SCORES[0]
_LEAST_SLOPE = 0.05  # of log hours by a step of the normal score, beyond the end of a table
_COARSE, _FINE, _WIDTHS = 361, 161, 6.0
_MOST_LUCK = 0.98
_LEAST_SD = 0.05  # of log odds
_NODES = np.linspace(-3.5, 3.5, 43)
_NEVER = -1e4
_GROWS = 0.85  # how hours grow with how much there is to treat
_MOST_WITH_HOURS = 0.9
_MOST_SAID = 0.99
_NO_REST = 1e-9  # of the hours so far
_CONTRADICTED = 2.0  # standard deviations
_NONE: Floats = np.zeros((0, 0))
_BOUND = 2.5  # normal scores beyond which a line says no more of the luck of its work
_JITTER = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known of n lines by their hours so far.

    Attributes
    ----------
    so_far : (n,) hours; nought: not begun. all_done : (n,) it was said to be all done with its last hours: stays as it is.
    said_at : (n,) hours it had taken when it was last said how far it is; said : (n,) the share of its hours that had passed by that; said_sd : (n,) standard deviation of the log odds of that share;
        not a number: nobody said. whole_sd : (n,) standard deviation of the log of all there is to treat, where it was said by how much was treated; else nought.
    goes_on : (n,) chance that a line stands open because more is to come; else nobody has said yet whether it is finished, and it ends where such lines end, or just here where it is beyond that.
    left : (n,) left for weeks while the work went on. whole : (n,) all that was quoted was treated with its last hours: it goes on only where there is more to treat than that.
    """

    so_far: Floats
    all_done: Flags
    said_at: Floats
    said: Floats
    said_sd: Floats
    whole_sd: Floats
    goes_on: Floats
    left: Flags
    whole: Flags

    @classmethod
    def none(cls, n: int) -> Evidence:
        """Of lines of which none was begun."""
        nothing, no = np.full(n, np.nan), np.zeros(n, dtype=bool)
        return cls(so_far=np.zeros(n), all_done=no, said_at=nothing, said=nothing, said_sd=nothing, whole_sd=np.zeros(n), goes_on=np.ones(n), left=no, whole=no)

    def take(self, which: Flags | Integers) -> Evidence:
        return Evidence(**{one.name: getattr(self, one.name)[which] for one in fields(self)})

    def join(self, other: Evidence) -> Evidence:
        return Evidence(**{one.name: np.concatenate([getattr(self, one.name), getattr(other, one.name)]) for one in fields(self)})

    @property
    def part(self) -> Floats:
        """(n,) how far each line is, as far as anybody said."""
        found: Floats = np.where(self.all_done | self.whole, 1.0, np.nan_to_num(self.said))
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Equally likely hours in the end of each line, if it is worked (n, draws), the luck of each work (works, draws), and even numbers (n, draws) from which nothing was drawn of lines that were not begun."""

    hours: Floats
    luck: Floats
    evenly: Floats


def draw(foretold: Foretold, begun: Evidence, work: Integers, works: int, draws: int) -> Drawn:
    """Draw lines that are told together, and behind the first n of which something is known by their hours so far others of which nothing is; `work`: the number of the work of each, of so many `works`.

    What a line says of the luck of its work moves the other lines. Its own end it does not move: that is drawn from what the others say, and from its hours.
    """
    loading = np.clip(foretold.with_luck, 0.0, _MOST_LUCK)
    own = np.sqrt(1 - loading**2)
    told = {line: _Told.of(foretold.table[line], float(loading[line]), begun, line) for line in np.flatnonzero((begun.so_far > 0) | begun.all_done).tolist()}
    luck_by, apart, even = (np.random.default_rng([SEED, stream]) for stream in (3, 4, 5))
    scores = luck_by.standard_normal((works, draws))
    shown = np.zeros((works, len(_LUCK)))
    for line, one in told.items():
        shown[work[line]] += one.shows
    places = [_Places.of(special.ndtr(of)) for of in scores]
    luck = np.stack([_drawn_luck(of, own_places) for of, own_places in zip(shown, places, strict=True)])
    within = np.where(work[:, None] == work[None, :], np.outer(loading, loading), 0.0)
    rest = _root((foretold.correlation - within) / np.outer(own, own)) @ apart.standard_normal((len(work), draws))
    evenly = even.random((len(work), draws))
    hours = np.zeros((len(work), draws))
    for line in range(len(work)):
        its = work[line]
        if line in told:
            hours[line] = told[line].drawn(shown[its] - told[line].shows, places[its], rest[line], evenly[line])
        else:
            hours[line] = np.exp(at_scores(foretold.table[line : line + 1], (loading[line] * luck[its] + own[line] * rest[line])[None, :]))[0]
    return Drawn(hours=hours, luck=luck, evenly=evenly)


def how_far(done_hours: float, part: Floats, usual: Floats) -> float:
    """How far a work is, 0 to 1, of the hours of its known lines: those done already, and (n,) lines that usually take so many hours and are so far. That a line takes long does not bring the end nearer."""
    end = done_hours + float(usual.sum())
    return (done_hours + float((part * usual).sum())) / end if end > 0 else 0.0


def _root(correlation: Floats) -> Floats:
    """A matrix that times its transpose is the correlation, or where that is none by a hair the nearest that is."""
    if not len(correlation):
        return correlation
    value, vector = np.linalg.eigh(correlation + _JITTER * np.eye(len(correlation)))
    root = vector * np.sqrt(np.maximum(value, 0.0))
    found: Floats = root / np.sqrt(np.maximum((root**2).sum(axis=1, keepdims=True), 1e-12))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Places:
    """Even places (draws,) from 0 to 1 of the luck of a work: in rising order, in which a table is looked up ten times as fast, and where each stands."""

    rising: Floats
    order: Integers

    @classmethod
    def of(cls, places: Floats) -> _Places:
        order = np.argsort(places)
        return cls(rising=places[order], order=order)

    def interpolated(self, at: Floats, values: Floats) -> Floats:
        """(draws,) `np.interp` at each."""
        found = np.empty_like(self.rising)
        found[self.order] = np.interp(self.rising, at, values)
        return found


def _drawn_luck(shown: Floats, places: _Places) -> Floats:
    """(draws,) the luck of a work at even places from 0 to 1, given the log chance of what its lines show by it; the same places with worse lines give worse luck, draw by draw."""
    log_density = -(_LUCK**2) / 2 + shown
    density = np.exp(log_density - log_density.max())
    upto = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return places.interpolated(upto / upto[-1], _LUCK)


def _log_sum_exp(values: Floats) -> Floats:
    """`special.logsumexp` along the first axis, to the digit: on arrays as short as these that takes longer to look at what it was given than to add it up."""
    most = values.max(axis=0)
    is_most = values == most
    with np.errstate(divide="ignore", invalid="ignore"):
        count, rest = is_most.sum(axis=0, dtype=float), np.exp(np.where(is_most, -np.inf, values) - most).sum(axis=0)
        found: Floats = np.log1p(rest / count) + np.log(count) + most
    return found if np.isfinite(found).all() else special.logsumexp(values, axis=0)


def _between(values: Floats, grid: Floats) -> tuple[Integers, Floats]:
    """(draws,) the point of an even grid before each value, and how far it is to the next one."""
    place = (np.clip(values, grid[0], grid[-1]) - grid[0]) / (grid[1] - grid[0])
    before = np.minimum(place.astype(np.int64), len(grid) - 2)
    return before, place - before


def _above(below: Floats, scores: Floats) -> Floats:
    """Normal scores (k,), each moved to the same place of what lies above so much of the distribution."""
    found: Floats = special.ndtri(np.clip(below + (1 - below) * special.ndtr(scores), 1e-15, 1 - 1e-15))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """A line that was begun.

    Attributes
    ----------
    table, loading, so_far, all_done, goes_on : as they were given. lowest : the normal score of its hours so far.
    unfinished : where it does not stand open for that, with which chance it goes on as such lines take more; nought where it was said how far it is.
    reached : (141,) log chance by the luck of the work that it comes so far and on, and of what was said of it. shows : likewise, of all that it shows.
    ends : (141, 181) log hours by luck and normal score, given what was said; below : (141,) how much of that lies below its hours so far. Empty where nobody said anything.
    """

    table: Floats
    loading: float
    so_far: float
    all_done: bool
    goes_on: float
    unfinished: float
    lowest: float
    reached: Floats
    shows: Floats
    ends: Floats
    below: Floats

    @classmethod
    def of(cls, table: Floats, loading: float, begun: Evidence, line: int) -> _Told:
        so_far, all_done, goes_on = float(begun.so_far[line]), bool(begun.all_done[line]), float(begun.goes_on[line])
        nothing = np.zeros(len(_LUCK))
        if so_far <= 0:  # all done by waiting alone, which is no hours: it says nothing of luck
            return cls(
                table=table,
                loading=loading,
                so_far=so_far,
                all_done=all_done,
                goes_on=0.0,
                unfinished=0.0,
                lowest=0.0,
                reached=nothing,
                shows=nothing,
                ends=_NONE,
                below=nothing,
            )
        lowest, own = float(_score(table, np.log(so_far))), float(np.sqrt(1 - loading**2))
        # that nothing more is to come: it ends just here
        here = -(((np.clip(lowest, -_BOUND, _BOUND) - loading * _LUCK) / own) ** 2) / 2
        # such lines take more than this so often; of those that were left for weeks fewer go on
        more = float(special.ndtr(-lowest))
        unfinished = 0.0 if begun.whole[line] or not np.isnan(begun.said[line]) else RESTS_LONG / (RESTS_LONG * more + 1 - more) if begun.left[line] else 1.0
        ends, below = _NONE, nothing
        if np.isnan(begun.said[line]):
            reached = special.log_ndtr((loading * _LUCK - min(lowest, _BOUND)) / own)
        else:
            ends, below, reached = _as_said(table, loading, lowest, _Saying.of(table, begun, line))
        prior = -(_LUCK**2) / 2
        shares = ((goes_on + (1 - goes_on) * more * unfinished, reached), ((1 - goes_on) * (1 - more * unfinished), here))
        both = [np.log(share) + chance - _log_sum_exp(prior + chance) for share, chance in shares if share > 0]
        return cls(
            table=table, loading=loading, so_far=so_far, all_done=all_done, goes_on=goes_on, unfinished=unfinished, lowest=lowest, reached=reached,
            shows=here if all_done else np.logaddexp.reduce(both, axis=0), ends=ends, below=below,
        )  # fmt: skip

    def drawn(self, others: Floats, places: _Places, rest: Floats, evenly: Floats) -> Floats:
        """(draws,) hours in the end, given what the other lines show by the luck of the work; `places` of that, see `_drawn_luck`."""
        if self.all_done:
            return np.full(len(rest), self.so_far)
        hours, own = np.full(len(rest), self.so_far), np.sqrt(1 - self.loading**2)
        goes_on = evenly < self.goes_on
        if (at := np.flatnonzero(goes_on)).size:
            luck, of_its_own = _drawn_luck(others + self.reached, places)[at], rest[at]
            if len(self.ends):
                row, part = _between(luck, _LUCK)
                below = self.below[row] + (self.below[row + 1] - self.below[row]) * part
                hours[at] = np.exp(self._as_said(luck, _above(below, of_its_own)))
            else:
                below = special.ndtr((self.lowest - self.loading * luck) / own)
                hours[at] = np.exp(_log_hours(self.table, self.loading * luck + own * _above(below, of_its_own)))
        if (at := np.flatnonzero(~goes_on & (evenly < self.goes_on + (1 - self.goes_on) * self.unfinished))).size:
            luck = _drawn_luck(others, places)[at]
            hours[at] = np.exp(_log_hours(self.table, self.loading * luck + own * rest[at]))
        found: Floats = np.maximum(hours, self.so_far)
        return found

    def _as_said(self, luck: Floats, scores: Floats) -> Floats:
        """(draws,) log hours, given what was said."""
        (row, by_luck), (column, by_score) = _between(luck, _LUCK), _between(scores, _SCORES)
        first, second = (self.ends[at, column] * (1 - by_score) + self.ends[at, column + 1] * by_score for at in (row, row + 1))
        found: Floats = first * (1 - by_luck) + second * by_luck
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Saying:
    """What was said of one line: log of its hours then, log odds of the rest of its hours by those, and how far that may be off; see `Evidence`.

    The share that is said is off by so much in log odds, so the rest of the hours is off by a factor, and the whole by less the further the line is; and there may be more to treat than was known.
    That moves the hours of such lines as well, so of the two, how much there is and how long it takes, one says something of the other: `usual` is the log hours of such a line, and `with_hours` by
    how much the log of all there is to treat is larger where the log hours are larger by one.
    """

    log_at: float
    log_rest: float
    sd: float
    whole_sd: float
    usual: float
    with_hours: float

    @classmethod
    def of(cls, table: Floats, begun: Evidence, line: int) -> _Saying:
        whole_sd, middle = float(begun.whole_sd[line]), len(table) // 2
        steps = round(1 / _STEP)
        variance = max(float(table[middle + steps] - table[middle - steps]) / 2, _LEAST_SLOPE) ** 2
        with_hours = min(_GROWS * whole_sd**2 / variance, _MOST_WITH_HOURS)
        return cls(
            log_at=float(np.log(begun.said_at[line])), log_rest=float(-special.logit(begun.said[line])), sd=max(float(begun.said_sd[line]), _LEAST_SD),
            whole_sd=whole_sd * float(np.sqrt(max(1 - _GROWS * with_hours, 0.0))), usual=float(table[middle]), with_hours=with_hours,
        )  # fmt: skip

    def end(self, scores: Floats | float) -> Floats:
        """Log hours in the end where the share is off by so many standard deviations."""
        found: Floats = self.log_at + np.log1p(np.exp(self.log_rest + self.sd * np.asarray(scores)))
        return found

    def grid(self) -> Floats:
        """Log hours at which it is looked at: dense where it may end."""
        widths = np.linspace(-_WIDTHS, _WIDTHS, _FINE)
        return np.concatenate([self.end(widths), self.end(0.0) + self.whole_sd * widths]) if self.whole_sd else self.end(widths)

    def log_likelihood(self, log_hours: Floats) -> Floats:
        """Of what was said, were these the log hours in the end; all that there is to treat is averaged over.

        What is seen of a share by quantity is the quantity: beside the density of its log odds that has the factor 1 / (1 - share), which differs with how much there is to treat. There is no less than was treated.
        """
        rest = np.log(np.maximum(np.expm1(np.maximum(log_hours - self.log_at, 0.0)), _NO_REST))
        if not self.whole_sd:
            only: Floats = -(((rest - self.log_rest) / self.sd) ** 2) / 2
            return only
        whole = self.whole_sd * _NODES[:, None] + self.with_hours * (log_hours - self.usual)[None, :]
        share = special.expit(-self.log_rest) * np.exp(-whole)
        inside = np.minimum(share, _MOST_SAID)
        chance = -(_NODES[:, None] ** 2) / 2 - (((rest[None, :] + special.logit(inside)) / self.sd) ** 2) / 2 - np.log1p(-inside)
        return _log_sum_exp(np.where(share < 1, chance, _NEVER))


def _as_said(table: Floats, loading: float, lowest: float, saying: _Saying) -> tuple[Floats, Floats, Floats]:
    """`ends`, `below` and `reached` of a line of which it was said how far it is."""
    own = float(np.sqrt(1 - loading**2))
    at = float(_score(table, saying.end(0.0)))
    grid = np.unique(np.concatenate([np.linspace(-7.0, max(7.0, at + 3.0), _COARSE), _score(table, saying.grid())]))
    log_hours = _log_hours(table, grid)
    weighed = saying.log_likelihood(log_hours)

    def summed(scores: Floats) -> tuple[Floats, Floats]:
        """By the luck, what the line shows, summed up to each point of the grid; and the logs that were taken out of it."""
        density = -(((scores[None, :] - loading * _LUCK[:, None]) / own) ** 2) / 2 + weighed
        most = density.max(axis=1)
        value = np.exp(density - most[:, None])
        return np.concatenate([np.zeros((len(_LUCK), 1)), np.cumsum((value[:, 1:] + value[:, :-1]) / 2 * np.diff(grid), axis=1)], axis=1), most

    def share_below(upto: Floats, score: float) -> Floats:
        at = int(np.clip(np.searchsorted(grid, score, side="right") - 1, 0, len(grid) - 2))
        low, high = upto[:, at] / upto[:, -1], upto[:, at + 1] / upto[:, -1]
        found: Floats = low + (high - low) / (grid[at + 1] - grid[at]) * (np.clip(score, grid[at], grid[at + 1]) - grid[at])
        return np.minimum(found, 1 - 1e-9)

    upto, most = summed(grid)
    ends = np.stack([np.interp(_EVENLY, row / row[-1], log_hours) for row in upto])
    below = share_below(upto, lowest)
    far = at - float(np.clip(at, -_BOUND, _BOUND))
    if far:  # so far from what such lines take it says no more of the luck than the bound would
        upto, most = summed(grid - far)
    contradicted = float(
        _score(table, saying.end(_CONTRADICTED) + _CONTRADICTED * saying.whole_sd)
    )  # by its hours, what was said; how far beyond that says no more of the luck
    return ends, below, most + np.log(upto[:, -1]) + np.log1p(-share_below(upto, min(lowest, contradicted)))


def _slopes(table: Floats) -> tuple[float, float]:
    """By how much log hours change with a normal score of one beyond either end of a table."""
    reach = 10
    return max(float(table[reach] - table[0]) / (reach * _STEP), _LEAST_SLOPE), max(float(table[-1] - table[-1 - reach]) / (reach * _STEP), _LEAST_SLOPE)


def _log_hours(table: Floats, scores: Floats) -> Floats:
    """(k,) log hours at normal scores; beyond the ends of the table as straight as it ends."""
    low, high = _slopes(table)
    inside = _at_normal_scores(table, scores)
    found: Floats = inside + high * np.maximum(scores - NORMAL_SCORES[-1], 0.0) + low * np.minimum(scores - NORMAL_SCORES[0], 0.0)
    return found


def _at_normal_scores(table: Floats, scores: Floats) -> Floats:
    """`np.interp(scores, NORMAL_SCORES, table)` to the digit: where a score lies among even ones need not be searched for."""
    last = len(NORMAL_SCORES) - 2
    within = np.clip(scores, NORMAL_SCORES[0], NORMAL_SCORES[-1])
    left = np.minimum(((within - NORMAL_SCORES[0]) / _STEP).astype(np.int64), last)
    left -= within < NORMAL_SCORES[left]  # by a hair, as the steps are rounded
    left += (within >= NORMAL_SCORES[left + 1]) & (left < last)
    slope = np.diff(table) / np.diff(NORMAL_SCORES)
    found: Floats = slope[left] * (within - NORMAL_SCORES[left]) + table[left]
    return np.where(within < NORMAL_SCORES[-1], found, table[-1])


def _score(table: Floats, log_hours: Floats | float) -> Floats:
    """(k,) normal scores at log hours; where many scores have the same hours the last of them."""
    low, high = _slopes(table)
    rising = np.maximum.accumulate(table) + 1e-9 * np.arange(len(table))
    found: Floats = np.interp(log_hours, rising, NORMAL_SCORES) + np.maximum(log_hours - table[-1], 0.0) / high + np.minimum(log_hours - table[0], 0.0) / low
    return found
