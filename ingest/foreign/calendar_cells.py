"""Events of a calendar (iCalendar, RFC 5545) as rows of text; what repeats is a row for each time.

`dateutil.rrule` says when an event repeats, in the clock of the event's own time zone (RFC 5545, 3.3.10), so
that nine o'clock stays nine o'clock over a change of the clock.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path

from dateutil.rrule import rruleset, rrulestr
from icalendar import Calendar, Event
from icalendar.error import InvalidCalendar

from ingest.foreign.bounds import MOST_OCCURRENCES, Refused

HEADS = (
    *("summary", "categories", "location", "description", "date", "start", "end", "hours"),
    *("whole_day", "status", "uid"),
)


def read_calendar(path: Path, until: datetime) -> Iterator[tuple[str, Iterator[tuple[int, list[str]]]]]:
    """Name of each calendar of a file, and its rows: the number of the event, from 1 (the heads are row 0),
    and cells in the order of `HEADS`.

    Parameters
    ----------
    until : UTC; no repetition that begins later is read, an event that does not repeat always is.
    """
    try:
        calendars = Calendar.from_ical(path.read_bytes(), multiple=True)
    except (ValueError, IndexError, KeyError) as error:
        raise Refused("not_a_calendar") from error
    for calendar in calendars:
        name = calendar.get("NAME") or calendar.get("X-WR-CALNAME") or ""
        yield str(name), _rows(calendar, until)


def _rows(calendar: Calendar, until: datetime) -> Iterator[tuple[int, list[str]]]:
    yield 0, list(HEADS)
    try:
        changed = {
            (str(event.get("UID", "")), _moment(event.RECURRENCE_ID))
            for event in calendar.events
            if event.RECURRENCE_ID is not None
        }
        for number, event in enumerate(calendar.events, start=1):
            for begin, length in _occurrences(event, changed, until):
                yield number, _cells(event, begin, length)
    except (InvalidCalendar, ValueError, TypeError, OverflowError) as error:
        raise Refused("not_a_calendar") from error


def _moment(value: date) -> date:
    """A point in time as it is compared: in UTC where its zone is known."""
    if isinstance(value, datetime) and value.tzinfo:
        return (value - (value.utcoffset() or timedelta())).replace(tzinfo=None)
    return value


def _occurrences(
    event: Event, changed: set[tuple[str, date]], until: datetime
) -> Iterator[tuple[date, timedelta]]:
    """Each time of an event with its length, but for those that an event of their own changes."""
    begin, length = event.start, event.duration
    if event.RECURRENCE_ID is not None:
        if event["RECURRENCE-ID"].params.get("RANGE"):
            raise Refused("changed_from_then_on")
        yield begin, length
        return
    if not event.rrules and not event.rdates:
        yield begin, length
        return
    zone = begin.tzinfo if isinstance(begin, datetime) else None
    own_length = {
        _on_clock(first, zone): _moment(last) - _moment(first) for first, last in event.rdates if last
    }
    uid, last_clock = str(event.get("UID", "")), _on_clock(until.replace(tzinfo=UTC), zone)
    for number, occurrence in enumerate(_times(event, begin, zone)):
        if occurrence > last_clock:
            return
        if number >= MOST_OCCURRENCES:
            raise Refused("endless")
        at: date = occurrence.replace(tzinfo=zone) if isinstance(begin, datetime) else occurrence.date()
        if (uid, _moment(at)) not in changed:
            yield at, own_length.get(occurrence, length)


def _times(event: Event, begin: date, zone: tzinfo | None) -> rruleset:
    """When an event repeats, on the clock of its zone."""
    times = rruleset()
    times.rdate(_on_clock(begin, zone))
    for recurrence in event.rrules:
        rule = recurrence.copy()
        if rule.get("UNTIL"):  # dateutil takes no zone here where the start has none
            rule["UNTIL"] = [_on_clock(last, zone, time(23, 59, 59)) for last in rule["UNTIL"]]
        times.rrule(rrulestr(rule.to_ical().decode(), dtstart=_on_clock(begin, zone)))
    for first, _ in event.rdates:
        times.rdate(_on_clock(first, zone))
    for left_out in event.exdates:
        times.exdate(_on_clock(left_out, zone))
    return times


def _on_clock(value: date, zone: tzinfo | None, of_a_day: time = time.min) -> datetime:
    """A day or a point in time as the clock of a zone shows it, without the zone."""
    if not isinstance(value, datetime):
        return datetime.combine(value, of_a_day)
    return (value.astimezone(zone) if value.tzinfo and zone else value).replace(tzinfo=None)


def _cells(event: Event, begin: date, length: timedelta) -> list[str]:
    clock, hours = ["", ""], ""
    if isinstance(begin, datetime):
        if begin.tzinfo is None:
            end = begin + length
        else:  # real time, also over a change of the clock
            end = (begin.astimezone(UTC) + length).astimezone(begin.tzinfo)
        clock = [begin.isoformat(timespec="minutes"), end.isoformat(timespec="minutes")]
        hours = f"{length.total_seconds() / 3600:.6f}".rstrip("0").rstrip(".")
    return [
        _words(event, "SUMMARY"),
        ", ".join(map(str, event.categories)),
        _words(event, "LOCATION"),
        _words(event, "DESCRIPTION"),
        f"{begin:%Y-%m-%d}",
        *clock,
        hours,
        "no" if hours else "yes",
        _words(event, "STATUS"),
        _words(event, "UID"),
    ]


def _words(event: Event, name: str) -> str:
    return str(event.get(name) or "")
