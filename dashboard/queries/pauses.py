"""Hours of one person on techniques with a caution."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection
from ingest.studio.settings import read_settings

# on works: what studio time is has no caution
_WITHOUT_TECHNIQUE = """
SELECT coalesce(sum(s.hours), 0) FROM spells AS s JOIN lines AS l ON l.line = s.line
WHERE s.person = $person AND s.day BETWEEN $since AND $as_of AND l.object IS NOT NULL AND l.technique = ''
    AND s.mode <> 'unattended'
"""


def hours_without_technique(con: Connection, as_of: date, person: str, since: date) -> float:
    """Hours of one person that were logged on whole phases or works, so that no caution is known of them."""
    values = {"as_of": as_of, "person": person, "since": since}
    return float(con.execute(_WITHOUT_TECHNIQUE, values).fetchall()[0][0])


def cautioned(con: Connection, as_of: date, person: str, since: date) -> pd.DataFrame:
    """One person's entries on techniques that carry a caution: `day`, `started_at`, `ended_at` (UTC),
    `begins`, `ends` (on the studio's clock; null: entered without), `technique`, `cautions`, `mode`, `hours`,
    `counted_hours`.
    """
    return frame(con, "cautioned", as_of=as_of, person=person, since=since, zone=read_settings(con).zone)
