"""From the database to when the works on the bench leave: what is left of them, the hours that people have,
and what waits meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.arrays import Floats
from dashboard.analysis.simulation import completion, schedule
from dashboard.analysis.simulation.schedule import BenchTime, Work
from dashboard.services import forecast as forecast_service
from dashboard.services.forecast import Bench
from dashboard.services.plan_people import (
    SHOWN_WEEKS,
    PersonHours,
    bench_people,
    bench_time,
    days_ahead,
    unknown_names,
)
from dashboard.services.plan_queue import _DAY, estimate_spread, queue_of, scheduled_works
from dashboard.services.result_cache import ResultCache
from ingest.sql import Connection
from ingest.studio.settings import read_settings
from ingest.values.absences import Absence, read_absences

SHOWN_DRAWS = 200
LEVELS = (0.1, 0.5, 0.8, 0.9)
LEAVES = tuple(f"leaves_p{round(100 * level)}" for level in LEVELS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """When works leave the bench.

    Attributes
    ----------
    first_day : the first that is planned, the day behind the one that it is told of.
    works : frame, one row a work in the order in which they are taken up: `object`, `bench_p50`, `bench_p80`
        (hours still to come), `leaves_p10` … `leaves_p90` (days), `alone_p50` (likewise, were it alone on the
        bench), `queue_days` (that it stands behind others, at even chance), `waiting_days` (alone, at even
        chance), `due_on`, `chance_late` (null: not due), `first` (put first by hand), `begun`, `waits_until`
        (on the studio's clock; something presses or dries now), `promised_on` (approved, or begun).
    weeks : frame `week` (its Monday), `object`, `hours` (expected), `waiting` (0 to 1: how likely it waits
        alone in the middle of the week);
    days : frame `day`, `hours`, `bench_hours` (that people have), `waiting` (works that wait, expected),
        `object` (the one with most hours; empty: none), `away`.
    people : whose hours are planned with.
    absences : those that are still to come.
    unknown_names : that stand in hours of people or in absences, and nobody here is called so.
    without_estimate : codes of works that are begun and have no estimate: they are in no plan.
    spread : of the log of actual by estimated hours of finished works, for a work nobody has measured.
    queue : the works as they stand;
    bench : the hours of people: for a work more.
    """

    first_day: date
    works: pd.DataFrame
    weeks: pd.DataFrame
    days: pd.DataFrame
    people: tuple[PersonHours, ...]
    absences: tuple[Absence, ...]
    unknown_names: tuple[str, ...]
    without_estimate: tuple[str, ...]
    spread: float
    queue: tuple[Work, ...]
    bench: BenchTime

    @property
    def free_from(self) -> date | None:
        """Monday of the first week in which half of the bench hours are free, as far as is looked ahead; None
        where there is none.
        """
        if self.days.empty:
            return None
        by_week = self.days.groupby(self.days["day"] - pd.to_timedelta(self.days["day"].dt.day_of_week, "D"))[
            ["hours", "bench_hours"]
        ].sum()
        free = by_week[(by_week["bench_hours"] > 0) & (by_week["hours"] <= by_week["bench_hours"] / 2)]
        return None if free.empty else max(free.index[0].date(), self.first_day)


# 70 lines: each step needs the last
def plan(
    con: Connection,
    as_of: date,
    memory: ResultCache,
    bench: Bench | None = None,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
) -> Plan:
    """When the works on the bench leave, as things stood on a day; from the day behind it on.

    Parameters
    ----------
    bench : where they end, where that is known already.
    """
    bench = bench or forecast_service.bench(con, as_of, memory, progress_of=progress_of)
    studio, first_day = read_settings(con), as_of + _DAY
    every_line = queries.overruns(con, as_of)
    forecasts = bench.works[bench.works["p50"].notna()]
    about = queries.works(con, as_of).set_index("object").reindex(forecasts["object"])
    absences = tuple(
        read_absence for read_absence in read_absences(studio.absences) if read_absence.last >= first_day
    )
    spellings = queries.spellings(con)
    staff = queries.people(con)
    staff = staff[staff["left_on"].isna() | (staff["left_on"] > pd.Timestamp(as_of))].set_index("person")
    people, logged = bench_people(con, as_of, studio, spellings, staff["left_on"])
    queue = queue_of(forecasts, about, queries.approved_promises(con, as_of).set_index("object"), studio)
    works = scheduled_works(
        con,
        as_of,
        bench,
        queue["object"].tolist(),
        about,
        every_line,
        [item.person for item in people],
        studio,
    )
    draws = works[0].hours.shape[1] if works else completion.KEPT
    ahead = days_ahead(
        works, people, max(((absence.last - first_day).days + 1 for absence in absences), default=0)
    )
    time = bench_time(people, logged, absences, spellings, studio, first_day, ahead, draws)
    course = schedule.course(works, time, SHOWN_DRAWS)
    alone = (
        np.stack([schedule.course([work], time).leaves[0] for work in works])
        if works
        else np.zeros((0, draws))
    )
    codes, shown = queue["object"].tolist(), min(SHOWN_DRAWS, draws)
    hours = time.by_day(course.worked, len(codes), SHOWN_WEEKS * 7, shown)
    waits = schedule.waiting_by_day(course.waited, len(codes), SHOWN_WEEKS * 7, shown)
    return Plan(
        first_day=first_day,
        works=_works_frame(
            queue,
            forecasts,
            course.leaves,
            alone,
            np.stack([work.waits.sum(axis=0) for work in works]) if works else alone,
            first_day,
        ),
        weeks=_weeks(codes, hours, waits, first_day),
        days=_days(codes, hours, waits, time.of_day(SHOWN_WEEKS * 7, shown), absences, first_day),
        people=people,
        absences=absences,
        unknown_names=unknown_names(con, studio.bench_hours_of_people, studio.absences),
        without_estimate=tuple(bench.works.loc[bench.works["p50"].isna(), "object"]),
        spread=estimate_spread(every_line),
        queue=tuple(works),
        bench=time,
    )


# --- who, and how many hours


# --- what is left


# --- as it is told


def _works_frame(
    queue: pd.DataFrame,
    forecasts: pd.DataFrame,
    leaves: Floats,
    alone: Floats,
    waits: Floats,
    first_day: date,
) -> pd.DataFrame:
    ends = forecasts.set_index("object").loc[queue["object"]]
    day = pd.Timestamp(first_day)
    levels = (
        np.quantile(np.floor(leaves), LEVELS, axis=1, method="inverted_cdf")
        if len(leaves)
        else np.zeros((len(LEVELS), 0))
    )
    due = (queue["due_on"] - day) / pd.Timedelta(days=1)
    return queue.assign(
        bench_p50=(ends["p50"] - ends["actual_hours"]).to_numpy(),
        bench_p80=(ends["p80"] - ends["actual_hours"]).to_numpy(),
        **{name: day + pd.to_timedelta(values, "D") for name, values in zip(LEAVES, levels, strict=True)},
        alone_p50=day
        + pd.to_timedelta(
            np.quantile(np.floor(alone), 0.5, axis=1, method="inverted_cdf") if len(alone) else np.zeros(0),
            "D",
        ),
        queue_days=np.maximum(np.median(leaves - alone, axis=1), 0.0) if len(leaves) else np.zeros(0),
        waiting_days=np.median(waits, axis=1) if len(waits) else np.zeros(0),
        chance_late=(
            (np.floor(leaves) > due.to_numpy(dtype=float)[:, None]).mean(axis=1)
            if len(leaves)
            else np.zeros(0)
        ),
    ).assign(chance_late=lambda frame: frame["chance_late"].where(frame["due_on"].notna()))


def _weeks(codes: Sequence[str], hours: Floats, alone: Floats, first_day: date) -> pd.DataFrame:
    days = hours.shape[1]
    monday = pd.Timestamp(first_day) + pd.to_timedelta(np.arange(days), "D")
    monday -= pd.to_timedelta(monday.day_of_week, "D")
    frame = pd.DataFrame(
        {
            "week": np.tile(monday, len(codes)),
            "object": np.repeat(np.array(codes, dtype=object), days),
            "hours": hours.ravel(),
            "waiting": alone.ravel(),
        }
    )
    weeks = frame.groupby(["week", "object"], as_index=False, sort=False).agg(
        hours=("hours", "sum"), waiting=("waiting", "mean")
    )
    return weeks[(weeks["hours"] >= 0.05) | (weeks["waiting"] >= 0.05)].sort_values(
        ["week", "hours"], ascending=[True, False], ignore_index=True
    )


def _days(
    codes: Sequence[str],
    hours: Floats,
    alone: Floats,
    bench_hours: Floats,
    absences: Sequence[Absence],
    first_day: date,
) -> pd.DataFrame:
    days = hours.shape[1]
    most = hours.argmax(axis=0) if len(codes) else np.zeros(days, dtype=int)
    day = pd.Timestamp(first_day) + pd.to_timedelta(np.arange(days), "D")
    away = [
        ", ".join(
            absence.person or "everybody"
            for absence in absences
            if absence.first <= when.date() <= absence.last
        )
        for when in day
    ]
    return pd.DataFrame(
        {
            "day": day,
            "hours": hours.sum(axis=0),
            "bench_hours": bench_hours,
            "waiting": alone.sum(axis=0),
            "object": [
                codes[place] if len(codes) and hours[place, number] >= 0.05 else ""
                for number, place in enumerate(most)
            ],
            "away": away,
        }
    )


COLUMNS = (
    "object",
    "bench_p50",
    "bench_p80",
    *LEAVES,
    "due_on",
    "chance_late",
    "alone_p50",
    "queue_days",
    "waiting_days",
    "first",
)
