"""Working time in which a pause is worth its minutes: handwork without a break, solvents by day and week,
blades late in the day. Hours of work, and never an exposure.
"""

from __future__ import annotations

from datetime import time, timedelta

import numpy as np
import pandas as pd

MORNING = time(5)  # what is worked before it belongs to the day before (common practice, no source)
_MINUTE = pd.Timedelta(minutes=1)


def unbroken(spells: pd.DataFrame, pause_minutes: float) -> pd.DataFrame:
    """Stretches of work with no break of so many minutes in them.

    Parameters
    ----------
    spells : frame `started_at`, `ended_at` (UTC), `begins`, `ends` (the same on the studio's clock),
        `technique`; any order, overlapping or not.

    Returns
    -------
    Frame `begins`, `ends` (on the studio's clock), `minutes` (elapsed, shorter gaps among them), `techniques`
    (in words, in the order in which they began); in order.
    """
    if spells.empty:
        return pd.DataFrame(
            {
                "begins": pd.to_datetime([]),
                "ends": pd.to_datetime([]),
                "minutes": np.zeros(0),
                "techniques": np.zeros(0, dtype=object),
            }
        )
    of = spells.sort_values(["started_at", "ended_at"], ignore_index=True)
    until = of["ended_at"].cummax()
    after = of["started_at"] - until.shift()
    stretch = (after.isna() | (after >= pause_minutes * _MINUTE)).cumsum()
    runs = (
        of.assign(last=of["ends"])
        .groupby(stretch)
        .agg(
            begins=("begins", "first"),
            start=("started_at", "first"),
            end=("ended_at", "max"),
            ends=("last", "max"),
            techniques=("technique", lambda some: ", ".join(dict.fromkeys(some))),
        )
    )
    runs["minutes"] = (runs["end"] - runs["start"]).dt.total_seconds() / 60
    return runs[["begins", "ends", "minutes", "techniques"]].reset_index(drop=True)


def by_week(entries: pd.DataFrame) -> pd.DataFrame:
    """Hours of each week, and of the day of it with most.

    Parameters
    ----------
    entries : frame `day`, `hours`.

    Returns
    -------
    Frame `week` (its Monday), `hours`, `most_on` (day), `most_hours`; in order.
    """
    if entries.empty:
        return pd.DataFrame(
            {
                "week": pd.to_datetime([]),
                "hours": np.zeros(0),
                "most_on": pd.to_datetime([]),
                "most_hours": np.zeros(0),
            }
        )
    days = entries.groupby("day", as_index=False)["hours"].sum()
    week = days["day"] - pd.to_timedelta(days["day"].dt.day_of_week, "D")
    most = days.loc[days.groupby(week)["hours"].idxmax()]
    return pd.DataFrame(
        {
            "week": sorted(week.unique()),
            "hours": days.groupby(week)["hours"].sum().to_numpy(),
            "most_on": most["day"].to_numpy(),
            "most_hours": most["hours"].to_numpy(),
        }
    )


def late(spells: pd.DataFrame, until: time) -> pd.DataFrame:
    """What of spells lies after a time of their day, or before the next one begins.

    Parameters
    ----------
    spells : frame `day`, `started_at`, `ended_at` (UTC), `begins`, `ends` (on the studio's clock),
        `technique`.
    until : on the studio's clock.

    Returns
    -------
    Frame `day`, `ends`, `hours` (after that time, or before `MORNING`), `technique`; in order.
    """
    midnight = spells["begins"].dt.normalize()

    def instant(at: time) -> pd.Series:
        """That time of the day of each spell, in UTC as far as the clock does not change in between; not
        before it begins, and not after it ends.
        """
        values: pd.Series = spells["started_at"] + (
            midnight + timedelta(hours=at.hour, minutes=at.minute) - spells["begins"]
        )
        return values.clip(spells["started_at"], spells["ended_at"])

    night, after = instant(MORNING) - spells["started_at"], spells["ended_at"] - instant(max(until, MORNING))
    hours = (night + after).dt.total_seconds() / 3600
    frame: pd.DataFrame = spells.assign(hours=hours)[hours > 0]
    return frame.sort_values(["day", "begins"], ignore_index=True)[["day", "ends", "hours", "technique"]]
