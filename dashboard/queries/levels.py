"""Lines as they are compared: under the line that was estimated; see `dashboard.analysis.data.levels`."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.analysis.data.levels import LineHierarchy
from dashboard.queries.base import frame
from ingest.sql import Connection


def compared_together(con: Connection, as_of: date) -> tuple[list[int], list[int]]:
    """Numbers of the lines that are compared under another one on a day, and of that one: none where every
    line names its technique.
    """
    lines = frame(con, "lines_of_wholes", as_of=as_of)
    heads = LineHierarchy(lines).heads(lines["estimated"].to_numpy(), lines["logged"].to_numpy())
    number = lines["line"].to_numpy()
    under = number[heads] != number
    return number[under].tolist(), number[heads][under].tolist()


def frame_of_compared(con: Connection, query: str, as_of: date, **values: object) -> pd.DataFrame:
    """The answer to a query of lines as they are compared on a day: it has `$members` and `$heads`."""
    members, heads = compared_together(con, as_of)
    return frame(con, query, as_of=as_of, members=members, heads=heads, **values)
