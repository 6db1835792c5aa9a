"""What the bench plan is made of: planned waiting, what is waiting now, the hours of past weeks."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

import pandas as pd

from dashboard.queries.base import frame
from dashboard.queries.levels import compared_together, frame_of_compared
from ingest.sql import Connection

_WAITING_IN_HAND = """
SELECT w.object, coalesce(l.phase, w.phase), coalesce(l.technique, w.technique), coalesce(l.part, w.part),
    min(w.in_hand_since) AS since
FROM spells_in_hand AS w
LEFT JOIN lines AS o ON o.object = w.object AND o.phase = w.phase AND o.technique = w.technique
    AND o.part = w.part
LEFT JOIN lines_under($members, $heads) AS l ON l.line = o.line
WHERE w.mode = 'unattended' AND w.object IS NOT NULL AND w.in_hand_since < $moment
GROUP BY ALL ORDER BY ALL
"""


def planned_lines(con: Connection, as_of: date, objects: Collection[str]) -> pd.DataFrame:
    """What the yardsticks of works say of each line beside its hours.

    Frame with `object`, `phase`, `technique`, `part`, `planned_wait_hours` (null: nobody said), `person`
    (null: nobody in particular).
    """
    return frame_of_compared(con, "planned_lines", as_of, objects=list(objects))


def waiting_in_hand(con: Connection, moment: datetime) -> dict[tuple[str, str, str, str], datetime]:
    """Lines on which something waits alone that nobody has ended yet: object, phase, technique, part, and
    since when (UTC).
    """
    members, heads = compared_together(con, moment.date())
    rows = con.execute(_WAITING_IN_HAND, {"moment": moment, "members": members, "heads": heads}).fetchall()
    return {(row[0], row[1], row[2], row[3]): row[4] for row in rows}


def bench_weeks(con: Connection, as_of: date, weeks: int) -> pd.DataFrame:
    """Hours of each person of the studio on works in the whole weeks behind a day: `person`, `week` (its
    Monday), `hours`.
    """
    return frame(con, "bench_weeks", as_of=as_of, weeks=weeks)
