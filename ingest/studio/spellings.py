"""Spellings of phases, techniques and people that come with tables: kept with where they came from, and taken
back.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Literal, get_args

from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.studio import people, vocabulary
from ingest.tables.audit_log import Change
from ingest.values.spelling import folded

Kind = Literal["phase", "technique", "person"]
KINDS: tuple[Kind, ...] = get_args(Kind)

_INTO: dict[Kind, str] = {
    "phase": """spellings SELECT 'phase', s.spelling, s.written, w.key
        FROM s JOIN phases AS w ON w.phase = s.name""",
    "technique": """spellings SELECT 'technique', s.spelling, s.written, w.key
        FROM s JOIN techniques AS w ON w.technique = s.name""",
    # with the key of the person's own name: what comes in under either is the same entry
    "person": """person_spellings SELECT s.spelling, s.written, w.person, w.key
        FROM s JOIN (
            SELECT person, arg_max(key, written = person) AS key FROM person_spellings GROUP BY person
        ) AS w ON w.person = s.name""",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Spelling:
    """A text that means a word of the studio: `name` is the word as the studio has it now."""

    kind: Kind
    name: str
    written: str


def keep(con: Connection, spellings: Iterable[Spelling], file: str, change: Change) -> list[Spelling]:
    """Keep texts as spellings, with the file in which they stood; those that were not understood before.

    A text that means something already stays with that, and one that means a word that is gone is passed
    over.
    """
    of_kinds: dict[Kind, dict[str, Spelling]] = {}
    for item in spellings:
        if folded(item.written):
            of_kinds.setdefault(item.kind, {})[folded(item.written)] = item
    added: list[Spelling] = []
    for kind, by_spelling in of_kinds.items():
        meant = people.read_spellings(con) if kind == "person" else vocabulary.meant(con, kind)
        new = {spelling: item for spelling, item in by_spelling.items() if spelling not in meant}
        if not new:
            continue
        _note_earlier(con, kind, sorted({item.name for item in new.values()}), change)
        rows = [{"spelling": spelling, **asdict(item)} for spelling, item in new.items()]
        stored = con.execute(
            f"""WITH s AS (
                SELECT unnest(from_json(?, ?), max_depth := 2)
            )
            INSERT INTO {_INTO[kind]} RETURNING spelling""",
            [json.dumps(rows), json.dumps([dict.fromkeys(rows[0], "VARCHAR")])],
        ).fetchall()
        names = [row[0] for row in stored]
        con.execute(
            "INSERT OR REPLACE INTO spelling_origins SELECT ?, unnest(?::VARCHAR[]), ?, ?, ?",
            [kind, names, file, change.at, change.by],
        )
        added += [new[name] for name in names]
    return added


def take_back(con: Connection, kind: Kind, written: str, change: Change) -> None:
    """Forget a spelling that came with a table; what came in by it stays. Raises where it is none."""
    spelling = folded(written)
    if not con.execute(
        "SELECT EXISTS (FROM spelling_origins WHERE kind = ? AND spelling = ?)", [kind, spelling]
    ).fetchall()[0][0]:
        raise BenchHoursError(
            f'"{written}" is no spelling that came with a table', "Load the page again to see what is kept."
        )
    if kind == "person":
        people.take_spelling(con, spelling, change)
    else:
        vocabulary.take_spelling(con, kind, spelling, change)


def _note_earlier(con: Connection, kind: Kind, names: Sequence[str], change: Change) -> None:
    for name in names:
        if kind == "person":
            people.note_earlier(con, name, change)
        else:
            vocabulary.note_earlier(con, kind, name, change)
