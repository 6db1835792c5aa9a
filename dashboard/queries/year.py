"""Hours of the months of a year."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection


def logged_years(con: Connection, as_of: date) -> list[int]:
    """Years in which something was logged by a day."""
    rows = con.execute("SELECT DISTINCT year(day) FROM spells WHERE day <= ?", [as_of]).fetchall()
    return [year for (year,) in rows]


def logged_since(con: Connection, as_of: date) -> date | None:
    """The first day on which something was logged; None where nothing was by a day."""
    row: tuple[date | None] = con.execute("SELECT min(day) FROM spells WHERE day <= ?", [as_of]).fetchall()[0]
    return row[0]


def hours_of_months(con: Connection, first: date, last: date) -> pd.DataFrame:
    """Hours between two days by `month`, `what` they were (chargeable, own_cost, studio) and the name of
    their `line` (of studio time): `hours`.
    """
    return frame(con, "hours_of_months", first=first, last=last)
