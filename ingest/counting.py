"""A person's hours count once: attended time is counted again wherever a write touches it."""

from __future__ import annotations

import duckdb

from ingest.sql import statement


def recounted(con: duckdb.DuckDBPyConnection) -> None:
    """Leave in the temporary table `recounted` every attended spell that counts otherwise than it should."""
    con.execute("CREATE OR REPLACE TEMP TABLE touched AS SELECT DISTINCT person, day FROM spells WHERE mode = 'attended' AND started_at IS NOT NULL")
    con.execute(statement("ingest.queries", "recount_hours"))


def recount(con: duckdb.DuckDBPyConnection) -> None:
    """Count again the attended spells of the person-days in the temporary table `touched` (person, day)."""
    if con.execute("SELECT EXISTS (FROM touched)").fetchall()[0][0]:
        con.execute(statement("ingest.queries", "recount_hours"))
        con.execute("UPDATE spells SET counted_hours = recounted.counted_hours FROM recounted WHERE spells.rowid = recounted.id")
