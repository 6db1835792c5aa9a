"""When works leave the bench of invented studios of known truth: `python -m tests.benchmarks.plans [--studios
20] [--processes 2]`.

Each studio has a record, works on the bench at different shares of their hours, waiting that takes as long as
it takes, and people whose weeks differ. The plan is told the record alone; how it goes is then played with
the true hours, waits and weeks. Prints how often works left inside their range of 4 in 5 (from 1 in 10 to 9
in 10), how wide that was, and how far off the middle was, beside two plainer ways: the hours still approved
at the usual hours a week, one work after the other with all waiting in between (`in sequence`), and the same
for each work alone (`alone`).

`--strays` is the share of steps that people take up out of order, as nobody keeps to a list: in the plan they
always do.
"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis.arrays import Floats
from dashboard.analysis.data.lines import join
from dashboard.analysis.models import calibration
from dashboard.analysis.simulation import completion, schedule, waiting_times, weekly_hours
from dashboard.analysis.simulation.completion import CompletionForecast
from dashboard.analysis.simulation.schedule import WHOEVER, BenchTime, Work
from tests.benchmarks import studios
from tests.invented_bench import Bench, Course, draw_bench
from tests.invented_truth import NOW

DAYS, DRAWS = 700, completion.KEPT
_SHARES = np.array([0.2] * 5 + [0.0] * 2)
_PAST_WEEKS, _PAST_WAITS = 26, 60


def one_studio(
    seed: int, works: int = 40, later: int = 10, people: int = 1, strays: float = 0.0
) -> list[dict[str, float]]:
    """One row for each work on the bench."""
    with threadpool_limits(1):
        return _one_studio(seed, works, later, people, strays)


def _one_studio(seed: int, works: int, later: int, people: int, strays: float) -> list[dict[str, float]]:
    rng = np.random.default_rng([seed, 51])
    bench = draw_bench(seed, works, later)
    weekly, week_sd = rng.uniform(12, 28, people), rng.uniform(0.15, 0.45)
    past = [item * np.exp(week_sd * rng.standard_normal(_PAST_WEEKS) - week_sd**2 / 2) for item in weekly]
    mean = [float(item.mean()) for item in past]
    wait_sd = rng.uniform(0.25, 0.7)
    learnt = _learnt(wait_sd, rng)
    known, true, plain = [], [], []
    for course in bench.courses:
        share = float(rng.choice([0.0, 0.25, 0.5, 0.75]))
        so_far = course.so_far(share)
        planned = np.where(
            rng.random(len(course.lines)) < 0.3, rng.uniform(12, 24 * 12, len(course.lines)), 0.0
        ) * ~course.finished(so_far)
        found = _foretold(bench, course, share)
        known.append(_foreseen(course, so_far, planned, found, learnt))
        took = planned * np.exp(wait_sd * rng.standard_normal(len(planned)))
        true.append(_truth(course, so_far, took, strays, rng))
        plain.append(
            (
                float(
                    np.maximum(np.nan_to_num(course.lines.figure) - so_far, 0.0)[
                        ~course.finished(so_far)
                    ].sum()
                ),
                float(planned.sum() / waiting_times.HOURS_A_DAY),
            )
        )
    everyday = np.ones(DAYS)
    began = time.perf_counter()
    hours = [
        weekly_hours.draw_days(one, past[number], _SHARES, everyday, 0, DRAWS, number)
        for number, one in enumerate(mean)
    ]
    leaves = np.floor(schedule.course(known, BenchTime(np.stack(hours), np.array(mean) / 7)).leaves)
    seconds = time.perf_counter() - began
    weeks = (
        np.exp(week_sd * rng.standard_normal((people, 1, DAYS // 7)) - week_sd**2 / 2) * weekly[:, None, None]
    )
    left = np.floor(
        schedule.course(
            true, BenchTime(np.repeat(weeks, 7, axis=2) * np.tile(_SHARES, DAYS // 7), weekly / 7)
        ).leaves[:, 0]
    )
    a_day = sum(mean) / 7
    sequence = np.cumsum([one / a_day + wait for one, wait in plain])
    rows = []
    for number, p in enumerate(np.quantile(leaves, (0.1, 0.5, 0.9), axis=1, method="inverted_cdf").T):
        rows.append(
            {
                "inside 80": float(p[0] <= left[number] <= p[2]),
                "too early": float(left[number] < p[0]),
                "width, weeks": float(p[2] - p[0]) / 7,
                "off, weeks": abs(float(p[1] - left[number])) / 7,
                "in sequence off": abs(float(sequence[number] - left[number])) / 7,
                "alone off": abs(plain[number][0] / a_day + plain[number][1] - left[number]) / 7,
                "left, weeks": left[number] / 7,
                "s": seconds,
            }
        )
    return rows


def _learnt(sd: float, rng: np.random.Generator) -> waiting_times.LognormalWaits:
    """What past lines waited, by as much as was planned: the spread alone is learnt."""
    off = sd * rng.standard_normal(_PAST_WAITS)
    lines = pd.DataFrame(
        {"finished": True, "technique": "pressing", "actual_hours": 1.0, "unattended_hours": 48 * np.exp(off)}
    )
    return waiting_times.learn(lines)


def _foretold(bench: Bench, course: Course, share: float) -> CompletionForecast:
    so_far = course.so_far(share)
    lines = course.lines.take(course.finished(so_far))
    known = calibration.learn(
        (bench.quoted.studio.history if not len(lines) else join(bench.quoted.studio.history, lines)), NOW + 1
    )
    return completion.forecast(known, bench.discoveries(known), course.under_way(so_far, bench.saying), DRAWS)


def _foreseen(
    course: Course,
    so_far: Floats,
    planned: Floats,
    forecast: CompletionForecast,
    learnt: waiting_times.LognormalWaits,
) -> Work:
    """As the plan has it: the lines that are told, in their order, and what may turn up behind those of its
    phase.
    """
    told = np.flatnonzero((~course.found | (so_far > 0)) & ~course.finished(so_far))
    hours = np.maximum(forecast.drawn.astype(float) - so_far[told, None], 0.0)
    waits = (
        waiting_times.draw_hours(learnt, course.lines.technique[told], planned[told], DRAWS)
        / waiting_times.HOURS_A_DAY
    )
    phases = [
        *course.lines.phase[told].tolist(),
        *(f"{item.discovery.phase}~" for item in forecast.discoveries),
    ]
    order = np.argsort(np.array(phases), kind="stable")
    every = np.concatenate([hours, forecast.discoveries_drawn.astype(float)])
    apart = completion.shuffled_draws(str(course.lines.object[0]), DRAWS)
    return Work(
        hours=every[order][:, apart],
        waits=np.concatenate([waits, np.zeros(forecast.discoveries_drawn.shape)])[order][:, apart],
        person=np.full(len(every), WHOEVER),
    )


def _truth(course: Course, so_far: Floats, took: Floats, strays: float, rng: np.random.Generator) -> Work:
    """As it goes: steps that stray are taken up after a while in which others are worked on."""
    hours = np.maximum(course.lines.hours - so_far, 0.0)[:, None]
    lost = np.where((rng.random(len(hours)) < strays) & (hours[:, 0] > 0), rng.uniform(0, 7, len(hours)), 0.0)
    return Work(
        hours=hours,
        waits=(took / waiting_times.HOURS_A_DAY + lost)[:, None],
        person=np.full(len(hours), WHOEVER),
    )


def main() -> None:
    args = studios.arguments(studios=20, first_seed=6000, people=1, strays=0.0)
    with studios.processes(args) as run:
        answers = run(one_studio, 40, 10, args.people, args.strays)
    rows = pd.DataFrame([row for answer in answers for row in answer])
    print(rows.mean().round(3).to_string())
    print(f"{len(rows)} works in {len(answers)} studios of {args.people}")


if __name__ == "__main__":
    main()
