"""The likelihood of a line that was begun, by the random effect of its work; draws of its end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Floats
from dashboard.analysis.data.record_arrays import RESTS_LONG
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.effect_posterior import LUCK, Ranks, between, posterior_luck
from dashboard.analysis.simulation.quantile_table import LEAST_SLOPE, STEP, log_hours_at, score_of

_EVENLY = special.ndtr(np.linspace(-4.5, 4.5, 181))
_SCORES = np.linspace(-4.5, 4.5, 181)
_COARSE = 361  # points of the grid of normal scores
_FINE = 161  # points about the end that was stated
_WIDTHS = 6.0  # standard deviations to either side of that
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


def _log_sum_exp(values: Floats) -> Floats:
    """`special.logsumexp` along the first axis, to the digit: on arrays as short as these that takes longer
    to look at what it was given than to add it up.
    """
    most = values.max(axis=0)
    is_most = values == most
    with np.errstate(divide="ignore", invalid="ignore"):
        count, rest = (
            is_most.sum(axis=0, dtype=float),
            np.exp(np.where(is_most, -np.inf, values) - most).sum(axis=0),
        )
        result: Floats = np.log1p(rest / count) + np.log(count) + most
    return result if np.isfinite(result).all() else special.logsumexp(values, axis=0)


def _above(below: Floats, scores: Floats) -> Floats:
    """Normal scores (k,), each moved to the same place of what lies above so much of the distribution."""
    values: Floats = special.ndtri(np.clip(below + (1 - below) * special.ndtr(scores), 1e-15, 1 - 1e-15))
    return values


@dataclass(frozen=True, slots=True, kw_only=True)
class LineLikelihood:
    """A line that was begun.

    Attributes
    ----------
    table, loading, so_far, all_done, goes_on : as they were given.
    lowest : the normal score of its hours so far.
    unfinished : where it does not stand open for that, with which chance it goes on as such lines take more;
        nought where it was said how far it is.
    reached : (141,) log chance by the luck of the work that it comes so far and on, and of what was said of
        it.
    shows : likewise, of all that it shows.
    ends : (141, 181) log hours by luck and normal score, given what was said;
    below : (141,) how much of that lies below its hours so far. Empty where nobody said anything.
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

    # 63 lines: the likelihood by its cases, and a record of eleven fields
    @classmethod
    def of(
        cls, table: Floats, loading: float, observations: CensoredObservations, line: int
    ) -> LineLikelihood:
        so_far, all_done, goes_on = (
            float(observations.so_far[line]),
            bool(observations.all_done[line]),
            float(observations.goes_on[line]),
        )
        nothing = np.zeros(len(LUCK))
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
        lowest, own = float(score_of(table, np.log(so_far))), float(np.sqrt(1 - loading**2))
        # that nothing more is to come: it ends just here
        ends_here = -(((np.clip(lowest, -_BOUND, _BOUND) - loading * LUCK) / own) ** 2) / 2
        # such lines take more than this so often; of those that were left for weeks fewer go on
        more = float(special.ndtr(-lowest))
        unfinished = (
            0.0
            if observations.whole[line] or not np.isnan(observations.stated_share[line])
            else RESTS_LONG / (RESTS_LONG * more + 1 - more)
            if observations.left[line]
            else 1.0
        )
        ends, below = _NONE, nothing
        if np.isnan(observations.stated_share[line]):
            reached = special.log_ndtr((loading * LUCK - min(lowest, _BOUND)) / own)
        else:
            ends, below, reached = _given_statement(
                table, loading, lowest, StatedProgress.of(table, observations, line)
            )
        prior = -(LUCK**2) / 2
        shares = (
            (goes_on + (1 - goes_on) * more * unfinished, reached),
            ((1 - goes_on) * (1 - more * unfinished), ends_here),
        )
        both = [
            np.log(share) + chance - _log_sum_exp(prior + chance) for share, chance in shares if share > 0
        ]
        return cls(
            table=table,
            loading=loading,
            so_far=so_far,
            all_done=all_done,
            goes_on=goes_on,
            unfinished=unfinished,
            lowest=lowest,
            reached=reached,
            shows=ends_here if all_done else np.logaddexp.reduce(both, axis=0),
            ends=ends,
            below=below,
        )

    def drawn(self, others: Floats, places: Ranks, rest: Floats, evenly: Floats) -> Floats:
        """(draws,) hours in the end, given what the other lines show by the luck of the work; `places` of
        that, see `_drawn_luck`.
        """
        if self.all_done:
            return np.full(len(rest), self.so_far)
        hours, own = np.full(len(rest), self.so_far), np.sqrt(1 - self.loading**2)
        goes_on = evenly < self.goes_on
        if (at := np.flatnonzero(goes_on)).size:
            luck, of_its_own = posterior_luck(others + self.reached, places)[at], rest[at]
            if len(self.ends):
                row, part = between(luck, LUCK)
                below = self.below[row] + (self.below[row + 1] - self.below[row]) * part
                hours[at] = np.exp(self._as_said(luck, _above(below, of_its_own)))
            else:
                below = special.ndtr((self.lowest - self.loading * luck) / own)
                hours[at] = np.exp(
                    log_hours_at(self.table, self.loading * luck + own * _above(below, of_its_own))
                )
        if (
            at := np.flatnonzero(~goes_on & (evenly < self.goes_on + (1 - self.goes_on) * self.unfinished))
        ).size:
            luck = posterior_luck(others, places)[at]
            hours[at] = np.exp(log_hours_at(self.table, self.loading * luck + own * rest[at]))
        values: Floats = np.maximum(hours, self.so_far)
        return values

    def _as_said(self, luck: Floats, scores: Floats) -> Floats:
        """(draws,) log hours, given what was said."""
        (row, by_luck), (column, by_score) = between(luck, LUCK), between(scores, _SCORES)
        first, second = (
            self.ends[at, column] * (1 - by_score) + self.ends[at, column + 1] * by_score
            for at in (row, row + 1)
        )
        values: Floats = first * (1 - by_luck) + second * by_luck
        return values


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedProgress:
    """What was said of one line: log of its hours then, log odds of the rest of its hours by those, and how
    far that may be off; see `CensoredObservations`.

    The share that is said is off by so much in log odds, so the rest of the hours is off by a factor, and the
    whole by less the further the line is; and there may be more to treat than was known. That moves the hours
    of such lines as well, so of the two, how much there is and how long it takes, one says something of the
    other: `usual` is the log hours of such a line, and `with_hours` by how much the log of all there is to
    treat is larger where the log hours are larger by one.
    """

    log_at: float
    log_rest: float
    sd: float
    whole_sd: float
    usual: float
    with_hours: float

    @classmethod
    def of(cls, table: Floats, observations: CensoredObservations, line: int) -> StatedProgress:
        whole_sd, middle = float(observations.whole_sd[line]), len(table) // 2
        steps = round(1 / STEP)
        variance = max(float(table[middle + steps] - table[middle - steps]) / 2, LEAST_SLOPE) ** 2
        with_hours = min(_GROWS * whole_sd**2 / variance, _MOST_WITH_HOURS)
        return cls(
            log_at=float(np.log(observations.stated_at_hours[line])),
            log_rest=float(-special.logit(observations.stated_share[line])),
            sd=max(float(observations.stated_sd[line]), _LEAST_SD),
            whole_sd=whole_sd * float(np.sqrt(max(1 - _GROWS * with_hours, 0.0))),
            usual=float(table[middle]),
            with_hours=with_hours,
        )

    def end(self, scores: Floats | float) -> Floats:
        """Log hours in the end where the share is off by so many standard deviations."""
        values: Floats = self.log_at + np.log1p(np.exp(self.log_rest + self.sd * np.asarray(scores)))
        return values

    def grid(self) -> Floats:
        """Log hours at which it is looked at: dense where it may end."""
        widths = np.linspace(-_WIDTHS, _WIDTHS, _FINE)
        return (
            np.concatenate([self.end(widths), self.end(0.0) + self.whole_sd * widths])
            if self.whole_sd
            else self.end(widths)
        )

    def log_likelihood(self, log_hours: Floats) -> Floats:
        """Of what was said, were these the log hours in the end; all that there is to treat is averaged over.

        What is seen of a share by quantity is the quantity: beside the density of its log odds that has the
        factor 1 / (1 - share), which differs with how much there is to treat. There is no less than was
        treated.
        """
        rest = np.log(np.maximum(np.expm1(np.maximum(log_hours - self.log_at, 0.0)), _NO_REST))
        if not self.whole_sd:
            only: Floats = -(((rest - self.log_rest) / self.sd) ** 2) / 2
            return only
        whole = self.whole_sd * _NODES[:, None] + self.with_hours * (log_hours - self.usual)[None, :]
        share = special.expit(-self.log_rest) * np.exp(-whole)
        inside = np.minimum(share, _MOST_SAID)
        chance = (
            -(_NODES[:, None] ** 2) / 2
            - (((rest[None, :] + special.logit(inside)) / self.sd) ** 2) / 2
            - np.log1p(-inside)
        )
        return _log_sum_exp(np.where(share < 1, chance, _NEVER))


def _given_statement(
    table: Floats, loading: float, lowest: float, saying: StatedProgress
) -> tuple[Floats, Floats, Floats]:
    """`ends`, `below` and `reached` of a line of which it was said how far it is."""
    own = float(np.sqrt(1 - loading**2))
    at = float(score_of(table, saying.end(0.0)))
    grid = np.unique(
        np.concatenate([np.linspace(-7.0, max(7.0, at + 3.0), _COARSE), score_of(table, saying.grid())])
    )
    log_hours = log_hours_at(table, grid)
    weighed = saying.log_likelihood(log_hours)

    def summed(scores: Floats) -> tuple[Floats, Floats]:
        """By the luck, what the line shows, summed up to each point of the grid; and the logs that were taken
        out of it.
        """
        density = -(((scores[None, :] - loading * LUCK[:, None]) / own) ** 2) / 2 + weighed
        most = density.max(axis=1)
        value = np.exp(density - most[:, None])
        return (
            np.concatenate(
                [
                    np.zeros((len(LUCK), 1)),
                    np.cumsum((value[:, 1:] + value[:, :-1]) / 2 * np.diff(grid), axis=1),
                ],
                axis=1,
            ),
            most,
        )

    def share_below(upto: Floats, score: float) -> Floats:
        at = int(np.clip(np.searchsorted(grid, score, side="right") - 1, 0, len(grid) - 2))
        low, high = upto[:, at] / upto[:, -1], upto[:, at + 1] / upto[:, -1]
        values: Floats = low + (high - low) / (grid[at + 1] - grid[at]) * (
            np.clip(score, grid[at], grid[at + 1]) - grid[at]
        )
        return np.minimum(values, 1 - 1e-9)

    upto, most = summed(grid)
    ends = np.stack([np.interp(_EVENLY, row / row[-1], log_hours) for row in upto])
    below = share_below(upto, lowest)
    far = at - float(np.clip(at, -_BOUND, _BOUND))
    if far:  # so far from what such lines take it says no more of the luck than the bound would
        upto, most = summed(grid - far)
    # by its hours, what was said; how far beyond that says no more of the luck
    contradicted = float(score_of(table, saying.end(_CONTRADICTED) + _CONTRADICTED * saying.whole_sd))
    return ends, below, most + np.log(upto[:, -1]) + np.log1p(-share_below(upto, min(lowest, contradicted)))
