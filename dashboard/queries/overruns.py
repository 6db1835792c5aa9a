"""Estimated against actual hours of lines, and the version that they are held against."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.levels import frame_of_compared
from ingest.sql import Connection

# Keys of `overruns` that others depend on, in their order; more stand behind.
OVERRUN_KEYS = (
    *("object", "phase", "technique", "part", "estimated_hours", "first_approved_hours", "actual_hours"),
    *("difference_hours", "more_to_do_hours", "slower_hours", "unforeseen_hours", "not_needed_hours"),
    "finished",
)


def overruns(con: Connection, as_of: date, known_object: str | None = None) -> pd.DataFrame:
    """Estimated against actual hours of every line as things stood on a day.

    Parameters
    ----------
    con : a cursor of the store.
    as_of : entries, versions, approvals and milestones after this day are left out.
    known_object : only this object; its code as held (see `known`).

    Returns
    -------
    Frame with `OVERRUN_KEYS` and `yardstick` (approved, made, none), `yardstick_version` (its number),
    `extra_hours`, `own_cost_hours`, `unattended_hours` (elapsed), `unit`, `estimated_quantity`,
    `actual_quantity`, `quantity_incomplete`, `done` (per cent), `discovery`, `entries`, `position` (of the
    phase; null: the work as a whole), `level` (0 a technique, 1 one part of a phase as a whole, 2 a phase, 3
    the work), `finished_on` (timestamps; null while open), `last_day` (of the last entry that keeps it open).
    Hours are decimal; unknown is null.
    """
    lines = frame_of_compared(con, "overruns", as_of)
    return lines if known_object is None else lines[lines["object"] == known_object].reset_index(drop=True)


def yardstick(con: Connection, as_of: date, known_object: str) -> tuple[int, bool] | None:
    """The version by which a work stands on a day, and whether it was approved by then; None where none
    stands.
    """
    rows: list[tuple[int, bool]] = con.execute(
        "SELECT version, approved FROM yardsticks(?) WHERE object = ?", [as_of, known_object]
    ).fetchall()
    return rows[0] if rows else None


def logged_under(con: Connection, as_of: date, known_object: str) -> pd.DataFrame:
    """The lines of one object that are compared under another one (`dashboard.queries.levels`):
    `head_phase` and `head_part` of that one, their own `phase`, `technique`, `part`, the `hours` held against
    the estimate, and `estimated_hours` of their own by the version that stands (null: not in it, or not
    known); those with neither are left out.
    """
    return frame_of_compared(con, "logged_under", as_of, object=known_object)
