"""Invented studios in which work turns up that no estimate foresaw, and what an oracle says of the totals of
works to come.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis.arrays import Flags, Integers
from dashboard.analysis.data.lines import Lines, Names, join
from dashboard.analysis.data.training_record import ForeseenTechniques
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures, learn
from dashboard.analysis.simulation.quote_total import QuoteRequest
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from tests.invented_truth import NOW, PEOPLE, PHASES, TECHNIQUES, Floats, Studio, draw, tails

_HIDDEN = 7
BEGUN_UNKNOWN = pd.DataFrame(
    {"object": np.array([], dtype=str), "technique": np.array([], dtype=str), "passed": np.zeros(0)}
)
_DRAWS = 4000
_SMALLER = -0.4  # log size of what turns up, against what is quoted
_PHASES = np.array([f"phase {number:02d}" for number in range(PHASES)])
_TECHNIQUES = np.array([f"technique {number:02d}" for number in range(TECHNIQUES)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Quoted:
    """A studio with what turned up.

    Attributes
    ----------
    studio : as drawn, its history with what turned up.
    foreseen : what first estimates of the history had.
    works : frame of what bears on what may turn up.
    to_come : the quoted lines of works to come.
    turned_up : what nobody quoted on them.
    totals : what each of these works took in all, by name.
    oracle : (draws,) of each, by one who knows all but luck.
    """

    studio: Studio
    foreseen: ForeseenTechniques
    works: pd.DataFrame
    to_come: Lines
    turned_up: Lines
    totals: dict[str, float]
    oracle: dict[str, Floats]

    def asked(self, name: str) -> QuoteRequest:
        """One of the works to come, as it is quoted."""
        lines = self.to_come.take(self.to_come.object == name)
        nothing = np.full(len(lines), np.nan)
        lines = replace(lines, hours=nothing, quantity=nothing, is_open=np.ones(len(lines), dtype=bool))
        grade = float(lines.condition[0])
        work = WorkFeatures(
            kind="easel painting",
            grades=(grade, np.nan, np.nan),
            area=float(lines.area[0]),
            techniques=frozenset(lines.technique.tolist()),
        )
        return QuoteRequest(
            lines=lines,
            ranges=ThreePointEstimates(low=nothing, likeliest=nothing, high=nothing),
            pinned=np.zeros(len(lines)),
            works={name: work},
            bears_on={t: 0 for t in np.unique(self.studio.history.technique)},
        )

    def discoveries(self, calibration: Calibration) -> DiscoveryModel:
        return learn(self.foreseen, self.works, calibration, BEGUN_UNKNOWN)


class _Hidden:
    """What turns up where nobody quoted it, and how likely it is on each work."""

    def __init__(self, studio: Studio, rng: np.random.Generator) -> None:
        truth = studio.truth
        everything = join(studio.history, studio.to_come)
        self.names, of = np.unique(everything.object, return_inverse=True)
        self.has = np.zeros((len(self.names), TECHNIQUES), dtype=bool)
        self.has[of, np.array([int(name.split()[1]) for name in everything.technique])] = True
        self.grade, self.day, self.area = (
            np.zeros(len(self.names)),
            np.zeros(len(self.names), dtype=np.int64),
            np.zeros(len(self.names)),
        )
        self.area[of] = everything.area
        self.grade[of], self.day[of] = everything.condition, everything.day
        often = truth.popularity / truth.popularity.sum()
        self.techniques = rng.choice(TECHNIQUES, _HIDDEN, replace=False, p=often)
        trigger = rng.choice(TECHNIQUES, _HIDDEN, p=often)
        base, lift = rng.uniform(0.03, 0.2, _HIDDEN), rng.uniform(0.0, 1.2, _HIDDEN)
        self.together = rng.uniform(0.0, 0.4)
        self.score = special.ndtri(base) + lift * self.has[:, trigger] + 0.3 * (self.grade >= 2)[:, None]

    def chance(self, works: slice | int, hidden: slice | int, cause: Floats) -> Floats:
        """Of something on a work, given the common cause there."""
        floats: Floats = special.ndtr(
            (self.score[works, hidden] + np.sqrt(self.together) * cause) / np.sqrt(1 - self.together)
        )
        return floats


def draw_quoted(seed: int, works: int = 40, later: int = 40) -> Quoted:
    """A studio of so many works, and so many to come. Some techniques turn up where nobody quoted them: with
    a chance of their own, more where another is on the sheet or the condition is marked, together by a common
    cause, and mostly less of it than where it is quoted.
    """
    studio = draw(seed, works, later=later)
    rng = np.random.default_rng([seed, 77])
    hidden = _Hidden(studio, rng)
    count = len(hidden.names)
    happens = rng.random((count, _HIDDEN)) < hidden.chance(
        slice(None), slice(None), rng.standard_normal(count)[:, None]
    )
    work, which = np.nonzero(happens & ~hidden.has[:, hidden.techniques])
    found = _found(studio, hidden, work, hidden.techniques[which], rng)
    turned = np.zeros((count, TECHNIQUES), dtype=bool)
    turned[work, hidden.techniques[which]] = True
    later_found = found.take(work >= works)
    totals, oracle = {}, {}
    for place in range(works, count):
        name = str(hidden.names[place])
        totals[name] = float(
            studio.to_come.hours[studio.to_come.object == name].sum()
            + later_found.hours[later_found.object == name].sum()
        )
        oracle[name] = _oracle(studio, hidden, place, rng)
    told = pd.DataFrame(
        {
            "object": hidden.names,
            "kind": "easel painting",
            "support": None,
            "structure_condition": hidden.grade,
            "paint_condition": np.nan,
            "surface_condition": np.nan,
        }
    )
    return Quoted(
        studio=replace(studio, history=join(studio.history, found.take(work < works))),
        foreseen=_foreseen(studio, hidden.names[:works], hidden.has[:works], turned[:works]),
        works=told,
        to_come=studio.to_come,
        turned_up=later_found,
        totals=totals,
        oracle=oracle,
    )


def _found(
    studio: Studio, hidden: _Hidden, work: Integers, technique: Integers, rng: np.random.Generator
) -> Lines:
    """Lines of what turned up."""
    truth, n = studio.truth, len(work)
    size = np.where(truth.measured[technique], rng.normal(_SMALLER, 0.5, n), 0.0)
    who = rng.choice(3, n, p=truth.share)
    drifted = -truth.drift * (NOW - hidden.day[work]) / 365.25
    sure = (
        truth.level[technique]
        + truth.elasticity[technique] * size
        + truth.by_condition * (hidden.grade[work] - 1.5)
        + truth.pace[who]
        + drifted
    )
    nothing = np.full(n, np.nan)
    return Lines(
        object=hidden.names[work],
        phase=_PHASES[truth.phase[technique]],
        technique=_TECHNIQUES[technique],
        part=np.full(n, ""),
        unit=np.array(["dm2", "cm", "pcs", ""])[truth.unit[technique]],
        kind=np.full(n, "easel painting"),
        hours=np.exp(sure + studio.of_work[work] + truth.line_sd * tails(rng, n)),
        quantity=np.where(
            truth.measured[technique] & (rng.random(n) < 0.8), np.exp(truth.typical[technique] + size), np.nan
        ),
        quoted=nothing,
        figure=nothing,
        condition=hidden.grade[work],
        area=hidden.area[work],
        person=np.array(PEOPLE)[who],
        shares=np.eye(3)[who],
        people=PEOPLE,
        day=hidden.day[work],
        is_open=np.zeros(n, dtype=bool),
        weight=np.ones(n),
    )


def _foreseen(studio: Studio, names: Names, has: Flags, turned: Flags) -> ForeseenTechniques:
    ever = (has | turned).any(axis=0)
    none = np.zeros((len(names), int(ever.sum())), dtype=bool)
    return ForeseenTechniques(
        objects=names,
        techniques=_TECHNIQUES[ever],
        phases=_PHASES[studio.truth.phase[ever]],
        quoted=has[:, ever],
        worked_before=none,
        turned_up=turned[:, ever],
        another=none,
    )


def _oracle(studio: Studio, hidden: _Hidden, place: int, rng: np.random.Generator) -> Floats:
    """Totals of a work to come by one who knows all but luck."""
    truth, its = studio.truth, studio.to_come.object == hidden.names[place]
    luck = truth.work_sd * rng.standard_normal(_DRAWS)
    total: Floats = np.exp(
        studio.sure[its][:, None]
        + luck
        + truth.line_sd * tails(rng, int(its.sum()) * _DRAWS).reshape(-1, _DRAWS)
    ).sum(axis=0)
    cause = rng.standard_normal(_DRAWS)
    for number in np.flatnonzero(~hidden.has[place, hidden.techniques]):
        t = hidden.techniques[number]
        there = rng.random(_DRAWS) < hidden.chance(place, int(number), cause)
        size = rng.normal(_SMALLER, 0.5, _DRAWS) if truth.measured[t] else np.zeros(_DRAWS)
        sure = (
            truth.level[t]
            + truth.elasticity[t] * size
            + truth.by_condition * (hidden.grade[place] - 1.5)
            + truth.pace[rng.choice(3, _DRAWS, p=truth.share)]
        )
        total += np.where(there, np.exp(sure + luck + truth.line_sd * tails(rng, _DRAWS)), 0.0)
    return total
