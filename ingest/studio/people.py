"""The people of the studio: their names, every way they are written, who has left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.tables.audit_log import Change, record_earlier
from ingest.tables.counted_hours import recount, touch
from ingest.values.spelling import folded


def keep_spellings(con: Connection, names: Sequence[str]) -> None:
    """Store the name of each new person as their first spelling."""
    con.execute(
        """INSERT INTO person_spellings
        SELECT spelling, name, name, name
        FROM (
            SELECT unnest(?::VARCHAR[]) AS spelling, unnest(?::VARCHAR[]) AS name
        ) ON CONFLICT DO NOTHING""",
        [[folded(name) for name in names], names],
    )


def keep_new(con: Connection, names: Sequence[str], now: datetime) -> None:
    """Store people who are named for the first time."""
    if names:
        con.execute("INSERT INTO people (person, first_seen) SELECT unnest(?::VARCHAR[]), ?", [names, now])
        keep_spellings(con, names)


def add_stored_spellings(con: Connection) -> None:
    """The spellings of people held before spellings were kept."""
    keep_spellings(con, [row[0] for row in con.execute("SELECT person FROM people").fetchall()])


def read_spellings(con: Connection) -> dict[str, str]:
    """Folded spelling to the spelling as first written."""
    return dict(con.execute("SELECT spelling, written FROM person_spellings").fetchall())


def find(con: Connection, text: str) -> str:
    """The person whom a text names, now; raises where there is none."""
    rows = con.execute("SELECT person FROM person_spellings WHERE spelling = ?", [folded(text)]).fetchall()
    if not rows:
        raise BenchHoursError(f'"{text}" is nobody of this studio', "Take a name from the list, or add it.")
    return str(rows[0][0])


def add(con: Connection, name: str, now: datetime) -> str:
    """Add a person; raises where the name is empty or somebody's already."""
    name = " ".join(name.split())
    if not name:
        raise BenchHoursError("the name is empty", "Write the name.")
    if con.execute("SELECT EXISTS (FROM person_spellings WHERE spelling = ?)", [folded(name)]).fetchall()[0][
        0
    ]:
        raise BenchHoursError(
            f'"{name}" is somebody\'s name already', "Write it so that the two can be told apart."
        )
    keep_new(con, [name], now)
    return name


def rename(con: Connection, old: str, new: str, change: Change) -> None:
    """Give a person another name everywhere; the old one is still understood."""
    new = " ".join(new.split())
    if not new:
        raise BenchHoursError("the new name is empty", "Write the name.")
    old = find(con, old)
    meant = con.execute("SELECT person FROM person_spellings WHERE spelling = ?", [folded(new)]).fetchall()
    if meant and meant[0][0] != old:
        raise BenchHoursError(
            f'"{new}" is another person\'s name', "To say that the two are one person, join them."
        )
    key = con.execute(
        "SELECT key FROM person_spellings WHERE person = ? ORDER BY (written = person) DESC LIMIT 1", [old]
    ).fetchall()[0][0]
    note_earlier(con, old, replace(change, event="renamed"))
    if meant:
        con.execute("DELETE FROM person_spellings WHERE spelling = ? AND person = ?", [folded(new), old])
    con.execute("INSERT INTO person_spellings VALUES (?, ?, ?, ?)", [folded(new), new, new, key])
    con.execute("DELETE FROM spelling_origins WHERE kind = 'person' AND spelling = ?", [folded(new)])
    con.execute("UPDATE people SET person = ? WHERE person = ?", [new, old])
    _hand_over(con, old, new)


def join(con: Connection, text: str, other: str, change: Change) -> None:
    """Merge a person into another: entries under `text` are `other`'s from now on."""
    text, other = find(con, text), find(con, other)
    if text == other:
        raise BenchHoursError(f'"{text}" cannot be joined with itself', "Choose the other name.")
    note_earlier(con, text, replace(change, event="joined"))
    days = [
        row[0] for row in con.execute("SELECT DISTINCT day FROM spells WHERE person = ?", [text]).fetchall()
    ]
    con.execute("DELETE FROM people WHERE person = ?", [text])
    _hand_over(con, text, other)
    touch(con, "SELECT ?::VARCHAR AS person, unnest(?::DATE[]) AS day", [other, days])
    recount(con)


def take_spelling(con: Connection, spelling: str, change: Change) -> None:
    """Forget a spelling of a person, folded, but for the name itself."""
    rows = con.execute(
        "SELECT person, written FROM person_spellings WHERE spelling = ?", [spelling]
    ).fetchall()
    for name, written in rows:
        if folded(name) == spelling:
            raise BenchHoursError(f'"{written}" is the name of {name}', "Give the person another name first.")
        note_earlier(con, name, change)
    con.execute("DELETE FROM person_spellings WHERE spelling = ?", [spelling])
    con.execute("DELETE FROM spelling_origins WHERE kind = 'person' AND spelling = ?", [spelling])


def leave(con: Connection, name: str, on: date | None, change: Change) -> None:
    """Record that a person left the studio on a day (None: is back); the hours stay."""
    name = find(con, name)
    note_earlier(con, name, replace(change, event="retired" if on else "put back"))
    con.execute("UPDATE people SET left_on = ? WHERE person = ?", [on, name])


def note_earlier(con: Connection, name: str, change: Change) -> None:
    """Record a person as they are in the history."""
    record_earlier(
        con,
        "people",
        change,
        "SELECT person AS key, to_json(p) AS earlier, NULL AS content FROM people AS p WHERE person = ?",
        [name],
    )


def _hand_over(con: Connection, old: str, new: str) -> None:
    for table in ("person_spellings", "spells", "estimated_lines", "spells_in_hand"):
        con.execute(f"UPDATE {table} SET person = ? WHERE person = ?", [new, old])
