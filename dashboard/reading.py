"""Questions put to the database: each gives a frame, computed from what is stored."""

from __future__ import annotations

from datetime import date

import duckdb
import pandas as pd

from ingest.errors import BenchHoursError
from ingest.notation import folded, suggestion
from ingest.sql import statement

QUERIES = "dashboard.queries"

# Keys of `overruns` that others depend on, in their order; more stand behind.
OVERRUN_KEYS = (
    "object", "phase", "technique", "part", "estimated_hours", "first_approved_hours", "actual_hours", "difference_hours",
    "more_to_do_hours", "slower_hours", "unforeseen_hours", "not_needed_hours", "finished",
)  # fmt: skip


def _frame(con: duckdb.DuckDBPyConnection, query: str, **values: object) -> pd.DataFrame:
    """The answer to one of our queries. By way of Arrow: a fifth faster than DuckDB's own frames, and the same types."""
    frame: pd.DataFrame = con.sql(statement(QUERIES, query), params=values).to_arrow_table().to_pandas()
    return frame


def overruns(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str | None = None) -> pd.DataFrame:
    """Estimated against actual hours of every line as things stood on a day.

    Parameters
    ----------
    con : a cursor of the store.
    as_of : entries, versions, approvals and milestones after this day are left out.
    known_object : only this object; its code as held (see `known`).

    Returns
    -------
    Frame with `OVERRUN_KEYS` and `yardstick` (approved, made, none), `extra_hours`, `own_cost_hours`,
    `unattended_hours` (elapsed), `unit`, `estimated_quantity`, `actual_quantity`, `quantity_incomplete`, `done`
    (per cent), `discovery`, `entries`, `position` (of the phase). Hours are decimal; unknown is null.
    """
    frame = _frame(con, "overruns", as_of=as_of)
    return frame if known_object is None else frame[frame["object"] == known_object].reset_index(drop=True)


def dated_hours(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str) -> pd.DataFrame:
    """The dated hours of one object: `day`, `phase`, `technique`, `part`, `charge`, `hours`, `unattended_hours`, `quantity`, `unit`, `note`."""
    return _frame(con, "statement", as_of=as_of, object=known_object)


def area_dm2(con: duckdb.DuckDBPyConnection, known_object: str) -> float | None:
    """Area of an object in dm², as said or by its shape and size; None where neither is known."""
    found: float | None = con.execute("SELECT area_dm2 FROM object_areas WHERE object = ?", [known_object]).fetchall()[0][0]
    return found


def known(con: duckdb.DuckDBPyConnection, text: str) -> str:
    """The held code of the object that a text names; raises with a suggestion."""
    codes: list[str] = [row[0] for row in con.execute("SELECT object FROM objects ORDER BY object").fetchall()]
    found = {folded(code): code for code in codes}.get(folded(text))
    if found is None:
        raise BenchHoursError(f'there is no object "{text}"', suggestion(text, codes, "Bring in objects first: bench-hours import objects.csv"))
    return found


def holdings(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How much is held: `objects`, `entries`, `versions`, `held_back` (open questions)."""
    row = con.execute(
        """SELECT (SELECT count(*) FROM objects), (SELECT count(*) FROM time_entries), (SELECT count(*) FROM estimate_versions),
        (SELECT count(*) FROM held_back WHERE decided IS NULL)"""
    ).fetchall()[0]
    return dict(zip(("objects", "entries", "versions", "held_back"), map(int, row), strict=True))


def today(con: duckdb.DuckDBPyConnection) -> date:
    """The present day on the studio's own calendar."""
    zone = con.execute("SELECT coalesce(max(value), 'UTC') FROM settings WHERE setting = 'zone'").fetchall()[0][0]
    found: date = con.execute("SELECT timezone(?, now())::DATE", [zone]).fetchall()[0][0]
    return found
