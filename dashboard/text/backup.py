"""Sentences about backups."""

from __future__ import annotations

from datetime import UTC, date
from zoneinfo import ZoneInfo

from dashboard.formatting import counted, day
from ingest.safekeeping.backup import Copy, LastBackup

STALE_DAYS = 14


def content(copy: Copy) -> str:
    """The content of a copy in words."""
    last = f", the last entry of {copy.last_day}" if copy.last_day else ""
    return (
        f"{counted(copy.works, 'work')}, {counted(copy.entries, 'entry', 'entries')}{last}, form {copy.form}"
    )


def last_backup(backup: LastBackup | None, zone: str) -> str:
    """Time, on the studio’s clock, content and file of the last backup."""
    if backup is None:
        return "No backup was made yet."
    there = backup.made_at.replace(tzinfo=UTC).astimezone(ZoneInfo(zone))
    content = f"{counted(backup.works, 'work')}, {counted(backup.entries, 'entry', 'entries')}"
    return f"Last backup: {day(there)} at {there:%H:%M}, with {content}, in {backup.file}."


def overdue(backup: LastBackup | None, today: date) -> str:
    """A reminder where there is no backup, or an old one; else empty."""
    if backup is None:
        return "No backup was made yet: a disk can fail."
    days = (today - backup.made_at.date()).days
    return f"The last backup was made {days} days ago: a disk can fail." if days >= STALE_DAYS else ""
