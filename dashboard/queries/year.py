"""Hours of the months of a year."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection

_REMEMBERED_LINES = "SELECT line FROM lines WHERE object IN (SELECT object FROM objects WHERE remembered)"


def logged_years(con: Connection, as_of: date) -> list[int]:
    """Years in which something was logged by a day."""
    rows = con.execute("SELECT DISTINCT year(day) FROM spells WHERE day <= ?", [as_of]).fetchall()
    return [year for (year,) in rows]


def logged_since(con: Connection, as_of: date) -> date | None:
    """The first day on which something was logged; None where nothing was by a day. What was told from memory
    was not.
    """
    row: tuple[date | None] = con.execute(
        f"SELECT min(day) FROM spells WHERE day <= ? AND line NOT IN ({_REMEMBERED_LINES})", [as_of]
    ).fetchall()[0]
    return row[0]


def remembered_hours(con: Connection, first: date, last: date) -> tuple[float, int]:
    """Hours told from memory that are dated between two days, and on how many works."""
    row: tuple[float, int] = con.execute(
        f"""SELECT coalesce(sum(s.counted_hours), 0), count(DISTINCT l.object) FROM spells AS s
        JOIN lines AS l ON l.line = s.line
        WHERE s.day BETWEEN ? AND ? AND s.line IN ({_REMEMBERED_LINES})""",
        [first, last],
    ).fetchall()[0]
    return row


def hours_of_months(con: Connection, first: date, last: date) -> pd.DataFrame:
    """Hours between two days by `month`, `what` they were (chargeable, own_cost, studio) and the name of
    their `line` (of studio time): `hours`.
    """
    return frame(con, "hours_of_months", first=first, last=last)
