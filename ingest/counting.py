"""A person's hours count once: attended time is counted again wherever a write touches it."""

from __future__ import annotations

import duckdb

from ingest.sql import statement


def recount(con: duckdb.DuckDBPyConnection) -> None:
    """Count again the attended spells of the person-days in the temporary table `touched` (person, day)."""
    if con.execute("SELECT EXISTS (FROM touched)").fetchall()[0][0]:
        con.execute(statement("ingest.queries", "recount_hours"))
        con.execute("UPDATE spells SET counted_hours = recounted.counted_hours FROM recounted WHERE spells.rowid = recounted.id")
