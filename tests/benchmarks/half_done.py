"""Lines under way where the record is short: `python -m tests.benchmarks.half_done [--studios 40]
[--first-seed 17000] [--processes 2]`.

Invented works on the bench (`tests/invented_bench.py`) of studios with 2, 5 and 10 finished works, at a
quarter, half and three quarters of their hours. Of each line under way it was said how far it is, by per cent
or by what was treated of what was quoted; how such sayings stand to hours is learnt from the few lines of the
history. Prints how often such lines ended inside their ranges, the bias of their middle, how far it was off
(log hours), and beside it that of the plain reckoning, hours so far by the share said, and of what would be
told had nothing been said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pandas as pd
from scipy import special
from threadpoolctl import threadpool_limits

from dashboard.analysis.arrays import Flags
from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import calibration, percent_complete
from dashboard.analysis.simulation import completion
from dashboard.services import open_lines
from tests.benchmarks import studios
from tests.invented_bench import Bench, Course, draw_bench
from tests.invented_truth import NOW, Floats

HISTORIES, SHARES = (2, 5, 10), (0.25, 0.5, 0.75)
STEPS = {"per cent": 0.05, "quantity": 0.001}  # in which it is said: what is treated is measured
_SPOKEN_OF = 0.6  # share of the lines of the history
_DRAWS = 2000
_MORE, _MORE_APART = 0.08, 0.22  # there is so much more to treat than was quoted (log), and so far apart
_ALL = 0.98  # of what was quoted, from which on a line may be all done
_GROWS = 0.8  # how her figures grow with what she sees


@dataclass(frozen=True, slots=True, kw_only=True)
class Sayer:
    """How what is said of lines stands to their hours: lean and spread, in log odds."""

    lean: float
    spread: float

    def said(self, part: Floats, rng: np.random.Generator, step: float) -> Floats:
        """Shares as they are said, in steps; not a number where that would be nothing or all."""
        share = special.expit(
            special.logit(np.clip(part, 1e-6, 1 - 1e-6))
            + self.lean
            + self.spread * rng.standard_normal(len(part))
        )
        share = np.round(share / step) * step
        return np.where((share > 0) & (share < 1), share, np.nan)


def one_studio(seed: int, works: int, way: str) -> list[dict[str, float]]:
    """One row for each line under way and share of the hours of its work."""
    with threadpool_limits(1):
        bench, rng = draw_bench(seed, works, 12), np.random.default_rng([seed, 31])
        sayer = Sayer(lean=rng.normal(0.0, 0.3), spread=rng.uniform(0.3, 0.6))
        history = bench.quoted.studio.history
        past = rng.random(len(history)) < _SPOKEN_OF
        passed = rng.uniform(0.1, 0.9, int(past.sum()))
        meant = percent_complete.learn(sayer.said(passed, rng, STEPS[way]), passed, np.arange(len(passed)))
        bench = replace(
            bench,
            quoted=replace(bench.quoted, studio=replace(bench.quoted.studio, history=_seen(history, rng))),
        )
        return [
            row
            for course, share in product(bench.courses, SHARES)
            for row in _lines(bench, course, share, way, sayer, meant, rng)
        ]


def _seen(lines: Lines, rng: np.random.Generator) -> Lines:
    """The same lines, with quantities and figures as they were quoted before the damage was seen."""
    more = np.where(lines.quoted > 0, np.exp(_MORE + _MORE_APART * rng.standard_normal(len(lines))), 1.0)
    return replace(lines, quoted=lines.quoted / more, figure=lines.figure / more**_GROWS)


def _lines(
    bench: Bench,
    course: Course,
    share: float,
    way: str,
    sayer: Sayer,
    meant: percent_complete.LogitCalibration,
    rng: np.random.Generator,
) -> list[dict[str, float]]:
    course = replace(course, lines=_seen(course.lines, rng))
    lines = course.lines
    so_far = course.so_far(share)
    known = calibration.learn(
        join(bench.quoted.studio.history, course.lines.take(course.finished(so_far))), NOW + 1
    )
    asked = course.under_way(so_far, meant)
    here, part = asked.observations.so_far, asked.observations.so_far / _among(course, so_far, lines.hours)
    said = sayer.said(part, rng, STEPS[way])
    begun = (here > 0) & ~np.isnan(said)
    by_quantity = begun & (asked.lines.quoted > 0) if way == "quantity" else np.zeros(len(here), dtype=bool)
    treated = np.where(by_quantity, said * np.nan_to_num(_among(course, so_far, lines.quantity)), np.nan)
    # beyond that nobody knows how much more there is, and it is told as a line of which nothing was said
    by_quantity &= ~(treated >= _ALL * asked.lines.quoted)
    spoken = by_quantity if way == "quantity" else begun
    if not spoken.any():
        return []
    opened = pd.DataFrame(
        {
            "phase": asked.lines.phase,
            "technique": asked.lines.technique,
            "unit": asked.lines.unit,
            "actual_hours": here,
            "said_done": np.where(spoken & ~by_quantity, 100 * said, np.nan),
            "treated": np.where(spoken, treated, np.nan),
            "said_at": np.where(spoken, here, np.nan),
            "said_last": spoken,
            "goes_on": 1.0,
            "left": False,
            "estimated_quantity": asked.lines.quoted,
            "area_dm2": np.nan,
        }
    )
    evidence = open_lines.observations(known.joint.growth, (meant, meant), opened)
    rows = []
    told = {
        name: _ends(bench, known, replace(asked, observations=one), spoken)
        for name, one in (("told", evidence), ("unsaid", asked.observations))
    }
    actual = np.log(_among(course, so_far, lines.hours)[spoken])
    plain = np.log(
        here[spoken] / np.where(by_quantity, np.minimum(treated / asked.lines.quoted, 0.95), said)[spoken]
    )
    for ends, unsaid, log_actual, log_plain in zip(
        told["told"], told["unsaid"], actual.tolist(), plain.tolist(), strict=True
    ):
        p05, p10, p50, p90, p95 = np.log(ends).tolist()
        rows.append(
            {
                "share": share,
                "inside 80": float(p10 <= log_actual <= p90),
                "inside 90": float(p05 <= log_actual <= p95),
                "above": float(log_actual > p90),
                "bias": p50 - log_actual,
                "off": abs(p50 - log_actual),
                "plain": abs(log_plain - log_actual),
                "unsaid": abs(float(np.log(unsaid[2])) - log_actual),
                "width": p90 - p10,
                "unsaid inside 80": float(np.log(unsaid[1]) <= log_actual <= np.log(unsaid[3])),
                "unsaid above": float(log_actual > np.log(unsaid[3])),
            }
        )
    return rows


def _among(course: Course, so_far: Floats, values: Floats) -> Floats:
    """Of all lines of a course those that are asked about."""
    floats: Floats = values[(~course.found | (so_far > 0)) & ~course.finished(so_far)]
    return floats


def _ends(
    bench: Bench, known: calibration.Calibration, under_way: completion.OpenWorks, which: Flags
) -> Floats:
    """(lines, 5) hours in the end of some lines: 1 in 20, 1 in 10, even chance, 9 in 10, 19 in 20."""
    drawn = completion.forecast(known, bench.discoveries(known), under_way, _DRAWS).drawn[which]
    floats: Floats = np.quantile(drawn.astype(float), [0.05, 0.1, 0.5, 0.9, 0.95], axis=1).T
    return floats


def main() -> None:
    args = studios.arguments(studios=40, first_seed=17000)
    header = True
    with studios.processes(args) as run:
        for way, works in product(STEPS, HISTORIES):
            answers = run(one_studio, works, way)
            rows = pd.DataFrame([row for answer in answers for row in answer])
            mean = rows.mean().drop("share")
            mean["bias"] = np.exp(mean["bias"])
            print(
                pd.DataFrame([{"by": way, "works": works, "lines": len(rows), **mean.to_dict()}])
                .round(3)
                .to_string(index=False, header=header),
                flush=True,
            )
            header = False


if __name__ == "__main__":
    main()
