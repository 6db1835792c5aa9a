"""The trade's words: phases and techniques, their usual unit, mode, cautions, and the spellings people type.

The list shipped with the product is planted in a new database as the CSV forms `phases` and `techniques`
(`ingest/phases.csv`, `ingest/techniques.csv`: common practice of the trade, no source). From then on the
studio's own database is the vocabulary: it adds, renames and retires, and no entry is orphaned.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from importlib import resources
from typing import Any

from ingest.errors import BenchHoursError, NotationError
from ingest.sql import Connection
from ingest.tables.audit_log import Change, record_earlier
from ingest.values.spelling import folded, nearest


@dataclass(frozen=True, slots=True)
class Technique:
    """A technique. `unit` None: not measured; `condition` None: no grade bears on it."""

    technique: str
    key: str
    phase: str
    unit: str | None
    mode: str
    condition: str | None
    cautions: tuple[str, ...]
    retired_on: date | None


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Phases in their order, techniques, and every spelling of each, folded.

    Attributes
    ----------
    phases : name to position, in order of position.
    techniques : name to technique.
    phase_spellings, technique_spellings : folded spelling to name; the names themselves are among them.
    """

    phases: dict[str, int]
    techniques: dict[str, Technique]
    phase_spellings: dict[str, str]
    technique_spellings: dict[str, str]

    def phase(self, text: str) -> str:
        """The phase that a text names; raises `NotationError` with a suggestion."""
        word = self.phase_spellings.get(folded(text))
        if word is None:
            near = nearest(text, self.phase_spellings)
            raise NotationError("unknown_phase_near", near=near) if near else NotationError("unknown_phase")
        return word

    def technique(self, text: str) -> str:
        """The technique that a text names; raises `NotationError` with a suggestion."""
        word = self.technique_spellings.get(folded(text))
        if word is None:
            near = nearest(text, self.technique_spellings)
            raise (
                NotationError("unknown_technique_near", near=near)
                if near
                else NotationError("unknown_technique")
            )
        return word

    def also_begin_so(self, text: str) -> list[str]:
        """Techniques whose names begin with a text that is a spelling of another one: `varnish removal` may
        be any of several.
        """
        start = folded(text)
        word = self.technique_spellings.get(start)
        if word is None or folded(word) == start:
            return []
        return [
            name
            for name, technique in self.techniques.items()
            if name != word and technique.retired_on is None and folded(name).startswith(f"{start} ")
        ]


def read_vocabulary(con: Connection) -> Vocabulary:
    """The studio's vocabulary as stored."""
    phase_rows = con.execute("SELECT phase, key, position FROM phases ORDER BY position, phase").fetchall()
    technique_rows = con.execute(
        """SELECT technique, key, phase, unit, mode, condition, cautions, retired_on FROM techniques
        ORDER BY technique"""
    ).fetchall()
    spelling_rows = con.execute("SELECT kind, spelling, key FROM spellings").fetchall()
    names = {("phase", key): phase for phase, key, _ in phase_rows} | {
        ("technique", row[1]): row[0] for row in technique_rows
    }
    spellings: dict[str, dict[str, str]] = {"phase": {}, "technique": {}}
    for kind, spelling, key in spelling_rows:
        if (kind, key) in names:
            spellings[kind][spelling] = names[kind, key]
    for (kind, _), name in names.items():
        spellings[kind][folded(name)] = name
    return Vocabulary(
        phases={phase: position for phase, _, position in phase_rows},
        techniques={row[0]: _technique(row) for row in technique_rows},
        phase_spellings=spellings["phase"],
        technique_spellings=spellings["technique"],
    )


def _technique(row: tuple[Any, ...]) -> Technique:
    technique, key, phase, unit, mode, condition, cautions, retired_on = row
    return Technique(
        technique,
        key,
        phase,
        unit,
        mode,
        condition,
        tuple(cautions.split("|")) if cautions else (),
        retired_on,
    )


def create(con: Connection) -> None:
    """Store the shipped phases and techniques in a new database, inside the caller's transaction."""
    phases, techniques = list(_shipped("phases.csv")), list(_shipped("techniques.csv"))
    con.execute(
        """INSERT INTO phases
        SELECT p.phase, p.phase, p.position::INTEGER, nullif(p.note, ''), NULL
        FROM (SELECT unnest(from_json(?, ?)) AS p)""",
        [json.dumps(phases), json.dumps([dict.fromkeys(phases[0], "VARCHAR")])],
    )
    con.execute(
        """INSERT INTO techniques
        SELECT t.technique, t.technique, t.phase, nullif(t.unit, ''), t.mode, nullif(t.condition, ''),
            nullif(t.cautions, ''), nullif(t.note, ''), NULL
        FROM (SELECT unnest(from_json(?, ?)) AS t)""",
        [json.dumps(techniques), json.dumps([dict.fromkeys(techniques[0], "VARCHAR")])],
    )
    spoken = [("phase", row["phase"], row["phase"]) for row in phases]
    spoken += [
        ("technique", row["technique"], word)
        for row in techniques
        for word in (row["technique"], *row["aliases"].split("|"))
        if word
    ]
    rows = [
        {"kind": kind, "spelling": folded(word), "written": word, "key": key} for kind, key, word in spoken
    ]
    con.execute(
        "INSERT INTO spellings SELECT unnest(from_json(?, ?), max_depth := 2) ON CONFLICT DO NOTHING",
        [json.dumps(rows), json.dumps([dict.fromkeys(rows[0], "VARCHAR")])],
    )


def created_spellings() -> list[str]:
    """The spellings that a new database is planted with, folded, each with its kind and a bar before it."""
    techniques = [
        f"technique|{folded(word)}"
        for row in _shipped("techniques.csv")
        for word in (row["technique"], *row["aliases"].split("|"))
        if word
    ]
    return [f"phase|{folded(row['phase'])}" for row in _shipped("phases.csv")] + techniques


def _shipped(name: str) -> Iterable[dict[str, str]]:
    yield from csv.DictReader(
        resources.files("ingest.studio").joinpath(name).read_text(encoding="utf-8").splitlines()
    )


def add_spellings(con: Connection, kind: str, key: str, written: Iterable[str]) -> None:
    """Add spellings of a phase or technique; one that already means another stays with that one."""
    rows = {folded(text): text.strip() for text in written if folded(text)}
    for spelling, text in rows.items():
        con.execute(
            "INSERT INTO spellings VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", [kind, spelling, text, key]
        )


# Tables that carry the name of a phase or of a technique.
_NAMED_IN = {
    "phase": ("techniques", "lines", "milestones", "spells_in_hand", "pinned_rates", "quoted_lines"),
    "technique": ("lines", "milestones", "spells_in_hand", "pinned_rates", "quoted_lines"),
}
_TABLES = {"phase": "phases", "technique": "techniques"}


def rename(con: Connection, kind: str, old: str, new: str, change: Change) -> None:
    """Give a phase or technique another name everywhere; the old name stays as a spelling of it."""
    new = " ".join(new.split())
    if not new:
        raise BenchHoursError("the new name is empty", "Write the name.")
    key = _key(con, kind, old)
    other = meant(con, kind).get(folded(new), key)
    if other != key:
        name = con.execute(f"SELECT {kind} FROM {_TABLES[kind]} WHERE key = ?", [other]).fetchall()[0][0]
        if folded(name) == folded(new) or folded(new) in former_names(con, kind, other):
            raise BenchHoursError(f'"{new}" already names another {kind}', "Choose another name.")
        raise BenchHoursError(
            f'"{new}" is another spelling of {name}', "Take it away there first, or choose another name."
        )
    note_earlier(con, kind, old, replace(change, event="renamed"))
    con.execute(f"UPDATE {_TABLES[kind]} SET {kind} = ? WHERE key = ?", [new, key])
    # what an earlier version said is found under the new name
    con.execute("UPDATE history SET key = ? WHERE kind = ? AND key = ?", [new, _TABLES[kind], old])
    if kind == "phase":
        con.execute(
            """UPDATE history SET earlier = json_merge_patch(earlier, json_object('phase', ?::VARCHAR))
            WHERE kind = 'techniques' AND earlier->>'phase' = ?""",
            [new, old],
        )
    for other in _NAMED_IN[kind]:
        con.execute(f"UPDATE {other} SET {kind} = ? WHERE {kind} = ?", [new, old])
    add_spellings(con, kind, key, [old, new])
    # a name is no spelling that came with a table
    con.execute(
        "DELETE FROM spelling_origins WHERE kind = ? AND list_contains(?::VARCHAR[], spelling)",
        [kind, [folded(old), folded(new)]],
    )


def retire(con: Connection, kind: str, name: str, on: date | None, change: Change) -> None:
    """Take a phase or technique out of use from a day (None: back into use); what names it stays as it is."""
    key = _key(con, kind, name)
    note_earlier(con, kind, name, replace(change, event="retired" if on else "put back"))
    con.execute(f"UPDATE {_TABLES[kind]} SET retired_on = ? WHERE key = ?", [on, key])


def set_spellings(con: Connection, kind: str, name: str, written: Iterable[str], change: Change) -> None:
    """Replace the spellings of a phase or technique, except its former names, which stay.

    Raises where a spelling means another phase or technique.
    """
    key = _key(con, kind, name)
    spellings = {folded(text): " ".join(text.split()) for text in written if folded(text)}
    others = meant(con, kind)
    for spelling, text in spellings.items():
        if others.get(spelling, key) != key:
            raise BenchHoursError(
                f'"{text}" already means another {kind}', "Leave it out, or take it from the other first."
            )
    note_earlier(con, kind, name, change)
    staying = [*spellings, folded(name), *former_names(con, kind, key)]
    con.execute(
        "DELETE FROM spellings WHERE kind = ? AND key = ? AND NOT list_contains(?::VARCHAR[], spelling)",
        [kind, key, staying],
    )
    add_spellings(con, kind, key, spellings.values())
    con.execute(
        """DELETE FROM spelling_origins AS o
        WHERE kind = ? AND NOT EXISTS (
            FROM spellings AS s WHERE s.kind = o.kind AND s.spelling = o.spelling
        )""",
        [kind],
    )


def former_names(con: Connection, kind: str, key: str) -> set[str]:
    """The names, folded, that the phase or technique of a key had before, and was born with: by them its old
    files are known.
    """
    before = con.execute(
        f"SELECT DISTINCT earlier->>'{kind}' FROM history WHERE kind = ? AND earlier->>'key' = ?",
        [_TABLES[kind], key],
    ).fetchall()
    return {folded(key), *(folded(row[0]) for row in before)}


def take_spelling(con: Connection, kind: str, spelling: str, change: Change) -> None:
    """Take another spelling away from the phase or technique that it means, so that it can be a word of its
    own.
    """
    rows = con.execute(
        f"""SELECT w.{kind} FROM spellings AS s JOIN {_TABLES[kind]} AS w USING (key)
        WHERE s.kind = ? AND s.spelling = ?""",
        [kind, folded(spelling)],
    ).fetchall()
    for (name,) in rows:
        note_earlier(con, kind, name, change)
    for table in ("spellings", "spelling_origins"):
        con.execute(f"DELETE FROM {table} WHERE kind = ? AND spelling = ?", [kind, folded(spelling)])


def meant(con: Connection, kind: str) -> dict[str, str]:
    """Every spelling and name of a kind, folded, with the key of what it means."""
    names = {
        folded(name): key for name, key in con.execute(f"SELECT {kind}, key FROM {_TABLES[kind]}").fetchall()
    }
    return dict(con.execute("SELECT spelling, key FROM spellings WHERE kind = ?", [kind]).fetchall()) | names


def note_earlier(con: Connection, kind: str, name: str, change: Change) -> None:
    """Record the word as it is, with its spellings, in the history."""
    record_earlier(
        con,
        _TABLES[kind],
        change,
        f"""SELECT w.{kind} AS key,
            json_merge_patch(to_json(w), to_json({{'spellings': (
                SELECT list(written ORDER BY written) FROM spellings WHERE kind = ? AND key = w.key
            )}})) AS earlier, NULL AS content
        FROM {_TABLES[kind]} AS w
        WHERE w.{kind} = ?""",
        [kind, name],
    )


def _key(con: Connection, kind: str, name: str) -> str:
    rows = con.execute(f"SELECT key FROM {_TABLES[kind]} WHERE {kind} = ?", [name]).fetchall()
    if not rows:
        raise BenchHoursError(f'"{name}" is not a known {kind}', "Take one of the vocabulary.")
    return str(rows[0][0])
