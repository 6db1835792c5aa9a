"""Versions of estimates and their lines."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.sql import Connection

_WAITING = """
SELECT v.object, max(v.version) AS version FROM standing_on($as_of) AS v
JOIN yardsticks($as_of) AS y ON y.object = v.object
WHERE NOT y.approved OR v.version > y.version GROUP BY v.object
"""


def waiting_versions(con: Connection, as_of: date) -> dict[str, int]:
    """Of each work the latest version of its estimate that waits for the owner's word, later than the one
    that was approved.
    """
    return dict(con.execute(_WAITING, {"as_of": as_of}).fetchall())


def quoted_lines(con: Connection, known_object: str, version: int) -> pd.DataFrame:
    """The lines of a saved quote as they were told: `option`, `phase`, `technique`, `part`, `p50`, `p80`,
    `p90`, `promised_hours`, `own_hours`, `worked_hours`, `rate`, `rate_low`, `rate_high`, `unit`, `pinned`,
    `works` (codes), `hours` (in the version; `promised_hours`: unrounded, of the whole promise).
    """
    return frame(con, "quoted_lines", object=known_object, version=version)


def versions(con: Connection, known_object: str) -> pd.DataFrame:
    """The versions of an estimate, one row each, or one for each option while none is approved (`option`):
    sums of `hours`, `low_hours`, `high_hours`, `unattended_hours` over its `lines`; `unpriced` of them have
    none; `approved_stays`: what was approved before stays in it, and what was found is added.
    """
    return frame(con, "versions", object=known_object)


def own_figures(con: Connection, known_object: str, version: int) -> pd.DataFrame:
    """The lines of one version as `estimate_lines` gives them, with `hours` only where they are a figure of
    who made it, and not what the record told or the bench.
    """
    return frame(con, "own_figures", object=known_object, version=version)


def estimate_lines(con: Connection, known_object: str, version: int) -> pd.DataFrame:
    """The lines of one version, columns of the estimates form."""
    return frame(con, "estimate_lines", object=known_object, version=version)


def latest_standing(con: Connection, known_object: str, as_of: date) -> int | None:
    """The latest version of an estimate made by a day that was neither declined nor withdrawn by then."""
    row: tuple[int | None] = con.execute(
        "SELECT max(version) FROM standing_on(?) WHERE object = ?", [as_of, known_object]
    ).fetchall()[0]
    return row[0]


def latest_version(con: Connection, known_object: str, as_of: date) -> int | None:
    """The latest version of an estimate made by a day, declined or not."""
    row: tuple[int | None] = con.execute(
        "SELECT max(version) FROM estimate_versions WHERE object = ? AND made_on <= ?", [known_object, as_of]
    ).fetchall()[0]
    return row[0]


def approved_option(con: Connection, known_object: str, version: int, as_of: date) -> str | None:
    """The option that was approved of a version by a day; None where it has none or is not approved."""
    rows: list[tuple[str | None]] = con.execute(
        "SELECT approved_option FROM estimate_versions WHERE object = ? AND version = ? AND approved_on <= ?",
        [known_object, version, as_of],
    ).fetchall()
    return rows[0][0] if rows else None
