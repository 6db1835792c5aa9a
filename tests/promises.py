"""Promises of saved quotes, with plain values where a test names no others."""

from __future__ import annotations

from datetime import date
from typing import Any

from ingest.editing.saved_quotes import Promised, PromisedLine, PromisedOption


def line(phase: str, technique: str, hours: float, **others: Any) -> PromisedLine:
    """A line whose hours have no spread."""
    plain = dict.fromkeys(
        ("quantity", "unattended_hours", "own_hours", "rate", "rate_low", "rate_high", "unit")
    )
    words = {"phase": phase, "technique": technique, "part": "", "person": "", "note": ""}
    figures = {"hours": hours, "worked_hours": 0.0, "pinned": False, "works": []}
    return PromisedLine(**{**plain, **words, **figures, **_certain(hours), **others})


def option(hours: float, lines: list[PromisedLine], **others: Any) -> PromisedOption:
    """The only option of a quote: its hours have no spread, and it has no price."""
    plain = {"option": "", "confidence": 80, "price": None, "currency": "EUR", "stood_on": {}, "lines": lines}
    return PromisedOption(**{**plain, **_certain(hours), **others})


def promised(code: str, as_of: date, options: list[PromisedOption], **others: Any) -> Promised:
    """Of one work, without a letter."""
    basis = {"program": "test", "works": 0, "lines": 0, "first_stage": False, "written": {}, "letter": None}
    return Promised(**{"object": code, "as_of": as_of, "options": options, **basis, **others})


def _certain(hours: float) -> dict[str, float]:
    return dict.fromkeys(("p10", "p50", "p80", "p90", "promised_hours"), hours)
