"""The studio's clock: wall readings to UTC, with the days on which the clock is changed.

Set-based: the temporary table `zone_days` has a row for each day that occurs in a file, so that a million
readings are converted by one join. What a change makes missing or ambiguous is told, never guessed away.
"""

from __future__ import annotations

from bisect import bisect_left
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from ingest.sql import Connection

_BY_DAY = """
CREATE OR REPLACE TEMP TABLE zone_days AS
SELECT unnest(?::DATE[]) AS day, to_seconds(unnest(?::BIGINT[])) AS ahead_before,
    to_seconds(unnest(?::BIGINT[])) AS ahead_after, unnest(?::TIMESTAMP[]) AS change_from,
    unnest(?::TIMESTAMP[]) AS change_to, unnest(?::BOOLEAN[]) AS is_gap
"""


def utc_of(wall: str, day: str, later_than: str | None = None) -> str:
    """SQL for the instant of a wall reading: NULL inside a gap.

    `day` stands before the names of the columns of `zone_days`, like `s.`. An ambiguous reading is its first
    occurrence, or its second where the first is not later than `later_than`.
    """
    first = f"{wall} - {day}ahead_before"
    twice = (
        first
        if later_than is None
        else f"CASE WHEN {first} <= {later_than} THEN {wall} - {day}ahead_after ELSE {first} END"
    )
    return (
        f"CASE WHEN {day}change_from IS NULL OR {wall} < {day}change_from THEN {first} WHEN {wall} >="
        f" {day}change_to THEN {wall} - {day}ahead_after WHEN {day}is_gap THEN NULL ELSE {twice} END"
    )


def in_change(wall: str, day: str) -> str:
    """SQL: the wall reading falls where the clock jumps over or runs through twice; `day` as above."""
    return f"({day}change_from IS NOT NULL AND {wall} >= {day}change_from AND {wall} < {day}change_to)"


def prepare_days(con: Connection, days: list[date], zone: str) -> None:
    """Fill `zone_days` for these days of the zone's clock."""
    rows = [_day(day, ZoneInfo(zone)) for day in days]
    columns = [list(column) for column in zip(*rows, strict=True)] if rows else [[] for _ in range(5)]
    con.execute(_BY_DAY, [days, *columns])


def _day(day: date, zone: ZoneInfo) -> tuple[int, int, datetime | None, datetime | None, bool | None]:
    """Seconds ahead of UTC at the day's begin and end, and the wall readings between which a change falls."""
    begin = datetime(day.year, day.month, day.day)
    before, after = (_ahead(moment, zone) for moment in (begin, begin + timedelta(days=1)))
    if before == after:
        return before, after, None, None, None
    # One second early: where the clock jumps at midnight the day begins with the change itself.
    low = begin - timedelta(seconds=before + 1)
    instants = range(86_400 + before + 1 - after)  # seconds after `low`
    high = low + timedelta(
        seconds=bisect_left(
            instants, True, key=lambda second: _ahead_at(low + timedelta(seconds=second), zone) != before
        )
    )
    walls = high + timedelta(seconds=before), high + timedelta(seconds=after)
    return before, after, min(walls), max(walls), after > before


def _ahead(wall: datetime, zone: ZoneInfo) -> int:
    offset = wall.replace(tzinfo=zone).utcoffset()
    assert offset is not None  # a ZoneInfo always answers for a datetime
    return int(offset.total_seconds())


def _ahead_at(utc: datetime, zone: ZoneInfo) -> int:
    offset = utc.replace(tzinfo=UTC).astimezone(zone).utcoffset()
    assert offset is not None
    return int(offset.total_seconds())
