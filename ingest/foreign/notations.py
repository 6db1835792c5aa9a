"""Days, clock times, hours and numbers as other tables write them, turned into how ours write them.

Every function takes one text and returns another, or raises `NotationError`; each different text of a column
is read once.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date, timedelta
from functools import cache

import numpy as np
import numpy.typing as npt
import pandas as pd
from babel.dates import get_day_names, get_month_names

from ingest.errors import NotationError
from ingest.foreign.reading import HoursUnit, Reading
from ingest.values import calendar_days, durations, numbers
from ingest.values.calendar_days import DayOrder
from ingest.values.numbers import DecimalMark
from ingest.values.spelling import folded

LANGUAGES = ("en", "de", "fr", "it", "es", "nl", "pt", "da", "sv", "nb")
FIRST_SERIAL_DAY = date(1899, 12, 30)
"""Day 0 of spreadsheets: ISO/IEC 29500-1, 18.17.4.1, the 1900 date system, for days from March 1900 on."""
_SERIAL_DAYS = (1.0, 110_000.0)  # to the year 2201
_WORD = re.compile(r"[^\W\d_]+")
_DAY_AND_MONTH = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{1,2})\s*[./-]?")
_CLOCK = re.compile(
    r"(?P<hour>[0-2]?\d)(?:\s*[:.h]\s*(?P<minute>[0-5]\d)?)?(?:[:.](?P<second>[0-5]\d))?\s*(?P<half>[ap]\.?m\.?)?(?:\s*(?:uhr|h))?",
    re.IGNORECASE,
)
_FROM_TO = re.compile(r"(.+?)\s*(?:-|–|—|\bto\b|\btill\b|\bbis\b|\ba\b|\bà\b)\s*(.+)", re.IGNORECASE)
_DAYS_LONG = re.compile(
    r"(?P<count>\d+(?:[.,]\d+)?|\d*\s*[¼½¾])\s*(?:d|days?|tage?|jours?|giorni?|giorno|d[ií]as?)",
    re.IGNORECASE,
)
_INSTANT_SPLIT = re.compile(r"(?P<day>.*?)(?:[ T]|,\s)\s*(?P<clock>\d{1,2}[:.h]\d{2}.*)")


FAULT_COLUMNS = ("row", "column_name", "code", "details")
"""Of a frame of faults, as `ingest.importing.rows.Rows.cell_faults` has it."""


def read_texts(
    texts: pd.Series[str], column: str, read: Callable[[str], str]
) -> tuple[pd.Series[str], pd.DataFrame]:
    """Read each different text once: the texts as they read, and a frame of `FAULT_COLUMNS`. An empty text
    stays empty, and one that cannot be read stays as it is.
    """
    codes, different = pd.factorize(texts)
    values = np.full(len(different), "", dtype=object)
    fault_codes, fault_details = values.copy(), values.copy()
    for place, text in enumerate(map(str, different)):
        try:
            values[place] = read(text) if text else ""
        except NotationError as error:
            values[place] = text
            fault_codes[place], fault_details[place] = error.code, json.dumps(error.details)
    turned = pd.Series(values[codes], index=texts.index, dtype="str")
    return turned, faults_of(codes, column, fault_codes, fault_details)


def faults_of(
    codes: npt.NDArray[np.int64],
    column: str,
    fault_codes: npt.NDArray[np.object_],
    fault_details: npt.NDArray[np.object_],
) -> pd.DataFrame:
    """The faults of a column, from those of its different texts (`codes` has the text of each row)."""
    rows = np.flatnonzero(fault_codes[codes] != "")
    places = codes[rows]
    return pd.DataFrame(
        {"row": rows, "column_name": column, "code": fault_codes[places], "details": fault_details[places]}
    )


@cache
def _names(kind: str) -> dict[str, int]:
    """Names and short names of months (1 to 12) or of days of the week (Monday 0), folded, in `LANGUAGES`,
    by the Unicode CLDR; without those that mean different ones in different languages.
    """
    get = get_month_names if kind == "month" else get_day_names
    meanings: dict[str, set[int]] = {}
    for language in LANGUAGES:
        for width in ("wide", "abbreviated"):
            for context in ("format", "stand-alone"):
                for number, name in get(width, context, language).items():
                    meanings.setdefault(folded(name).strip(" ."), set()).add(number)
    return {name: min(numbers) for name, numbers in meanings.items() if len(numbers) == 1}


def weekday(text: str) -> int:
    """The day of the week that a text names, Monday 0."""
    for word in _WORD.findall(folded(text)):
        if word in _names("day"):
            return _names("day")[word]
    raise NotationError("not_a_weekday")


def day(text: str, order: DayOrder, year: int | None, *, serial: bool) -> str:
    """A day as ISO writes it, from any of: ISO, numbers in the order said, a month by its name in one of
    `LANGUAGES` (a weekday before it is passed over), without a year where it is said which, or the number of
    a day as spreadsheets count.

    >>> day("Di., 5. März 2024", "dmy", None, serial=False)
    '2024-03-05'
    """
    cleaned = " ".join(text.split())
    if serial and (number := _serial(cleaned)) is not None:
        return (FIRST_SERIAL_DAY + timedelta(days=int(number))).isoformat()
    words = _WORD.findall(folded(cleaned))
    months = [_names("month")[word] for word in words if word in _names("month")]
    others = [
        word
        for word in words
        if word not in _names("month") and word not in _names("day") and word not in _FILLERS
    ]
    if len(months) == 1 and not others:
        numbers = [int(number) for number in re.findall(r"\d+", cleaned)]
        if len(numbers) == 1 and year:
            numbers.append(year)
        if len(numbers) == 2:
            first, second = numbers
            # 2024 March 5, or March 5, 2024, or 5 March 24
            day_of_month, its_year = (second, first) if first > 31 else (first, second)
            return calendar_days.day(
                f"{its_year + (2000 if its_year < 100 else 0):04}-{months[0]:02}-{day_of_month:02}", order
            ).isoformat()
    if words and not months and not others:  # a weekday before numbers
        cleaned = re.sub(r"^[^\d]+", "", cleaned)
    if year and (parts := _DAY_AND_MONTH.fullmatch(cleaned)):
        if order == "unset":
            raise NotationError("day_or_month_first")
        day_of_month, month = (
            (int(parts[1]), int(parts[2])) if order == "dmy" else (int(parts[2]), int(parts[1]))
        )
        return calendar_days.day(f"{year:04}-{month:02}-{day_of_month:02}", order).isoformat()
    return calendar_days.day(cleaned, order).isoformat()


_FILLERS = frozenset({"the", "of", "st", "nd", "rd", "th", "de", "den", "der", "le", "er", "am", "del"})


def _serial(text: str) -> float | None:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return None
    return number if _SERIAL_DAYS[0] <= number <= _SERIAL_DAYS[1] else None


def clock(text: str) -> str:
    """A time of day as `hh:mm` or `hh:mm:ss`, from `9:00`, `9.00`, `9h`, `9 h 30`, `9`, `9:30 pm`."""
    match = _CLOCK.fullmatch(text.strip())
    if not match:
        raise NotationError("not_a_time")
    hour, minute, second = (int(match[name] or 0) for name in ("hour", "minute", "second"))
    if match["half"]:
        if not 1 <= hour <= 12:
            raise NotationError("not_a_time")
        hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
    if hour > 24 or (hour == 24 and (minute, second) != (0, 0)):
        raise NotationError("not_a_time")
    return f"{hour:02}:{minute:02}" + (f":{second:02}" if second else "")


def from_to(text: str) -> str:
    """Two clock times of one cell, `9:00–12:30`, with a bar between."""
    match = _FROM_TO.fullmatch(text.strip())
    if not match:
        raise NotationError("not_from_to")
    return f"{clock(match[1])}|{clock(match[2])}"


def hours(text: str, unit: HoursUnit, hours_a_day: float, mark: DecimalMark) -> str:
    """Hours as ours write them; a bare number is of the unit said, and what names its own unit is that.

    Parameters
    ----------
    mark : how the file writes decimals.
    """
    cleaned = numbers.of_a_file(text.strip(), mark)
    if days := _DAYS_LONG.fullmatch(cleaned):
        return numbers.written(durations.hours(days["count"]) * hours_a_day)
    if unit == "hours" or not re.fullmatch(r"[\d.,\s¼½¾]+", cleaned):
        return numbers.written(durations.hours(cleaned))
    number = durations.hours(cleaned)  # reads ½ too
    return numbers.written(number / 60 if unit == "minutes" else number * hours_a_day)


def instant(text: str, reading: Reading) -> str:
    """A day with a clock time in one cell, as ISO writes it; a clock time alone stays one."""
    cleaned = text.strip()
    if match := _INSTANT_SPLIT.fullmatch(cleaned):
        its_day = day(match["day"], reading.day_order, reading.year, serial=False)
        time_of_day, offset = re.fullmatch(r"(.*?)\s*(Z|[+-]\d{2}:?\d{2})?", match["clock"]).groups()  # type: ignore[union-attr]
        return f"{its_day}T{clock(time_of_day)}{offset or ''}"
    if reading.serial_days and (number := _serial(cleaned)) is not None and number > 366:
        seconds = round(number * 86_400)
        its_day = (FIRST_SERIAL_DAY + timedelta(days=seconds // 86_400)).isoformat()
        return f"{its_day}T{seconds % 86_400 // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return clock(cleaned)


def number(text: str, mark: DecimalMark) -> str:
    """A number without the sign of a currency, a unit in brackets or marks between thousands, as far as the
    file's own mark for decimals tells these apart.
    """
    cleaned = re.sub(r"[^\d.,+−-]", "", text)
    if mark and cleaned:
        cleaned = cleaned.replace("," if mark == "." else ".", "").replace(",", ".")
        return (
            numbers.written(float(cleaned)) if re.fullmatch(r"[+-]?\d+(\.\d*)?|[+-]?\.\d+", cleaned) else text
        )
    return text
