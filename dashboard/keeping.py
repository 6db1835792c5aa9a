"""The commands of safe keeping: everything out, a backup, and the way back."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, date
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb

from dashboard import options
from dashboard.voice import complain, tell
from dashboard.words import counted, day
from ingest import backup, integrity
from ingest import export as leaving
from ingest.backup import Copy
from ingest.phone.inbox import Inbox
from ingest.settings import read_settings
from ingest.store import Store

SHOWN_FAULTS = 12
STALE_DAYS = 14
_PATIENCE_S = 2.0


def add_commands(commands: options.Commands) -> None:
    out = commands.add("export", export, "there")
    out.add_argument("folder", type=options.file, metavar="DIR")
    out.add_argument(
        "--private", action="store_true", help="titles, owners and addresses too, and what is half written: for your own keeping, not to be shared"
    )
    kept = commands.add("backup", back_up, "there")
    kept.add_argument(
        "file", nargs="?", type=options.file, metavar="FILE", help="where to; a folder, or nothing (beside the database), for a name with day and form"
    )
    back = commands.add("restore", restore, "file")
    back.add_argument("file", type=options.file, metavar="FILE")
    back.add_argument("--force", action="store_true", help="also where there is a database already, which is kept beside it")


def export(args: argparse.Namespace, store: Store) -> int:
    """Write everything held into a folder as CSV; brought into a new database it is the same again."""
    for one in leaving.export(store, args.folder, private=args.private):
        tell(f"{one.file}: {one.kind}, {counted(one.rows, 'row')}")
    if args.private:
        complain("Titles, owners and addresses are in these files: keep them to yourself.")
    else:
        complain(
            "Titles, owners, addresses and what is half written stay here (--private writes them too). Notes leave as they are: read them before you share."
        )
    return 0


def back_up(args: argparse.Namespace, store: Store) -> int:
    """Write a copy of the whole database, look at it, and see whether the record holds together."""
    copy = backup.back_up(store, args.file)
    tell(f"{copy.file}: {holds(copy)}; opened again, counted and found equal")
    if not copy.faults:
        tell("The record holds together.")
    return _tell_faults(copy.faults)


def restore(args: argparse.Namespace, store: Store | None) -> int:
    """Put a backup in the place of the database."""
    if store is None:  # nobody serves it
        path = options.database(args)
        copy, kept = backup.restore(args.file, path, force=args.force)
    else:
        path = Path(store.path)
        if not args.force:
            raise backup.not_unforced(path)
        copy, before = backup.bring_back(store, args.file)
        kept = before.file
    tell(f"{path}: restored from {copy.file}, with {holds(copy)}")
    if kept:
        tell(f"What was there before is kept in {kept}")
    return _tell_faults(copy.faults)


def holds(copy: Copy) -> str:
    """What a copy holds, in words."""
    last = f", the last entry of {copy.last_day}" if copy.last_day else ""
    return f"{counted(copy.works, 'work')}, {counted(copy.entries, 'entry', 'entries')}{last}, form {copy.form}"


def last_backup(con: duckdb.DuckDBPyConnection) -> str:
    """When the last backup was made, on the studio's clock, and where."""
    last = backup.last(con)
    if last is None:
        return "No backup was made yet."
    there = last.made_at.replace(tzinfo=UTC).astimezone(ZoneInfo(read_settings(con).zone))
    held = f"{counted(last.works, 'work')}, {counted(last.entries, 'entry', 'entries')}"
    return f"Last backup: {day(there)} at {there:%H:%M}, with {held}, in {last.file}."


def overdue(con: duckdb.DuckDBPyConnection, today: date) -> str:
    """That a backup is wanted, as there is none or it is no longer fresh; nothing where all is well."""
    last = backup.last(con)
    if last is None:
        return "No backup was made yet: a disk can fail."
    days = (today - last.made_at.date()).days
    return f"The last backup was made {days} days ago: a disk can fail." if days >= STALE_DAYS else ""


def settle_what_phones_sent(store: Store) -> None:
    """What phones sent and no server came to settle comes into the record before a command looks at it, as far as that takes no longer than a person waits; what waits still is said."""
    inbox = Inbox(store)
    if waiting := inbox.catch_up(within_s=_PATIENCE_S):
        why = inbox.why_waiting
        more = "; what waits comes in while the pages are served, and with each command" if why is None else f", as {why}"
        complain(f"{counted(waiting, 'entry or word on one', 'entries and words on them')} that phones sent {'waits' if waiting == 1 else 'wait'} still{more}")


def tell_how_it_is(store: Store) -> None:
    """Before the pages open: what does not hold together, and when the last backup was made."""
    with store.reading() as con:
        _tell_faults(integrity.faults(con))
        complain(last_backup(con))


def _tell_faults(faults: Sequence[integrity.Fault]) -> int:
    for fault in faults[:SHOWN_FAULTS]:
        complain(f"the record does not hold together: {fault}")
    if len(faults) > SHOWN_FAULTS:
        complain(f"and {len(faults) - SHOWN_FAULTS} more faults")
    return 1 if faults else 0
