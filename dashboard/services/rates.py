"""From the database to rates: the record of a day, calibrated, with what the principal has pinned."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.data.levels import PHASE, WORK, marked, whole_of
from dashboard.analysis.data.lines import WHOLE
from dashboard.analysis.models import hours_model, hours_prediction
from dashboard.analysis.models import rate_table as rate_tables
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.rate_table import PinnedRates
from dashboard.analysis.models.record_calibration import learn_record
from dashboard.analysis.validation import backtest as backtests
from dashboard.analysis.validation.backtest import QUANTILE_COLUMNS, BacktestResult
from ingest.sql import Connection

_EPOCH = date(1970, 1, 1)
_DAY = timedelta(days=1)
# Keys of `rates` that others depend on, in their order; more stand behind.
RATE_KEYS = ("technique", "phase", "unit", "works", "remembered", "lines", *rate_tables.FIGURES)


def number_of(day: date) -> int:
    """Days since 1970, as the analysis counts them."""
    return (day - _EPOCH).days


def calibrated(
    con: Connection, as_of: date, *, without_open: Collection[str] = (), without: str | None = None
) -> Calibration:
    """What one would have known at the end of a day: nothing that is dated later has any part in it.

    Parameters
    ----------
    without_open : works whose open lines are left aside, as they are what is asked about.
    without : a work that is left aside altogether.
    """
    return learn_record(
        queries.record(con, as_of + _DAY), number_of(as_of + _DAY), without_open=without_open, without=without
    )


def rate_table(con: Connection, as_of: date, calibrated: Calibration) -> pd.DataFrame:
    """Rates of all techniques in the order of work; see `dashboard.analysis.models.rate_table.table`.

    Returns
    -------
    That frame, `RATE_KEYS` first (`remembered`: of its works those told from memory), with `position` of the
    phase, `pinned_rate` (hours per unit of the technique, `counted_in`, or per line), `pinned_reason`,
    `pinned_on`, `pinned_by`. Where a rate is pinned,
    `p10` to `p90` are what the next line will take by it (of what was never measured no usual quantity is
    known: they stay the record's); `rate` and its range stay what the record says.
    """
    techniques = queries.rated_techniques(con, as_of)
    rates = rate_tables.table(calibrated, techniques[~techniques["retired"]])
    rates = _with_remembered(con, calibrated, rates)
    pins = queries.pins(con, as_of)
    rates = _with_pins(rates, pins[pins["technique"] != ""].drop(columns="phase"), "technique")
    positions = queries.phases(con).set_index("phase")["position"]
    rates["position"] = rates["phase"].map(positions).fillna(9999).astype(int)
    others = [name for name in rates.columns if name not in RATE_KEYS]
    return rates.sort_values(["position", "phase", "technique"], ignore_index=True)[[*RATE_KEYS, *others]]


def whole_rates(con: Connection, as_of: date, calibrated: Calibration) -> pd.DataFrame:
    """What whole phases, in the order of work, and a whole work take: as `rate_table`, per line; `technique`
    is empty, and of a whole work `phase` too.
    """
    phases = queries.phases(con)
    used = (phases["position"] > 0) & ~(phases["retired_on"] <= pd.Timestamp(as_of))
    rates = rates_of_phases(calibrated, [*phases.loc[used, "phase"], ""], pins_of_wholes(con, as_of))
    rates = _with_remembered(con, calibrated, rates.assign(position=rates.index))
    return rates[[*RATE_KEYS, *(name for name in rates.columns if name not in RATE_KEYS)]]


def rates_of_phases(calibrated: Calibration, phases: Sequence[str], pins: pd.DataFrame) -> pd.DataFrame:
    """What some phases take as a whole, and (an empty name) a whole work: the columns of
    `dashboard.analysis.models.rate_table.table` and what is pinned, in the order of `phases`; `technique` is
    empty. `pins` of `pins_of_wholes`.
    """
    tables = []
    for level, names in ((PHASE, [name for name in phases if name]), (WORK, [""] if "" in phases else [])):
        if not names:
            continue
        keys = [whole_of(name) for name in names]
        of_level = rate_tables.table(
            calibrated.of_level(level),
            pd.DataFrame({"technique": keys, "phase": names, "unit": WHOLE}),
            of_wholes=True,
        )
        tables.append(of_level.set_index("technique").loc[keys].reset_index())
    return _with_pins(pd.concat(tables, ignore_index=True).assign(technique=""), pins, "phase")


def pins_of_wholes(con: Connection, as_of: date) -> pd.DataFrame:
    """What stood pinned on a day of phases as a whole, and of the work as a whole (`phase` empty); see
    `dashboard.queries.pins`.
    """
    pins = queries.pins(con, as_of)
    return pins[pins["technique"] == ""].drop(columns="technique")


def pinned(calibrated: Calibration, table: pd.DataFrame, of_wholes: pd.DataFrame) -> PinnedRates:
    """All that is pinned; `table` of `rate_table`, `of_wholes` of `pins_of_wholes`."""
    tables = [table]
    if len(of_wholes):
        tables.append(rates_of_phases(calibrated, of_wholes["phase"].tolist(), of_wholes))
    return rate_tables.pins(pd.concat(tables, ignore_index=True))


def _with_pins(rates: pd.DataFrame, pins: pd.DataFrame, on: str) -> pd.DataFrame:
    """Rates with what is pinned, by the column `on`, and what the next line will take by that."""
    rates = rates.merge(pins, on=on, how="left")
    names = pd.Series(marked(rates), index=rates.index)
    by = np.exp(names.map(rate_tables.pins(rates).by_rate).fillna(0.0).to_numpy(dtype=float))
    for name in ("p10", "p50", "p80", "p90"):
        rates[name] = rates[name] * by
    return rates


def _with_remembered(con: Connection, calibrated: Calibration, rates: pd.DataFrame) -> pd.DataFrame:
    remembered = queries.remembered(con)
    behind = works_behind(calibrated, rates) if remembered else [[]] * len(rates)
    return rates.assign(remembered=[len(remembered.intersection(codes)) for codes in behind])


def rates_of_wholes(con: Connection, as_of: date, calibrated: Calibration) -> pd.DataFrame:
    """`whole_rates` of what has a finished line or is pinned, in a studio that keeps any hours by whole
    phases or works, has quoted by them or pinned them; empty in one that names the technique of every line.
    """
    if not (
        calibrated.joint.lines.is_whole.any()
        or len(pins_of_wholes(con, as_of))
        or queries.any_whole_quoted(con)
    ):
        return pd.DataFrame(columns=list(RATE_KEYS))
    rates = whole_rates(con, as_of, calibrated)
    return rates[(rates["lines"] > 0) | rates["pinned_rate"].notna()].reset_index(drop=True)


def works_behind(calibrated: Calibration, lines: pd.DataFrame) -> list[list[str]]:
    """The finished works behind the rate of each line, by its `phase` and `technique` (empty: of whole phases
    or works), in order.
    """
    known: dict[int, dict[str, list[str]]] = {}
    behind = []
    for phase, technique in zip(lines["phase"].tolist(), lines["technique"].tolist(), strict=True):
        level = 0 if technique else PHASE if phase else WORK
        if level not in known:
            past = calibrated.of_level(level).joint.lines
            past = past.take(~past.is_open)
            known[level] = {
                str(name): sorted(set(of)) for name, of in pd.Series(past.object).groupby(past.technique)
            }
        behind.append(known[level].get(technique or whole_of(phase), []))
    return behind


def past_lines(calibrated: Calibration, technique: str, phase: str = "") -> pd.DataFrame:
    """The finished lines behind the rate of a technique, or (`technique` empty) of a phase as a whole or of
    the work as a whole.

    Returns
    -------
    Frame with `object`, `phase`, `part`, `day` (timestamp), `hours`, `quantity`, `figure` (hours by the
    estimate), `usual_hours` (the hours, had the quantity been the usual one; without a quantity the hours as
    they are) and `measured`, the latest first.
    """
    if not technique:
        calibrated, technique = calibrated.of_level(PHASE if phase else WORK), whole_of(phase)
    lines = calibrated.joint.lines
    lines = lines.take((lines.technique == technique) & ~lines.is_open)
    reference = rate_tables.usual_lines(calibrated, np.array([technique])).quantity
    measured = lines.quantity > 0
    to_usual = np.where(
        measured,
        (reference / np.where(measured, lines.quantity, 1.0))
        ** hours_prediction.elasticity(calibrated.joint, lines.technique),
        1.0,
    )
    frame = pd.DataFrame(
        {
            "object": lines.object,
            "phase": lines.phase,
            "part": lines.part,
            "day": pd.to_datetime(lines.day, unit="D"),
            "hours": lines.hours,
            "quantity": lines.quantity,
            "figure": lines.figure,
            "usual_hours": lines.hours * to_usual,
            "measured": measured,
        }
    )
    return frame.sort_values(["day", "object", "part"], ascending=[False, True, True], ignore_index=True)


def retried(
    con: Connection, as_of: date, progress: Callable[[int, int], None] = lambda _done, _all: None
) -> BacktestResult:
    """Past promises tried again, on what was known at the end of a day."""
    return backtests.run_backtest(
        queries.record(con, as_of + _DAY, by_day=True), number_of(as_of + _DAY), progress
    )


def drift(calibrated: Calibration) -> tuple[float, float, float]:
    """By which share hours change with each year, all else equal, and the range that holds the true one 4
    times in 5.
    """
    middle, low, high = (float(np.expm1(value)) for value in hours_model.drift(calibrated.joint))
    return middle, low, high


def paces_of_people(calibrated: Calibration) -> pd.DataFrame:
    """How each person's hours stand to the studio's for the same line: `person`, `pace` (1 is the studio's),
    `pace_low`, `pace_high` (4 in 5), `lines`, by name.
    """
    lines = calibrated.joint.lines
    pace = hours_model.person_effects(calibrated.joint)
    frame = pd.DataFrame(
        {
            "person": calibrated.joint.levels.people,
            "pace": np.exp(pace.middle),
            "pace_low": np.exp(pace.low),
            "pace_high": np.exp(pace.high),
        }
    )
    worked = pd.Series((lines.shares[~lines.is_open] > 0).sum(axis=0), index=list(lines.people))
    return frame.assign(lines=frame["person"].map(worked).fillna(0).astype(int))


PREDICTION_COLUMNS = (
    *("object", "phase", "technique", "part", "predicted_on", "estimate_hours", "actual_hours"),
    *QUANTILE_COLUMNS,
)


def predictions(retried: BacktestResult) -> pd.DataFrame:
    """The columns of a predictions file, in hours."""
    lines = retried.lines
    days = pd.to_datetime(lines["predicted_on"], unit="D").dt.strftime("%Y-%m-%d")
    return lines.assign(predicted_on=days)[list(PREDICTION_COLUMNS)].sort_values(
        ["predicted_on", "object", "phase", "technique", "part"], ignore_index=True
    )
