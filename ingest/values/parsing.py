"""Hours, dates, decimals and sizes as people write them.

Every function takes the text of one value, already known not to be blank, and returns the value or raises
`NotationError` with the code of what is wrong. Files and forms both read through here.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from babel.numbers import list_currencies
from dateutil import parser as dateutil_parser
from dateutil.relativedelta import relativedelta
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA, Prefix

from ingest.errors import BenchHoursError, NotationError

DayOrder = Literal["unset", "dmy", "mdy", "ymd"]
DAY_ORDERS: tuple[DayOrder, ...] = ("unset", "dmy", "mdy", "ymd")
DecimalMark = Literal["", ".", ","]
# how a file writes decimals, as spreadsheets do; tabs tell nothing
MARK_OF_SEPARATOR: dict[str, DecimalMark] = {",": ".", ";": ","}

EITHER_ORDER = "day_or_month_first"  # the code of a day that may be read two ways
DM2_PER_SQUARE = {"mm2": 1e-4, "cm2": 0.01, "dm2": 1.0, "m2": 100.0}
CM_PER_INCH = 2.54
_CURRENCIES = frozenset(list_currencies())
_LOOK_ALIKE = str.maketrans("lio", "110")

_DECIMAL = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_MAY_BE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_CLOCK_HOURS = re.compile(r"(\d{1,4}):([0-5]\d)(?::([0-5]\d))?")
_QUARTERS = re.compile(r"(\d*) ?([¼½¾])")
_WORD_HOURS = re.compile(
    r"(?:(?P<hours>\d+(?:[.,]\d+)?)\s*(?:h|hr|hrs|hour|hours|std|stunden?)\.?)?\s*"
    r"(?:(?P<minutes>\d+(?:[.,]\d+)?)\s*(?:m|min|mins|minute|minutes|minuten|')?\.?)?"
)
_ISO_DURATION = re.compile(
    r"P(?:(?P<weeks>\d+(?:[.,]\d+)?)W)?(?:(?P<days>\d+(?:[.,]\d+)?)D)?"
    r"(?:T(?:(?P<hours>\d+(?:[.,]\d+)?)H)?(?:(?P<minutes>\d+(?:[.,]\d+)?)M)?(?:(?P<seconds>\d+(?:[.,]\d+)?)S)?)?"
)
_FRACTION = re.compile(r"(?:(?P<whole>\d{1,5})(?:\s+|\s*-\s*))?(?P<above>\d{1,2})[/\u2044](?P<below>\d{1,2})")
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_NUMBER_DATE = re.compile(r"(\d{1,4})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{1,4})\.?")
_YEAR = re.compile(r"\d{4}")
_YEAR_MONTH = re.compile(
    r"(?P<year>\d{4})\s*[./-]\s*(?P<month>\d{1,2})|(?P<month_first>\d{1,2})\s*[./-]\s*(?P<of_year>\d{4})"
)
_BETWEEN_SIDES = re.compile(r"\s*[×x*]\s*|\s+by\s+", re.I)
_UNIT_BEHIND = re.compile(r"\s*(?:[^\W\d_¼½¾]+|[\"″])$")
_LETTER = re.compile(r"[^\W\d_]")
_INSTANT = re.compile(
    r"(?P<day>.+?)(?:[ Tt]\s*|,\s*)(?P<hour>[0-2]?\d)[:.h](?P<minute>[0-5]\d)"
    r"(?:[:.](?P<second>[0-5]\d|60)(?P<fraction>[.,]\d{1,9})?)?"
    r"\s*(?P<half>[ap]\.?m\.?)?\s*(?P<offset>Z|z|[+-][0-2]\d:?[0-5]\d)?"
)


@lru_cache(maxsize=8192)  # the words of a vocabulary are folded for every file
def folded(text: str) -> str:
    """The text as it is compared: no case, no accents, no hyphens, single spaces."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return " ".join(re.sub(r"[-_/]", " ", plain).split())


def day_in_words(day: date, month: Literal["%B", "%b"] = "%B") -> str:
    """`5 October 2026`, or with a short month."""
    return f"{day.day} {day:{month} %Y}"


def nearest(text: str, words: Mapping[str, str]) -> str | None:
    """The known word most like the text, or None when nothing is near; `words` is folded spelling to word."""
    spelling = folded(text)
    matches = process.extract(spelling, words.keys(), scorer=fuzz.WRatio, score_cutoff=76, limit=None)
    # of words equally near, the one that begins alike
    return (
        words[max(matches, key=lambda item: (item[1], Prefix.similarity(spelling, item[0])))[0]]
        if matches
        else None
    )


def look_alike(code: str) -> str:
    """A code as it is compared for slips: what is easily taken for another sign (l and 1, O and 0) is the
    same.
    """
    return folded(code).translate(_LOOK_ALIKE)


def nearest_code(text: str, codes: Mapping[str, str]) -> str | None:
    """The code that a text misspells by one letter or figure (two where it is long), or None where none or
    several do: codes lie close together.

    `codes` has each as it is compared (`look_alike`) as key.
    """
    shape = look_alike(text)
    if shape in codes:
        return codes[shape]
    matches = process.extract(
        shape, codes.keys(), scorer=OSA.distance, score_cutoff=2 if len(shape) > 9 else 1, limit=None
    )
    least = min((distance for _, distance, _ in matches), default=0)
    near = [codes[code] for code, distance, _ in matches if distance == least]
    return near[0] if len(near) == 1 else None


def suggestion(text: str, words: Iterable[str], otherwise: str) -> str:
    """The mend for an unknown word: the nearest known one, or else what to do."""
    near = nearest(text, {folded(word): word for word in words})
    return f'Did you mean "{near}"?' if near else otherwise


def decimal(text: str) -> float:
    """A number with a decimal point or a decimal comma; no thousands marks, never negative zero.

    `1,450` and `1.450` may be a thousand or one and a half, and are refused; `0.450`, `1450`, `1.45` and
    `1.4500` are not in doubt.
    """
    cleaned = text.strip().replace("\u2212", "-").replace("\u00a0", "")
    if not _DECIMAL.fullmatch(cleaned):
        raise NotationError("not_a_number")
    _refuse_thousands(cleaned)
    value = _value(cleaned)
    if not math.isfinite(value):
        raise NotationError("number_too_large")
    return value


def _value(cleaned: str) -> float:
    return float(cleaned.replace(",", ".")) + 0.0


def _refuse_thousands(cleaned: str) -> None:
    if _MAY_BE_THOUSANDS.fullmatch(cleaned):
        front, behind = re.split("[.,]", cleaned)
        fraction = _value(f"{front}.{behind}")
        raise NotationError(
            "thousands_or_decimals",
            thousands=f"{front}{behind}",
            fraction=fraction,
            written=written(fraction),
        )


def number_called(
    what: str, text: str, most: int, *, read: Callable[[str], float] = decimal, or_zero: bool = False
) -> float:
    """A number typed into a field of its own, above 0 (or from 0 on) and at most `most`; raises with what it
    is called in front.
    """
    try:
        value = read(text)
    except NotationError as error:
        raise BenchHoursError(f'{what} "{text}" {error.what}', error.mend) from error
    if not (value >= 0 if or_zero else value > 0) or value > most:
        raise BenchHoursError(
            f"{what} cannot be {text}",
            f"Write a number {'from 0 on' if or_zero else 'above 0'}, at most {most:,}.",
        )
    return value


def currency(text: str) -> str:
    """A currency by its three letters of ISO 4217, in capitals."""
    letters = text.strip().upper()
    if letters not in _CURRENCIES:
        raise NotationError("not_a_currency")
    return letters


def of_a_file(text: str, mark: DecimalMark) -> str:
    """A number of a file of which it is known how it writes decimals, so that they are in no doubt before
    three figures; the other mark is, as everywhere.
    """
    return (
        re.sub(rf"(?<![\d.,])([1-9]\d{{0,2}})[{mark}](\d{{3}})(?![\d.,])", r"\1.\g<2>0", text)
        if mark
        else text
    )


def shortest(value: float) -> str:
    """A number to the last digit, without an exponent and without a zero at its end."""
    return np.format_float_positional(value, trim="-")


def written(value: float) -> str:
    """A number as `decimal` reads it back to the last digit: the shortest such (1.125 with a zero more, or it
    could be one of thousands).
    """
    text = shortest(value)
    return f"{text}0" if _MAY_BE_THOUSANDS.fullmatch(text) else text


def whole(text: str) -> int:
    """A whole number."""
    value = decimal(text)
    if value != int(value):
        raise NotationError("not_a_whole_number")
    return int(value)


def hours(text: str) -> float:
    """Decimal hours from `1.5`, `1,5`, `1½`, `1:30`, `1h30`, `90 min`, `1 h 30 min`, `PT1H30M`.

    ISO 8601 durations count weeks, days (24 hours), hours, minutes and seconds; months and years have no
    fixed length and are refused.
    """
    cleaned = _QUARTERS.sub(
        lambda match: written(int(match[1] or 0) + unicodedata.numeric(match[2])), text.strip()
    )
    if _DECIMAL.fullmatch(cleaned.replace("\u2212", "-")):
        return decimal(cleaned)
    if clock := _CLOCK_HOURS.fullmatch(cleaned):
        return int(clock[1]) + int(clock[2]) / 60 + int(clock[3] or 0) / 3600
    iso = _ISO_DURATION.fullmatch(cleaned.upper())
    if iso and any(iso.groupdict().values()):
        # ISO 8601 knows no mark between thousands
        parts = {name: _value(part) if part else 0.0 for name, part in iso.groupdict().items()}
        return (
            parts["weeks"] * 168
            + parts["days"] * 24
            + parts["hours"]
            + parts["minutes"] / 60
            + parts["seconds"] / 3600
        )
    words = _WORD_HOURS.fullmatch(cleaned.casefold())
    if words and (words["hours"] or words["minutes"]):
        whole_hours, minutes = decimal(words["hours"] or "0"), decimal(words["minutes"] or "0")
        if not (words["hours"] and minutes >= 60):
            return whole_hours + minutes / 60
    raise NotationError("not_hours")


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


def yes_or_no(text: str) -> bool:
    """`yes`, `no` and the ways spreadsheets write them."""
    word = text.strip().casefold()
    if word in ("yes", "y", "true", "1", "x", "ja", "oui"):
        return True
    if word in ("no", "n", "false", "0", "nein", "non"):
        return False
    raise NotationError("neither_yes_nor_no")


def per_cent(text: str) -> float:
    """Percentage, 0 to 100; `¼`, `½`, `¾`, `done` and a sign behind the number are understood."""
    cleaned = text.strip().casefold().removesuffix("%").strip()
    spoken = {"¼": 25.0, "½": 50.0, "¾": 75.0, "1/4": 25.0, "1/2": 50.0, "3/4": 75.0, "done": 100.0}
    value = spoken[cleaned] if cleaned in spoken else decimal(cleaned)
    if not 0 <= value <= 100:
        raise NotationError("not_per_cent")
    return value


def centimetres(text: str) -> float:
    """A length in cm; `24 in`, `24"`, `24 1/2 in`, `24½"`, `600 mm`, `0.6 m` are converted (1 inch = 2.54 cm
    exactly).
    """
    cleaned = text.strip().casefold()
    factors = {
        "cm": 1.0,
        "mm": 0.1,
        "m": 100.0,
        "inches": CM_PER_INCH,
        "inch": CM_PER_INCH,
        "in": CM_PER_INCH,
        '"': CM_PER_INCH,
        "″": CM_PER_INCH,
    }
    for unit in sorted(factors, key=len, reverse=True):
        if cleaned.endswith(unit):
            amount = cleaned.removesuffix(unit)
            # 24.5 in are 62.23 cm: what binary fractions add behind is no part of the length
            return round(
                (_with_fraction(amount) if factors[unit] == CM_PER_INCH else decimal(amount)) * factors[unit],
                9,
            )
    return decimal(cleaned)


def two_sides(text: str) -> tuple[str, str]:
    """Height and width of `60 × 80`, `60x80 cm` or `24 × 36 in`, each as `centimetres` reads it; a unit that
    stands once, behind both, is of both.
    """
    sides = [side.strip() for side in _BETWEEN_SIDES.split(text.strip())]
    if len(sides) != 2 or not all(sides):
        raise NotationError("not_a_size")
    height, width = sides
    unit = _UNIT_BEHIND.search(width)
    if unit and not _UNIT_BEHIND.search(height):
        height = f"{height} {unit[0].strip()}"
    return height, width


def _with_fraction(text: str) -> float:
    """A number that may end in a fraction, as inches are written: `24.5`, `24 1/2`, `24-1/2`, `24½`."""
    spelled = re.sub("[¼½¾⅐-⅞]", lambda sign: f" {unicodedata.normalize('NFKC', sign[0])}", text).strip()
    if match := _FRACTION.fullmatch(spelled):
        above, below = int(match["above"]), int(match["below"])
        if 0 < above < below:
            return int(match["whole"] or 0) + above / below
    return decimal(text)


def square_decimetres(text: str) -> float:
    """An area in dm²; `cm2`, `mm2` and `m2` (or with ²) are converted."""
    cleaned = text.strip().casefold().replace("²", "2").replace("^2", "2").replace(" ", "")
    for unit in sorted(DM2_PER_SQUARE, key=len, reverse=True):
        if cleaned.endswith(unit):
            return round(decimal(cleaned.removesuffix(unit)) * DM2_PER_SQUARE[unit], 9)
    return decimal(cleaned)
