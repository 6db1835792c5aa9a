"""Autosaved input: typed on a page and not saved yet, so that a reload loses nothing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now

NEW_WORK = "new work"
FROM_MEMORY = "works from memory"
REJECTED_ROWS = "rejected rows "  # their file and a digest behind it
SETTLED_ROWS = "settled rows"
QUOTE = "quote "  # its number behind it


@dataclass(frozen=True, slots=True)
class Autosaved:
    """A stored value (anything JSON holds), when (UTC), and by which visit: two windows must not overwrite
    each other unasked.
    """

    value: Any
    at: datetime
    by: str


def read(con: Connection, what: str) -> Autosaved | None:
    """The value stored under a name."""
    return read_all(con, what).get(what)


def read_all(con: Connection, begins: str) -> dict[str, Autosaved]:
    """Everything kept under names that begin so, in the order of the names."""
    rows = con.execute(
        "SELECT what, said, kept_at, kept_by FROM unsaved WHERE starts_with(what, ?) ORDER BY what", [begins]
    ).fetchall()
    return {what: Autosaved(json.loads(value), at, by) for what, value, at, by in rows}


def keep(store: Store, what: str, value: Any, by: str) -> Autosaved:
    """Store a value under a name, in place of the one before."""
    now = utc_now()
    with store.writing(counts=False) as con:
        put(con, what, value, by, now)
    return Autosaved(value, now, by)


def replace(store: Store, what: str, instead: Mapping[str, Any], by: str) -> None:
    """Forget what is kept under a name and keep other things instead, in one write."""
    with store.writing(counts=False) as con:
        put_instead(con, what, instead, by)


def put_instead(con: Connection, what: str, instead: Mapping[str, Any], by: str) -> None:
    """The same in the caller's transaction."""
    now = utc_now()
    con.execute("DELETE FROM unsaved WHERE what = ?", [what])
    for name, value in instead.items():
        put(con, name, value, by, now)


def forget(store: Store, what: str) -> None:
    """Delete what is stored under a name."""
    replace(store, what, {}, "")


def put(con: Connection, what: str, value: Any, by: str, now: datetime | None = None) -> None:
    """Store a value in the caller's transaction; `now` is in UTC, by default the machine's clock."""
    con.execute(
        "INSERT OR REPLACE INTO unsaved VALUES (?, ?, ?, ?)",
        [what, now or utc_now(), by, json.dumps(value, ensure_ascii=False)],
    )
