"""Figures in words: one place for how hours, amounts and counts are written."""

from __future__ import annotations

import math
import re
from datetime import date
from decimal import Decimal

import babel.numbers

from ingest.values.parsing import day_in_words

CONFIDENCES = {50: "even chance", 80: "4 in 5", 90: "9 in 10"}  # chances to end within hours, in 100
UNITS = {"dm2": "dm²", "cm": "cm", "pcs": "pcs"}


def hours(value: float) -> str:
    """Hours to a tenth; a dash where they are not known."""
    return "–" if value is None or math.isnan(value) else f"{tenths(value):,.1f}"


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
