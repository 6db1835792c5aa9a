"""Whether the record holds together: every name leads somewhere, sums are what their parts give, nothing is gone without a word."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ingest.counting import recounted
from ingest.errors import BenchHoursError, why
from ingest.meaning import NONSENSE
from ingest.settings import read_settings, stored_text
from ingest.store import tables


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that does not hold together, and what to do about it."""

    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.what}. {self.remedy}"


_BACKUP = "Restore the last backup that was without this fault, or bring the files in again into a new database."
_WORDS = "Add the word under Studio, or with a phases or techniques file."

# table, column, what it names (table and column), what that is called, the remedy
_NAMES = (
    ("lines", "object", "objects", "object", "work", "Bring the objects file in again."),
    ("lines", "phase", "phases", "phase", "phase", _WORDS),
    ("lines", "technique", "techniques", "technique", "technique", _WORDS),
    ("techniques", "phase", "phases", "phase", "phase", _WORDS),
    ("spells", "line", "lines", "line", "line", _BACKUP),
    ("spells", "person", "people", "person", "person", "Add the person under Studio."),
    ("estimated_lines", "line", "lines", "line", "line", _BACKUP),
    ("estimated_lines", "person", "people", "person", "person", "Add the person under Studio."),
    ("estimate_versions", "object", "objects", "object", "work", "Bring the objects file in again."),
    ("objects", "returned_from", "objects", "object", "work", "Bring the objects file in again."),
    ("milestones", "object", "objects", "object", "work", "Bring the objects file in again."),
    ("milestones", "phase", "phases", "phase", "phase", _WORDS),
    ("person_spellings", "person", "people", "person", "person", "Add the person under Studio."),
    ("spells_in_hand", "object", "objects", "object", "work", "Bring the objects file in again."),
    ("spells_in_hand", "phase", "phases", "phase", "phase", _WORDS),
    ("spells_in_hand", "technique", "techniques", "technique", "technique", _WORDS),
    ("spells_in_hand", "person", "people", "person", "person", "Add the person under Studio."),
    ("pinned_rates", "technique", "techniques", "technique", "technique", _WORDS),
    ("phone_outcomes", "action", "phone_actions", "action", "action of a phone", _BACKUP),
    ("phone_changes", "action", "phone_actions", "action", "action of a phone", _BACKUP),
    ("phone_decisions", "action", "phone_actions", "action", "action of a phone", _BACKUP),
    ("drafts", "object", "objects", "object", "work", "Bring the objects file in again."),
    ("quotes", "object", "objects", "object", "work", "Bring the objects file in again."),
    ("quoted_lines", "phase", "phases", "phase", "phase", _WORDS),
    ("quoted_lines", "technique", "techniques", "technique", "technique", _WORDS),
)
_CALLED = {
    "lines": "lines", "techniques": "techniques", "spells": "time entries", "estimated_lines": "lines of estimates", "estimate_versions": "estimates",
    "objects": "works", "milestones": "milestones", "person_spellings": "spellings of people", "drafts": "drafts", "phases": "phases",
    "spellings": "spellings", "people": "people", "held_back": "rows held back", "unsaved": "things not saved yet", "imports": "files brought in",
    "history": "changes in the history", "spells_in_hand": "spells in hand", "phone_actions": "actions of phones",
    "pinned_rates": "pinned rates", "quotes": "saved quotes", "quoted_options": "options of saved quotes", "quoted_lines": "lines of saved quotes",
    "ended_versions": "versions that ended", "phone_outcomes": "outcomes of actions of phones",
    "phone_changes": "changes by phones", "phone_decisions": "decisions on actions of phones",
}  # fmt: skip

# Queries that give how many rows are at fault and one of them by name.
_OTHERS = (
    ("milestones of a technique that is not known: {n}, {one} among them", _WORDS,
     "SELECT count(*), min(object || ' ' || technique) FROM milestones WHERE technique <> '' AND technique NOT IN (SELECT technique FROM techniques)"),
    ("lines of estimates that belong to no version: {n}, {one} among them", _BACKUP,
     "SELECT count(*), min(object || ' version ' || version) FROM estimate_lines WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_versions)"),
    ("versions of estimates without lines: {n}, {one} among them", "Bring in the estimates file again.",
     "SELECT count(*), min(object || ' version ' || version) FROM estimate_versions WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_lines)"),
    ("works with a gap in the versions of their estimate: {n}, {one} among them", "Bring in the estimates file again.",
     "SELECT count(*), min(object) FROM (SELECT object FROM estimate_versions GROUP BY object HAVING max(version) <> count(*) OR min(version) <> 1)"),
    ("saved quotes of no version: {n}, {one} among them", "Bring in the estimates file again.",
     "SELECT count(*), min(object || ' version ' || version) FROM quotes WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_versions)"),
    ("saved quotes without lines or options: {n}, {one} among them", _BACKUP,
     """SELECT count(*), min(object || ' version ' || version) FROM quotes WHERE (object, version) NOT IN (SELECT (object, version) FROM quoted_options)
        OR (object, version) NOT IN (SELECT (object, version) FROM quoted_lines)"""),
    ("versions that ended and are none: {n}, {one} among them", "Bring in the estimates file again.",
     "SELECT count(*), min(object || ' version ' || version) FROM ended_versions WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_versions)"),
    ("versions that are approved, and declined or withdrawn too: {n}, {one} among them", "Take one of the two back under Estimate.",
     "SELECT count(*), min(object || ' version ' || version) FROM ended_versions JOIN estimate_versions USING (object, version) WHERE approved_on IS NOT NULL"),
    ("lines that stand twice: {n}, {one} among them", _BACKUP,
     "SELECT count(*), min(name) FROM (SELECT concat_ws(', ', object, phase, technique, part) AS name FROM lines GROUP BY object, phase, technique, part HAVING count(*) > 1)"),
    ("names that several entries have: {n}, {one} among them", "Take one of the two back under One work, if both say the same.",
     "SELECT count(*), min(entry) FROM (SELECT entry FROM spells GROUP BY entry HAVING count(*) > 1)"),
    ("entries with other hours than their clock: {n}, {one} among them", "Open the entry under One work and save it: its hours are counted again.",
     "SELECT count(*), min(entry) FROM spells WHERE started_at IS NOT NULL AND abs(epoch(ended_at - started_at) / 3600 - hours) > 1e-6"),
    ("entries that count more or less than their hours: {n}, {one} among them", "Open the entry under One work and save it: its hours are counted again.",
     """SELECT count(*), min(entry) FROM spells WHERE abs(counted_hours - CASE mode WHEN 'unattended' THEN 0 ELSE hours END) > 1e-6
        AND NOT (mode = 'attended' AND started_at IS NOT NULL)"""),
    ("attended entries that count otherwise than they should beside other work of the same person: {n}, {one} among them",
     "Open the entry under One work and save it: its hours are counted again.", "SELECT count(*), min(entry) FROM spells WHERE rowid IN (SELECT id FROM recounted)"),
    ("entries that are gone without having been taken back: {n}, {one} among them", "Bring in the files of that work again, or restore a backup that has them.",
     """SELECT count(*), min(key) FROM (SELECT key, arg_max(event, number) AS event FROM history WHERE kind = 'time_entries' GROUP BY key)
        WHERE key NOT IN (SELECT entry FROM spells) AND event <> 'taken back'"""),
    ("works in the history that are not in the record: {n}, {one} among them", "Bring the objects file in again.",
     "SELECT count(DISTINCT key), min(key) FROM history WHERE kind = 'objects' AND key NOT IN (SELECT object FROM objects)"),
    ("versions of estimates in the history that are not in the record: {n}, {one} among them", "Bring in the estimates file again.",
     """SELECT count(DISTINCT key), min(key) FROM history WHERE kind = 'estimate_versions'
        AND key NOT IN (SELECT object || ' version ' || version FROM estimate_versions)"""),
    ("earlier entries in the history that do not say what they are known by: {n}, {one} among them", _BACKUP,
     "SELECT count(*), min(key) FROM history WHERE kind = 'time_entries' AND (earlier->>'content') IS DISTINCT FROM content::VARCHAR"),
    ("rows held back that resemble an entry which never was: {n}, {one} among them", "Decide them under Bring in logs: new, or left out.",
     """SELECT count(*), min(resembles) FROM held_back WHERE decided IS NULL AND resembles NOT IN (SELECT entry FROM spells)
        AND resembles NOT IN (SELECT key FROM history WHERE kind = 'time_entries')"""),
    ("lines of estimates in another unit than their technique: {n}, {one} among them", "Give the technique its unit again, with a techniques file.",
     """SELECT count(*), min(object || ' ' || technique) FROM estimate_lines AS e JOIN techniques AS t USING (technique)
        WHERE e.quantity IS NOT NULL AND e.unit IS DISTINCT FROM t.unit"""),
    ("entries in another unit than their technique: {n}, {one} among them", "Give the technique its unit again, with a techniques file.",
     "SELECT count(*), min(entry) FROM time_entries AS e JOIN techniques AS t USING (technique) WHERE e.quantity IS NOT NULL AND e.unit IS DISTINCT FROM t.unit"),
    ("entries on no work, in a phase that is not studio time: {n}, {one} among them", "Give the phase the position 0 again, with a phases file, or correct the entries.",
     "SELECT count(*), min(entry) FROM time_entries AS e JOIN phases AS p USING (phase) WHERE e.object IS NULL AND p.position > 0"),
    ("techniques with two pinned rates at once: {n}, {one} among them", "Pin the rate again under Our rates, and withdraw the other.",
     "SELECT count(*), min(technique) FROM (SELECT technique FROM pinned_rates WHERE withdrawn_on IS NULL GROUP BY technique HAVING count(*) > 1)"),
    ("the count of changes stands {n} times and not once", _BACKUP, "SELECT CASE WHEN count(*) = 1 THEN 0 ELSE count(*) + 1 END, '' FROM change_counter"),
)  # fmt: skip


def faults(con: duckdb.DuckDBPyConnection) -> list[Fault]:
    """Everything that does not hold together, in the file as `con` sees it; empty where all is well."""
    found = unreadable(con)
    if found:
        return found  # the other questions could not be answered
    recounted(con)
    for table, column, target, named, what, remedy in _NAMES:
        rows, one = con.execute(
            f"SELECT count(*), min({column}::VARCHAR) FROM {table} WHERE {column} IS NOT NULL AND {column} NOT IN (SELECT {named} FROM {target})"
        ).fetchall()[0]
        if rows:
            found.append(Fault(f'{_CALLED[table]} that name a {what} which is not there: {rows:,}, "{one}" among them', remedy))
    for sentence, remedy, query in _OTHERS:
        rows, one = con.execute(query).fetchall()[0]
        if rows:
            found.append(Fault(sentence.format(n=f"{rows:,}", one=one), remedy))
    return [*found, *_meaning(con), *_settings(con)]


def sums(con: duckdb.DuckDBPyConnection) -> dict[str, tuple[int, int]]:
    """Of each table how many rows it has, and a sum over all that they say: every block of the file is read for it."""
    return {table: con.execute(f"SELECT count(*), coalesce(bit_xor(hash(t)), 0) FROM {table} AS t").fetchall()[0] for table in tables(con)}


def unreadable(con: duckdb.DuckDBPyConnection) -> list[Fault]:
    """That a part of the file cannot be read; empty where all of it can."""
    try:
        sums(con)
    except duckdb.Error as error:
        return [Fault(f"a part of the file cannot be read ({why(error)})", "Restore the last backup; keep this file, as what can be read of it may be of use.")]
    return []


def _meaning(con: duckdb.DuckDBPyConnection) -> list[Fault]:
    """Cells that say what none of their column can."""
    found = []
    for table, nonsense in NONSENSE.items():
        counts = con.execute(f"SELECT {', '.join(f'count(*) FILTER ({one.condition})' for one in nonsense)} FROM {table}").fetchall()[0]
        found += [
            Fault(f"{_CALLED[table]} whose {one.column.replace('_', ' ')} {one.reason}: {rows:,}", _BACKUP)
            for one, rows in zip(nonsense, counts, strict=True)
            if rows
        ]
    return found


def _settings(con: duckdb.DuckDBPyConnection) -> list[Fault]:
    found = []
    for name, text in con.execute("SELECT setting, value FROM settings ORDER BY setting").fetchall():
        try:
            stored_text(name, text)
        except BenchHoursError as error:
            found.append(Fault(f"of the settings, {error.what}", "Say it again under Studio."))
    try:
        read_settings(con)
    except ValueError as error:
        found.append(Fault(f"the settings cannot be read ({error})", "Say them again under Studio."))
    return found
