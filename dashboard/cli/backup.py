"""The commands `export`, `backup` and `restore`."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from dashboard.cli import options
from dashboard.cli.caller import write_err, write_out
from dashboard.formatting import counted
from dashboard.text.backup import content, last_backup
from ingest.phone.inbox import Inbox
from ingest.safekeeping import backup, integrity
from ingest.safekeeping import export as full_export
from ingest.safekeeping import restore as backup_restore
from ingest.store import Store
from ingest.studio.settings import read_settings

SHOWN_FAULTS = 12
_PHONE_ACTIONS_S = 2.0


def add_commands(commands: options.Commands) -> None:
    out = commands.add("export", export, "there")
    out.add_argument("folder", type=options.file, metavar="DIR")
    options.add_flags(
        out,
        private="titles, owners and addresses too, and what is half written: for your own keeping, not to be"
        " shared",
    )
    copied = commands.add("backup", back_up, "there")
    where = "where to; a folder, or nothing (beside the database), for a name with day and form"
    copied.add_argument("file", nargs="?", type=options.file, metavar="FILE", help=where)
    restored = commands.add("restore", restore, "file")
    restored.add_argument("file", type=options.file, metavar="FILE")
    options.add_flags(restored, force="also where there is a database already, which is kept beside it")


def export(args: argparse.Namespace, store: Store) -> int:
    """Write everything held into a folder as CSV; brought into a new database it is the same again."""
    for item in full_export.export(store, args.folder, private=args.private):
        write_out(f"{item.file}: {item.kind}, {counted(item.rows, 'row')}")
    if args.private:
        write_err("Titles, owners and addresses are in these files: keep them to yourself.")
    else:
        write_err(
            "Titles, owners, addresses and what is half written stay here (--private writes them too). Notes"
            " leave as they are: read them before you share."
        )
    return 0


def back_up(args: argparse.Namespace, store: Store) -> int:
    """Write a copy of the whole database, look at it, and see whether the record holds together."""
    copy = backup.back_up(store, args.file)
    write_out(f"{copy.file}: {content(copy)}; opened again, counted and found equal")
    if not copy.faults:
        write_out("The record holds together.")
    return _print_faults(copy.faults)


def restore(args: argparse.Namespace, store: Store | None) -> int:
    """Put a backup in the place of the database."""
    if store is None:  # nobody serves it
        path = options.database(args)
        copy, replaced = backup_restore.restore(args.file, path, force=args.force)
    else:
        path = Path(store.path)
        if not args.force:
            raise backup_restore.exists_error(path)
        copy, replaced_copy = backup_restore.restore_into(store, args.file)
        replaced = replaced_copy.file
    write_out(f"{path}: restored from {copy.file}, with {content(copy)}")
    if replaced:
        write_out(f"What was there before is kept in {replaced}")
    return _print_faults(copy.faults)


def apply_phone_actions(store: Store) -> None:
    """Apply what phones sent, within some seconds, before a command reads; write how much still waits."""
    inbox = Inbox(store)
    if waiting := inbox.catch_up(within_s=_PHONE_ACTIONS_S):
        why = inbox.why_waiting
        more = (
            "; what waits comes in while the pages are served, and with each command"
            if why is None
            else f", as {why}"
        )
        write_err(
            f"{counted(waiting, 'entry or word on one', 'entries and words on them')} that phones sent"
            f" {'waits' if waiting == 1 else 'wait'} still{more}"
        )


def print_state(store: Store) -> None:
    """Write the faults of the record, and when the last backup was made."""
    with store.reading() as con:
        _print_faults(integrity.faults(con))
        write_err(last_backup(backup.last(con), read_settings(con).zone))


def _print_faults(faults: Sequence[integrity.Fault]) -> int:
    for fault in faults[:SHOWN_FAULTS]:
        write_err(f"the record does not hold together: {fault}")
    if len(faults) > SHOWN_FAULTS:
        write_err(f"and {len(faults) - SHOWN_FAULTS} more faults")
    return 1 if faults else 0
