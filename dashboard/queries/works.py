"""Works: what is known of each, by its code, and where it stands."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from dashboard.queries.base import frame
from dashboard.queries.levels import compared_together
from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.studio.settings import read_settings
from ingest.values.spelling import folded, look_alike, nearest_code

_ON_THE_BENCH = """
SELECT EXISTS (
    SELECT 1 FROM objects AS o WHERE (o.finished_on IS NULL OR o.finished_on > $as_of) AND (
        EXISTS (SELECT 1 FROM yardsticks($as_of) AS y WHERE y.object = o.object AND y.approved)
        OR EXISTS (SELECT 1 FROM spells AS s JOIN lines AS l ON l.line = s.line
            WHERE l.object = o.object AND s.charge = 'quoted' AND s.day <= $as_of)
    )
)
"""


def area_dm2(con: Connection, known_object: str) -> float | None:
    """Area of an object in dm², as said or by its shape and size; None where neither is known."""
    area: float | None = con.execute(
        "SELECT area_dm2 FROM object_areas WHERE object = ?", [known_object]
    ).fetchall()[0][0]
    return area


def known(con: Connection, text: str) -> str:
    """The held code of the object that a text names; raises with a suggestion."""
    codes: list[str] = [
        row[0] for row in con.execute("SELECT object FROM objects ORDER BY object").fetchall()
    ]
    match = {folded(code): code for code in codes}.get(folded(text))
    if match is None:
        near = nearest_code(text, {look_alike(code): code for code in codes})
        raise BenchHoursError(
            f'there is no object "{text}"',
            f'Did you mean "{near}"?' if near else "Bring in objects first: bench-hours import objects.csv",
        )
    return match


def owners(con: Connection) -> dict[str, str]:
    """The owners of works, as far as they are known: private."""
    return dict(con.execute("SELECT object, owner FROM objects WHERE owner IS NOT NULL").fetchall())


def anything_on_the_bench(con: Connection, as_of: date) -> bool:
    """Some work is not finished, and is begun or has an approved estimate."""
    exists: bool = con.execute(_ON_THE_BENCH, {"as_of": as_of}).fetchall()[0][0]
    return exists


def works(con: Connection, as_of: date) -> pd.DataFrame:
    """Every object, those on the bench first, the latest first.

    Returns
    -------
    Frame with the columns of the objects form (without the private ones), `versions`, `approved_version`,
    `approved_on`, `entries`, `first_day`, `last_day`, `last_line` (its name), `waits_until` (UTC, and
    `waits_until_there`, on the studio's clock), `has_draft`. Days are timestamps at midnight.
    """
    return frame(con, "works", as_of=as_of, zone=read_settings(con).zone)


def work(con: Connection, known_object: str) -> dict[str, Any]:
    """One object as it is held, private columns included."""
    frame: pd.DataFrame = (
        con.sql("SELECT * FROM objects WHERE object = ?", params=[known_object]).to_arrow_table().to_pandas()
    )
    return {str(name): None if pd.isna(value) else value for name, value in frame.iloc[0].items()}


def of_owner(con: Connection, owner: str) -> list[str]:
    """Works that are of an owner, or of whom nobody has said of whom they are."""
    return [
        row[0]
        for row in con.execute(
            "SELECT object FROM objects WHERE owner IS NULL OR owner = ? ORDER BY object", [owner]
        ).fetchall()
    ]


def remembered(con: Connection) -> frozenset[str]:
    """Codes of the works told from memory."""
    return frozenset(
        code for (code,) in con.execute("SELECT object FROM objects WHERE remembered").fetchall()
    )


def remembered_works(con: Connection) -> pd.DataFrame:
    """Works told from memory, the latest first: `object`, `title`, `finished_on`, `hours` (taken),
    `quoted_hours` (null: not said), `price` (null: not said), `currency`, `tax_in_price`, `tax_per_cent`.
    """
    return frame(con, "remembered_works")


_COMPARED_WITHIN = """
SELECT l.phase, l.technique, l.part FROM lines AS l LEFT JOIN phases AS p USING (phase)
SEMI JOIN (SELECT line FROM estimated_lines UNION ALL SELECT line FROM spells) AS s ON s.line = l.line
WHERE l.object = ? AND l.line IN (SELECT unnest(?::INTEGER[]))
ORDER BY p.position, l.phase, l.technique, l.part
"""


def compared_within(con: Connection, as_of: date, known_object: str) -> list[tuple[str, str, str]]:
    """Phase, technique (empty: the whole phase) and part of the lines of an object that are compared under a
    line of a whole phase or work on a day, and so have no row of their own in `overruns`.
    """
    members, _ = compared_together(con, as_of)
    return con.execute(_COMPARED_WITHIN, [known_object, members]).fetchall()


def milestones(con: Connection, known_object: str) -> list[tuple[str, str, str, date]]:
    """Phase, technique (empty: the whole phase), part and day of each milestone, by day."""
    return con.execute(
        "SELECT phase, technique, part, finished_on FROM milestones WHERE object = ? ORDER BY finished_on,"
        " phase, technique, part",
        [known_object],
    ).fetchall()
