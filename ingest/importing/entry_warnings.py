"""Warnings about time entries that are stored nevertheless: overlaps, long days, a part left out."""

from __future__ import annotations

from ingest.importing.cell_values import note, note_all, rule
from ingest.importing.entry_matching import COUNTED_HOURS, ENTRY_NAME
from ingest.importing.row_status import untouched
from ingest.schema import csv_columns
from ingest.sql import Connection, statement
from ingest.tables.counted_hours import count_hours, touch


def warn_of_overlaps(con: Connection) -> None:
    """A person's overlapping hands-on spells, among themselves and with what is held; all are kept."""
    con.execute(
        f"""CREATE OR REPLACE TEMP VIEW sittings AS
        SELECT "row", person, started_at, ended_at FROM resolved
        WHERE mode = 'hands_on' AND started_at IS NOT NULL AND {untouched()}
        UNION ALL
        SELECT NULL, person, started_at, ended_at FROM spells
        WHERE person IN (SELECT person FROM resolved)
            AND day BETWEEN (SELECT min(day) - 1 FROM resolved) AND (SELECT max(day) + 1 FROM resolved)
            AND mode = 'hands_on' AND started_at IS NOT NULL
            AND entry NOT IN (SELECT entry FROM corrections)"""
    )
    # Where no spell begins before its neighbour ends, none overlaps any: the dearer question is for the
    # people where one does. A number sorts faster than a name, and two people who share one are only asked
    # about in vain.
    con.execute("""CREATE OR REPLACE TEMP TABLE overlapping AS SELECT DISTINCT person FROM (
        SELECT person, started_at < lag(ended_at) OVER (PARTITION BY person ORDER BY started_at) AS too_soon
        FROM (SELECT hash(person) AS person, started_at, ended_at FROM sittings)) WHERE too_soon""")
    note(
        con,
        "warnings",
        """(
            SELECT "row", person, started_at,
                max(ended_at) OVER (
                    PARTITION BY person
                    ORDER BY started_at, ended_at
                    ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
                ) AS busy_until, ended_at,
                lead(started_at) OVER (PARTITION BY person ORDER BY started_at, ended_at) AS next_start
            FROM sittings
            WHERE hash(person) IN (SELECT person FROM overlapping)
        )""",
        rule(
            '"row" IS NOT NULL AND (started_at < busy_until OR ended_at > next_start)',
            "started_at",
            "spells_overlap",
            person="person",
        ),
    )


def warn_of_another_part(con: Connection) -> None:
    """Hours on no line of the yardstick, whose technique stands in it under another part: a part may have
    been forgotten. Said once a line.
    """
    note_all(
        con,
        "warnings",
        "part",
        "another_part",
        statement("ingest.importing", "entries_another_part", untouched=untouched()),
        object="object",
        technique="technique",
        parts="parts",
    )


def warn_of_long_days(con: Connection) -> None:
    """Days on which a person will have more than 16 counted hours, all entries held taken together; they are
    kept. A total of several days is of none of them.
    """
    con.execute(f"""CREATE OR REPLACE TEMP VIEW spells_to_be AS
        SELECT rowid AS id, entry, person, day, started_at, ended_at, hours, counted_hours, mode FROM spells
        WHERE total IS NULL AND entry NOT IN (SELECT entry FROM corrections)
        UNION ALL
        SELECT -1 - r."row", {ENTRY_NAME}, r.person, r.day, r.started_at, r.ended_at, r.hours,
            {COUNTED_HOURS}, r.mode
        FROM resolved AS r LEFT JOIN repeats AS n ON n."row" = r."row"
        WHERE r.total IS NULL AND {untouched("r")}""")
    # No day counts more than the hours of all its spells: only those that could be too long are counted out.
    if not touch(
        con,
        f"""SELECT person, day FROM spells_to_be
        WHERE mode <> 'unattended'
            AND day BETWEEN (SELECT min(day) FROM resolved) AND (SELECT max(day) FROM resolved)
        GROUP BY person, day HAVING sum(hours) > {csv_columns.LONGEST_SPELL_HOURS}""",
    ):
        return
    count_hours(con, "spells_to_be")
    note_all(
        con,
        "warnings",
        "date",
        "long_day",
        statement(
            "ingest.importing",
            "entries_long_days",
            untouched=untouched(),
            longest_spell_hours=csv_columns.LONGEST_SPELL_HOURS,
        ),
        hours="round(hours, 1)",
        person="person",
    )
