"""What is written on a page and not saved yet: kept until it is saved or thrown away, so that a reload loses nothing."""

from __future__ import annotations

import json
from typing import Any

import duckdb

from ingest.history import utc_now
from ingest.store import Store


def read(con: duckdb.DuckDBPyConnection, what: str) -> Any:
    """What is kept under a name, or None."""
    found = con.execute("SELECT said FROM unsaved WHERE what = ?", [what]).fetchall()
    return json.loads(found[0][0]) if found else None


def read_all(con: duckdb.DuckDBPyConnection, begins: str) -> dict[str, Any]:
    """Everything kept under names that begin so, in the order of the names."""
    rows = con.execute("SELECT what, said FROM unsaved WHERE starts_with(what, ?) ORDER BY what", [begins]).fetchall()
    return {what: json.loads(said) for what, said in rows}


def keep(store: Store, what: str, said: Any) -> None:
    """Keep it as it stands now (anything that JSON can say), in place of what was kept under the name."""
    with store.writing() as con:
        con.execute("INSERT OR REPLACE INTO unsaved VALUES (?, ?, ?)", [what, utc_now(), json.dumps(said, ensure_ascii=False)])


def forget(store: Store, what: str) -> None:
    """It is saved, or thrown away."""
    with store.writing() as con:
        con.execute("DELETE FROM unsaved WHERE what = ?", [what])
