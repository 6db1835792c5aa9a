"""The days of one treatment, as a wall calendar shows them."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
LONGEST_WAIT_SHOWN_DAYS = 400


def days_of_treatment(entries: pd.DataFrame) -> pd.DataFrame:
    """Hours and waiting by day, every day of each week in which there is either.

    Parameters
    ----------
    entries : frame of `dashboard.queries.entries`.

    Returns
    -------
    Frame with `day`, `week` (its Monday, ISO 8601), `weekday` (Mon to Sun), `hours` (counted), `waiting` (an
    unattended spell runs on that day), `techniques` (in words); in order. Weeks with nothing are left out.
    """
    if entries.empty:
        return pd.DataFrame(columns=["day", "week", "weekday", "hours", "waiting", "techniques"])
    days = pd.to_datetime(entries["day"])
    hours = entries["counted_hours"].groupby(days).sum()
    techniques = entries["technique"].groupby(days).agg(lambda some: ", ".join(dict.fromkeys(some)))
    waiting = {item for first, last in _waits(entries) for item in pd.date_range(first, last)}
    mondays = sorted({item - timedelta(days=item.weekday()) for item in [*hours.index, *waiting]})
    everyday = pd.DatetimeIndex([monday + timedelta(days=n) for monday in mondays for n in range(7)])
    return pd.DataFrame(
        {
            "day": everyday,
            "week": everyday - pd.to_timedelta(everyday.day_of_week, "D"),
            "weekday": [WEEKDAYS[n] for n in everyday.day_of_week],
            "hours": hours.reindex(everyday, fill_value=0.0).to_numpy(),
            "waiting": everyday.isin(list(waiting)),
            "techniques": techniques.reindex(everyday, fill_value="").to_numpy(),
        }
    )


def _waits(entries: pd.DataFrame) -> list[tuple[date, date]]:
    """First and last day of each unattended spell; without a clock, as many days as its hours fill from its
    own day on.
    """
    waits = entries[entries["mode"] == "unattended"]
    first = pd.to_datetime(waits["day"])
    length = pd.to_timedelta(((waits["hours"] - 1e-9) // 24).clip(upper=LONGEST_WAIT_SHOWN_DAYS), "D")
    last = waits["ends"].dt.normalize().fillna(first + length) if len(waits) else first
    return [
        (a.date(), min(b, a + timedelta(days=LONGEST_WAIT_SHOWN_DAYS)).date())
        for a, b in zip(first, last, strict=True)
    ]


def stretches(entries: pd.DataFrame) -> pd.DataFrame:
    """The unattended spells: `technique`, `part`, `day`, `hours` (elapsed), in order."""
    return entries.loc[entries["mode"] == "unattended", ["technique", "part", "day", "hours"]].reset_index(
        drop=True
    )
