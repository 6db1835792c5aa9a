"""What was promised of works, and what they took."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection


def approved_promises(con: Connection, as_of: date) -> pd.DataFrame:
    """What the latest approved version of each work promises: `object`, `version`, `approved_on`,
    `approved_hours` (null: a line of it has no hours), `price`, `currency`, `costs` (without tax),
    `tax_in_price` and `tax_per_cent` (null: the version does not say, see `dashboard.services.prices`),
    `first_stage` (it is of a first stage alone).
    """
    return frame(con, "approved_promises", as_of=as_of)


def approved_lines(con: Connection, as_of: date) -> pd.DataFrame:
    """The lines of the latest approved version of each work: `object`, `phase`, `technique`, `part`, `hours`,
    `quantity` (null: not known), `person` (empty: nobody in particular), `unattended_hours`, `note`.
    """
    return frame(con, "approved_lines", as_of=as_of)


def ranges_by_hand(con: Connection, as_of: date) -> pd.DataFrame:
    """Lines with a range by hand in the version by which their work stands on a day: `object`, `phase`,
    `technique`, `part`, `low_hours`, `high_hours`.
    """
    return frame(con, "ranges_by_hand", as_of=as_of)


def promises(con: Connection, as_of: date) -> pd.DataFrame:
    """What was promised of each work when it began: `object`, `version`, `made_on`, `approved_on`, `quoted`,
    `confidence` (in 100; null: a point), `p10`, `p50`, `p80`, `p90`, `promised_hours`, `approvals`,
    `revised_hours` (by the latest approved version, where that is a later one).
    """
    return frame(con, "promises", as_of=as_of)


def outcomes(con: Connection, as_of: date) -> pd.DataFrame:
    """Every version of every estimate, the latest first: `object`, `version`, `made_on`, `quote` (its
    number), `quoted`, `outcome`, `on_day`, `reason`.
    """
    return frame(con, "outcomes", as_of=as_of)
