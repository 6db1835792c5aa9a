"""A person's hours count once: attended time is counted again wherever a write touches it."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.sql import Connection, statement

_STORED = "(SELECT rowid AS id, * FROM spells)"


def touch(con: Connection, person_days: str, values: Sequence[object] = ()) -> bool:
    """Note the person-days of a query (`person`, `day`; `values` are bound to it) to be counted again;
    whether there are any.
    """
    con.execute(f"CREATE OR REPLACE TEMP TABLE touched AS {person_days}", values)
    any_touched: bool = con.execute("SELECT EXISTS (FROM touched)").fetchall()[0][0]
    return any_touched


def count_hours(con: Connection, spells: str = _STORED) -> None:
    """Leave in the temporary table `recounted` (`id`, `counted_hours`) the attended spells of the person-days
    touched that count otherwise than they should; `spells` are those held, or others of the same columns.
    """
    con.execute(statement("ingest.tables", "recount_hours", spells=spells))


def recounted(con: Connection) -> None:
    """Leave in the temporary table `recounted` every attended spell held that counts otherwise than it
    should.
    """
    touch(con, "SELECT DISTINCT person, day FROM spells WHERE mode = 'attended' AND started_at IS NOT NULL")
    count_hours(con)


def recount(con: Connection) -> None:
    """Count the attended spells of the person-days touched again."""
    count_hours(con)
    con.execute(
        """UPDATE spells SET counted_hours = recounted.counted_hours
        FROM recounted
        WHERE spells.rowid = recounted.id"""
    )
