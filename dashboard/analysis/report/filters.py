"""Which lines are looked at: of a period, a kind of work, a person, finished works or those on the bench."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

_LINE = ["object", "phase", "technique", "part"]


@dataclass(frozen=True, slots=True)
class Period:
    """Days from `first` to `last`, both counted."""

    words: str
    first: date
    last: date


def periods(lines: pd.DataFrame, today: date) -> dict[str, Period]:
    """The periods that can be looked at, by a short name for the address: the last twelve months, and each
    year with a finished line, the latest first.
    """
    year_ago = date(today.year - 1, today.month, min(today.day, 28))
    periods_by_key = {"12-months": Period("the last 12 months", year_ago, today)}
    for year in sorted(lines["finished_on"].dropna().dt.year.unique(), reverse=True):
        periods_by_key[str(year)] = Period(str(year), date(year, 1, 1), date(year, 12, 31))
    return periods_by_key


def choose(
    lines: pd.DataFrame,
    works: pd.DataFrame,
    *,
    period: Period | None = None,
    kind: str | None = None,
    finished: bool | None = None,
    person_hours: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """The lines that are looked at.

    Parameters
    ----------
    lines : frame of `dashboard.queries.overruns`.
    works : frame of `dashboard.queries.works`.
    period : a finished line belongs to the day on which it was finished, an open one to that of its last
        entry.
    kind : of work; empty text for works whose kind is not said.
    finished : works that are finished, or those that are not.
    person_hours : frame of `dashboard.queries.person_hours`; the lines on which that person has hours, each
        with all its hours.
    """
    chosen = lines
    if period:
        day = chosen["finished_on"].fillna(chosen["last_day"])
        chosen = chosen[(day >= pd.Timestamp(period.first)) & (day <= pd.Timestamp(period.last))]
    if kind is not None:
        chosen = chosen[chosen["object"].isin(works.loc[works["kind"].fillna("") == kind, "object"])]
    if finished is not None:
        chosen = chosen[chosen["object"].isin(works.loc[works["finished_on"].notna() == finished, "object"])]
    if person_hours is not None:
        theirs = pd.MultiIndex.from_frame(person_hours[_LINE])
        chosen = chosen[pd.MultiIndex.from_frame(chosen[_LINE]).isin(theirs)]
    return chosen.reset_index(drop=True)


def share_of(lines: pd.DataFrame, person_hours: pd.DataFrame) -> float:
    """Of the hours of these lines, those of one person."""
    return float(lines[_LINE].merge(person_hours, on=_LINE, how="inner")["hours"].sum())
