"""Studios that measure little: `python -m tests.benchmarks.unmeasured [--studios 24] [--first-seed 11000]
[--processes 2]`.

Invented studios of known truth (`tests/invented_truth.py`) in which none, two in five or all of what is
counted by area, length or piece was never measured, and of the rest two lines in five not; at three lengths
of history; works to come are quoted by quantity alone, and by figures. Prints how often lines and totals lay
inside their ranges, the bias of lines against an oracle who knows all but luck, the losses by the oracle's,
and of lines of techniques that were done and never measured how far the middle was from what is true, beside
two plainer ways: the median of the technique's own hours, and that scaled by the picture's area.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from itertools import product
from multiprocessing import get_context

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis.data.lines import Lines
from dashboard.analysis.models import calibration, scoring_rules
from dashboard.analysis.models.calibration import LEVELS, SCORED
from dashboard.analysis.simulation import totals
from tests.invented_truth import NOW, Floats, asked, draw

HISTORIES, NEVER, WAYS = (3, 10, 40), (0.0, 0.4, 1.0), ("quantity", "figures")
_MEASURED = 0.6  # of lines of techniques that are measured at all
_DRAWS = 4000
_EVEN = 5  # place of the middle in `SCORED`


def one_studio(seed: int, works: int, never: float, way: str) -> dict[str, float]:
    """Everything that is asked of one studio."""
    with threadpool_limits(1):
        studio = draw(seed, works, later=20, measured=_MEASURED, never=never)
        known = calibration.learn(studio.history, NOW)
        to_come, actual = asked(studio.to_come), np.log(studio.to_come.hours)
        # each is quoted by its quantity, where it has one
        to_come = replace(to_come, quoted=np.exp(studio.log_size))
        if way == "quantity":
            to_come = replace(to_come, figure=np.full(len(to_come), np.nan))
        table, places = np.empty((len(to_come), len(LEVELS))), []
        for name in np.unique(to_come.object):
            of = np.flatnonzero(to_come.object == name)
            foretold = calibration.predict(known, to_come.take(of))
            table[of] = foretold.table
            places.append(
                (totals.simulate(foretold, np.zeros(len(of)), _DRAWS) < studio.to_come.hours[of].sum()).mean()
            )
        forecast, spans, place = (
            calibration.at_levels(table, SCORED),
            scoring_rules.span(actual, table, LEVELS),
            np.array(places),
        )
        number = np.array([int(name.split()[1]) for name in to_come.technique])
        done = np.isin(to_come.technique, studio.history.technique)
        such = studio.unmeasured[number] & done
        plain, scaled = plainer(studio.history, to_come)
        off = {
            name: np.abs(value - studio.sure)[such].mean() if such.any() else np.nan
            for name, value in (("off", forecast[:, _EVEN]), ("plain", plain), ("scaled", scaled))
        }
        return {
            "inside 80": scoring_rules.inside(spans, 0.1, 0.9).mean(),
            "inside 90": scoring_rules.inside(spans, 0.05, 0.95).mean(),
            "totals 80": ((place >= 0.1) & (place <= 0.9)).mean(),
            "totals 90": ((place >= 0.05) & (place <= 0.95)).mean(),
            "such 80": scoring_rules.inside(spans, 0.1, 0.9)[such].mean() if such.any() else np.nan,
            "bias": float((forecast[:, _EVEN] - studio.oracle[:, _EVEN]).mean()),
            "such bias": float((forecast[:, _EVEN] - studio.sure)[such].mean()) if such.any() else np.nan,
            "loss": scoring_rules.pinball(actual, forecast, SCORED).mean(),
            "oracle": scoring_rules.pinball(actual, studio.oracle, SCORED).mean(),
            **off,
        }


def plainer(history: Lines, lines: Lines) -> tuple[Floats, Floats]:
    """(n,) median log hours of the technique's own past lines, and that scaled by the area of the picture;
    not a number where there is none.
    """
    past = (
        pd.DataFrame(
            {
                "technique": history.technique,
                "plain": np.log(history.hours),
                "scaled": np.log(history.hours / history.area),
            }
        )
        .groupby("technique")
        .median()
    )
    own = past.reindex(lines.technique)
    return own["plain"].to_numpy(), own["scaled"].to_numpy() + np.log(lines.area)


def pooled(answers: list[dict[str, float]]) -> dict[str, float]:
    """Means over studios; the loss as a ratio, biases as factors."""
    mean = pd.DataFrame(answers).mean().to_dict()
    return {name: mean[name] for name in ("inside 80", "inside 90", "totals 80", "totals 90", "such 80")} | {
        "bias": float(np.exp(mean["bias"])),
        "such bias": float(np.exp(mean["such bias"])),
        "to oracle": mean["loss"] / mean["oracle"],
        "off": mean["off"],
        "plain": mean["plain"],
        "scaled": mean["scaled"],
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--studios", type=int, default=24)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=11000)
    parser.add_argument("--way", choices=WAYS)
    args = parser.parse_args()
    rows = []
    with get_context("spawn").Pool(args.processes) as pool:
        for way, never, works in product([args.way] if args.way else WAYS, NEVER, HISTORIES):
            answers = pool.starmap(
                one_studio,
                [
                    (seed, works, never, way)
                    for seed in range(args.first_seed, args.first_seed + args.studios)
                ],
                chunksize=1,
            )
            rows.append({"by": way, "never": never, "works": works, **pooled(answers)})
            print(pd.DataFrame(rows[-1:]).round(3).to_string(index=False, header=len(rows) == 1), flush=True)


if __name__ == "__main__":
    main()
