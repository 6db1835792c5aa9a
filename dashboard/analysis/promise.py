"""What the lines of a quote will take: each of them, what may turn up beside them, and all together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from dashboard.analysis import by_hand, calibration, discovery, joint
from dashboard.analysis.basis import STEPS, Basis
from dashboard.analysis.calibration import LEVELS, Calibration, Foretold
from dashboard.analysis.discovery import Described, Discoveries, MayTurnUp
from dashboard.analysis.evidence import Evidence, draw, how_far
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
    low, likeliest, high : (n,) hours by hand; not a number where no range was given.
    pinned : (n,) log of a pinned rate by that of the record; nought where none is pinned.
    works : what each work is, by its name in `lines.object`.
    left_out : works and techniques of which it was said that they will not turn up.
    begun : what is known of each line by its hours so far; done : (n,) it is finished or all done, and stays as it is; finished : (n,) it is among what the calibration has learnt from.
    bears_on : of each technique which of the three conditions bears on it (0, 1, 2), where one does.
    """

    lines: Lines
    low: Floats
    likeliest: Floats
    high: Floats
    pinned: Floats
    works: Mapping[str, Described]
    begun: Evidence
    done: Flags
    finished: Flags
    left_out: frozenset[tuple[str, str]] = frozenset()
    bears_on: Mapping[str, int]


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
    lines = asked.lines
    number = {name: place for place, name in enumerate(asked.works)}
    every = [(name, one) for name, work in asked.works.items() for one in discovery.expected(discoveries, work)]
    found = tuple(pair for pair in every if (pair[0], pair[1].technique) not in asked.left_out)
    everything = join(lines, as_lines(known, found, asked.works, asked.bears_on, asked.lines.people)) if found else lines
    foretold = calibration.foretell(known, everything)
    n = len(lines)
    table = foretold.table.copy()
    table[n:] += discoveries.smaller
    without = table[:n] if not (lines.figure > 0).any() else calibration.foretell(known, replace(lines, figure=np.full(n, np.nan))).table
    without = without + asked.pinned[:, None]
    table[:n] += (asked.pinned * (1 - foretold.figure_weight[:n]))[:, None]
    counts = np.where(np.isnan(asked.low) | np.isnan(asked.high), 0.0, 1 - joint.own_share(known.joint, lines.technique))
    ranged = np.flatnonzero(counts > 0)
    if len(ranged):
        hers = by_hand.table(asked.low[ranged], asked.likeliest[ranged], asked.high[ranged], LEVELS)
        table[ranged] += counts[ranged, None] * (hers - table[ranged])
    work = np.array([number[name] for name in everything.object.tolist()], dtype=np.int64)
    foretold = replace(foretold, table=table)
    so_far, begun = asked.begun.so_far, np.flatnonzero((asked.begun.so_far > 0) & ~asked.done)
    if (so_far > 0).any():
        foretold = _under_way(foretold, asked, work, draws)
        without[begun] = Foretold.plain(without[begun], np.eye(len(begun))).beyond(so_far[begun]).table
        found = tuple((name, discovery.still(discoveries, one, _passed(asked, name, np.exp(table[:n, _EVEN])))) for name, one in found)
    occurring = Occurring(
        chance=np.concatenate([np.where(so_far > 0, 1.0, 1 - known.unneeded.chance(lines)), np.array([one.chance for _, one in found])]),
        found=np.arange(len(everything)) >= n, together=discoveries.together, work=work,
    )  # fmt: skip
    basis = Basis.of(foretold, occurring, np.concatenate([np.where(asked.done, so_far, np.nan), np.full(len(found), np.nan)]), draws)
    return Promise(
        basis=basis, figure_weight=foretold.figure_weight, hours=basis.hours(), found=found, left_out=tuple(pair for pair in every if (pair[0], pair[1].technique) in asked.left_out), work=work,
        without_figure=np.where(asked.done, so_far, np.exp(without[:, _EVEN])), by_hand=counts,
    )  # fmt: skip


def _under_way(foretold: Foretold, asked: Asked, work: Integers, draws: int) -> Foretold:
    """What lines will take now that some of them were begun: see `evidence`. What finished ones say of the luck of their work the calibration knows."""
    evidence = replace(asked.begun, so_far=np.where(asked.finished, 0.0, asked.begun.so_far), all_done=(asked.begun.all_done | asked.done) & ~asked.finished)
    evidence = evidence.join(Evidence.none(len(work) - len(asked.lines)))
    hours = draw(foretold, evidence, work, len(asked.works), draws).hours
    ordered = np.sort(hours, axis=1)
    table = np.log(np.maximum(np.stack([np.interp(LEVELS, (np.arange(draws) + 0.5) / draws, row) for row in ordered]), 1e-9))
    table = np.ceil(table * STEPS) / STEPS  # brought to the steps in which it is kept, it must not fall below what was worked
    scores = special.ndtri((np.argsort(np.argsort(hours, axis=1, kind="stable"), axis=1, kind="stable") + 0.5) / draws)
    return replace(foretold, table=table, correlation=np.corrcoef(scores) if len(scores) > 1 else np.eye(len(scores)))


def _passed(asked: Asked, name: str, usual: Floats) -> float:
    """How far a work is, of the hours of its lines; see `evidence.how_far`."""
    of = asked.lines.object == name
    done = of & asked.done
    return how_far(float(asked.begun.so_far[done].sum()), asked.begun.part[of & ~asked.done], usual[of & ~asked.done])


def as_lines(
    known: Calibration, found: Sequence[tuple[str, MayTurnUp]], works: Mapping[str, Described], bears_on: Mapping[str, int], people: tuple[str, ...]
) -> Lines:
    """What may turn up on some works, as lines of which nothing is measured; see `Asked`."""
    past = known.joint.lines
    units = dict(zip(past.technique.tolist(), past.unit.tolist(), strict=True))
    names = [name for name, _ in found]
    techniques = [one.technique for _, one in found]
    grades = [works[name].grades[bears_on[t]] if t in bears_on else np.nan for name, t in zip(names, techniques, strict=True)]
    n, nothing = len(found), np.full(len(found), np.nan)
    return Lines(
        object=np.array(names), phase=np.array([one.phase for _, one in found]), technique=np.array(techniques), part=np.full(n, "?"),
        unit=np.array([units.get(t, "") for t in techniques]), kind=np.array([works[name].kind for name in names]), hours=nothing, quantity=nothing, quoted=nothing,
        figure=nothing, condition=np.array(grades), area=np.array([works[name].area for name in names], dtype=float), person=np.full(n, ""), shares=np.zeros((n, len(people))), people=people,
        day=np.full(n, known.joint.levels.now), is_open=np.ones(n, dtype=bool), weight=np.ones(n),
    )  # fmt: skip
