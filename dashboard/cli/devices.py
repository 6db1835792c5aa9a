"""The commands of who may come in: a code for a device, the devices there are, and labels that lead to the
form.
"""

from __future__ import annotations

import argparse
import io
from zoneinfo import ZoneInfo

import segno

from dashboard import queries
from dashboard.cli import options
from dashboard.cli.caller import write_err, write_out
from dashboard.cli.output import writing
from dashboard.documents import labels as labels_document
from dashboard.formatting import counted
from dashboard.server import state as server_state
from dashboard.text.devices import moment, state, way_to_pair, whose
from ingest.devices import CODE_MINUTES, ROLES, Devices
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.tables.audit_log import utc_now
from ingest.values.spelling import suggestion


def add_commands(commands: options.Commands) -> None:
    new = commands.add("pair", pair, "made")
    may = "what it may do: logs (the form only), reviews (where the hours went), principal (all)"
    options.add_choice(new, "--role", ROLES, may, "principal")
    new.add_argument("--person", help="whose it is (else several share it)")
    new.add_argument("--name", default="", help="what to call it")
    commands.add("devices", devices, "there").add_argument(
        "--revoke", metavar="NAME", help="send this device away, at once and for good"
    )
    sheet = commands.add("labels", labels, "there")
    sheet.add_argument("file", type=options.file, metavar="FILE", help="the PDF to write")
    sheet.add_argument(
        "--object", action="append", help="of this work only; may be said again (else of all on the bench)"
    )
    size = "a sheet of A4 with 24 labels, or a label of this many mm on a page of its own"
    options.add_choice(sheet, "--size", sorted(labels_document.SIZES), size, "A4")
    sheet.add_argument(
        "--address",
        help="of the studio for phones, like https://192.168.1.20:8411 (else that of the running server)",
    )


def pair(args: argparse.Namespace, store: Store) -> int:
    """Make a code that pairs a phone or a laptop, good once and for ten minutes."""
    code = Devices(store).admit(role=args.role, person=args.person, name=args.name)
    server = server_state.running_server()
    if server and not server.access.pairing_required:
        write_err(
            "The server that runs is open to this machine only, which needs no pairing: start it with"
            " --phones."
        )
    if not (server and server.access.pairing_required):
        write_out(
            f"{code}   good once, for {CODE_MINUTES} minutes: start bench-hours serve --phones, open /pair"
            " there, and type it."
        )
        return 0
    address = server_state.phone_address(store, server.config)
    if server.authority:
        write_out(f"So that it trusts the studio, first: {address}/certificate")
        write_out(f"Fingerprint of the certificate to be trusted (SHA-256): {server.authority.fingerprint}")
    write_out(f"{code}   good once, for {CODE_MINUTES} minutes: open {address}/pair and type it, or scan:")
    drawn = io.StringIO()
    segno.make(way_to_pair(address, code), error="m").terminal(drawn, compact=True, border=2)
    write_out(drawn.getvalue())
    return 0


def devices(args: argparse.Namespace, store: Store) -> int:
    """The devices that are paired, and what happened at the door."""
    registry = Devices(store)
    paired = registry.listed()
    now = utc_now()
    if args.revoke is not None:
        active = {item.name: item for item in paired if item.revoked_at is None}
        if args.revoke not in active:
            raise BenchHoursError(
                f'"{args.revoke}" is no device that may come in',
                suggestion(args.revoke, active, "See bench-hours devices for their names."),
            )
        registry.revoke(active[args.revoke].device)
        write_out(f"{args.revoke} is sent away: it can no longer come in, and what it had open is closed.")
        return 0
    if not paired:
        write_out("No device is paired: bench-hours pair makes a code for one.")
    zone = ZoneInfo(read_settings(store.cursor()).zone)
    for item in paired:
        write_out(f"{item.name}: {state(item, now, zone)}; {item.role}, {whose(item)}")
    for event in registry.events():
        write_out(
            f"{moment(event.last_at, zone)}: {event.what},"
            f" {event.about}{f', {event.times:,} times' if event.times > 1 else ''}"
        )
    return 0


def labels(args: argparse.Namespace, store: Store) -> int:
    """Labels for works, to print: a QR code that opens the form on the work, and the code of the work. No
    title, no owner.
    """
    con = store.cursor()
    works = queries.works(con, queries.today(con))
    codes = (
        [queries.known(con, item) for item in args.object]
        if args.object
        else works.loc[works["finished_on"].isna(), "object"].tolist()
    )
    if not codes:
        raise BenchHoursError("no work is on the bench", "Name works with --object.")
    server = server_state.running_server()
    if args.address is None and not (server and server.access.pairing_required):
        raise BenchHoursError(
            "no server for phones is running, so nobody knows its address",
            "Say it with --address, or start bench-hours serve --phones.",
        )
    address = (
        labels_document.checked_address(args.address)
        if args.address
        else server_state.phone_address(store, server.config)
        if server
        else ""
    )
    pdf = labels_document.sheet(codes, address, args.size)
    with writing({args.file: pdf}):
        pass
    write_out(f"{args.file}: {counted(len(codes), 'label')}, leading to {address}")
    return 0
