"""Versions of estimates that came to nothing: declined by the owner or withdrawn by the studio."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from ingest.editing.approvals import version_days
from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.tables.audit_log import Change, record_earlier
from ingest.values.calendar_days import day_in_words

OUTCOMES = ("declined", "withdrawn")


def end(
    con: Connection, known_object: str, version: int, outcome: str, on: date, today: date, change: Change
) -> None:
    """Note that the owner declined a version, or the studio withdrew it; raises where that cannot be. It
    stays, is counted, and is no yardstick and no figure from then on.
    """
    if outcome not in OUTCOMES:
        raise BenchHoursError(f'"{outcome}" is no outcome', f"Say {' or '.join(OUTCOMES)}.")
    made_on, approved_on = version_days(con, known_object, version)
    if approved_on:
        raise BenchHoursError(
            f"version {version} was approved on {day_in_words(approved_on)}",
            "Take the approval back first, or make the next version for a change.",
        )
    if ended := _ended(con, known_object, version):
        raise BenchHoursError(
            f"version {version} was {ended[0]} on {day_in_words(ended[1])} already", "Load the page again."
        )
    if on < made_on:
        raise BenchHoursError(
            f"version {version} was made on {day_in_words(made_on)}, after that day",
            "Give the day of the word.",
        )
    if on > today:
        raise BenchHoursError(f"{day_in_words(on)} lies in the future", "Note it when it has been said.")
    con.execute(
        "INSERT INTO ended_versions VALUES (?, ?, ?, ?, ?)",
        [known_object, version, outcome, on, change.reason or None],
    )


def take_back_end(con: Connection, known_object: str, version: int, change: Change) -> None:
    """The version stands after all."""
    if not _ended(con, known_object, version):
        raise BenchHoursError(f"version {version} of {known_object} stands", "Load the page again.")
    record_earlier(
        con,
        "ended_versions",
        replace(change, event="taken back"),
        """SELECT object || ' version ' || version AS key, to_json(e) AS earlier, NULL AS content
        FROM ended_versions AS e
        WHERE object = ? AND version = ?""",
        [known_object, version],
    )
    con.execute("DELETE FROM ended_versions WHERE object = ? AND version = ?", [known_object, version])


def _ended(con: Connection, known_object: str, version: int) -> tuple[str, date] | None:
    rows: list[tuple[str, date]] = con.execute(
        "SELECT outcome, ended_on FROM ended_versions WHERE object = ? AND version = ?",
        [known_object, version],
    ).fetchall()
    return rows[0] if rows else None
