"""The commands of safe keeping: everything out, a backup, and the way back."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, date
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb

from dashboard.voice import complain, tell
from dashboard.words import counted, day
from ingest import backup, integrity
from ingest import export as leaving
from ingest.backup import Copy
from ingest.phone.inbox import Inbox
from ingest.settings import read_settings
from ingest.store import Store, default_path

SHOWN_FAULTS = 12
STALE_DAYS = 14


def export(said: argparse.Namespace, store: Store) -> int:
    """Write everything into a folder."""
    for one in leaving.export(store, said.folder, private=said.private):
        tell(f"{one.file}: {one.kind}, {counted(one.rows, 'row')}")
    if said.private:
        complain("Titles, owners and addresses are in these files: keep them to yourself.")
    else:
        complain(
            "Titles, owners, addresses and what is half written stay here (--private writes them too). Notes leave as they are: read them before you share."
        )
    return 0


def back_up(said: argparse.Namespace, store: Store) -> int:
    """Write a backup and say what it holds; 1 where the record does not hold together."""
    copy = backup.back_up(store, said.file)
    tell(f"{copy.file}: {holds(copy)}; opened again, counted and found equal")
    if not copy.faults:
        tell("The record holds together.")
    return _tell_faults(copy.faults)


def restore(said: argparse.Namespace, store: Store | None) -> int:
    """Put a backup in the place of the database, whether it is being served or lies closed."""
    if store is None:
        path = said.db or default_path()
        copy, kept = backup.restore(said.file, path, force=said.force)
    else:
        path = Path(store.path)
        if not said.force:
            raise backup.not_unforced(path)
        copy, before = backup.bring_back(store, said.file)
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
    """What phones sent and no server came to settle comes into the record before a command looks at it."""
    inbox = Inbox(store)
    inbox.catch_up()
    if inbox.trouble:
        complain(f"what phones sent waits still, as {inbox.trouble}")


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
