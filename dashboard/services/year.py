"""From the database to the studio's year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.data.levels import is_whole
from dashboard.analysis.models import learning_curve
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.learning_curve import LearningCurve
from dashboard.analysis.report import price
from dashboard.analysis.report import year as year_report
from dashboard.analysis.report.year import Needed, PaddedAndThin
from dashboard.services import prices
from dashboard.services import rates as rates_service
from ingest.sql import Connection
from ingest.studio.settings import Settings, read_settings

TWELVE_MONTHS = 365
_NO_KIND = "no kind said"


@dataclass(frozen=True, slots=True, kw_only=True)
class Year:
    """One year of the studio, as far as it has come.

    Attributes
    ----------
    first, last : its days.
    months : frame `month`, `what` (chargeable, own_cost, studio), `line` (its name, of studio time), `hours`.
    works : those that were finished in it, see `dashboard.analysis.report.year.earned`, with `object`,
        `kind`, `finished_on`, `extra_hours`, `price`, `currency`;
    kinds : see `dashboard.analysis.report.year.by_kind`.
    quotes : what padded quotes carried and thin ones cost.
    unpriced : how many of the works have no price in the studio's currency;
    unsaid : how many have one of which nobody has said whether tax is in it.
    needed : what twelve months would have to earn; None: nobody has said what a year costs, or the log does
        not go back so far.
    twelve_from : their first day.
    logged_since : the first day in the log; None: there is none.
    remembered : hours told from memory that are dated in it, and on how many works; in none of its figures.
    """

    first: date
    last: date
    months: pd.DataFrame
    works: pd.DataFrame
    kinds: pd.DataFrame
    quotes: PaddedAndThin
    unpriced: int
    unsaid: int
    needed: Needed | None
    twelve_from: date
    logged_since: date | None
    remembered: tuple[float, int]
    studio: Settings

    def hours(self, what: str) -> float:
        return float(self.months.loc[self.months["what"] == what, "hours"].sum())


def years(con: Connection, as_of: date) -> Sequence[int]:
    """Years in which something was logged, the latest first; that of the day among them."""
    return sorted({as_of.year, *queries.logged_years(con, as_of)}, reverse=True)


def of_year(con: Connection, as_of: date, which: int) -> Year:
    """One year, as things stood on a day."""
    first, last = date(which, 1, 1), min(date(which, 12, 31), as_of)
    twelve_from = first if last == date(which, 12, 31) else last - timedelta(days=TWELVE_MONTHS - 1)
    studio = read_settings(con)
    every = _finished(con, as_of, studio)
    works = every[every["finished_on"].between(pd.Timestamp(first), pd.Timestamp(last))].reset_index(
        drop=True
    )
    since = queries.logged_since(con, as_of)
    return Year(
        first=first,
        last=last,
        months=queries.hours_of_months(con, first, last),
        works=works,
        kinds=year_report.by_kind(works),
        quotes=year_report.padded_and_thin(works),
        unpriced=int(works["net"].isna().sum()) - (unsaid := prices.unsaid(works, studio)),
        unsaid=unsaid,
        needed=(
            _needed(con, every, studio, twelve_from, last)
            if since is not None and since <= twelve_from
            else None
        ),
        twelve_from=twelve_from,
        logged_since=since,
        remembered=queries.remembered_hours(con, first, last),
        studio=studio,
    )


def _finished(con: Connection, as_of: date, studio: Settings) -> pd.DataFrame:
    """Works of which every line is finished, with what they took and what their price left for the hours."""
    lines = queries.overruns(con, as_of)
    lines = lines[~lines["object"].isin(queries.remembered(con))]
    worked = (
        lines["estimated_hours"].notna() | lines["difference_hours"].isna() | (lines["actual_hours"] > 0)
    ) & ~lines["finished"].astype(bool)
    lines = lines.assign(
        finished=~lines["object"].isin(lines.loc[worked, "object"]),
        finished_on=lines["finished_on"].where(lines["finished"].astype(bool)),
    )
    of = lines.groupby("object").agg(
        finished=("finished", "all"),
        finished_on=("finished_on", "max"),
        actual_hours=("actual_hours", "sum"),
        own_cost_hours=("own_cost_hours", "sum"),
        extra_hours=("extra_hours", "sum"),
    )
    of = of[of["finished"].astype(bool) & (of["actual_hours"] > 0)].drop(columns="finished")
    promised = queries.approved_promises(con, as_of).set_index("object")[
        ["approved_hours", "price", "currency", "costs", "tax_in_price", "tax_per_cent"]
    ]
    works = of.join(promised).join(queries.teaching_works(con).set_index("object")["kind"])
    net = [
        price.for_the_hours(net, costs)
        for net, costs in zip(
            prices.nets(works, studio), works["costs"].astype(float).fillna(0.0), strict=True
        )
    ]
    works = works.assign(
        net=pd.Series(net, index=works.index, dtype=float).where(prices.in_own_currency(works, studio)),
        kind=works["kind"].fillna(_NO_KIND).replace("", _NO_KIND),
        approved_hours=works["approved_hours"].astype(float),
    )
    return year_report.earned(works.reset_index()).sort_values(
        ["finished_on", "object"], ascending=[False, True], ignore_index=True
    )


def _needed(con: Connection, every: pd.DataFrame, studio: Settings, first: date, last: date) -> Needed | None:
    if studio.yearly_cost is None:
        return None
    of = queries.hours_of_months(con, first, last).groupby("what")["hours"].sum()
    its = every[every["finished_on"].between(pd.Timestamp(first), pd.Timestamp(last))]
    chargeable, own_cost, studio_time = (
        float(of.get(what, 0.0)) for what in ("chargeable", "own_cost", "studio")
    )
    return year_report.needed(studio.yearly_cost, chargeable, own_cost, studio_time, its["spent_hours"])


def with_experience(calibration: Calibration) -> list[tuple[str, LearningCurve]]:
    """Techniques, those of which the record shows a change of pace first, then those that were done most
    often.

    Each work with a technique counts as once, at the hours that it would have taken of the usual quantity, in
    the order in which they were finished. Of whole phases and works it is not told: what is done in them
    differs from work to work.
    """
    curves = []
    techniques = np.unique(calibration.joint.lines.technique)
    for technique in techniques[~is_whole(techniques)].tolist():
        lines = rates_service.past_lines(calibration, technique)
        of = (
            lines.groupby("object")
            .agg(day=("day", "max"), hours=("usual_hours", "mean"))
            .sort_values(["day", "hours"])
        )
        if curve := learning_curve.learn(of["hours"].to_numpy(dtype=float), np.ones(len(of))):
            curves.append((technique, curve))
    return sorted(curves, key=lambda pair: (not pair[1].surely, -pair[1].times, pair[0]))
