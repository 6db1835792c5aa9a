"""Quotes of works to come in invented studios of known truth: `python -m tests.benchmarks.quotes [--studios
20] [--processes 2]`.

40 works quoted after 40 of history, each with its sheet of lines and what may turn up. Prints, pooled, how
often the total fell inside its range of 4 in 5: as promised, as if lines were apart, and without what may
turn up; how far totals lie from what was promised at even chance, beside an oracle's; and how long a quote
takes.
"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis.models import calibration
from dashboard.analysis.models.calibration import PredictiveQuantiles
from dashboard.analysis.simulation import quote_total, totals
from dashboard.analysis.simulation.totals import OccurrenceModel
from tests.benchmarks import studios
from tests.invented_quotes import Quoted, draw_quoted
from tests.invented_truth import NOW, Floats


def one_studio(seed: int, works: int = 40, later: int = 40, draws: int = 4000) -> dict[str, float]:
    """Shares and biases of one studio's quotes."""
    with threadpool_limits(1):
        return _one_studio(draw_quoted(seed, works, later), draws)


def _one_studio(quoted: Quoted, draws: int) -> dict[str, float]:
    known = calibration.learn(quoted.studio.history, NOW)
    discoveries = quoted.discoveries(known)
    found: list[dict[str, float]] = []
    for name, took in quoted.totals.items():
        asked = quoted.asked(name)
        began = time.perf_counter()
        promised = quote_total.forecast(known, discoveries, asked, draws)
        seconds = time.perf_counter() - began
        total = promised.total()
        chance = np.concatenate(
            [1 - known.unneeded.chance(asked.lines), [one.chance for _, one in promised.discoveries]]
        )
        apart_foretold = PredictiveQuantiles.plain(promised.basis.table, np.eye(len(promised.work)))
        occurring = OccurrenceModel(
            chance=chance,
            is_discovery=np.arange(len(promised.work)) >= promised.lines,
            together=0.0,
            work=promised.work,
        )
        apart = totals.draw_hours(apart_foretold, occurring, draws).sum(axis=0)
        oracle = quoted.oracle[name]
        found.append(
            {
                "inside 80": _inside(total, took, 0.1, 0.9),
                "inside 90": _inside(total, took, 0.05, 0.95),
                "under 4 in 5": float(took <= np.quantile(total, 0.8)),
                "as if apart": _inside(apart, took, 0.1, 0.9),
                "without what may turn up": _inside(promised.total(without_found=True), took, 0.1, 0.9),
                "oracle inside 80": _inside(oracle, took, 0.1, 0.9),
                "bias": float(np.log(np.median(total) / np.median(oracle))),
                "quote s": seconds,
            }
        )
    return {str(name): float(value) for name, value in pd.DataFrame(found).mean().items()}


def _inside(total: Floats, took: float, low: float, high: float) -> float:
    return float(np.quantile(total, low) <= took <= np.quantile(total, high))


def pooled(answers: list[dict[str, float]]) -> dict[str, float]:
    """Means over studios; biases as factors."""
    mean = {str(name): float(value) for name, value in pd.DataFrame(answers).mean().items()}
    return mean | {"bias": float(np.exp(mean["bias"]))}


def main() -> None:
    args = studios.arguments(studios=20, first_seed=4000, works=40)
    with studios.processes(args) as run:
        answers = run(one_studio, args.works)
    print(pd.DataFrame([pooled(answers)]).round(3).T.to_string(header=False))
    print(f"from {len(answers)} studios, {args.works} works of history, 40 quoted each")


if __name__ == "__main__":
    main()
