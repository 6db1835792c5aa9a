"""What is written on a page and not saved yet: kept until it is saved or thrown away, so that a reload loses nothing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import duckdb

from ingest.history import utc_now
from ingest.store import Store

NEW_WORK = "new work"
REJECTED_ROWS = "rejected rows "  # their file and a digest behind it
SETTLED_ROWS = "settled rows"
QUOTE = "quote "  # its number behind it


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept (anything that JSON can say), when, in UTC, and from which visit: two windows must not overwrite each other without a word."""

    said: Any
    at: datetime
    by: str


def read(con: duckdb.DuckDBPyConnection, what: str) -> Kept | None:
    """What is kept under a name."""
    return read_all(con, what).get(what)


def read_all(con: duckdb.DuckDBPyConnection, begins: str) -> dict[str, Kept]:
    """Everything kept under names that begin so, in the order of the names."""
    rows = con.execute("SELECT what, said, kept_at, kept_by FROM unsaved WHERE starts_with(what, ?) ORDER BY what", [begins]).fetchall()
    return {what: Kept(json.loads(said), at, by) for what, said, at, by in rows}


def keep(store: Store, what: str, said: Any, by: str) -> Kept:
    """Keep it as it stands now, in place of what was kept under the name."""
    now = utc_now()
    with store.writing(counts=False) as con:
        put(con, what, said, by, now)
    return Kept(said, now, by)


def replace(store: Store, what: str, instead: Mapping[str, Any], by: str) -> None:
    """Forget what is kept under a name and keep other things instead, in one write."""
    now = utc_now()
    with store.writing(counts=False) as con:
        con.execute("DELETE FROM unsaved WHERE what = ?", [what])
        for name, said in instead.items():
            put(con, name, said, by, now)


def forget(store: Store, what: str) -> None:
    """It is saved, or thrown away."""
    replace(store, what, {}, "")


def put(con: duckdb.DuckDBPyConnection, what: str, said: Any, by: str, now: datetime | None = None) -> None:
    """Keep it inside the caller's transaction; `now` in UTC, the machine's clock where not given."""
    con.execute("INSERT OR REPLACE INTO unsaved VALUES (?, ?, ?, ?)", [what, now or utc_now(), by, json.dumps(said, ensure_ascii=False)])
