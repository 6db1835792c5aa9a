"""Versions and works that are held by other words and were left as they were: decided once, and kept among
the rows held back, so that their file may come again.
"""

from __future__ import annotations

from ingest.importing.row_status import RowStatus
from ingest.importing.rows import Rows, SaidOtherwise
from ingest.sql import Connection
from ingest.tables.audit_log import Change


def mark_left(con: Connection, said_otherwise: SaidOtherwise, held_otherwise: str, status: RowStatus) -> None:
    """Mark the rows that are left as they were, now or once before, as held.

    It fills the table `held_otherwise`.

    Parameters
    ----------
    held_otherwise : SQL query of `row`, `entry` (in which the row is held) and `content` (UUID, of all that
        is said now and of the entry).
    """
    con.execute(f"CREATE OR REPLACE TEMP TABLE held_otherwise AS {held_otherwise}")
    if said_otherwise.become == "left out":
        status.mark("already held", "FROM held_otherwise")
    elif said_otherwise.become == "ask":
        status.mark(
            "already held",
            """SELECT "row" FROM held_otherwise
            WHERE content IN (SELECT content FROM held_back WHERE decided = 'left out')""",
        )


def store_left(con: Connection, rows: Rows, change: Change) -> None:
    """Keep for good what is left as it was, in the caller's transaction."""
    said_otherwise = rows.said_otherwise
    if said_otherwise is None or said_otherwise.become != "left out" or said_otherwise.entries.empty:
        return
    con.execute(
        """INSERT INTO held_back
        SELECT h.content, 1, any_value(h.entry), ?, min(l.line), ?,
            to_json(arg_min(r, l.line)), 'left out'
        FROM held_otherwise AS h JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row")
        JOIN row_status AS s ON s."row" = h."row" AND s.status = 'already held'
        GROUP BY h.content
        ON CONFLICT DO UPDATE SET decided = excluded.decided""",
        [rows.name, change.at],
    )
