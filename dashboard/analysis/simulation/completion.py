"""Where a work under way will end: what is finished stays, what was begun goes on from where it is, what was
not begun follows with the luck that the work has shown, and something may still turn up. Its row on the bench
and its revision are reckoned by the same `ends`.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import calibration, hours_model
from dashboard.analysis.models.calibration import LEVELS as AT_SCORES
from dashboard.analysis.models.calibration import NORMAL_SCORES, Calibration, PredictiveQuantiles
from dashboard.analysis.simulation import unforeseen
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures
from dashboard.analysis.simulation.open_line_posterior import draw_posterior, fraction_complete
from dashboard.analysis.simulation.quote_snapshot import LEVELS, STEPS, QuoteSnapshot
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from dashboard.analysis.simulation.totals import DRAWS, SEED, OccurrenceModel
from dashboard.analysis.simulation.unforeseen import PossibleDiscovery, as_lines

KEPT = 1_000  # draws of each line, for the calendar
_SAME = 1e-9  # of an hour
_LEAST_CHANCE = 1e-3  # to turn up, below which nothing is drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenWorks:
    """Works that are told together, one or those of a commission, and their n lines that are not finished.

    Attributes
    ----------
    lines : as they are asked about; hours and quantity are not known.
    works : what each is, by its name in `lines.object`; `techniques` on its sheet, `worked` begun already.
    finished_hours : what the finished lines of each took.
    observations : what is known of each line by its hours so far.
    in_estimate : (n,) it was foreseen.
    pinned : (n,) log of a pinned rate by that of the record.
    bears_on : of each technique which of the three conditions bears on it (0, 1, 2), where one does.
    agreed_in_part : works of which a first stage alone is agreed: what is not on their sheet is no surprise.
    left_out : works and techniques of which it was said that they will not turn up.
    ranges : hours by hand, where any were given.
    """

    lines: Lines
    works: Mapping[str, WorkFeatures]
    finished_hours: Mapping[str, float]
    observations: CensoredObservations
    in_estimate: Flags
    pinned: Floats
    bears_on: Mapping[str, int]
    agreed_in_part: frozenset[str] = frozenset()
    left_out: frozenset[tuple[str, str]] = frozenset()
    ranges: ThreePointEstimates | None = None

    def of(self, names: Collection[str]) -> OpenWorks:
        """Some of the works alone."""
        its = np.isin(self.lines.object, list(names))
        return OpenWorks(
            lines=self.lines.take(its),
            works={name: self.works[name] for name in names},
            finished_hours={name: self.finished_hours[name] for name in names},
            bears_on=self.bears_on,
            agreed_in_part=self.agreed_in_part & frozenset(names),
            observations=self.observations.take(its),
            in_estimate=self.in_estimate[its],
            pinned=self.pinned[its],
            left_out=frozenset(pair for pair in self.left_out if pair[0] in names),
            ranges=self.ranges and self.ranges.take(its),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RemainingDiscovery:
    """What may still turn up on a work, with the chance that it does, and its hours: if it does at even
    chance, and on average over all that may come.
    """

    work: str
    discovery: PossibleDiscovery
    hours_if_found: float
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CompletionForecast:
    """Where works will end.

    Attributes
    ----------
    totals : (draws,) equally likely hours in the end of each work, by its name; those of one place belong
        together.
    lines : (n, 4) hours of each line at `LEVELS`.
    mean : (n,) on average.
    discoveries : what may still turn up, that with the most hours on average first.
    drawn : (n, kept) equally likely hours of each line in the end, in single precision;
    discoveries_drawn : (m, kept) likewise of what may still turn up. Those of one place belong together.
    luck : by work, how much longer its lines take than such lines do here, as a factor at even chance.
    """

    totals: dict[str, Floats]
    lines: Floats
    mean: Floats
    discoveries: tuple[RemainingDiscovery, ...]
    luck: dict[str, float]
    drawn: npt.NDArray[np.float32]
    discoveries_drawn: npt.NDArray[np.float32]

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


def shuffled_draws(name: str, draws: int) -> Integers:
    """(draws,) an order of draws of its own for what is told together: each is told with the same luck in the
    same places, and works that have nothing in common must not be late together.
    """
    return np.random.default_rng([SEED, 7, zlib.crc32(name.encode())]).permutation(draws)


@dataclass(frozen=True, slots=True, kw_only=True)
class CompletionModel:
    """What the hours of works that are told together are drawn from.

    Attributes
    ----------
    basis : of their n lines that are not finished, and behind them of what may still turn up; those that are
        all done are fixed.
    found : what that is, on which work.
    usual : (n + m,) hours at even chance, before anything was worked.
    figure_weight : (n + m,) how far the own figure moves each.
    by_hand : (n,) 0 to 1, how far its range by hand counts.
    luck : (works, draws).
    """

    basis: QuoteSnapshot
    discoveries: tuple[tuple[str, PossibleDiscovery], ...]
    usual: Floats
    figure_weight: Floats
    by_hand: Floats
    luck: Floats


# 67 lines: each part of the distribution uses those before it
def completion_model(
    calibration_model: Calibration, discoveries: DiscoveryModel, under_way: OpenWorks, draws: int = DRAWS
) -> CompletionModel:
    """The distribution of hours at completion of works on the bench; `calibration_model` is learnt without
    the open lines of these works.
    """
    lines, n = under_way.lines, len(under_way.lines)
    names = list(under_way.works)
    pairs = [
        (name, item)
        for name, work in under_way.works.items()
        if name not in under_way.agreed_in_part
        for item in unforeseen.possible_discoveries(discoveries, work)
        if item.chance >= _LEAST_CHANCE and (name, item.technique) not in under_way.left_out
    ]
    work = np.array(
        [names.index(name) for name in [*lines.object.tolist(), *(name for name, _ in pairs)]], dtype=np.int64
    )
    foretold = calibration.predict(
        calibration_model,
        join(lines, as_lines(calibration_model, pairs, under_way.works, under_way.bears_on, lines.people))
        if pairs
        else lines,
    )
    table = foretold.table.copy()
    table[np.concatenate([~under_way.in_estimate, np.ones(len(pairs), dtype=bool)])] += discoveries.smaller
    table[:n] += (under_way.pinned * (1 - foretold.figure_weight[:n]))[:, None]
    counts = (
        np.zeros(n)
        if under_way.ranges is None
        else under_way.ranges.mixed_into(table[:n], AT_SCORES, calibration_model.own_share(lines))
    )
    drawn = draw_posterior(replace(foretold, table=table), under_way.observations, work, len(names), draws)
    usual = np.exp([np.interp(0.0, NORMAL_SCORES, row) for row in table])
    passed = {
        name: fraction_complete(
            under_way.finished_hours[name], under_way.observations.part[of], usual[:n][of]
        )
        for name in names
        for of in [lines.object == name]
    }
    remaining = tuple(
        (name, unforeseen.given_progress(discoveries, discovery, passed[name])) for name, discovery in pairs
    )
    needed = np.where(under_way.observations.so_far > 0, 1.0, 1 - calibration_model.chance_unneeded(lines))
    occurring = OccurrenceModel(
        chance=np.concatenate([needed, np.array([discovery.chance for _, discovery in remaining])]),
        is_discovery=np.arange(len(work)) >= n,
        together=discoveries.together,
        work=work,
    )
    fixed = np.concatenate(
        [
            np.where(under_way.observations.all_done, under_way.observations.so_far, np.nan),
            np.full(len(remaining), np.nan),
        ]
    )
    return CompletionModel(
        basis=QuoteSnapshot.of(_as_drawn(foretold, drawn.hours), occurring, fixed, draws),
        discoveries=remaining,
        usual=usual,
        figure_weight=foretold.figure_weight,
        by_hand=counts,
        luck=drawn.luck,
    )


def _as_drawn(foretold: PredictiveQuantiles, hours: Floats) -> PredictiveQuantiles:
    """What was drawn (n, draws), as quantiles and correlations, which can be kept."""
    n, draws = hours.shape
    order = np.array([_in_order(row) for row in hours]).reshape(hours.shape).astype(np.int64, copy=False)
    ordered, rank = np.take_along_axis(hours, order, axis=1), np.empty_like(order)
    np.put_along_axis(rank, order, np.broadcast_to(np.arange(draws), order.shape), axis=1)
    evenly = (np.arange(draws) + 0.5) / draws
    table = np.log(
        np.maximum(
            np.array([np.interp(AT_SCORES, evenly, row) for row in ordered]).reshape(n, len(AT_SCORES)), 1e-9
        )
    )
    # brought to the steps in which it is kept, it must not fall below what was worked
    table = np.ceil(table * STEPS) / STEPS
    scores = special.ndtri(evenly)[rank]
    return replace(foretold, table=table, correlation=np.corrcoef(scores) if n > 1 else np.eye(n))


def _in_order(values: Floats) -> Integers:
    """The order of values that rise; equal ones stay as they stood. Many are equal to the least, the hours so
    far, and hardly any others: so the rest is put in order by the quicker way that keeps no order of equals.
    """
    is_least = values == values.min(initial=np.inf)
    rest = np.flatnonzero(~is_least)
    order = rest[np.argsort(values[rest])]
    rising = values[order]
    if (rising[1:] == rising[:-1]).any():
        order = rest[np.argsort(values[rest], kind="stable")]
    indices: Integers = np.concatenate([np.flatnonzero(is_least), order])
    return indices


def forecast(
    calibration_model: Calibration, discoveries: DiscoveryModel, under_way: OpenWorks, draws: int = DRAWS
) -> CompletionForecast:
    """Where works will end; see `ends`."""
    model, n, names = (
        completion_model(calibration_model, discoveries, under_way, draws),
        len(under_way.lines),
        list(under_way.works),
    )
    hours, work = model.basis.hours(), model.basis.work
    remaining = [
        RemainingDiscovery(
            work=name,
            discovery=discovery,
            hours_if_found=float(model.usual[number]),
            hours=float(hours[number].mean()),
        )
        for number, (name, discovery) in enumerate(model.discoveries, n)
    ]
    order = sorted(
        range(len(remaining)),
        key=lambda number: (-remaining[number].hours, remaining[number].discovery.technique),
    )
    single = hours[:, :KEPT].astype(np.float32)
    return CompletionForecast(
        totals={
            name: under_way.finished_hours[name] + hours[work == number].sum(axis=0)
            for number, name in enumerate(names)
        },
        lines=model.basis.quantiles_in_all(LEVELS)[:n],
        mean=hours[:n].mean(axis=1),
        discoveries=tuple(remaining[number] for number in order),
        drawn=single[:n],
        discoveries_drawn=single[n:][order],
        luck={
            name: _lasting(calibration_model, name, model.luck[number]) for number, name in enumerate(names)
        },
    )


def _lasting(calibration_model: Calibration, name: str, luck: Floats) -> float:
    """How much longer lines of a work take than such lines do, at even chance."""
    middle, sd = hours_model.work_effect(calibration_model.joint, name)
    return float(np.exp(middle + sd * np.median(luck)))
