"""A past that was kept coarsely: `python -m tests.benchmarks.levels [--studios 20] [--processes 2]`.

Invented studios whose first half is kept by phase or by whole work only. Each work of the later half is
quoted when those before it are done, by techniques: from the full record, from the record with a coarse first
half (as it was kept, and as it is remembered), and from the later half alone. Studios are those of
`tests/invented_truth.py`, and beside them some that break what the model assumes (`kept_carelessly`). Prints
the loss of totals and of lines, how much of what the coarse half lacks is won back, and how often totals end
inside their range of 4 in 5.
"""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from dashboard.analysis.data.levels import PHASE, WORK, whole_of
from dashboard.analysis.data.lines import REMEMBERED, WHOLE, Lines, join
from dashboard.analysis.models import calibration, scoring_rules
from dashboard.analysis.simulation import totals
from tests.benchmarks import studios
from tests.invented_truth import asked, draw

HALF = 12
WAYS = ("full", "by phase", "by work", "by phase, from memory", "by work, from memory", "without")
_REMEMBERED = 0.3  # standard deviation of log hours that remembering adds
_STEP, _UNLOGGED = 2.0, 0.1


def coarse(lines: Lines, level: int, rng: np.random.Generator | None = None) -> Lines:
    """The same works, of which only the hours of each phase, or of each whole work, were kept; or are
    remembered (`rng`).
    """
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
        unit=np.full(count, WHOLE if rng is None else REMEMBERED),
        hours=summed(lines.hours) * (1.0 if rng is None else np.exp(rng.normal(0, _REMEMBERED, count))),
        quantity=nothing,
        quoted=nothing,
        figure=summed(lines.figure),
        shares=shares / shares.sum(axis=1, keepdims=True),
    )


def one_studio(seed: int, echo: float, careless: bool) -> dict[str, float]:
    with threadpool_limits(1), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        lines, rng = draw(seed, 2 * HALF, later=1, echo=echo).history, np.random.default_rng([seed, 32])
        return rolled(lines, rng, careless=careless)


def kept_carelessly(lines: Lines, rng: np.random.Generator) -> Lines:
    """What breaks the model: hours of a phase in steps of two, some never logged, some under another phase,
    and figures of a whole that are no sums but guesses in steps of five.
    """
    lines = lines.take(rng.random(len(lines)) >= _UNLOGGED)
    guess = lines.figure * np.exp(rng.normal(0.05, 0.25, len(lines)))
    step = np.where(lines.phase == "", 5.0, _STEP)
    return replace(
        lines,
        hours=np.maximum(np.round(lines.hours / _STEP), 1.0) * _STEP,
        figure=np.maximum(np.round(guess / step), 1.0) * step,
    )


def quoted_whole(lines: Lines, rng: np.random.Generator) -> Lines:
    """The same lines, all with a figure: a work is quoted as a whole, also where a line of it never was. What
    is missing is as far off as another figure of the studio, by lot.
    """
    has = lines.figure > 0
    ratio = rng.choice((lines.figure / lines.hours)[has], len(lines))
    return replace(lines, figure=np.where(has, lines.figure, lines.hours * ratio))


def rolled(lines: Lines, rng: np.random.Generator, *, careless: bool) -> dict[str, float]:
    """Losses and coverage of the later works' totals, by way."""
    day = {str(name): int(lines.day[lines.object == name].max()) for name in np.unique(lines.object)}
    order = sorted(day, key=lambda name: (day[name], name))
    early = lines.take(np.isin(lines.object, order[:HALF]))
    whole = quoted_whole(early, rng)
    kept = {
        "full": early,
        "by phase": coarse(whole, PHASE),
        "by work": coarse(whole, WORK),
        "by phase, from memory": coarse(whole, PHASE, rng),
        "by work, from memory": coarse(whole, WORK, rng),
        "without": early.take(np.zeros(0, dtype=np.int64)),
    }
    if careless:
        kept |= {way: kept_carelessly(kept[way], rng) for way in WAYS[1:-1]}
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
    return {f"{name} {way}": float(frame[name][way]) for way in kept for name in frame.columns}


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
        for words, echo, careless in (
            ("as the model has it", 0.0, False),
            ("a third of the hours echo the figure", 1 / 3, False),
            ("kept carelessly", 0.0, True),
        ):
            print(words)
            print(told(run(one_studio, echo, careless)).round(3).to_string(index=False), flush=True)


if __name__ == "__main__":
    main()
