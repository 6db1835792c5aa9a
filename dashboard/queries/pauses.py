"""Hours of one person on techniques with a caution."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection
from ingest.studio.settings import read_settings


def cautioned(con: Connection, as_of: date, person: str, since: date) -> pd.DataFrame:
    """One person's entries on techniques that carry a caution: `day`, `started_at`, `ended_at` (UTC),
    `begins`, `ends` (on the studio's clock; null: entered without), `technique`, `cautions`, `mode`, `hours`,
    `counted_hours`.
    """
    return frame(con, "cautioned", as_of=as_of, person=person, since=since, zone=read_settings(con).zone)
