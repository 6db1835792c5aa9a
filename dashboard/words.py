"""Figures in words: one place for how hours, amounts and counts are written."""

from __future__ import annotations

import math

UNITS = {"dm2": "dm²", "cm": "cm", "pcs": "pcs"}


def hours(value: float) -> str:
    """Hours to a tenth; a dash where they are not known."""
    return "–" if value is None or math.isnan(value) else f"{value + 0.0:,.1f}".replace("-0.0", "0.0")


def signed_hours(value: float) -> str:
    """Hours to a tenth with their sign; nothing over or under is 0.0."""
    if value is None or math.isnan(value):
        return "–"
    text = f"{value:+,.1f}".replace("-", "−")
    return "0.0" if text[1:] == "0.0" else text


def counted(number: int, word: str) -> str:
    """`1 work`, `2 works`."""
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def amount(quantity: float | None, unit: str | None) -> str:
    """A quantity with its unit, or nothing."""
    if quantity is None or math.isnan(quantity) or not isinstance(unit, str):
        return ""
    return f"{quantity:,.0f} {UNITS[unit]}" if quantity == int(quantity) else f"{quantity:,.1f} {UNITS[unit]}"
