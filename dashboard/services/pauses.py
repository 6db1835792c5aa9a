"""From the database to one person's hours worth a pause."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta

import pandas as pd

from dashboard import queries
from dashboard.analysis.report import pauses as pauses_report
from ingest.sql import Connection
from ingest.studio.settings import Settings, read_settings


@dataclass(frozen=True, slots=True, kw_only=True)
class PauseReport:
    """What one person worked that is worth a pause, by the limits of the studio.

    Attributes
    ----------
    since, as_of : from which day to which.
    handwork : stretches of repetitive handwork beyond the limit, see
        `dashboard.analysis.report.pauses.unbroken`;
    stretches : how many there were in all;
    longest_minutes : of all of them.
    solvents : by week, see `dashboard.analysis.report.pauses.by_week`, with `over_week` and `over_day`;
    solvent_days_over : days beyond the limit of a day.
    blades : after the time from which on it is late, see `dashboard.analysis.report.pauses.late`.
    without_clock_hours : of handwork and blade work that were entered as a day and hours: what pauses there
        were in them nobody knows.
    without_technique_hours : on whole phases or works, in none of all this.
    """

    person: str
    since: date
    as_of: date
    handwork: pd.DataFrame
    stretches: int
    longest_minutes: float
    solvents: pd.DataFrame
    solvent_days_over: int
    blades: pd.DataFrame
    without_clock_hours: float
    without_technique_hours: float
    limits: Settings


def worth_a_pause(con: Connection, as_of: date, person: str, weeks: int) -> PauseReport:
    """The hours of one person in so many weeks, that of the day among them."""
    limits = read_settings(con)
    since = as_of - timedelta(days=as_of.weekday(), weeks=weeks - 1)
    entries = queries.cautioned(con, as_of, person, since)
    carried = entries["cautions"].str.split("|")
    of = {
        name: entries[carried.map(lambda those, name=name: name in those).astype(bool)]
        for name in ("repetitive", "solvent", "blade")
    }
    by_hand, blades = (of[name][of[name]["mode"] == "hands_on"] for name in ("repetitive", "blade"))
    clocked = by_hand["started_at"].notna()
    stretches = pauses_report.unbroken(by_hand[clocked], limits.pause_minutes)
    by_week = pauses_report.by_week(
        of["solvent"][["day", "counted_hours"]].rename(columns={"counted_hours": "hours"})
    )
    nobody_knows = pd.concat([by_hand, blades])
    nobody_knows = nobody_knows[~nobody_knows.index.duplicated()]  # of both
    return PauseReport(
        person=person,
        since=since,
        as_of=as_of,
        handwork=stretches[stretches["minutes"] > limits.handwork_minutes].reset_index(drop=True),
        stretches=len(stretches),
        longest_minutes=float(stretches["minutes"].max()) if len(stretches) else 0.0,
        solvents=by_week.assign(
            over_week=_above(by_week["hours"], limits.solvent_hours_a_week),
            over_day=_above(by_week["most_hours"], limits.solvent_hours_a_day),
        ),
        solvent_days_over=int(
            _above(of["solvent"].groupby("day")["counted_hours"].sum(), limits.solvent_hours_a_day).sum()
        ),
        blades=pauses_report.late(
            blades[blades["started_at"].notna()], time.fromisoformat(limits.blade_until)
        ),
        without_clock_hours=float(nobody_knows.loc[nobody_knows["started_at"].isna(), "hours"].sum()),
        without_technique_hours=queries.hours_without_technique(con, as_of, person, since),
        limits=limits,
    )


def _above(hours: pd.Series, limit: float | None) -> pd.Series:
    return hours > limit + 1e-9 if limit is not None else pd.Series(False, index=hours.index)
