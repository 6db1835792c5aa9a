"""Days, months, years and points in time as people write them; read as `ingest.values.numbers` reads
numbers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Literal
from zoneinfo import ZoneInfo

from dateutil import parser as dateutil_parser
from dateutil.relativedelta import relativedelta

from ingest.errors import NotationError

DayOrder = Literal["unset", "dmy", "mdy", "ymd"]
DAY_ORDERS: tuple[DayOrder, ...] = ("unset", "dmy", "mdy", "ymd")
EITHER_ORDER = "day_or_month_first"  # the code of a day that may be read two ways
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_NUMBER_DATE = re.compile(r"(\d{1,4})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{1,4})\.?")
_YEAR = re.compile(r"\d{4}")
_YEAR_MONTH = re.compile(
    r"(?P<year>\d{4})\s*[./-]\s*(?P<month>\d{1,2})|(?P<month_first>\d{1,2})\s*[./-]\s*(?P<of_year>\d{4})"
)
_LETTER = re.compile(r"[^\W\d_]")
_INSTANT = re.compile(
    r"(?P<day>.+?)(?:[ Tt]\s*|,\s*)(?P<hour>[0-2]?\d)[:.h](?P<minute>[0-5]\d)"
    r"(?:[:.](?P<second>[0-5]\d|60)(?P<fraction>[.,]\d{1,9})?)?"
    r"\s*(?P<half>[ap]\.?m\.?)?\s*(?P<offset>Z|z|[+-][0-2]\d:?[0-5]\d)?"
)


def day(text: str, order: DayOrder) -> date:
    """A calendar day; a date in numbers is read only by ISO or by the studio's own day order.

    Nothing is guessed: with the order unset 03/04/2025 is refused, and under `dmy` 04/13/2025 is refused
    rather than turned round.
    """
    cleaned = re.sub(r"[ T]00:00(:00)?(\.0+)?$", "", text.strip())  # spreadsheets write a day as its midnight
    try:
        if _ISO_DATE.fullmatch(cleaned):
            return _sensible(_calendar_day(*map(int, cleaned.split("-"))))
        if numbers := _NUMBER_DATE.fullmatch(cleaned):
            if order == "unset" and len(numbers[1]) != 4:
                raise NotationError("day_or_month_first")
            pieces = {"y": 0, "m": 0, "d": 0}
            by = "ymd" if len(numbers[1]) == 4 else order
            pieces.update(zip(by, (int(number) for number in numbers.groups()), strict=True))
            year = pieces["y"] + (2000 if pieces["y"] < 100 else 0)
            return _sensible(_calendar_day(year, pieces["m"], pieces["d"]))
        if _LETTER.search(cleaned):
            # dateutil fills gaps from a default day: two defaults that differ in all parts show a gap. A
            # stray word it takes for a time zone, and would pass over.
            first, second = (
                dateutil_parser.parse(cleaned, default=default, dayfirst=order == "dmy", tzinfos=_any_zone)
                for default in (datetime(1999, 1, 2), datetime(1998, 3, 4))
            )
            if first == second and (first.hour, first.minute, first.tzinfo) == (0, 0, None):
                return _sensible(first.date())
    except NotationError:
        raise
    except (ValueError, OverflowError, TypeError, ArithmeticError):
        pass
    raise NotationError("not_a_day")


@dataclass(frozen=True, slots=True)
class Period:
    """A day (`total` is None), or a month or year within which something lies."""

    first: date
    last: date
    total: Literal["month", "year"] | None


def day_or_period(text: str, order: DayOrder) -> Period:
    """A day, as `day` reads it; a month as `2024-03`, `03/2024` or `March 2024`; or a year as `2024`."""
    cleaned = text.strip()
    if _YEAR.fullmatch(cleaned):
        first = _sensible(_calendar_day(int(cleaned), 1, 1))
        return Period(first, first.replace(month=12, day=31), "year")
    if (month := _month(cleaned)) is not None:
        return Period(month, month + relativedelta(months=1, days=-1), "month")
    only = day(text, order)
    return Period(only, only, None)


def _month(text: str) -> date | None:
    """The first day of a month that is written without a day; None where the text is none."""
    if numbers := _YEAR_MONTH.fullmatch(text):
        year, month = numbers["year"] or numbers["of_year"], numbers["month"] or numbers["month_first"]
        return _sensible(_calendar_day(int(year), int(month), 1))
    if not _LETTER.search(text):
        return None
    try:
        # as in `day`: what differs between two defaults was not said
        first, second = (
            dateutil_parser.parse(text, default=default, tzinfos=_any_zone)
            for default in (datetime(1999, 1, 2), datetime(1998, 3, 4))
        )
    except (ValueError, OverflowError, TypeError, ArithmeticError):
        return None
    is_month = (first.year, first.month) == (second.year, second.month) and first.day != second.day
    plain = (first.hour, first.minute, first.tzinfo) == (0, 0, None)
    return _sensible(date(first.year, first.month, 1)) if is_month and plain else None


def _any_zone(name: str | None, offset: int | None) -> tzinfo | None:
    return UTC if name or offset is not None else None


def _calendar_day(year: int, month: int, day_of_month: int) -> date:
    try:
        return date(year, month, day_of_month)
    except ValueError as error:
        raise NotationError("not_in_the_calendar") from error


def _sensible(value: date) -> date:
    if not 1900 <= value.year <= 2200:
        raise NotationError("not_of_this_time")
    return value


@dataclass(frozen=True, slots=True)
class Instant:
    """A point in time as written: a wall-clock reading, or, with an offset given, a known UTC instant.

    Attributes
    ----------
    wall : reading of the studio's clock, without zone; where an offset was written, converted to it.
    utc : the instant in UTC without zone, or None where no offset was written.
    """

    wall: datetime
    utc: datetime | None


def instant(text: str, order: DayOrder, zone: str) -> Instant:
    """A day with a time of day, optionally with `Z` or an offset (RFC 3339; a space may stand for the T).

    A leap second 23:59:60 is read as the following midnight, as no clock of the studio shows it.
    """
    match = _INSTANT.fullmatch(text.strip())
    if not match:
        raise NotationError("not_a_day_with_time")
    calendar = day(match["day"], order)
    hour, second = int(match["hour"]), int(match["second"] or 0)
    if match["half"]:
        if not 1 <= hour <= 12:
            raise NotationError("not_a_time")
        hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
    if hour > 24 or (hour == 24 and (int(match["minute"]), second) != (0, 0)):
        raise NotationError("not_a_time")
    fraction = round(float("0." + match["fraction"][1:]) * 1e6) if match["fraction"] else 0
    moment = datetime(calendar.year, calendar.month, calendar.day) + timedelta(
        hours=hour, minutes=int(match["minute"]), seconds=second, microseconds=fraction
    )
    offset = match["offset"]
    if offset is None:
        return Instant(moment, None)
    ahead = (
        0 if offset in "Zz" else (int(offset[1:3]) * 60 + int(offset[-2:])) * (-1 if offset[0] == "-" else 1)
    )
    utc = moment - timedelta(minutes=ahead)
    local = utc.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    return Instant(local, utc)


def day_in_words(day: date, month: Literal["%B", "%b"] = "%B") -> str:
    """`5 October 2026`, or with a short month."""
    return f"{day.day} {day:{month} %Y}"
