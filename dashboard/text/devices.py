"""Sentences about paired devices."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from dashboard.formatting import day
from ingest.devices import Device

SHARED = "several share it"


def whose(device: Device) -> str:
    """The owner of a device in words."""
    return device.person or ("the principal" if device.role == "principal" else SHARED)


def way_to_pair(address: str, code: str) -> str:
    """The address that pairs a device; browsers never send what stands behind the #."""
    return f"{address}/pair#{code}"


def state(device: Device, now: datetime, zone: ZoneInfo) -> str:
    """The state of a device in words."""
    if device.revoked_at:
        return f"sent away {moment(device.revoked_at, zone)}"
    why = device.refusal_reason(now)
    return f"last seen {moment(device.seen_at, zone)}{f'; {why}: to be paired anew' if why else ''}"


def moment(at: datetime, zone: ZoneInfo) -> str:
    """A moment on the studio's clock."""
    there = at.replace(tzinfo=UTC).astimezone(zone)
    return f"{day(there)} {there:%H:%M}"
