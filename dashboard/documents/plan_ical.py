"""The bench plan as iCalendar (RFC 5545), for the calendar on the wall or the phone: works by their codes, no
title, no owner, no person.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

import pandas as pd
from icalendar import Calendar, Event

from dashboard.formatting import day, hours
from dashboard.services.plan import Plan

_DAY = timedelta(days=1)


def as_icalendar(plan: Plan, zone: str, moment: datetime) -> bytes:
    """Days on which works are ready (from even chance to 4 in 5), are due, what waits and until when, and
    when the studio is closed.

    Parameters
    ----------
    zone : of the studio's clock, on which the plan tells when waiting ends.
    moment : now, with its zone: when it was told.

    An event keeps its name from plan to plan, so that a calendar that takes it in again moves it.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//bench-hours//bench plan//EN")
    calendar.add("version", "2.0")
    for row in plan.works.to_dict("records"):
        code, even, likely = str(row["object"]), row["leaves_p50"].date(), row["leaves_p80"].date()
        words = (
            f"{hours(row['bench_p50'])} h at the bench to come at even chance, {hours(row['bench_p80'])} h 4"
            " in 5."
        )
        calendar.add_component(
            _days(
                f"leaves {code}",
                f"{code} ready: even chance {day(even)}, 4 in 5 {day(likely)}",
                even,
                likely,
                moment,
                words,
            )
        )
        if pd.notna(row["due_on"]):
            calendar.add_component(
                _days(f"due {code}", f"{code} due", row["due_on"].date(), row["due_on"].date(), moment)
            )
        if pd.notna(row["waits_until"]) and row["waits_until"].replace(tzinfo=ZoneInfo(zone)) > moment:
            event = _event(f"waits {code}", f"{code}: waiting ends", moment)
            event.add(
                "dtstart", row["waits_until"].to_pydatetime().replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
            )
            calendar.add_component(event)
    for first, last in sorted(
        {(absence.first, absence.last) for absence in plan.absences if not absence.person}
    ):
        calendar.add_component(_days(f"closed {first} {last}", "studio closed", first, last, moment))
    content: bytes = calendar.to_ical()
    return content


def _event(name: str, summary: str, moment: datetime) -> Event:
    event = Event()
    event.add("uid", f"{uuid5(NAMESPACE_URL, f'bench-hours {name}')}")
    event.add("dtstamp", moment.astimezone(UTC).replace(microsecond=0))
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")
    return event


def _days(name: str, summary: str, first: date, last: date, moment: datetime, description: str = "") -> Event:
    """An event of whole days; as RFC 5545 (3.6.1) has it, its end is the day behind the last."""
    event = _event(name, summary, moment)
    event.add("dtstart", first)
    event.add("dtend", last + _DAY)
    if description:
        event.add("description", description)
    return event
