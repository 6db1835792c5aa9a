"""The campaign of known truth: `python -m tests.benchmarks.known_truth [--studios 24] [--processes 2]`.

Invented studios whose true rates are known (`tests/invented_truth.py`), at three lengths of history, without
and with hours that echo the estimate. Prints what is asked of the ranges, pooled over the studios, and losses
beside those of rivals fitted to the same lines: statsmodels' MixedLM twice, and one overall factor.
"""

from __future__ import annotations

import dataclasses
import warnings

import numpy as np
import pandas as pd
from scipy import special
from statsmodels.regression.mixed_linear_model import MixedLM
from threadpoolctl import threadpool_limits

from dashboard.analysis.data.lines import Lines
from dashboard.analysis.models import calibration, scoring_rules
from dashboard.analysis.models import rate_table as rate_tables
from dashboard.analysis.models.calibration import LEVELS, SCORED
from dashboard.analysis.simulation import totals
from tests.benchmarks import studios
from tests.invented_truth import NOW, PEOPLE, Floats, Studio, asked, draw

HISTORIES, ECHOES = (10, 40, 200), (0.0, 1 / 3)


def one_studio(seed: int, works: int, echo: float, *, rivals: bool = True) -> dict[str, float]:
    """Everything that is asked of one studio."""
    with threadpool_limits(1), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # statsmodels on the edge of its parameters
        return _one_studio(draw(seed, works, later=20, echo=echo), rivals=rivals)


def _one_studio(studio: Studio, *, rivals: bool) -> dict[str, float]:
    known = calibration.learn(studio.history, NOW)
    to_come, actual = asked(studio.to_come), np.log(studio.to_come.hours)
    table = np.empty((len(to_come), len(LEVELS)))
    places, apart = [], []
    for name in np.unique(to_come.object):
        of = np.flatnonzero(to_come.object == name)
        foretold = calibration.predict(known, to_come.take(of))
        table[of] = foretold.table
        took = studio.to_come.hours[of].sum()
        places.append((totals.simulate(foretold, np.zeros(len(of)), 4000) < took).mean())
        apart.append(
            (
                totals.simulate(
                    dataclasses.replace(foretold, correlation=np.eye(len(of))), np.zeros(len(of)), 4000
                )
                < took
            ).mean()
        )
    forecast = calibration.at_levels(table, SCORED)
    spans = scoring_rules.span(actual, table, LEVELS)
    inside_total = np.array([0.1 <= place <= 0.9 for place in places])
    usual = rate_tables.usual_lines(known, np.asarray(known.joint.levels.techniques))
    true, found = (
        studio.true_rates(usual, known.joint.levels, known.joint.mix),
        rate_tables.person_paces(known),
    )
    figured = to_come.figure > 0
    loss = scoring_rules.pinball(actual, forecast, SCORED).mean(axis=1)
    answer = {
        "inside 80": scoring_rules.inside(spans, 0.1, 0.9).mean(),
        "inside 90": scoring_rules.inside(spans, 0.05, 0.95).mean(),
        "totals 80": inside_total.mean(),
        "as if apart": np.mean([0.1 <= place <= 0.9 for place in apart]),
        "rates 80": ((true >= found.low) & (true <= found.high)).mean(),
        "bias": float((forecast[:, 5] - studio.oracle[:, 5]).mean()),
        "loss": loss.mean(),
        "oracle": scoring_rules.pinball(actual, studio.oracle, SCORED).mean(),
        "loss figured": loss[figured].mean(),
    }
    if rivals:
        for name, rival in (
            ("MixedLM on estimates", mixed_on_estimates),
            ("MixedLM on quantities", mixed_on_quantities),
            ("one factor", one_factor),
        ):
            answer[name] = scoring_rules.pinball(
                actual[figured], rival(studio.history, to_come)[figured], SCORED
            ).mean()
    return answer


def _regressors(lines: Lines, *columns: Floats) -> Floats:
    known = lines.quoted > 0
    size = np.where(known, np.log(np.where(known, lines.quoted, 1.0)), 0.0)
    people = lines.shares if lines.shares.any() else np.zeros((len(lines), len(PEOPLE)))
    floats: Floats = np.column_stack([np.ones(len(lines)), size, ~known, people[:, 1:], *columns])
    return floats


def _mixed(past: Lines, past_x: Floats, asked_of: Lines, x: Floats) -> Floats:
    """Random intercept of the technique, restricted maximum likelihood; normal quantiles."""
    # somebody who did nothing yet has no pace
    varies = (past_x.std(axis=0) > 0) | (np.arange(past_x.shape[1]) == 0)
    past_x, x = past_x[:, varies], x[:, varies]
    result = MixedLM(np.log(past.hours), past_x, groups=past.technique).fit(reml=True)
    between = float(np.asarray(result.cov_re)[0, 0])
    try:
        own = {str(name): float(effect.iloc[0]) for name, effect in result.random_effects.items()}
    except ValueError:  # no variance between techniques was found
        own = {}
    mean = x @ np.asarray(result.fe_params) + np.array([own.get(name, 0.0) for name in asked_of.technique])
    sd = np.sqrt(result.scale + np.array([0.0 if name in own else between for name in asked_of.technique]))
    floats: Floats = mean[:, None] + sd[:, None] * special.ndtri(SCORED)
    return floats


def mixed_on_estimates(past: Lines, asked_of: Lines) -> Floats:
    past = past.take(past.figure > 0)
    with np.errstate(invalid="ignore"):
        return _mixed(
            past,
            _regressors(past, np.log(past.figure)),
            asked_of,
            _regressors(asked_of, np.log(asked_of.figure)),
        )


def mixed_on_quantities(past: Lines, asked_of: Lines) -> Floats:
    return _mixed(past, _regressors(past), asked_of, _regressors(asked_of))


def one_factor(past: Lines, asked_of: Lines) -> Floats:
    past = past.take(past.figure > 0)
    with np.errstate(invalid="ignore"):
        floats: Floats = np.log(asked_of.figure)[:, None] + np.quantile(
            np.log(past.hours / past.figure), SCORED
        )
    return floats


def pooled(answers: list[dict[str, float]]) -> dict[str, float]:
    """Means over studios; losses as ratios."""
    mean = {str(name): float(value) for name, value in pd.DataFrame(answers).mean().items()}
    found = {name: mean[name] for name in ("inside 80", "inside 90", "totals 80", "as if apart", "rates 80")}
    found |= {"bias": float(np.exp(mean["bias"])), "to oracle": mean["loss"] / mean["oracle"]}
    return found | {
        f"to {name}": mean["loss figured"] / mean[name]
        for name in mean
        if name.startswith("MixedLM") or name == "one factor"
    }


def main() -> None:
    args = studios.arguments(studios=24, first_seed=500)
    rows, everything = [], []
    with studios.processes(args) as run:
        for echo in ECHOES:
            for works in HISTORIES:
                answers = run(one_studio, works, echo)
                everything += answers
                rows.append({"works": works, "echo": round(echo, 2), **pooled(answers)})
                print(
                    pd.DataFrame(rows[-1:]).round(3).to_string(index=False, header=len(rows) == 1), flush=True
                )
    print(
        pd.DataFrame([{"works": "all", "echo": "both", **pooled(everything)}])
        .round(3)
        .to_string(index=False, header=False)
    )


if __name__ == "__main__":
    main()
