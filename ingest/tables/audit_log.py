"""Audit log: every change keeps the earlier row, the kind of change, who made it and when."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal, get_args

from ingest.sql import Connection, statement

Event = Literal[
    "made", "corrected", "brought in", "renamed", "joined", "retired", "approved", "taken back", "put back"
]
"""What happened to a row.

made : on a page; it was not there before. What a file makes stands in `imports`.
corrected : on a page, by a command or on a phone; it says otherwise now.
brought in : a file laid another row over it.
renamed, joined : a word or a person has another name; a name is another spelling of somebody else's.
retired : a word is out of use from a day, or a person has left.
approved : the owner approved a version of an estimate.
taken back : an entry, a milestone or an approval, or that a version ended: it no longer counts.
put back : an entry taken back counts again, a word retired is in use again, a person who left is here again.
"""
EVENTS: tuple[Event, ...] = get_args(Event)


def utc_now() -> datetime:
    """Now in UTC, without zone, as instants are stored."""
    return datetime.now(UTC).replace(tzinfo=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of the record.

    Attributes
    ----------
    by : who makes it; None where nobody said.
    reason : why, in words. For people alone: no code reads it.
    event : what happens to the rows that it changes.
    at : when, in UTC.
    """

    by: str | None
    reason: str
    event: Event = "corrected"
    at: datetime = field(default_factory=utc_now)


def record_earlier(
    con: Connection, kind: str, change: Change, query: str, values: list[object] | None = None
) -> None:
    """Record the rows of a query in the history before they are changed.

    Parameters
    ----------
    kind : the table they are of.
    query : gives `key` (text), `earlier` (JSON) and `content` (UUID or NULL); `values` are bound to it.
    """
    con.execute(
        f"""INSERT INTO history (number, kind, key, event, changed_at, changed_by, reason, earlier, content)
        SELECT (SELECT coalesce(max(number), 0) FROM history) + row_number() OVER (), ?, key, ?, ?, ?, ?,
            earlier, content
        FROM ({query})""",
        [kind, change.event, change.at, change.by, change.reason, *(values or [])],
    )


def record_made(con: Connection, kind: str, change: Change, query: str) -> None:
    """Note rows that a page is about to make; a file costs no row for each of its own.

    Parameters
    ----------
    query : gives `key`, and as `earlier` no more than by what the row is known: there was none.
    """
    if change.event != "brought in":
        record_earlier(
            con, kind, replace(change, event="made"), f"SELECT key, earlier, NULL AS content FROM ({query})"
        )


def record_put_back(con: Connection, change: Change, query: str) -> None:
    """Note those of new entries that were taken back, with what they said then.

    Parameters
    ----------
    query : gives the `entry` of each that is about to be stored and is not held. One that a file brings in
        anew is `brought in`, by which a shared export knows that the reason names a file.
    """
    record_earlier(
        con,
        "time_entries",
        replace(change, event="put back") if change.event == "corrected" else change,
        f"""SELECT key, earlier, content
        FROM (
            SELECT h.key, h.event, h.earlier, h.content FROM ({query}) AS n
            JOIN history AS h ON h.key = n.entry
            WHERE h.kind = 'time_entries'
            QUALIFY h.number = max(h.number) OVER (PARTITION BY h.key)
        )
        WHERE event = 'taken back'""",
    )


def derive_events(con: Connection, after: int = 0) -> None:
    """Work out the events of rows numbered above `after`, which were written before an event was stored."""
    con.execute(statement("ingest.migrations", "events_of_before"), {"after": after})
