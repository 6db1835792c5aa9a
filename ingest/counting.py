"""A person's hours count once: attended time is counted again wherever a write touches it."""

from __future__ import annotations

from collections.abc import Sequence

import duckdb

from ingest.sql import statement

_HELD = "(SELECT rowid AS id, * FROM spells)"


def touch(con: duckdb.DuckDBPyConnection, person_days: str, values: Sequence[object] = ()) -> bool:
    """Note the person-days of a query (`person`, `day`; `values` are bound to it) to be counted again; whether there are any."""
    con.execute(f"CREATE OR REPLACE TEMP TABLE touched AS {person_days}", values)
    found: bool = con.execute("SELECT EXISTS (FROM touched)").fetchall()[0][0]
    return found


def count_out(con: duckdb.DuckDBPyConnection, spells: str = _HELD) -> None:
    """Leave in the temporary table `recounted` (`id`, `counted_hours`) the attended spells of the person-days touched that count otherwise than they should;
    `spells` are those held, or others of the same columns."""
    con.execute(statement("ingest.queries", "recount_hours").replace("{spells}", spells))


def recounted(con: duckdb.DuckDBPyConnection) -> None:
    """Leave in the temporary table `recounted` every attended spell held that counts otherwise than it should."""
    touch(con, "SELECT DISTINCT person, day FROM spells WHERE mode = 'attended' AND started_at IS NOT NULL")
    count_out(con)


def recount(con: duckdb.DuckDBPyConnection) -> None:
    """Count the attended spells of the person-days touched again."""
    count_out(con)
    con.execute("UPDATE spells SET counted_hours = recounted.counted_hours FROM recounted WHERE spells.rowid = recounted.id")
