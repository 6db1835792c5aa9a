"""Figures in words: one place for how hours, amounts and counts are written."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

import babel.numbers

from ingest.values.calendar_days import day_in_words

CONFIDENCES = {50: "even chance", 80: "4 in 5", 90: "9 in 10"}  # chances to end within hours, in 100
_NEAR = 5 / 3600  # hours: 5 seconds are not seen in an entry
_MOST_PLACES = 15  # figures that a stored number has
UNITS = {"dm2": "dm²", "cm": "cm", "pcs": "pcs"}


def hours(value: float) -> str:
    """Hours to a tenth; a dash where they are not known."""
    return "–" if value is None or math.isnan(value) else f"{tenths(value):,.1f}"


def exact_hours(value: float) -> str:
    """Hours of one entry as they were logged, to some seconds: `0.75`, `1.5`, `0.833`; a dash where they are
    not known.
    """
    return distinct_hours([value])[0]


def distinct_hours(values: Sequence[float]) -> list[str]:
    """The same of entries that are compared, with as many more figures as it takes that two that differ never
    look alike.
    """
    known = {float(value) for value in values if value is not None and not math.isnan(value)}
    shown: dict[float, Decimal] = {}
    for least in range(1, _MOST_PLACES):
        shown = {value: _near(value, least) for value in known}
        if len(set(shown.values())) == len(known):
            break
    return ["–" if value is None or math.isnan(value) else f"{shown[float(value)]:,f}" for value in values]


def _near(value: float, least: int) -> Decimal:
    """With at least so many places, and as many more as bring it near."""
    rounded = (_decimal(value, places) for places in range(least, _MOST_PLACES))
    return next(number for number in rounded if abs(float(number) - value) < _NEAR)


def _decimal(value: float, places: int) -> Decimal:
    """With so many places, halves away from zero."""
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)


def tenths(value: float) -> float:
    """To a tenth, halves away from zero: a quarter of an hour reads the same wherever it came from."""
    return math.copysign(math.floor(abs(round(value, 6)) * 10 + 0.5) / 10, value) + 0.0


def signed_hours(value: float) -> str:
    """Hours to a tenth with their sign; nothing over or under is 0.0."""
    if value is None or math.isnan(value):
        return "–"
    shown = tenths(value)
    return f"{shown:+,.1f}".replace("-", "−") if shown else "0.0"


def counted(number: int, word: str, words: str = "") -> str:
    """`1 work`, `2 works`; `words` where the plural is another."""
    return f"{number:,} {word}" if number == 1 else f"{number:,} {words or word + 's'}"


def rate(value: float) -> str:
    """Hours per unit: two figures that count, and never fewer than a tenth shows."""
    if value is None or math.isnan(value):
        return "–"
    places = max(1, 1 - math.floor(math.log10(value))) if value > 0 else 1
    return f"{value:,.{places}f}"


def per_unit(unit: object) -> str:
    """The unit of a rate; `line` where it has none."""
    return UNITS[unit] if isinstance(unit, str) and unit else "line"


def money(value: float | Decimal, currency: str) -> str:
    """An amount with its currency, as it is written in English."""
    return babel.numbers.format_currency(value, currency, locale="en_GB")


def plain(words: str) -> str:
    """Words as they are, where marks in them would be read as layout: a title is no picture, and a star no
    emphasis.
    """
    return re.sub(r"([\\`*_{}\[\]()#+.!|<>~$:-])", r"\\\1", words)


def label(words: str) -> str:
    """The same for what a field is called, which is also heard as it is written: without an escape where no
    mark could be read as layout. Begins with a word of ours.
    """
    harmless = re.fullmatch(r"(?:[^\W_]|[ .,;()'\"&/?%–…-]|\w_(?=\w)|: )*", words)
    return words if harmless and "--" not in words and "www." not in words.lower() else plain(words)


def text(value: object) -> str:
    """A word as it stands in a frame; nothing where it is unknown."""
    return value if isinstance(value, str) else ""


def amount(quantity: float | None, unit: str | None) -> str:
    """A quantity with its unit, or nothing."""
    if quantity is None or math.isnan(quantity) or not isinstance(unit, str):
        return ""
    return f"{quantity:,.0f} {UNITS[unit]}" if quantity == int(quantity) else f"{quantity:,.1f} {UNITS[unit]}"


def day(value: date) -> str:
    """`5 October 2026`."""
    return day_in_words(value)


def ago(value: date, today: date) -> str:
    """A day in words relative to today, like `3 days ago`."""
    days = (today - value).days
    if days < 0:
        return "tomorrow" if days == -1 else f"in {-days} days"
    if days < 2:
        return ("today", "yesterday")[days]
    return f"{days} days ago" if days < 60 else f"on {day(value)}"


def plain_weeks(days: float) -> str:
    """Days as weeks, to a half below ten."""
    weeks = days / 7
    shown = round(weeks * 2) / 2 if weeks < 10 else round(weeks)
    return f"{shown:g} {'week' if shown == 1 else 'weeks'}"
