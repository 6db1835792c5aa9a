"""How lines under way came along."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from dashboard.queries.levels import frame_of_compared
from ingest.sql import Connection


def progress(con: Connection, as_of: date) -> pd.DataFrame:
    """What was said along the way of lines, in order: `object`, `phase`, `technique`, `part`, `day`, `done`
    (per cent), `quantity` (treated by then), `hours` (by then), `all_hours`, `last` (nothing was logged on it
    since).
    """
    return frame_of_compared(con, "progress", as_of)


def found_when(con: Connection, as_of: date) -> pd.DataFrame:
    """How far each work was, of its hours by that day, when each line of it was begun: `object`, `phase`,
    `technique`, `part`, `passed` (0 to 1).
    """
    return frame(con, "found_when", as_of=as_of)


def line_history(con: Connection, as_of: date, known_object: str) -> pd.DataFrame:
    """What each version of an estimate, made by a day, said of each line: `phase`, `technique`, `part`,
    `version`, `option`, `made_on`, `approved_on`, `outcome`, `hours`, `quantity`, `worked_hours` (taken over
    from the bench; null: written by hand).
    """
    return frame(con, "line_history", as_of=as_of, object=known_object)
