"""What the bench plan is made of: planned waiting, what is waiting now, the hours of past weeks."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection

_WAITING_IN_HAND = """
SELECT object, phase, technique, part, min(in_hand_since) AS since
FROM spells_in_hand
WHERE mode = 'unattended' AND object IS NOT NULL AND in_hand_since < $moment
GROUP BY ALL ORDER BY ALL
"""


def planned_lines(con: Connection, as_of: date, objects: Collection[str]) -> pd.DataFrame:
    """What the yardsticks of works say of each line beside its hours.

    Frame with `object`, `phase`, `technique`, `part`, `planned_wait_hours` (null: nobody said), `person`
    (null: nobody in particular).
    """
    return frame(con, "planned_lines", as_of=as_of, objects=list(objects))


def waiting_in_hand(con: Connection, moment: datetime) -> dict[tuple[str, str, str, str], datetime]:
    """Lines on which something waits alone that nobody has ended yet: object, phase, technique, part, and
    since when (UTC).
    """
    return {
        (row[0], row[1], row[2], row[3]): row[4]
        for row in con.execute(_WAITING_IN_HAND, {"moment": moment}).fetchall()
    }


def bench_weeks(con: Connection, as_of: date, weeks: int) -> pd.DataFrame:
    """Hours of each person of the studio on works in the whole weeks behind a day: `person`, `week` (its
    Monday), `hours`.
    """
    return frame(con, "bench_weeks", as_of=as_of, weeks=weeks)
