"""The commands of who may come in: a code for a device, the devices there are, and labels that lead to the form."""

from __future__ import annotations

import argparse
import io
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import segno

from dashboard import labels as printing
from dashboard import options, reading, serving
from dashboard.giving import written
from dashboard.voice import complain, tell
from dashboard.words import counted, day
from ingest.devices import CODE_MINUTES, ROLES, Device, Devices
from ingest.errors import BenchHoursError
from ingest.history import utc_now
from ingest.notation import suggestion
from ingest.settings import read_settings
from ingest.store import Store

SHARED = "several share it"


def whose(one: Device) -> str:
    """Whose a device is, in words."""
    return one.person or ("the principal" if one.role == "principal" else SHARED)


def add_commands(commands: options.Commands) -> None:
    new = commands.add("pair", pair, "made")
    new.add_argument("--role", choices=ROLES, default="principal", help="what it may do: logs (the form only), reviews (where the hours went), principal (all)")
    new.add_argument("--person", metavar="PERSON", help="whose it is (else several share it)")
    new.add_argument("--name", default="", metavar="NAME", help="what to call it")
    commands.add("devices", devices, "there").add_argument("--revoke", metavar="NAME", help="send this device away, at once and for good")
    sheet = commands.add("labels", labels, "there")
    sheet.add_argument("file", type=options.file, metavar="FILE", help="the PDF to write")
    sheet.add_argument("--object", action="append", metavar="OBJECT", help="of this work only; may be said again (else of all on the bench)")
    sheet.add_argument(
        "--size", choices=sorted(printing.SIZES), default="A4", help="a sheet of A4 with 24 labels, or a label of this many mm on a page of its own"
    )
    sheet.add_argument("--address", metavar="ADDRESS", help="of the studio for phones, like https://192.168.1.20:8411 (else that of the running server)")


def pair(args: argparse.Namespace, store: Store) -> int:
    """Make a code that pairs a phone or a laptop, good once and for ten minutes."""
    code = Devices(store).admit(role=args.role, person=args.person, name=args.name)
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


def devices(args: argparse.Namespace, store: Store) -> int:
    """The devices that are paired, and what happened at the door."""
    known = Devices(store)
    listed = known.listed()
    now = utc_now()
    if args.revoke is not None:
        active = {one.name: one for one in listed if one.revoked_at is None}
        if args.revoke not in active:
            raise BenchHoursError(f'"{args.revoke}" is no device that may come in', suggestion(args.revoke, active, "See bench-hours devices for their names."))
        known.revoke(active[args.revoke].device)
        tell(f"{args.revoke} is sent away: it can no longer come in, and what it had open is closed.")
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


def labels(args: argparse.Namespace, store: Store) -> int:
    """Labels for works, to print: a QR code that opens the form on the work, and the code of the work. No title, no owner."""
    con = store.cursor()
    works = reading.works(con, reading.today(con))
    codes = [reading.known(con, one) for one in args.object] if args.object else works.loc[works["finished_on"].isna(), "object"].tolist()
    if not codes:
        raise BenchHoursError("no work is on the bench", "Name works with --object.")
    opened = serving.opened()
    if args.address is None and not (opened and opened.door.shut):
        raise BenchHoursError("no server for phones is running, so nobody knows its address", "Say it with --address, or start bench-hours serve --phones.")
    address = printing.checked_address(args.address) if args.address else serving.for_phones(store, opened.place) if opened else ""
    pdf = printing.sheet(codes, address, args.size)
    with written({args.file: pdf}):
        pass
    tell(f"{args.file}: {counted(len(codes), 'label')}, leading to {address}")
    return 0
