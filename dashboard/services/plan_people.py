"""Hours at the bench: who has how many, and on which days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.arrays import Floats
from dashboard.analysis.simulation import weekly_hours
from dashboard.analysis.simulation.schedule import BenchTime, Work
from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.studio.settings import WEEKDAYS, Settings
from ingest.values.absences import Absence, read_absences
from ingest.values.named_amounts import read_named
from ingest.values.spelling import folded

WEEKS_LOOKED_BACK = 26
SHOWN_WEEKS = 26
_LEAST_DAYS = 7 * SHOWN_WEEKS
MOST_DAYS_AHEAD = 3_650
_ROOM = 1.6  # of the days that all hours would fill, by which it is looked further ahead
_FEW_WEEKS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonHours:
    """One person's hours in an ordinary week: as `said` under Studio, as the `record` has them, spread over
    the weeks since the first where there are `few`, or what is `usual` here; `weeks` of the last half-year
    have `logged` hours each on average (not a number: none); `leaves_on` : from that day on there are none.
    """

    person: str
    weekly: float
    source: str
    weeks: int
    logged: float
    leaves_on: date | None


# 62 lines: one case after the other of where hours come from
def bench_people(
    con: Connection, as_of: date, studio: Settings, spellings: Mapping[str, str], values: pd.Series
) -> tuple[tuple[PersonHours, ...], dict[str, Floats]]:
    """Who has hours at the bench, and what each logged in past weeks; `values`: by person who is there, the
    day on which they leave (null: none).
    """
    weeks = queries.bench_weeks(con, as_of, WEEKS_LOOKED_BACK)
    logged = {str(person): of["hours"].to_numpy(dtype=float) for person, of in weeks.groupby("person")}
    since = {
        str(person): (pd.Timestamp(as_of) - first).days // 7 + 1
        for person, first in weeks.groupby("person")["week"].min().items()
    }
    hours_by_person = {
        spellings.get(folded(name), name): float(amount)
        for name, amount in read_named(studio.bench_hours_of_people, "hours", "Ilse 24")
    }
    hours_by_person = {
        person: hours for person, hours in hours_by_person.items() if person in values.index or values.empty
    }
    any_known = bool(hours_by_person) or any(len(of) >= weekly_hours.ENOUGH_WEEKS for of in logged.values())
    staff = []
    for person in sorted(hours_by_person.keys() | (logged.keys() & set(values.index))):
        of = logged.get(person, np.zeros(0))
        mean = float(of.mean()) if len(of) else float("nan")
        if person in hours_by_person:
            weekly, source = hours_by_person[person], "said"
        elif len(of) >= weekly_hours.ENOUGH_WEEKS:
            weekly, source = mean, "record"
        elif any_known:  # a visitor of one afternoon is no second bench
            weekly, source = float(of.sum()) / max(since[person], _FEW_WEEKS), "few"
        else:
            weekly, source = studio.bench_hours_per_week, "usual"
        leaves = values.get(person)
        staff.append(
            PersonHours(
                person=person,
                weekly=weekly,
                source=source,
                weeks=len(of),
                logged=mean,
                leaves_on=leaves.date() if leaves is not None and pd.notna(leaves) else None,
            )
        )
    staff.sort(key=lambda item: (-item.weekly, item.person))
    return (
        tuple(staff)
        or (
            PersonHours(
                person="",
                weekly=studio.bench_hours_per_week,
                source="usual",
                weeks=0,
                logged=float("nan"),
                leaves_on=None,
            ),
        ),
        logged,
    )


def days_ahead(works: Sequence[Work], people: Sequence[PersonHours], away: int) -> int:
    """Days to be looked ahead: as long as the course of all works is likely to take, once the last of the
    absences (`away` days) is over.
    """
    if not works:
        return _LEAST_DAYS + away
    hours = float(sum(work.hours.sum(axis=0).mean() for work in works))
    waits = max(float(work.waits.sum(axis=0).max()) for work in works)
    weekly = sum(item.weekly for item in people)
    return away + int(
        np.clip(
            hours / weekly * weekly_hours.DAYS_A_WEEK * _ROOM + waits + weekly_hours.DAYS_A_WEEK,
            _LEAST_DAYS,
            MOST_DAYS_AHEAD,
        )
    )


def bench_time(
    people: Sequence[PersonHours],
    logged: Mapping[str, Floats],
    absences: Sequence[Absence],
    spellings: Mapping[str, str],
    studio: Settings,
    first_day: date,
    days: int,
    draws: int,
) -> BenchTime:
    worked = studio.bench_days.split()
    shares = np.array([1 / len(worked) if day in worked else 0.0 for day in WEEKDAYS])
    hours = []
    for number, person_hours in enumerate(people):
        present = np.ones(days)
        for absence in absences:
            if (
                not absence.person
                or spellings.get(folded(absence.person), absence.person) == person_hours.person
            ):
                present[
                    max((absence.first - first_day).days, 0) : max((absence.last - first_day).days + 1, 0)
                ] = 0.0
        if person_hours.leaves_on:
            present[max((person_hours.leaves_on - first_day).days, 0) :] = 0.0
        hours.append(
            weekly_hours.draw_days(
                person_hours.weekly,
                logged.get(person_hours.person, np.zeros(0)),
                shares,
                present,
                first_day.weekday(),
                draws,
                number,
            )
        )
    return BenchTime(np.stack(hours), np.array([item.weekly / weekly_hours.DAYS_A_WEEK for item in people]))


def unknown_names(con: Connection, hours_of_people: str, absences: str) -> tuple[str, ...]:
    """Names that say something of nobody here; none where nobody is known yet. What cannot be read names
    nobody.
    """
    spellings = queries.spellings(con)
    try:
        named = [name for name, _ in read_named(hours_of_people, "hours", "Ilse 24")] + [
            read_absence.person for read_absence in read_absences(absences) if read_absence.person
        ]
    except BenchHoursError:
        return ()
    return tuple(dict.fromkeys(name for name in named if folded(name) not in spellings)) if spellings else ()
