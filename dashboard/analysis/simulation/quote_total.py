"""What the lines of a quote will take: each of them, what may turn up beside them, and all together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import calibration
from dashboard.analysis.models.calibration import LEVELS, Calibration, PredictiveQuantiles
from dashboard.analysis.simulation import completion, unforeseen
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.completion import OpenWorks
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures
from dashboard.analysis.simulation.quote_snapshot import QuoteSnapshot
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from dashboard.analysis.simulation.totals import DRAWS, OccurrenceModel
from dashboard.analysis.simulation.unforeseen import PossibleDiscovery, as_lines

_EVEN = int(np.argmin(np.abs(LEVELS - 0.5)))


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteRequest:
    """The lines of works that are quoted together.

    Attributes
    ----------
    lines : of all works, as they are asked about.
    ranges : hours by hand.
    pinned : (n,) log of a pinned rate by that of the record, and of a part of a phase as a whole that of its
        share; it moves the record's part of the line, not the own figure's. Nought where there is neither.
    works : what each work is, by its name in `lines.object`.
    left_out : works and techniques of which it was said that they will not turn up.
    bears_on : of each technique which of the three conditions bears on it (0, 1, 2), where one does.
    bench : what is known of the lines of works that are on the bench; None where none of them is.
    """

    lines: Lines
    ranges: ThreePointEstimates
    pinned: Floats
    works: Mapping[str, WorkFeatures]
    left_out: frozenset[tuple[str, str]] = frozenset()
    bears_on: Mapping[str, int]
    bench: StartedLines | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StartedLines:
    """What is known of n lines, some of works that are on the bench.

    Attributes
    ----------
    observations : by their hours so far.
    finished : (n,) that is all of them.
    in_estimate : (n,) it was foreseen, or is quoted now.
    order : (k,) the lines that are not finished, in the order of the bench: so they are drawn as they are
        there.
    """

    observations: CensoredObservations
    finished: Flags
    in_estimate: Flags
    order: Integers

    @classmethod
    def none(cls, n: int) -> StartedLines:
        """Of lines of a work that is not."""
        return cls(
            observations=CensoredObservations.none(n),
            finished=np.zeros(n, dtype=bool),
            in_estimate=np.ones(n, dtype=bool),
            order=np.arange(n),
        )

    def join(self, other: StartedLines) -> StartedLines:
        return StartedLines(
            observations=self.observations.join(other.observations),
            finished=np.concatenate([self.finished, other.finished]),
            in_estimate=np.concatenate([self.in_estimate, other.in_estimate]),
            order=np.concatenate([self.order, len(self.finished) + other.order]),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteForecast:
    """What they will take.

    Attributes
    ----------
    basis : each line, and behind them what may turn up, if it does.
    figure_weight : (n + m,) how far the own figure moves each.
    hours : (n + m, draws) equally likely hours of all that.
    discoveries : what may turn up, on which work: the m behind the n lines.
    left_out : likewise, and is in no total.
    work : (n + m,) the number of the work of each.
    without_figure : (n,) hours at even chance, had no figure been given.
    by_hand : (n,) 0 to 1, how far the range given by hand counts.
    """

    basis: QuoteSnapshot
    figure_weight: Floats
    hours: Floats
    discoveries: tuple[tuple[str, PossibleDiscovery], ...]
    left_out: tuple[tuple[str, PossibleDiscovery], ...]
    work: Integers
    without_figure: Floats
    by_hand: Floats

    @property
    def lines(self) -> int:
        """How many of the rows are lines of the sheet."""
        return len(self.without_figure)

    def total(self, *, without_found: bool = False) -> Floats:
        """(draws,) equally likely totals, with what may turn up or without."""
        total: Floats = self.hours[: self.lines if without_found else None].sum(axis=0)
        return total


def forecast(
    calibration_model: Calibration, discoveries: DiscoveryModel, request: QuoteRequest, draws: int = DRAWS
) -> QuoteForecast:
    """What lines will take that are quoted together."""
    if request.bench is not None:
        return _revised(calibration_model, discoveries, request, request.bench, draws)
    lines, n = request.lines, len(request.lines)
    number = {name: place for place, name in enumerate(request.works)}
    every = _every(discoveries, request)
    discovered = tuple(pair for pair in every if (pair[0], pair[1].technique) not in request.left_out)
    everything = (
        join(
            lines,
            as_lines(calibration_model, discovered, request.works, request.bears_on, request.lines.people),
        )
        if discovered
        else lines
    )
    foretold = calibration.predict(calibration_model, everything)
    without = (
        _without_figure(calibration_model, lines, request.pinned)
        if (lines.figure > 0).any()
        else foretold.table[:n] + request.pinned[:, None]
    )
    table = foretold.table.copy()
    table[n:] += discoveries.smaller
    table[:n] += (request.pinned * (1 - foretold.figure_weight[:n]))[:, None]
    counts = request.ranges.mixed_into(table[:n], LEVELS, calibration_model.own_share(lines))
    work = np.array([number[name] for name in everything.object.tolist()], dtype=np.int64)
    occurring = OccurrenceModel(
        chance=np.concatenate(
            [
                1 - calibration_model.chance_unneeded(lines),
                np.array([discovery.chance for _, discovery in discovered]),
            ]
        ),
        is_discovery=np.arange(len(everything)) >= n,
        together=discoveries.together,
        work=work,
    )
    basis = QuoteSnapshot.of(
        replace(foretold, table=table), occurring, np.full(len(everything), np.nan), draws
    )
    return QuoteForecast(
        basis=basis,
        figure_weight=foretold.figure_weight,
        hours=basis.hours(),
        discoveries=discovered,
        left_out=_left_out(every, request),
        work=work,
        without_figure=np.exp(without[:, _EVEN]),
        by_hand=counts,
    )


def _revised(
    calibration_model: Calibration,
    discoveries: DiscoveryModel,
    request: QuoteRequest,
    bench: StartedLines,
    draws: int,
) -> QuoteForecast:
    """The same of works on the bench: what is finished stays, and of all else what the bench tells; see
    `forecast.ends`.
    """
    lines, n, at = request.lines, len(request.lines), bench.order
    so_far, names = bench.observations.so_far, list(request.works)
    open_lines, observations = lines.take(at), bench.observations.take(at)
    finished = {name: float(so_far[bench.finished & (lines.object == name)].sum()) for name in names}
    under_way = OpenWorks(
        lines=open_lines,
        works=request.works,
        finished_hours=finished,
        observations=observations,
        in_estimate=bench.in_estimate[at],
        pinned=request.pinned[at],
        bears_on=request.bears_on,
        left_out=request.left_out,
        ranges=request.ranges.take(at),
    )
    model = completion.completion_model(calibration_model, discoveries, under_way, draws)
    place = np.concatenate([at, n + np.arange(len(model.discoveries))])
    work = np.array(
        [names.index(name) for name in [*lines.object.tolist(), *(name for name, _ in model.discoveries)]],
        dtype=np.int64,
    )
    basis = model.basis.among(
        place,
        np.concatenate([np.where(bench.finished, so_far, np.nan), np.full(len(model.discoveries), np.nan)]),
        work,
    )
    figure_weight, by_hand, without_figure = (
        np.zeros(len(place) + int(bench.finished.sum())),
        np.zeros(n),
        so_far.copy(),
    )
    figure_weight[place], by_hand[at] = model.figure_weight, model.by_hand
    without = _without_figure(calibration_model, open_lines, request.pinned[at])
    goes_on = np.flatnonzero(observations.so_far > 0)
    without[goes_on] = (
        PredictiveQuantiles.plain(without[goes_on], np.eye(len(goes_on)))
        .beyond(observations.so_far[goes_on])
        .table
    )
    without_figure[at] = np.where(observations.all_done, observations.so_far, np.exp(without[:, _EVEN]))
    return QuoteForecast(
        basis=basis,
        figure_weight=figure_weight,
        hours=basis.hours(),
        discoveries=model.discoveries,
        left_out=_left_out(_every(discoveries, request), request),
        work=work,
        without_figure=without_figure,
        by_hand=by_hand,
    )


def _every(discoveries: DiscoveryModel, request: QuoteRequest) -> list[tuple[str, PossibleDiscovery]]:
    """All that may turn up, on which work."""
    return [
        (name, item)
        for name, work in request.works.items()
        for item in unforeseen.possible_discoveries(discoveries, work)
    ]


def _left_out(
    every: list[tuple[str, PossibleDiscovery]], request: QuoteRequest
) -> tuple[tuple[str, PossibleDiscovery], ...]:
    return tuple(pair for pair in every if (pair[0], pair[1].technique) in request.left_out)


def _without_figure(calibration_model: Calibration, lines: Lines, pinned: Floats) -> Floats:
    """(n, 141) log hours of lines, had no figure been given."""
    table: Floats = (
        calibration.predict(calibration_model, replace(lines, figure=np.full(len(lines), np.nan))).table
        + pinned[:, None]
    )
    return table
