"""Quotes of works to come in invented studios of known truth: `python -m tests.benchmarks.quotes [--studios 20] [--processes 2]`.

40 works quoted after 40 of history, each with its sheet of lines and what may turn up. Prints, pooled, how often the total fell inside its range of 4 in 5: as promised, as if lines
were apart, and without what may turn up; how far totals lie from what was promised at even chance, beside an oracle's; and how long a quote takes.
"""

from __future__ import annotations

import argparse
import time
from multiprocessing import get_context

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis import calibration, promise, totals
from dashboard.analysis.calibration import Foretold
from dashboard.analysis.totals import Occurring
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
        promised = promise.foretell(known, discoveries, asked, draws)
        seconds = time.perf_counter() - began
        total = promised.total()
        chance = np.concatenate([1 - known.unneeded.chance(asked.lines), [one.chance for _, one in promised.found]])
        apart_foretold = Foretold.plain(promised.basis.table, np.eye(len(promised.work)))
        occurring = Occurring(chance=chance, found=np.arange(len(promised.work)) >= promised.lines, together=0.0, work=promised.work)
        apart = totals.draw_hours(apart_foretold, occurring, draws).sum(axis=0)
        oracle = quoted.oracle[name]
        found.append({
            "inside 80": _inside(total, took, 0.1, 0.9), "inside 90": _inside(total, took, 0.05, 0.95), "under 4 in 5": float(took <= np.quantile(total, 0.8)),
            "as if apart": _inside(apart, took, 0.1, 0.9), "without what may turn up": _inside(promised.total(without_found=True), took, 0.1, 0.9),
            "oracle inside 80": _inside(oracle, took, 0.1, 0.9), "bias": float(np.log(np.median(total) / np.median(oracle))), "quote s": seconds,
        })  # fmt: skip
    return pd.DataFrame(found).mean().to_dict()


def _inside(total: Floats, took: float, low: float, high: float) -> float:
    return float(np.quantile(total, low) <= took <= np.quantile(total, high))


def pooled(answers: list[dict[str, float]]) -> dict[str, float]:
    """Means over studios; biases as factors."""
    mean = pd.DataFrame(answers).mean().to_dict()
    return mean | {"bias": float(np.exp(mean["bias"]))}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--studios", type=int, default=20)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=4000)
    parser.add_argument("--works", type=int, default=40)
    said = parser.parse_args()
    with get_context("spawn").Pool(said.processes) as pool:
        answers = pool.starmap(one_studio, [(seed, said.works) for seed in range(said.first_seed, said.first_seed + said.studios)], chunksize=1)
    print(pd.DataFrame([pooled(answers)]).round(3).T.to_string(header=False))
    print(f"from {len(answers)} studios, {said.works} works of history, 40 quoted each")


if __name__ == "__main__":
    main()
