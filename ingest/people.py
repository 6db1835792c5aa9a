"""The people of the studio: their names, every way they are written, who has left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

import duckdb

from ingest.counting import recount, touch
from ingest.errors import BenchHoursError
from ingest.history import Change, keep_earlier
from ingest.notation import folded
from ingest.row_status import untouched


def keep_spellings(con: duckdb.DuckDBPyConnection, names: Sequence[str]) -> None:
    """Keep the name of each new person as the first way of writing it."""
    con.execute(
        "INSERT INTO person_spellings SELECT spelling, name, name, name FROM (SELECT unnest(?::VARCHAR[]) AS spelling, unnest(?::VARCHAR[]) AS name) ON CONFLICT DO NOTHING",
        [[folded(name) for name in names], names],
    )


def keep_new(con: duckdb.DuckDBPyConnection, names: Sequence[str], now: datetime) -> None:
    """Keep people who are named for the first time."""
    if names:
        con.execute("INSERT INTO people (person, first_seen) SELECT unnest(?::VARCHAR[]), ?", [names, now])
        keep_spellings(con, names)


def named_first(con: duckdb.DuckDBPyConnection) -> list[str]:
    """The people whom rows that will be stored (of the temporary table `resolved`) name for the first time, in the order of their names."""
    return [
        row[0]
        for row in con.execute(
            f"SELECT DISTINCT person FROM resolved AS r ANTI JOIN people USING (person) WHERE person IS NOT NULL AND {untouched('r')} ORDER BY person"
        ).fetchall()
    ]


def spellings_of_those_held(con: duckdb.DuckDBPyConnection) -> None:
    """The spellings of people held before spellings were kept."""
    keep_spellings(con, [row[0] for row in con.execute("SELECT person FROM people").fetchall()])


def read_spellings(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Folded spelling to the spelling as first written."""
    return dict(con.execute("SELECT spelling, written FROM person_spellings").fetchall())


def known(con: duckdb.DuckDBPyConnection, text: str) -> str:
    """The person whom a text names, now; raises where there is none."""
    found = con.execute("SELECT person FROM person_spellings WHERE spelling = ?", [folded(text)]).fetchall()
    if not found:
        raise BenchHoursError(f'"{text}" is nobody of this studio', "Take a name from the list, or add it.")
    return str(found[0][0])


def add(con: duckdb.DuckDBPyConnection, name: str, now: datetime) -> str:
    """Add a person; raises where the name is empty or somebody's already."""
    name = " ".join(name.split())
    if not name:
        raise BenchHoursError("the name is empty", "Write the name.")
    if con.execute("SELECT EXISTS (FROM person_spellings WHERE spelling = ?)", [folded(name)]).fetchall()[0][0]:
        raise BenchHoursError(f'"{name}" is somebody\'s name already', "Write it so that the two can be told apart.")
    keep_new(con, [name], now)
    return name


def rename(con: duckdb.DuckDBPyConnection, old: str, new: str, change: Change) -> None:
    """Give a person another name everywhere; the old one is still understood."""
    new = " ".join(new.split())
    if not new:
        raise BenchHoursError("the new name is empty", "Write the name.")
    old = known(con, old)
    meant = con.execute("SELECT person FROM person_spellings WHERE spelling = ?", [folded(new)]).fetchall()
    if meant and meant[0][0] != old:
        raise BenchHoursError(f'"{new}" is another person\'s name', "To say that the two are one person, join them.")
    key = con.execute("SELECT key FROM person_spellings WHERE person = ? ORDER BY (written = person) DESC LIMIT 1", [old]).fetchall()[0][0]
    _keep(con, old, replace(change, event="renamed"))
    if meant:
        con.execute("DELETE FROM person_spellings WHERE spelling = ? AND person = ?", [folded(new), old])
    con.execute("INSERT INTO person_spellings VALUES (?, ?, ?, ?)", [folded(new), new, new, key])
    con.execute("UPDATE people SET person = ? WHERE person = ?", [new, old])
    _hand_over(con, old, new)


def join(con: duckdb.DuckDBPyConnection, one: str, other: str, change: Change) -> None:
    """Say that a name is only another spelling of a second person: what stands under `one` is `other`'s from now on."""
    one, other = known(con, one), known(con, other)
    if one == other:
        raise BenchHoursError(f'"{one}" cannot be joined with itself', "Choose the other name.")
    _keep(con, one, replace(change, event="joined"))
    days = [row[0] for row in con.execute("SELECT DISTINCT day FROM spells WHERE person = ?", [one]).fetchall()]
    con.execute("DELETE FROM people WHERE person = ?", [one])
    _hand_over(con, one, other)
    touch(con, "SELECT ?::VARCHAR AS person, unnest(?::DATE[]) AS day", [other, days])
    recount(con)


def leave(con: duckdb.DuckDBPyConnection, name: str, on: date | None, change: Change) -> None:
    """Say that a person left the studio on a day (None: is here again); the hours stay."""
    name = known(con, name)
    _keep(con, name, replace(change, event="retired" if on else "put back"))
    con.execute("UPDATE people SET left_on = ? WHERE person = ?", [on, name])


def _keep(con: duckdb.DuckDBPyConnection, name: str, change: Change) -> None:
    keep_earlier(con, "people", change, "SELECT person AS key, to_json(p) AS earlier, NULL AS content FROM people AS p WHERE person = ?", [name])


def _hand_over(con: duckdb.DuckDBPyConnection, old: str, new: str) -> None:
    for table in ("person_spellings", "spells", "estimated_lines", "spells_in_hand"):
        con.execute(f"UPDATE {table} SET person = ? WHERE person = ?", [new, old])
