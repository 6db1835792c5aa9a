"""A work more on the bench: one that is asked about, or those of a quote."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from dashboard.analysis.arrays import Floats
from dashboard.analysis.simulation import completion, schedule, waiting_times, weekly_hours
from dashboard.analysis.simulation.schedule import WHOEVER, Work
from dashboard.services.plan import LEVELS, Plan
from dashboard.services.plan_people import MOST_DAYS_AHEAD
from ingest.values import durations, numbers

_SEED = 8_414
MOST_HOURS = 10_000  # at the bench, of a new work
MOST_DAYS = 3_650  # waiting alone
HOURS_OF_NEW = "Hours at the bench, even chance"
DAYS_OF_NEW = "Days it presses and dries alone"


def read_new_work(hours_said: str, days_said: str) -> tuple[float, float]:
    """Hours and days of a new work as they are typed into the fields of these names; no days are none."""
    return (
        numbers.number_called(HOURS_OF_NEW, hours_said.strip(), MOST_HOURS, read=durations.hours),
        numbers.number_called(DAYS_OF_NEW, days_said.strip() or "0", MOST_DAYS, or_zero=True),
    )


def with_one_more(
    plan: Plan, hours: float, waiting_days: float, *, first: bool
) -> tuple[date, date, date, date]:
    """When a work more would leave that takes about so many hours at even chance and waits so many days
    alone, at `LEVELS`; behind all that are there, or before them.
    """
    draws = plan.bench.draws
    luck = np.random.default_rng(_SEED).standard_normal((2, draws))
    new_work = Work(
        hours=np.stack([hours * np.exp(plan.spread * luck[0]) / 2] * 2),
        waits=np.stack([waiting_days * np.exp(waiting_times.SPREAD * luck[1]), np.zeros(draws)]),
        person=np.full(2, WHOEVER),
    )
    works = [new_work, *plan.queue] if first else [*plan.queue, new_work]
    leaves = schedule.course(works, plan.bench).leaves[0 if first else -1]
    return _as_days(leaves, plan.first_day)


def quoted_work(
    plan: Plan, name: str, hours: Floats, waiting_days: Floats, there_on: date | None = None
) -> Work:
    """A work as it is quoted, for a plan.

    Parameters
    ----------
    name : by which its draws are brought into an order of their own.
    hours, waiting_days : (draws,) equally likely hours at the bench that are still to come, and days that it
        waits alone.
    there_on : the day on which it comes in, where that is known.
    """
    draws = plan.bench.draws
    order = completion.shuffled_draws(name, draws)
    to_come = np.maximum(np.resize(hours, draws)[order], 0.0)
    return Work(
        hours=np.stack([to_come / 2] * 2),
        waits=np.stack([np.resize(waiting_days, draws)[order], np.zeros(draws)]),
        person=np.full(2, WHOEVER),
        ready=float(max((there_on - plan.first_day).days, 0)) if there_on else 0.0,
    )


def with_quoted(plan: Plan, quoted: Sequence[tuple[str, Work]]) -> tuple[date, date, date, date] | None:
    """When the last of some quoted works leaves, at `LEVELS`; None where it is too far off to be told.

    Parameters
    ----------
    quoted : the code of each, and the work: one that is in the plan keeps its place there, any other stands
        behind all that are, in this order.
    """
    queue, codes, place = list(plan.queue), plan.works["object"].tolist(), 0
    for code, work in quoted:
        if code and code in codes:
            place = codes.index(code)
            queue[place] = replace(work, ready=queue[place].ready)
        else:
            place = len(queue)
            queue.append(work)
            codes.append(code)
    weekly = sum(item.weekly for item in plan.people)
    hours, waits = (
        sum(float(np.quantile(every.sum(axis=0), LEVELS[-1])) for every in those)
        for those in ([item.hours for item in queue], [item.waits for item in queue])
    )
    # a slip of the pen must not keep a letter waiting either
    if hours / weekly * weekly_hours.DAYS_A_WEEK + waits > MOST_DAYS_AHEAD:
        return None
    return _as_days(schedule.course(queue, plan.bench).leaves[place], plan.first_day)


def _as_days(leaves: Floats, first_day: date) -> tuple[date, date, date, date]:
    """The days by which something has left, at `LEVELS`."""
    p10, p50, p80, p90 = (
        first_day + timedelta(days=int(value))
        for value in np.quantile(np.floor(leaves), LEVELS, method="inverted_cdf")
    )
    return p10, p50, p80, p90
