"""Works on the bench of invented studios of known truth, foretold at a quarter, half and three quarters of
their hours: `python -m tests.benchmarks.forecasts [--studios 20] [--processes 2]`.

Prints, pooled by how far works were: how often they ended inside their range of 4 in 5, how wide that was
beside the quote's, and what forecasts lost (pinball of log hours) by what the three plainer ways lost: the
approved estimate with what lines are over so far, the earned-hours estimate at completion, and the quote left
as it was. Then: of the works that ended more than a fifth over what was approved, how many were called by
half of their hours, and how many calls were false.
"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis.data.lines import join
from dashboard.analysis.models import calibration
from dashboard.analysis.models.calibration import SCORED
from dashboard.analysis.models.scoring_rules import pinball
from dashboard.analysis.report import earned_value
from dashboard.analysis.simulation import completion
from dashboard.analysis.simulation.completion import CompletionForecast, chance_over
from tests.benchmarks import studios
from tests.invented_bench import Bench, Course, draw_bench
from tests.invented_truth import NOW, Floats

SHARES = (0.0, 0.25, 0.5, 0.75)
OVER = 1.2


def one_studio(seed: int, works: int = 40, later: int = 12, draws: int = 4000) -> list[dict[str, float]]:
    """One row for each work and share of its hours."""
    with threadpool_limits(1):
        bench = draw_bench(seed, works, later)
        return [row for course in bench.courses for row in _one_work(bench, course, draws)]


def foretold(bench: Bench, course: Course, share: float, draws: int) -> CompletionForecast:
    """The forecast of a work when a share of its hours has passed, from the history and its own finished
    lines.
    """
    so_far = course.so_far(share)
    done = course.lines.take(course.finished(so_far))
    known = calibration.learn(join(bench.quoted.studio.history, done), NOW + 1)
    return completion.forecast(known, bench.discoveries(known), course.under_way(so_far, bench.saying), draws)


def _one_work(bench: Bench, course: Course, draws: int) -> list[dict[str, float]]:
    rows = []
    quote: Floats = np.zeros(0)
    for share in SHARES:
        so_far = course.so_far(share)
        began = time.perf_counter()
        found = foretold(bench, course, share, draws)
        seconds = time.perf_counter() - began
        total = found.totals[str(course.lines.object[0])]
        told = np.quantile(total, SCORED)
        if not share:
            quote = told
        figure, finished = course.lines.figure, course.finished(so_far)
        approved = float(np.maximum(np.nan_to_num(figure), so_far)[~finished].sum() + so_far[finished].sum())
        plain = earned_value.at_completion(
            course.approved,
            earned_value.earned(figure, so_far, course.said(so_far), finished),
            float(so_far.sum()),
        )
        actual = np.array([course.took])
        rows.append(
            {
                "share": share,
                "inside 80": float(told[1] <= course.took <= told[-2]),
                "below": float(course.took < told[1]),
                "width": float(np.log(told[-2] / told[1])),
                "width of quote": float(np.log(quote[-2] / quote[1])),
                **{
                    name: float(
                        pinball(
                            np.log(actual), np.log(np.broadcast_to(value, (1, len(SCORED)))), SCORED
                        ).mean()
                    )
                    for name, value in (
                        ("lost", told),
                        ("by approved", approved),
                        ("by earned", plain),
                        ("by quote", quote),
                    )
                },
                "chance over": chance_over(total, course.approved),
                "chance far over": chance_over(total, OVER * course.approved),
                "ends by approved": course.took / course.approved,
                "s": seconds,
            }
        )
    return rows


def pooled(rows: pd.DataFrame) -> pd.DataFrame:
    """By share: coverage, width against the quote's, and losses by those of the plainer ways."""
    mean = rows.groupby("share").mean()
    found = mean[["inside 80", "below", "width", "s"]].assign(
        **{f"to {name[3:]}": mean["lost"] / mean[name] for name in ("by approved", "by earned", "by quote")},
        by_the_quote=mean["width"] / mean["width of quote"],
    )
    return found


def calls(rows: pd.DataFrame) -> tuple[float, float, float]:
    """Of works more than a fifth over, the share called at half of their hours; of those called, the share
    that was not more than a fifth over, and that was not over at all.
    """
    half = rows[rows["share"] == 0.5]
    called, far = half["chance far over"] >= 0.5, half["ends by approved"] > OVER
    return (
        float(called[far].mean()),
        float((~far)[called].mean()),
        float((half["ends by approved"] <= 1)[called].mean()),
    )


def main() -> None:
    args = studios.arguments(studios=20, first_seed=7000, works=40)
    with studios.processes(args) as run:
        answers = run(one_studio, args.works)
    rows = pd.DataFrame([row for answer in answers for row in answer])
    print(pooled(rows).round(3).to_string())
    print(f"all after the beginning inside 80: {rows.loc[rows['share'] > 0, 'inside 80'].mean():.3f}")
    print(
        "far over called at half: {:.3f}; of the calls not far over {:.3f}, not over at all {:.3f}".format(
            *calls(rows)
        )
    )
    print(
        f"far over: {(rows.loc[rows['share'] == 0.5, 'ends by approved'] > OVER).mean():.3f} of"
        f" {len(rows) // len(SHARES)} works in {len(answers)} studios"
    )


if __name__ == "__main__":
    main()
