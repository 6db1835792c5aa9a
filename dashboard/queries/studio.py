"""The studio itself: its day, its phases, people and words, and how much is held."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from ingest.schema.csv_columns import OBJECTS
from ingest.sql import Connection
from ingest.studio.settings import read_settings, today_in


def holdings(con: Connection) -> dict[str, int]:
    """How much is held: `objects`, `entries`, `versions`, `held_back` (open questions)."""
    row = con.execute(
        """SELECT (SELECT count(*) FROM objects), (SELECT count(*) FROM time_entries),
        (SELECT count(*) FROM estimate_versions),
        (SELECT count(*) FROM held_back WHERE decided IS NULL)"""
    ).fetchall()[0]
    return dict(zip(("objects", "entries", "versions", "held_back"), map(int, row), strict=True))


def today(con: Connection) -> date:
    """The present day on the studio's own calendar."""
    return today_in(read_settings(con).zone)


def spellings(con: Connection) -> dict[str, str]:
    """Every way in which a person is written, folded, to the name."""
    return dict(con.execute("SELECT spelling, person FROM person_spellings").fetchall())


def usual_phases(con: Connection) -> dict[str, str]:
    """Each technique's usual phase."""
    return dict(con.execute("SELECT technique, phase FROM techniques").fetchall())


def vocabulary_use(con: Connection) -> pd.DataFrame:
    """Techniques in the order of work, with `spellings` (`|` between) and the `works`, `entries` and
    `estimates` that name each.
    """
    return frame(con, "vocabulary")


def phases(con: Connection) -> pd.DataFrame:
    """Phases in their order, with the `techniques`, `works` and `entries` that name each."""
    return frame(con, "phases")


def people(con: Connection) -> pd.DataFrame:
    """The people of the studio: `person`, `left_on`, `entries`, `hours`, `first_day`, `last_day`,
    `spellings`.
    """
    return frame(con, "people")


def spelling_origins(con: Connection, kind: str) -> pd.DataFrame:
    """Spellings that came with tables, the latest first: `name` (the phase, technique or person), `written`,
    `file`, `kept_at` (UTC).
    """
    return con.execute(
        """WITH words AS (
            SELECT s.kind, s.spelling, s.written, coalesce(p.phase, t.technique) AS name
            FROM spellings AS s
            LEFT JOIN phases AS p ON s.kind = 'phase' AND p.key = s.key
            LEFT JOIN techniques AS t ON s.kind = 'technique' AND t.key = s.key
            UNION ALL
            SELECT 'person', spelling, written, person FROM person_spellings
        )
        SELECT name, written, file, kept_at
        FROM spelling_origins JOIN words USING (kind, spelling)
        WHERE kind = ? ORDER BY kept_at DESC, name, written""",
        [kind],
    ).df()


def said_before(con: Connection, column: str) -> list[str]:
    """What the studio's objects say in a free column (kind, support, commission), the commonest first, as
    suggestions.
    """
    if column not in OBJECTS.names:
        raise ValueError(column)
    return [
        row[0]
        for row in con.execute(
            f"SELECT {column} FROM objects WHERE {column} IS NOT NULL GROUP BY {column} ORDER BY count(*)"
            f" DESC, {column}"
        ).fetchall()
    ]


def phase_positions(con: Connection) -> dict[str, int]:
    """Position of each phase in the order of work."""
    return {
        phase: int(position)
        for phase, position in con.execute("SELECT phase, position FROM phases").fetchall()
    }


def phases_by_key(con: Connection, keys: Collection[str]) -> tuple[str, ...]:
    """Names of phases by their keys (the names they first had), in the order of work."""
    rows = con.execute(
        "SELECT phase FROM phases WHERE list_contains(?::VARCHAR[], key) ORDER BY position", [list(keys)]
    ).fetchall()
    return tuple(phase for (phase,) in rows)


def techniques_by_key(con: Connection, keys: Collection[str]) -> frozenset[str]:
    """Names of techniques by their keys (the names they first had)."""
    rows = con.execute(
        "SELECT technique FROM techniques WHERE list_contains(?::VARCHAR[], key)", [list(keys)]
    ).fetchall()
    return frozenset(technique for (technique,) in rows)
