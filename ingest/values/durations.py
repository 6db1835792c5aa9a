"""Lengths of time as people write them; read as `ingest.values.numbers` reads numbers."""

from __future__ import annotations

import re
import unicodedata

from ingest.errors import NotationError
from ingest.values.numbers import decimal, is_decimal, unmarked, written

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


def hours(text: str) -> float:
    """Decimal hours from `1.5`, `1,5`, `1½`, `1:30`, `1h30`, `90 min`, `1 h 30 min`, `PT1H30M`.

    ISO 8601 durations count weeks, days (24 hours), hours, minutes and seconds; months and years have no
    fixed length and are refused.
    """
    cleaned = _QUARTERS.sub(
        lambda match: written(int(match[1] or 0) + unicodedata.numeric(match[2])), text.strip()
    )
    if is_decimal(cleaned):
        return decimal(cleaned)
    if clock := _CLOCK_HOURS.fullmatch(cleaned):
        return int(clock[1]) + int(clock[2]) / 60 + int(clock[3] or 0) / 3600
    iso = _ISO_DURATION.fullmatch(cleaned.upper())
    if iso and any(iso.groupdict().values()):
        # ISO 8601 knows no mark between thousands
        parts = {name: unmarked(part) if part else 0.0 for name, part in iso.groupdict().items()}
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
