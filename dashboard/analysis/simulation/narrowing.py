"""What would make a quote surer: by how much its range narrows if one thing more were known.

Each is tried: a figure of her own for a line, two finished works with a line like it, or two finished works
of which only the whole is known, as they are expected to come out by what is believed now. Works that are
tried lie one standard deviation above and below, so that they move no middle and make no spread smaller than
it is believed to be; what narrows is what is not known of rates (expected value of sample information in the
normal linear model: H. Raiffa, R. Schlaifer, "Applied Statistical Decision Theory" (1961), chapter 5).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from dashboard.analysis.arrays import Floats
from dashboard.analysis.data.levels import WHOLE_WORK, written_techniques
from dashboard.analysis.data.lines import REMEMBERED, ROWS, Lines, join
from dashboard.analysis.models import calibration, hours_prediction
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.simulation import quote_total
from dashboard.analysis.simulation.discovery_model import DiscoveryModel
from dashboard.analysis.simulation.quote_total import QuoteRequest

TRIED_WORKS = 2
_MOST_LINES = 6  # that make it unsure most are tried
_DRAWS = 4_000
_SEEN = 0.25  # how far her figures saw what was special in a work, before there is a record
_WHOLE_SPREAD = 0.5  # of log hours of whole works that are like each other
_SHOWS = 0.02  # a range that narrows by less is no narrower

Kind = Literal["own hours", "finished works", "whole works"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowing:
    """One thing more that could be known.

    Attributes
    ----------
    kind : own hours for the line; two finished works with such a line; two finished works as a whole.
    phase, technique, part : of the line; empty of whole works.
    low, high : hours between which the total would be 4 times in 5.
    narrower : by which share the range would be shorter, 0 to 1.
    """

    kind: Kind
    phase: str
    technique: str
    part: str
    low: float
    high: float
    narrower: float


def narrowings(
    known: Calibration, discoveries: DiscoveryModel, request: QuoteRequest, most: int = 3
) -> list[Narrowing]:
    """The things that would narrow a quote most, the one that does most first; none where nothing would.

    Parameters
    ----------
    known : what its hours are told from.
    request : its lines, of works that are not begun.
    """
    lines = request.lines
    forecast = quote_total.forecast(known, discoveries, request, _DRAWS)
    low, high = _range(forecast.total())
    spread = forecast.hours[: len(lines)].var(axis=1)
    unsure = np.argsort(-spread, kind="stable")[:_MOST_LINES]
    results: list[Narrowing] = []

    def try_with(kind: Kind, now: Calibration, quoted: QuoteRequest, at: int | None) -> None:
        to = _range(quote_total.forecast(now, discoveries, quoted, _DRAWS).total())
        narrower = 1 - (to[1] - to[0]) / (high - low)
        if narrower >= _SHOWS:
            results.append(
                Narrowing(
                    kind=kind,
                    phase="" if at is None else str(lines.phase[at]),
                    technique="" if at is None else str(written_techniques(lines.technique)[at]),
                    part="" if at is None else str(lines.part[at]),
                    low=to[0],
                    high=to[1],
                    narrower=narrower,
                )
            )

    if high <= low:
        return []
    for at in unsure.tolist():
        if np.isnan(lines.figure[at]):
            try_with("own hours", known, _with_figure(request, at, forecast.hours[at]), at)
    techniques: set[str] = set()
    for at in unsure.tolist():
        if lines.technique[at] not in techniques:
            techniques.add(str(lines.technique[at]))
            try_with("finished works", _with_works(known, lines, at), request, at)
    try_with("whole works", _with_whole_works(known, lines, forecast.total()), request, None)
    return sorted(results, key=lambda item: -item.narrower)[:most]


def _range(total: Floats) -> tuple[float, float]:
    low, high = np.quantile(total, [0.1, 0.9]).tolist()
    return float(low), float(high)


def _with_figure(request: QuoteRequest, at: int, hours: Floats) -> QuoteRequest:
    """Her own figure for a line, where it agrees with what is believed."""
    figure = request.lines.figure.copy()
    figure[at] = np.median(hours[hours > 0])
    return replace(request, lines=replace(request.lines, figure=figure))


def _with_works(known: Calibration, lines: Lines, at: int) -> Calibration:
    """What would be known with finished works that had a line like one of the sheet."""
    line = lines.take(np.array([at]))
    level = known.of_level(0 if not line.is_whole[0] else 2 if line.phase[0] else 3)
    alike = replace(line, figure=np.full(1, np.nan))
    mean, sd = hours_prediction.predict_alone(level.joint, alike)
    learnt = _learnt_with(level, _finished(level, alike, float(mean[0]), float(sd[0])))
    if level is known:
        return learnt
    return replace(known, of_wholes=lambda _: learnt)


def _with_whole_works(known: Calibration, lines: Lines, total: Floats) -> Calibration:
    """What would be known with finished works of which the whole was quoted and taken."""
    line = lines.take(np.array([0]))
    nothing = np.full(1, np.nan)
    whole = replace(
        line,
        phase=np.array([""]),
        technique=np.array([WHOLE_WORK]),
        part=np.array([""]),
        unit=np.array([REMEMBERED]),
        quantity=nothing,
        quoted=nothing,
        figure=nothing,
    )
    return _learnt_with(known, _finished(known, whole, float(np.log(np.median(total))), _WHOLE_SPREAD))


def _finished(known: Calibration, alike: Lines, mean: float, sd: float) -> Lines:
    """Finished works with a line like another, a standard deviation above and below what is expected."""
    people = known.joint.lines.people
    apart = np.resize([1.0, -1.0], TRIED_WORKS) * sd
    off = float(known.joint.effects("off")[0])
    rows = {
        name: np.repeat(getattr(alike, name), TRIED_WORKS) for name in ROWS if name not in ("shares", "day")
    }
    return Lines(
        **rows
        | {
            "object": np.array([f"\x1etried {number}" for number in range(TRIED_WORKS)]),
            "hours": np.exp(mean + apart),
            "quantity": np.repeat(alike.quoted, TRIED_WORKS),
            "figure": np.exp(mean + off + _SEEN * apart),
            "is_open": np.zeros(TRIED_WORKS, dtype=bool),
        },
        day=np.full(TRIED_WORKS, known.joint.levels.day),
        shares=np.zeros((TRIED_WORKS, len(people))),
        people=people,
    )


def _learnt_with(known: Calibration, more: Lines) -> Calibration:
    learnt = calibration.learn(
        join(known.joint.lines, more),
        known.joint.levels.day,
        of_wholes=known.of_wholes,
        wholes=known.joint.levels.wholes is not None,
    )
    return replace(learnt, unneeded=known.unneeded)
