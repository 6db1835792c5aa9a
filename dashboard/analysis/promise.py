"""What the lines of a quote will take: each of them, what may turn up beside them, and all together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dashboard.analysis import calibration, discovery, forecast, joint
from dashboard.analysis.basis import Basis
from dashboard.analysis.by_hand import Ranges
from dashboard.analysis.calibration import LEVELS, Calibration, Foretold
from dashboard.analysis.discovery import Described, Discoveries, MayTurnUp, as_lines
from dashboard.analysis.evidence import Evidence
from dashboard.analysis.forecast import UnderWay
from dashboard.analysis.lines import Lines, join
from dashboard.analysis.mixed import Flags, Floats, Integers
from dashboard.analysis.totals import DRAWS, Occurring

_EVEN = int(np.argmin(np.abs(LEVELS - 0.5)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The lines of works that are quoted together.

    Attributes
    ----------
    lines : of all works, as they are asked about.
    ranges : hours by hand.
    pinned : (n,) log of a pinned rate by that of the record; nought where none is pinned.
    works : what each work is, by its name in `lines.object`.
    left_out : works and techniques of which it was said that they will not turn up.
    bears_on : of each technique which of the three conditions bears on it (0, 1, 2), where one does.
    bench : what is known of the lines of works that are on the bench; None where none of them is.
    """

    lines: Lines
    ranges: Ranges
    pinned: Floats
    works: Mapping[str, Described]
    left_out: frozenset[tuple[str, str]] = frozenset()
    bears_on: Mapping[str, int]
    bench: OnTheBench | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTheBench:
    """What is known of n lines, some of works that are on the bench.

    Attributes
    ----------
    begun : by their hours so far. finished : (n,) that is all of them. in_estimate : (n,) it was foreseen, or is quoted now.
    order : (k,) the lines that are not finished, in the order of the bench: so they are drawn as they are there.
    """

    begun: Evidence
    finished: Flags
    in_estimate: Flags
    order: Integers

    @classmethod
    def none(cls, n: int) -> OnTheBench:
        """Of lines of a work that is not."""
        return cls(begun=Evidence.none(n), finished=np.zeros(n, dtype=bool), in_estimate=np.ones(n, dtype=bool), order=np.arange(n))

    def join(self, other: OnTheBench) -> OnTheBench:
        return OnTheBench(
            begun=self.begun.join(other.begun), finished=np.concatenate([self.finished, other.finished]), in_estimate=np.concatenate([self.in_estimate, other.in_estimate]),
            order=np.concatenate([self.order, len(self.finished) + other.order]),
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What they will take.

    Attributes
    ----------
    basis : each line, and behind them what may turn up, if it does. figure_weight : (n + m,) how far the own figure moves each.
    hours : (n + m, draws) equally likely hours of all that.
    found : what may turn up, on which work: the m behind the n lines. left_out : likewise, and is in no total.
    work : (n + m,) the number of the work of each.
    without_figure : (n,) hours at even chance, had no figure been given.
    by_hand : (n,) 0 to 1, how far the range given by hand counts.
    """

    basis: Basis
    figure_weight: Floats
    hours: Floats
    found: tuple[tuple[str, MayTurnUp], ...]
    left_out: tuple[tuple[str, MayTurnUp], ...]
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


def foretell(known: Calibration, discoveries: Discoveries, asked: Asked, draws: int = DRAWS) -> Promise:
    """What lines will take that are quoted together."""
    if asked.bench is not None:
        return _revised(known, discoveries, asked, asked.bench, draws)
    lines, n = asked.lines, len(asked.lines)
    number = {name: place for place, name in enumerate(asked.works)}
    every = _every(discoveries, asked)
    found = tuple(pair for pair in every if (pair[0], pair[1].technique) not in asked.left_out)
    everything = join(lines, as_lines(known, found, asked.works, asked.bears_on, asked.lines.people)) if found else lines
    foretold = calibration.foretell(known, everything)
    without = _without_figure(known, lines, asked.pinned) if (lines.figure > 0).any() else foretold.table[:n] + asked.pinned[:, None]
    table = foretold.table.copy()
    table[n:] += discoveries.smaller
    table[:n] += (asked.pinned * (1 - foretold.figure_weight[:n]))[:, None]
    counts = asked.ranges.mixed_into(table[:n], LEVELS, joint.own_share(known.joint, lines.technique))
    work = np.array([number[name] for name in everything.object.tolist()], dtype=np.int64)
    occurring = Occurring(
        chance=np.concatenate([1 - known.unneeded.chance(lines), np.array([one.chance for _, one in found])]), found=np.arange(len(everything)) >= n, together=discoveries.together, work=work
    )  # fmt: skip
    basis = Basis.of(replace(foretold, table=table), occurring, np.full(len(everything), np.nan), draws)
    return Promise(
        basis=basis, figure_weight=foretold.figure_weight, hours=basis.hours(), found=found, left_out=_left_out(every, asked), work=work,
        without_figure=np.exp(without[:, _EVEN]), by_hand=counts,
    )  # fmt: skip


def _revised(known: Calibration, discoveries: Discoveries, asked: Asked, bench: OnTheBench, draws: int) -> Promise:
    """The same of works on the bench: what is finished stays, and of all else what the bench tells; see `forecast.ends`."""
    lines, n, at = asked.lines, len(asked.lines), bench.order
    so_far, names = bench.begun.so_far, list(asked.works)
    open_lines, begun = lines.take(at), bench.begun.take(at)
    finished = {name: float(so_far[bench.finished & (lines.object == name)].sum()) for name in names}
    under_way = UnderWay(
        lines=open_lines, works=asked.works, finished_hours=finished, begun=begun, in_estimate=bench.in_estimate[at], pinned=asked.pinned[at], bears_on=asked.bears_on, left_out=asked.left_out,
        ranges=asked.ranges.take(at),
    )  # fmt: skip
    told = forecast.ends(known, discoveries, under_way, draws)
    place = np.concatenate([at, n + np.arange(len(told.found))])
    work = np.array([names.index(name) for name in [*lines.object.tolist(), *(name for name, _ in told.found)]], dtype=np.int64)
    basis = told.basis.among(place, np.concatenate([np.where(bench.finished, so_far, np.nan), np.full(len(told.found), np.nan)]), work)
    figure_weight, by_hand, without_figure = np.zeros(len(place) + int(bench.finished.sum())), np.zeros(n), so_far.copy()
    figure_weight[place], by_hand[at] = told.figure_weight, told.by_hand
    without = _without_figure(known, open_lines, asked.pinned[at])
    goes_on = np.flatnonzero(begun.so_far > 0)
    without[goes_on] = Foretold.plain(without[goes_on], np.eye(len(goes_on))).beyond(begun.so_far[goes_on]).table
    without_figure[at] = np.where(begun.all_done, begun.so_far, np.exp(without[:, _EVEN]))
    return Promise(
        basis=basis, figure_weight=figure_weight, hours=basis.hours(), found=told.found, left_out=_left_out(_every(discoveries, asked), asked), work=work, without_figure=without_figure, by_hand=by_hand,
    )  # fmt: skip


def _every(discoveries: Discoveries, asked: Asked) -> list[tuple[str, MayTurnUp]]:
    """All that may turn up, on which work."""
    return [(name, one) for name, work in asked.works.items() for one in discovery.expected(discoveries, work)]


def _left_out(every: list[tuple[str, MayTurnUp]], asked: Asked) -> tuple[tuple[str, MayTurnUp], ...]:
    return tuple(pair for pair in every if (pair[0], pair[1].technique) in asked.left_out)


def _without_figure(known: Calibration, lines: Lines, pinned: Floats) -> Floats:
    """(n, 141) log hours of lines, had no figure been given."""
    table: Floats = calibration.foretell(known, replace(lines, figure=np.full(len(lines), np.nan))).table + pinned[:, None]
    return table
