"""The works on the bench one row each: open lines, hours so far, and where they end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from dashboard import queries
from dashboard.analysis.report import earned_value, price
from dashboard.analysis.simulation.completion import CompletionForecast, chance_over, hours_over
from dashboard.analysis.simulation.quote_snapshot import LEVELS, NAMES
from dashboard.formatting import text
from dashboard.queries import Row
from dashboard.services import open_lines, prices
from ingest.sql import Connection
from ingest.studio.settings import Settings

# Keys of `forecast` that others depend on, in their order; more stand behind.
FORECAST_KEYS = ("object", "approved_hours", "actual_hours", *NAMES, "chance_over_approved")
_NO_NUMBERS = ("object", "commission", "begun", "yardstick", "first_stage", "first_day", "last_day")


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkForecast:
    """Where one work will end: hours at `LEVELS`, and what of that is above what was approved (see
    `Bench.works`; not a number where nothing is approved in hours).
    """

    quantiles: list[float]
    approved_hours: float
    chance_over_approved: float
    hours_over: float
    over_if: float

    @classmethod
    def of(cls, total: npt.NDArray[np.float64], promise: Row | None) -> WorkForecast:
        """From equally likely hours (draws,) of a work, and the row of what its approved version promises."""
        hours = _approved_hours(promise)
        quantiles = np.quantile(total, LEVELS).tolist()
        if np.isnan(hours):
            return cls(
                quantiles=quantiles,
                approved_hours=hours,
                chance_over_approved=np.nan,
                hours_over=np.nan,
                over_if=0.0,
            )
        above = total[total > hours] - hours
        return cls(
            quantiles=quantiles,
            approved_hours=hours,
            chance_over_approved=chance_over(total, hours),
            hours_over=hours_over(total, hours),
            over_if=float(np.median(above)) if len(above) else 0.0,
        )


def _approved_hours(promise: Row | None) -> float:
    """Not a number: nothing is approved, or a line of it has no hours."""
    return (
        float(promise["approved_hours"])
        if promise is not None and pd.notna(promise["approved_hours"])
        else np.nan
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedLines:
    """Works with open lines on a day: all lines of the record (of `bench_lines.marked`) and those that count,
    the works by object, which of them were declined, and those on the bench.
    """

    every_line: pd.DataFrame
    lines: pd.DataFrame
    of_works: pd.DataFrame
    declined: pd.Series
    on_bench: pd.DataFrame


def opened_lines(con: Connection, as_of: date) -> OpenedLines:
    every_line = open_lines.marked(queries.overruns(con, as_of))
    by_object = queries.works(con, as_of).set_index("object")
    lines = every_line[every_line["counts"]].reset_index(drop=True)
    by_work = lines.groupby("object").agg(
        open=("open", "any"), begun=("begun", "any"), yardstick=("yardstick", "first")
    )
    of_works = by_work[by_work["open"]].join(by_object[["commission", "outcome", "first_day", "last_day"]])
    declined = of_works["outcome"].notna()
    on_bench = of_works[~declined & (of_works["begun"] | (of_works["yardstick"] == "approved"))]
    return OpenedLines(
        every_line=every_line, lines=lines, of_works=of_works, declined=declined, on_bench=on_bench
    )


def so_far(con: Connection, as_of: date) -> pd.DataFrame:
    """What is known of works on the bench before anything is foretold, in a tenth of the time.

    Returns
    -------
    Frame, one row a work, the one with the least left of what was approved first: `object`, `actual_hours`
    and `approved_hours` as in `Bench.works`, `estimated_hours` (of its lines; null: none has any),
    `left_hours` (of its open lines: what was estimated less what each took so far, nought where it took more;
    null likewise), `yardstick`.
    """
    opened = opened_lines(con, as_of)
    lines = opened.lines[opened.lines["object"].isin(opened.on_bench.index)]
    over = (lines["estimated_hours"] - lines["actual_hours"]).clip(lower=0.0).where(lines["open"], 0.0)
    sums = lines.assign(left_hours=over.where(lines["estimated_hours"].notna())).groupby("object")
    promised = promises_by_work(queries.approved_promises(con, as_of).set_index("object"))
    frame = pd.DataFrame(
        {
            "actual_hours": sums["actual_hours"].sum(),
            "estimated_hours": sums["estimated_hours"].sum(min_count=1),
            "left_hours": sums["left_hours"].sum(min_count=1),
        }
    ).astype(float)
    frame = frame.assign(
        approved_hours=[_approved_hours(promised.get(str(name))) for name in frame.index],
        yardstick=opened.on_bench["yardstick"],
    )
    room = frame["approved_hours"] - frame["actual_hours"]
    return (
        frame.assign(room=room)
        .sort_values(["room", "object"], na_position="last")
        .drop(columns="room")
        .reset_index()
    )


def promises_by_work(approved: pd.DataFrame) -> dict[str, Row]:
    """By work, the row of what its approved version promises; `approved` by object."""
    return {row["object"]: row for row in approved.reset_index().to_dict("records")}


# 72 lines: the columns of one frame
def works_frame(
    on_bench: pd.DataFrame,
    lines: pd.DataFrame,
    promised: Mapping[str, Row],
    foretold: Mapping[str, CompletionForecast],
    ends_by_work: Mapping[str, WorkForecast],
    studio: Settings,
) -> pd.DataFrame:
    """One row a work; see `Bench`."""
    rows = []
    places = lines.groupby("object").indices
    estimated_hours, actual_hours = (
        lines[name].to_numpy(dtype=float) for name in ("estimated_hours", "actual_hours")
    )
    share = (
        (lines["said_done"] / open_lines.ALL_DONE)
        .fillna(lines["treated"] / lines["estimated_quantity"].where(lines["estimated_quantity"] > 0))
        .to_numpy(dtype=float)
    )
    finished = lines["finished"].to_numpy(dtype=bool)
    for about in on_bench.reset_index()[
        ["object", "commission", "begun", "yardstick", "first_day", "last_day"]
    ].to_dict("records"):
        name = about["object"]
        ends, of = foretold.get(name), places[name]
        about |= {
            "actual_hours": float(actual_hours[of].sum()),
            "begun": bool(about["begun"]),
            "first_stage": False,
        }
        if ends is None:  # what is to be done on it nobody has said yet
            rows.append(about)
            continue
        promise, total, end = promised.get(name), ends.totals[name], ends_by_work[name]
        even = _break_even(promise, studio)
        estimated, actual = estimated_hours[of], actual_hours[of]
        plain = earned_value.earned(estimated, actual, share[of], finished[of])
        rows.append(
            about
            | {
                "approved_hours": end.approved_hours,
                **dict(zip(NAMES, end.quantiles, strict=True)),
                "chance_over_approved": end.chance_over_approved,
                "hours_over": end.hours_over,
                "over_if": end.over_if,
                "break_even_hours": even,
                "chance_over_break_even": chance_over(total, even) if not np.isnan(even) else np.nan,
                "luck": ends.luck[name],
                "earned_hours": (
                    earned_value.at_completion(float(np.nansum(estimated)), plain, float(actual.sum()))
                    if np.nansum(estimated) > 0
                    else np.nan
                ),
                "first_stage": bool(promise is not None and promise["first_stage"]),
            }
        )
    columns = [
        *FORECAST_KEYS,
        "hours_over",
        "over_if",
        "break_even_hours",
        "chance_over_break_even",
        "luck",
        "earned_hours",
        *_NO_NUMBERS[1:],
    ]
    frame = pd.DataFrame(rows, columns=columns)
    numbers = [name for name in columns if name not in _NO_NUMBERS]
    frame[numbers] = frame[numbers].astype(float)
    return frame.sort_values(
        ["hours_over", "object"], ascending=[False, True], na_position="last", ignore_index=True
    )


def _break_even(promise: Row | None, studio: Settings) -> float:
    """Hours from which the studio works for nothing: what the price leaves after tax and costs, by what an
    hour must earn; not a number where that is not known.
    """
    of = None if promise is None else prices.of_row(promise, studio)
    if (
        promise is None
        or of is None
        or of.net is None
        or not (studio.yearly_cost and studio.chargeable_hours)
    ):
        return float("nan")
    if (text(promise["currency"]) or studio.currency) != studio.currency:
        return float("nan")
    return price.for_the_hours(float(of.net), promise["costs"] if pd.notna(promise["costs"]) else 0.0) / (
        studio.yearly_cost / studio.chargeable_hours
    )


def unsaid_prices(approved: pd.DataFrame, studio: Settings) -> int:
    """Of how many works nobody has said whether tax is in the price, where it is reckoned with."""
    return prices.unsaid(approved, studio) if studio.yearly_cost and studio.chargeable_hours else 0


def commissions_frame(works: pd.DataFrame, foretold: Mapping[str, CompletionForecast]) -> pd.DataFrame:
    rows = []
    for name, of in works[works["commission"].notna() & works["p50"].notna()].groupby("commission"):
        if len(of) < 2:
            continue
        total, hours = (
            foretold[of["object"].iloc[0]].together,
            float(of["approved_hours"].sum()) if of["approved_hours"].notna().all() else np.nan,
        )
        p50, p80 = np.quantile(total, [0.5, 0.8]).tolist()
        rows.append(
            {
                "commission": name,
                "works": len(of),
                "approved_hours": hours,
                "actual_hours": float(of["actual_hours"].sum()),
                "p50": p50,
                "p80": p80,
                "chance_over_approved": chance_over(total, hours) if not np.isnan(hours) else np.nan,
            }
        )
    return pd.DataFrame(
        rows,
        columns=[
            *("commission", "works", "approved_hours", "actual_hours"),
            *("p50", "p80", "chance_over_approved"),
        ],
    )
