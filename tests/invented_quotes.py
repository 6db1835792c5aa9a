"""Invented studios in which work turns up that no estimate foresaw, and what an oracle says of the totals of works to come."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis.calibration import Calibration
from dashboard.analysis.discovery import Described, Discoveries, learn
from dashboard.analysis.lines import Lines, join
from dashboard.analysis.promise import Asked
from dashboard.analysis.record import Foreseen
from tests.invented_truth import NOW, PEOPLE, PHASES, TECHNIQUES, Floats, Studio, draw, tails

_HIDDEN = 7
_DRAWS = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class Quoted:
    """A studio with what turned up.

    Attributes
    ----------
    studio : as drawn, its history with what turned up. foreseen : what first estimates of the history had. works : frame of what bears on what may turn up.
    to_come : the quoted lines of works to come. totals : what each of these works took in all, by name. oracle : (draws,) of each, by one who knows all but luck.
    """

    studio: Studio
    foreseen: Foreseen
    works: pd.DataFrame
    to_come: Lines
    totals: dict[str, float]
    oracle: dict[str, Floats]

    def asked(self, name: str) -> Asked:
        """One of the works to come, as it is quoted."""
        lines = self.to_come.take(self.to_come.object == name)
        nothing = np.full(len(lines), np.nan)
        lines = replace(lines, hours=nothing, quantity=nothing, is_open=np.ones(len(lines), dtype=bool))
        grade = float(lines.condition[0])
        work = Described(kind="easel painting", grades=(grade, np.nan, np.nan), techniques=frozenset(lines.technique.tolist()))
        return Asked(
            lines=lines,
            low=nothing,
            high=nothing,
            pinned=np.zeros(len(lines)),
            works={name: work},
            bears_on={t: 0 for t in np.unique(self.studio.history.technique)},
        )

    def discoveries(self, known: Calibration) -> Discoveries:
        return learn(self.foreseen, self.works, known)


def draw_quoted(seed: int, works: int = 40, later: int = 40) -> Quoted:
    """A studio of so many works, and so many to come. Some techniques turn up where nobody quoted them: with a chance of their own, more where another is on the sheet
    or the condition is marked, together by a common cause, and mostly less of it than where it is quoted."""
    studio = draw(seed, works, later=later)
    rng = np.random.default_rng([seed, 77])
    truth = studio.truth
    everything = join(studio.history, studio.to_come)
    names, of = np.unique(everything.object, return_inverse=True)
    number = np.array([int(name.split()[1]) for name in everything.technique])
    has = np.zeros((len(names), TECHNIQUES), dtype=bool)
    has[of, number] = True
    grade = np.zeros(len(names))
    grade[of] = everything.condition
    hidden = rng.choice(TECHNIQUES, _HIDDEN, replace=False, p=truth.popularity / truth.popularity.sum())
    trigger = rng.choice(TECHNIQUES, _HIDDEN, p=truth.popularity / truth.popularity.sum())
    base, lift = rng.uniform(0.03, 0.2, _HIDDEN), rng.uniform(0.0, 1.2, _HIDDEN)
    share = rng.uniform(0.0, 0.4)
    score = special.ndtri(base) + lift * has[:, trigger] + 0.3 * (grade >= 2)[:, None]
    cause = rng.standard_normal(len(names))
    happens = (rng.random((len(names), _HIDDEN)) < special.ndtr((score + np.sqrt(share) * cause[:, None]) / np.sqrt(1 - share))) & ~has[:, hidden]
    work, which = np.nonzero(happens)
    technique = hidden[which]
    n = len(work)
    smaller = -0.4
    size = np.where(truth.measured[technique], rng.normal(smaller, 0.5, n), 0.0)
    who = rng.choice(3, n, p=truth.share)
    day = np.zeros(len(names), dtype=np.int64)
    day[of] = everything.day
    drifted = -truth.drift * (NOW - day[work]) / 365.25
    sure = truth.level[technique] + truth.elasticity[technique] * size + truth.by_condition * (grade[work] - 1.5) + truth.pace[who] + drifted
    nothing = np.full(n, np.nan)
    found = Lines(
        object=names[work], phase=np.array([f"phase {p:02d}" for p in range(PHASES)])[truth.phase[technique]], technique=np.array([f"technique {t:02d}" for t in range(TECHNIQUES)])[technique],
        part=np.full(n, ""), unit=np.array(["dm2", "cm", "pcs", ""])[truth.unit[technique]], kind=np.full(n, "easel painting"),
        hours=np.exp(sure + studio.of_work[work] + truth.line_sd * tails(rng, n)), quantity=np.where(truth.measured[technique] & (rng.random(n) < 0.8), np.exp(truth.typical[technique] + size), np.nan),
        quoted=nothing, figure=nothing, condition=grade[work], person=np.array(PEOPLE)[who], shares=np.eye(3)[who], people=PEOPLE, day=day[work], is_open=np.zeros(n, dtype=bool), weight=np.ones(n),
    )  # fmt: skip
    past = work < works
    history = join(studio.history, found.take(past))
    techniques = np.array([f"technique {t:02d}" for t in range(TECHNIQUES)])
    turned = np.zeros((len(names), TECHNIQUES), dtype=bool)
    turned[work, technique] = True
    ever = (has | turned)[:works].any(axis=0)
    none = np.zeros((works, int(ever.sum())), dtype=bool)
    foreseen = Foreseen(
        objects=names[:works], techniques=techniques[ever], phases=np.array([f"phase {p:02d}" for p in range(PHASES)])[truth.phase[ever]], quoted=has[:works, ever], worked_before=none,
        turned_up=turned[:works, ever], another=none,
    )  # fmt: skip
    told = pd.DataFrame(
        {"object": names, "kind": "easel painting", "support": None, "structure_condition": grade, "paint_condition": np.nan, "surface_condition": np.nan}
    )
    later_found = found.take(~past)
    totals, oracle = {}, {}
    for place in range(works, len(names)):
        its = studio.to_come.object == names[place]
        totals[str(names[place])] = float(studio.to_come.hours[its].sum() + later_found.hours[later_found.object == names[place]].sum())
        luck = truth.work_sd * rng.standard_normal(_DRAWS)
        drawn = np.exp(studio.sure[its][:, None] + luck + truth.line_sd * tails(rng, int(its.sum()) * _DRAWS).reshape(-1, _DRAWS)).sum(axis=0)
        common = rng.standard_normal(_DRAWS)
        for h in np.flatnonzero(~has[place, hidden]):
            t = hidden[h]
            there = rng.random(_DRAWS) < special.ndtr((score[place, h] + np.sqrt(share) * common) / np.sqrt(1 - share))
            sizes = rng.normal(smaller, 0.5, _DRAWS) if truth.measured[t] else np.zeros(_DRAWS)
            by = rng.choice(3, _DRAWS, p=truth.share)
            log_hours = (
                truth.level[t]
                + truth.elasticity[t] * sizes
                + truth.by_condition * (grade[place] - 1.5)
                + truth.pace[by]
                + luck
                + truth.line_sd * tails(rng, _DRAWS)
            )
            drawn += np.where(there, np.exp(log_hours), 0.0)
        oracle[str(names[place])] = drawn
    return Quoted(studio=replace(studio, history=history), foreseen=foreseen, works=told, to_come=studio.to_come, totals=totals, oracle=oracle)
