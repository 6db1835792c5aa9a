"""The commands of who may come in: a code for a device, the devices there are, and labels that lead to the form."""

from __future__ import annotations

import argparse
import io
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import segno

from dashboard import labels as printing
from dashboard import reading, serving
from dashboard.giving import written
from dashboard.voice import complain, tell
from dashboard.words import counted, day
from ingest.devices import CODE_MINUTES, Device, Devices
from ingest.errors import BenchHoursError
from ingest.history import utc_now
from ingest.notation import suggestion
from ingest.settings import read_settings
from ingest.store import Store

SHARED = "several share it"


def whose(one: Device) -> str:
    """Whose a device is, in words."""
    return one.person or ("the principal" if one.role == "principal" else SHARED)


def pair(said: argparse.Namespace, store: Store) -> int:
    """Make a code and show it, with the address where it is used if a server runs."""
    code = Devices(store).admit(role=said.role, person=said.person, name=said.name)
    opened = serving.opened()
    if opened and not opened.door.shut:
        complain("The server that runs is open to this machine only, which needs no pairing: start it with --phones.")
    if not (opened and opened.door.shut):
        tell(f"{code}   good once, for {CODE_MINUTES} minutes: start bench-hours serve --phones, open /pair there, and type it.")
        return 0
    address = serving.for_phones(store, opened.place)
    if opened.authority:
        tell(f"So that it trusts the studio, first: {address}/certificate")
        tell(f"Fingerprint of the certificate to be trusted (SHA-256): {opened.authority.fingerprint}")
    tell(f"{code}   good once, for {CODE_MINUTES} minutes: open {address}/pair and type it, or scan:")
    drawn = io.StringIO()
    segno.make(way_to_pair(address, code), error="m").terminal(drawn, compact=True, border=2)
    tell(drawn.getvalue())
    return 0


def way_to_pair(address: str, code: str) -> str:
    """The address that pairs a device; browsers never send what stands behind the #."""
    return f"{address}/pair#{code}"


def devices(said: argparse.Namespace, store: Store) -> int:
    """Show the devices; or send one away."""
    known = Devices(store)
    listed = known.listed()
    now = utc_now()
    if said.revoke is not None:
        active = {one.name: one for one in listed if one.revoked_at is None}
        if said.revoke not in active:
            raise BenchHoursError(f'"{said.revoke}" is no device that may come in', suggestion(said.revoke, active, "See bench-hours devices for their names."))
        known.revoke(active[said.revoke].device)
        tell(f"{said.revoke} is sent away: it can no longer come in, and what it had open is closed.")
        return 0
    if not listed:
        tell("No device is paired: bench-hours pair makes a code for one.")
    zone = ZoneInfo(read_settings(store.cursor()).zone)
    for one in listed:
        tell(f"{one.name}: {state(one, now, zone)}; {one.role}, {whose(one)}")
    for event in known.events():
        tell(f"{moment(event.last_at, zone)}: {event.what}, {event.about}{f', {event.times:,} times' if event.times > 1 else ''}")
    return 0


def state(one: Device, now: datetime, zone: ZoneInfo) -> str:
    """Whether a device may come in, in words."""
    if one.revoked_at:
        return f"sent away {moment(one.revoked_at, zone)}"
    why = one.why_not(now)
    return f"last seen {moment(one.seen_at, zone)}{f'; {why}: to be paired anew' if why else ''}"


def moment(at: datetime, zone: ZoneInfo) -> str:
    """A moment on the studio's clock."""
    there = at.replace(tzinfo=UTC).astimezone(zone)
    return f"{day(there)} {there:%H:%M}"


def labels(said: argparse.Namespace, store: Store) -> int:
    """Write the labels as PDF."""
    con = store.cursor()
    works = reading.works(con, reading.today(con))
    codes = [reading.known(con, one) for one in said.object] if said.object else works.loc[works["finished_on"].isna(), "object"].tolist()
    if not codes:
        raise BenchHoursError("no work is on the bench", "Name works with --object.")
    opened = serving.opened()
    if said.address is None and not (opened and opened.door.shut):
        raise BenchHoursError("no server for phones is running, so nobody knows its address", "Say it with --address, or start bench-hours serve --phones.")
    address = printing.checked_address(said.address) if said.address else serving.for_phones(store, opened.place) if opened else ""
    pdf = printing.sheet(codes, address, said.size)
    with written({said.file: pdf}):
        pass
    tell(f"{said.file}: {counted(len(codes), 'label')}, leading to {address}")
    return 0
