"""Past promises tried again: each finished line foretold from what was finished before its estimate was made,
and held against what it took.

Beside it, in the same run, what plainer ways would have said: her own figure as it stood; her figure with one
factor for all; her figure with each technique's own mean, unpooled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis import parallel
from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.levels import written_techniques
from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.data.training_record import QuotedLines, TrainingRecord
from dashboard.analysis.models import calibration, scoring_rules
from dashboard.analysis.models.calibration import LEVELS, SCORED
from dashboard.analysis.models.record_calibration import learn_record
from dashboard.analysis.simulation import totals

QUANTILE_COLUMNS = tuple(f"q{round(level * 100):02d}" for level in SCORED)
RIVALS = ("own figure as it stood", "one overall factor", "technique means, unpooled")
_DRAWS = 4000
_ENOUGH = 3  # lines of a technique before its own spread counts, for the unpooled rival
_NARROWEST = 0.05
_SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class BacktestResult:
    """Past promises tried again.

    Attributes
    ----------
    lines : frame, one row a line: `object`, `phase`, `technique`, `part`, `predicted_on` (days since 1970),
        `estimate_hours`, `own_figure` (null where the record alone told it), `actual_hours`,
        `QUANTILE_COLUMNS` (hours), `past_lines` finished before, `inside80`, `inside90` (0 to 1), and the
        loss of it and of each rival (null where it was not worked, or has no figure).
    works : frame, one row a work: `object`, `predicted_on`, `lines`, `actual_hours`, `own_figure_hours`,
        `p10`, `p50`, `p90` of the total, from `first` to `last` place of the actual among the draws (0 to 1;
        the same but where draws are equal to it), `crps` (hours). Works of whose first estimate every line is
        finished.
    """

    lines: pd.DataFrame
    works: pd.DataFrame


def run_backtest(
    record: TrainingRecord, before: int, progress: Callable[[int, int], None] = lambda _done, _all: None
) -> BacktestResult:
    """Try every promise again.

    Parameters
    ----------
    record : read with its days.
    before : only what was known before this day (days since 1970).
    progress : is told how many days of `all` are done.
    """
    quoted = record.compared.quoted(before)
    finished = np.flatnonzero(quoted.finished[quoted.number])
    days = np.unique(quoted.made_on[finished])
    lines, works = [], []

    def on(day: int) -> tuple[pd.DataFrame, list[tuple[object, ...]]]:
        return _on_one_day(record, day, quoted, finished[quoted.made_on[finished] == day])

    with parallel.each(on, days.tolist()) as results:
        for number, (day_lines, of_works) in enumerate(results):
            lines.append(day_lines)
            works += of_works
            progress(number + 1, len(days))
    every_work = pd.DataFrame(
        works,
        columns=[
            *("object", "predicted_on", "lines", "actual_hours", "own_figure_hours"),
            *("p10", "p50", "p90", "first", "last", "crps"),
        ],
    )
    # what the first estimate of a work promised
    first = every_work.sort_values(["object", "predicted_on"]).drop_duplicates("object")
    return BacktestResult(
        lines=pd.concat(lines, ignore_index=True) if lines else _no_lines(),
        works=first.reset_index(drop=True),
    )


# 63 lines: the columns of one frame
def _on_one_day(
    record: TrainingRecord, day: int, quoted: QuotedLines, at: Integers
) -> tuple[pd.DataFrame, list[tuple[object, ...]]]:
    known = record.known_before(day)
    past = known.teaching.as_of(day)
    learnt = learn_record(known, day)
    targets, took = quoted.lines.take(at), quoted.hours[quoted.number[at]]
    table = np.empty((len(targets), len(LEVELS)))
    works: list[tuple[object, ...]] = []
    # A version is foretold whole, as it stood that day: which of its lines are finished by now nobody knew.
    for name, version in sorted(set(zip(targets.object.tolist(), quoted.version[at].tolist(), strict=True))):
        numbers, together = record.compared.as_quoted(version, name)
        of = np.flatnonzero((targets.object == name) & (quoted.version[at] == version))
        foretold = calibration.predict(learnt, together) if len(together) else None
        place = np.searchsorted(numbers, quoted.number[at[of]])
        within = np.isin(quoted.number[at[of]], numbers)
        if foretold is not None:
            table[of[within]] = foretold.table[place[within]]
        if not within.all():  # of an option that was taken: beside the lines that belong to every option
            others = join(together, targets.take(of[~within]))
            table[of[~within]] = calibration.predict(learnt, others).table[len(together) :]
        if foretold is not None and quoted.finished[numbers].all():
            draws = np.sort(totals.simulate(foretold, learnt.chance_unneeded(together), _DRAWS))
            actual = float(quoted.hours[numbers].sum())
            p10, p50, p90 = np.quantile(draws, [0.1, 0.5, 0.9])
            first, last = np.searchsorted(draws, [actual * (1 - _SAME), actual * (1 + _SAME)]) / len(draws)
            works.append(
                (
                    name,
                    day,
                    len(numbers),
                    actual,
                    float(np.nansum(together.figure)),
                    p10,
                    p50,
                    p90,
                    first,
                    last,
                    scoring_rules.crps(draws, actual),
                )
            )
    finished = past.take(~past.is_open)
    quantiles = calibration.at_levels(table, SCORED)
    frame = pd.DataFrame(
        {
            "object": targets.object,
            "phase": targets.phase,
            "technique": written_techniques(targets.technique),
            "part": targets.part,
            "predicted_on": day,
            "estimate_hours": quoted.estimated[at],
            "own_figure": targets.figure,
            "actual_hours": took,
        }
        | dict(zip(QUANTILE_COLUMNS, np.exp(quantiles).T, strict=True))
        | {"past_lines": len(finished)}
    )
    worked = took > 0
    with np.errstate(divide="ignore"):
        log_hours = np.log(took)
    spans = scoring_rules.span(log_hours, table, LEVELS)
    for name, low, high in (("inside80", 0.1, 0.9), ("inside90", 0.05, 0.95)):
        frame[name] = np.where(worked, scoring_rules.inside(spans, low, high), np.nan)
    frame["loss"] = _loss(log_hours, quantiles, worked)
    for name, forecast in zip(RIVALS, _rivals(finished, targets), strict=True):
        frame[name] = _loss(log_hours, forecast, worked)
    return frame, works


def _loss(actual: Floats, forecast: Floats, worked: Flags) -> Floats:
    lost: Floats = np.where(
        worked, scoring_rules.pinball(np.where(worked, actual, 0.0), forecast, SCORED).mean(axis=1), np.nan
    )
    return lost


def _rivals(past: Lines, lines: Lines) -> list[Floats]:
    """(n, levels) log hours by each rival; before there is a record, the figure as it stood."""
    figure = np.log(lines.figure)[:, None]
    with_figure = past.take(past.figure > 0)
    ratio = np.log(with_figure.hours / with_figure.figure)
    overall = np.quantile(ratio, SCORED) if len(ratio) else np.zeros(len(SCORED))
    own = np.empty((len(lines), len(SCORED)))
    for name in np.unique(lines.technique):
        of = ratio[with_figure.technique == name]
        own[lines.technique == name] = (
            np.mean(of) + max(np.std(of, ddof=1), _NARROWEST) * special.ndtri(SCORED)
            if len(of) >= _ENOUGH
            else overall
        )
    return [np.broadcast_to(figure, own.shape), figure + overall, figure + own]


def _no_lines() -> pd.DataFrame:
    words, figures = (
        ["object", "phase", "technique", "part"],
        [
            "estimate_hours",
            "own_figure",
            "actual_hours",
            *QUANTILE_COLUMNS,
            "past_lines",
            "inside80",
            "inside90",
            "loss",
            *RIVALS,
        ],
    )
    return pd.DataFrame(
        {name: pd.Series(dtype=str) for name in words}
        | {"predicted_on": pd.Series(dtype=np.int64)}
        | {name: pd.Series(dtype=float) for name in figures}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BacktestScores:
    """How good the ranges were.

    Attributes
    ----------
    lines, works : how many were held against what they took; `lines` those that were worked.
    pinball : mean loss of log hours over the levels from 5 to 95 per cent.
    coverage80, coverage90 : share of lines inside those ranges.
    bias_factor : what lines took, by what was foretold at even chance (geometric mean).
    total_coverage80 : share of works whose total was inside its range of 4 in 5.
    compared_with : loss of each rival on the lines that had a figure, and of these forecasts on the same
        lines.
    """

    lines: int
    works: int
    pinball: float
    coverage80: float
    coverage90: float
    bias_factor: float
    total_coverage80: float
    compared_with: dict[str, float]


def score(retried: BacktestResult) -> BacktestScores:
    """All promises together; figures are not numbers where nothing was tried."""
    worked = retried.lines[retried.lines["actual_hours"] > 0]
    figured = worked[worked["own_figure"].notna()]
    places = retried.works["first"].to_numpy(dtype=float), retried.works["last"].to_numpy(dtype=float)
    return BacktestScores(
        lines=len(worked),
        works=len(retried.works),
        pinball=float(worked["loss"].mean()),
        coverage80=float(worked["inside80"].mean()),
        coverage90=float(worked["inside90"].mean()),
        bias_factor=float(np.exp(np.log(worked["actual_hours"] / worked["q50"]).mean())),
        total_coverage80=(
            float(scoring_rules.inside(places, 0.1, 0.9).mean()) if len(retried.works) else float("nan")
        ),
        compared_with={"these ranges": float(figured["loss"].mean())}
        | {name: float(figured[name].mean()) for name in RIVALS},
    )


def by_phase(retried: BacktestResult) -> pd.DataFrame:
    """How good the ranges were in each phase: `phase`, `lines`, `works`, `inside80`, `inside90`, `above` and
    `below` (shares outside the range of 4 in 5), `bias_factor`.
    """
    worked = retried.lines[retried.lines["actual_hours"] > 0]
    with_sides = worked.assign(
        above=(worked["actual_hours"] > worked["q90"]).astype(float),
        below=(worked["actual_hours"] < worked["q10"]).astype(float),
        off=np.log(worked["actual_hours"] / worked["q50"]),
    )
    phases = with_sides.groupby("phase", as_index=False).agg(
        lines=("object", "size"),
        works=("object", "nunique"),
        inside80=("inside80", "mean"),
        inside90=("inside90", "mean"),
        above=("above", "mean"),
        below=("below", "mean"),
        off=("off", "mean"),
    )
    return phases.assign(bias_factor=np.exp(phases["off"])).drop(columns="off")
