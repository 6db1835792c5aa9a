"""A past that was kept coarsely: `python -m tests.benchmarks.levels [--studios 20] [--processes 2]`.

Invented studios whose first half is kept by phase or by whole work only. Each work of the later half is
quoted when those before it are done, by techniques: from the full record, from the record with a coarse first
half, and from the later half alone. Two kinds of studio: that of `tests/invented_truth.py`, and one that
breaks what the model assumes (works of one kind that share techniques, luck by phase, figures of a phase that
are no sums). Prints the loss of totals, how much of what the coarse half lacks is won back, and how often
totals end inside their range of 4 in 5.
"""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis.data.levels import PHASE, WHOLE, WORK, whole_of
from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import calibration, scoring_rules
from dashboard.analysis.simulation import totals
from tests.benchmarks import studios
from tests.invented_truth import asked, draw

HALF = 12
WAYS = ("full", "by phase", "by work", "without")


def coarse(lines: Lines, level: int) -> Lines:
    """The same works, of which only the hours of each phase, or of each whole work, were kept."""
    frame = pd.DataFrame({"object": lines.object, "phase": lines.phase if level == PHASE else ""})
    group = np.asarray(frame.groupby(["object", "phase"]).ngroup())
    first = np.unique(group, return_index=True)[1]
    count = len(first)

    def summed(values: np.ndarray) -> np.ndarray:
        total = np.zeros(count)
        np.add.at(total, group, values)
        return total

    phase = frame["phase"].to_numpy(dtype=str)[first]
    shares = np.zeros((count, len(lines.people)))
    np.add.at(shares, group, lines.shares * lines.hours[:, None])
    nothing = np.full(count, np.nan)
    return replace(
        lines.take(first),
        phase=phase,
        technique=np.array([whole_of(name) for name in phase]),
        unit=np.full(count, WHOLE),
        hours=summed(lines.hours),
        quantity=nothing,
        quoted=nothing,
        figure=summed(lines.figure),
        shares=shares / shares.sum(axis=1, keepdims=True),
    )


def one_studio(seed: int, echo: float) -> dict[str, float]:
    with threadpool_limits(1), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        studio = draw(seed, 2 * HALF, later=1, echo=echo)
        return rolled(studio.history, np.random.default_rng([seed, 32]))


def quoted_whole(lines: Lines, rng: np.random.Generator) -> Lines:
    """The same lines, all with a figure: a work is quoted as a whole, also where a line of it never was. What
    is missing is as far off as another figure of the studio, by lot.
    """
    has = lines.figure > 0
    ratio = rng.choice((lines.figure / lines.hours)[has], len(lines))
    return replace(lines, figure=np.where(has, lines.figure, lines.hours * ratio))


def rolled(lines: Lines, rng: np.random.Generator) -> dict[str, float]:
    """Losses and coverage of the later works' totals, by way."""
    day = {str(name): int(lines.day[lines.object == name].max()) for name in np.unique(lines.object)}
    order = sorted(day, key=lambda name: (day[name], name))
    early = lines.take(np.isin(lines.object, order[:HALF]))
    whole = quoted_whole(early, rng)
    kept = {
        "full": early,
        "by phase": coarse(whole, PHASE),
        "by work": coarse(whole, WORK),
        "without": early.take(np.zeros(0, dtype=np.int64)),
    }
    rows = []
    for place, name in enumerate(order[HALF:], HALF):
        later = lines.take(np.isin(lines.object, order[HALF:place]))
        target = lines.take(lines.object == name)
        actual, today = float(target.hours.sum()), day[name]
        for way, record in kept.items():
            known = calibration.learn(join(record, later), today)
            foretold = calibration.predict(known, asked(target))
            draws = np.sort(totals.simulate(foretold, np.zeros(len(target)), 4000))
            at = np.quantile(np.log(draws), calibration.SCORED)
            loss = scoring_rules.pinball(np.array([np.log(actual)]), at[None, :], calibration.SCORED).mean()
            middle = calibration.at_levels(foretold.table, calibration.SCORED)
            of_lines = scoring_rules.pinball(np.log(target.hours), middle, calibration.SCORED).mean()
            inside = np.quantile(draws, 0.1) <= actual <= np.quantile(draws, 0.9)
            rows.append((way, loss, of_lines, inside, np.log(actual) - at[len(at) // 2]))
    frame = pd.DataFrame(rows, columns=["way", "loss", "lines", "inside", "off"]).groupby("way").mean()
    return {f"{name} {way}": float(frame.loc[way, name]) for way in kept for name in frame.columns}


def told(answers: list[dict[str, float]]) -> pd.DataFrame:
    """One row a way: loss, how often it beat the record without the first half, and what it won back."""
    frame = pd.DataFrame(answers)
    rows = []
    for way in WAYS:
        row: dict[str, object] = {"way": way}
        for name in ("loss", "lines"):
            of, without, full = (frame[f"{name} {each}"] for each in (way, "without", "full"))
            row |= {
                name: of.mean(),
                f"{name}: better": (of < without).mean(),
                f"{name}: won back": (without - of).mean() / (without - full).mean(),
            }
        row |= {"inside 4 in 5": frame[f"inside {way}"].mean(), "bias": np.exp(frame[f"off {way}"].mean())}
        rows.append(row)
    return pd.DataFrame(rows)


def main() -> None:
    args = studios.arguments(studios=20, first_seed=7000)
    with studios.processes(args) as run:
        for echo in (0.0, 1 / 3):
            print(f"hours that echo the figure: {echo:.2f}")
            print(told(run(one_studio, echo)).round(3).to_string(index=False), flush=True)


if __name__ == "__main__":
    main()
