"""Integrity of the record: references lead somewhere, sums match their parts, nothing is gone unrecorded."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ingest.errors import BenchHoursError, why
from ingest.importing.constraints import CONSTRAINTS
from ingest.sql import Connection, quoted
from ingest.store import tables
from ingest.studio.settings import read_settings, stored_text
from ingest.tables.counted_hours import recounted


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that does not hold together, and what to do about it."""

    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.what}. {self.remedy}"


_BACKUP = (
    "Restore the last backup that was without this fault, or bring the files in again into a new database."
)
_ESTIMATES = "Bring in the estimates file again."
_RECOUNT = "Open the entry under One work and save it: its hours are counted again."
_UNIT = "Give the technique its unit again, with a techniques file."
_WORDS = "Add the word under Studio, or with a phases or techniques file."

# Of a column that names something: in which table and column it stands, what it is called, the remedy.
_NAMED = {
    "object": ("objects", "object", "work", "Bring the objects file in again."),
    "returned_from": ("objects", "object", "work", "Bring the objects file in again."),
    "phase": ("phases", "phase", "phase", _WORDS),
    "technique": ("techniques", "technique", "technique", _WORDS),
    "line": ("lines", "line", "line", _BACKUP),
    "person": ("people", "person", "person", "Add the person under Studio."),
    "action": ("phone_actions", "action", "action of a phone", _BACKUP),
    "heads": ("foreign_tables", "heads", "table", "Say under Bring in logs what its columns mean."),
}
_REFERENCES = """
    lines.object lines.phase lines.technique techniques.phase spells.line spells.person estimated_lines.line
    estimated_lines.person estimate_versions.object objects.returned_from milestones.object milestones.phase
    milestones.technique
    person_spellings.person spells_in_hand.object spells_in_hand.phase spells_in_hand.technique
    spells_in_hand.person pinned_rates.phase pinned_rates.technique phone_outcomes.action phone_changes.action
    phone_decisions.action drafts.object quotes.object quoted_lines.phase quoted_lines.technique
    foreign_words.heads
"""
_CALLED = {
    "lines": "lines",
    "techniques": "techniques",
    "spells": "time entries",
    "estimated_lines": "lines of estimates",
    "estimate_versions": "estimates",
    "objects": "works",
    "milestones": "milestones",
    "person_spellings": "spellings of people",
    "drafts": "drafts",
    "phases": "phases",
    "spellings": "spellings",
    "people": "people",
    "held_back": "rows held back",
    "unsaved": "things not saved yet",
    "imports": "files brought in",
    "history": "changes in the history",
    "spells_in_hand": "spells in hand",
    "phone_actions": "actions of phones",
    "pinned_rates": "pinned rates",
    "quotes": "saved quotes",
    "quoted_options": "options of saved quotes",
    "quoted_lines": "lines of saved quotes",
    "ended_versions": "versions that ended",
    "foreign_tables": "readings of tables",
    "foreign_words": "words of tables",
    "spelling_origins": "origins of spellings",
    "phone_outcomes": "outcomes of actions of phones",
    "phone_changes": "changes by phones",
    "phone_decisions": "decisions on actions of phones",
}

# works that were struck out, with all that was held of them
_STRUCK_OUT = """SELECT key FROM (SELECT key, arg_max(event, number) AS event FROM history
    WHERE kind = 'objects' GROUP BY key) WHERE event = 'taken back'
    AND key NOT IN (SELECT object FROM objects)"""
# What is at fault, the remedy, and the query for the names of what is.
_OTHERS = (
    (
        "lines of estimates that belong to no version",
        _BACKUP,
        """object || ' version ' || version FROM estimate_lines
            WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_versions)""",
    ),
    (
        "versions of estimates without lines",
        _ESTIMATES,
        """object || ' version ' || version FROM estimate_versions
            WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_lines)""",
    ),
    (
        "works with a gap in the versions of their estimate",
        _ESTIMATES,
        """object FROM estimate_versions GROUP BY object HAVING max(version) <> count(*)
            OR min(version) <> 1""",
    ),
    (
        "saved quotes of no version",
        _ESTIMATES,
        """object || ' version ' || version FROM quotes
            WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_versions)""",
    ),
    (
        "saved quotes without lines or options",
        _BACKUP,
        """object || ' version ' || version FROM quotes
            WHERE (object, version) NOT IN (SELECT (object, version) FROM quoted_options)
            OR (object, version) NOT IN (SELECT (object, version) FROM quoted_lines)""",
    ),
    (
        "versions that ended and are none",
        _ESTIMATES,
        """object || ' version ' || version FROM ended_versions
            WHERE (object, version) NOT IN (SELECT (object, version) FROM estimate_versions)""",
    ),
    (
        "versions that are approved, and declined or withdrawn too",
        "Take one of the two back under Estimate.",
        """object || ' version ' || version
            FROM ended_versions JOIN estimate_versions USING (object, version)
            WHERE approved_on IS NOT NULL""",
    ),
    (
        "lines that stand twice",
        _BACKUP,
        """concat_ws(', ', object, phase, technique, part) FROM lines
            GROUP BY object, phase, technique, part HAVING count(*) > 1""",
    ),
    (
        "names that several entries have",
        "Take one of the two back under One work, if both say the same.",
        "entry FROM spells GROUP BY entry HAVING count(*) > 1",
    ),
    (
        "lines of a technique, or of a part, in no phase",
        _BACKUP,
        "concat_ws(', ', object, technique, part) FROM lines WHERE phase = '' AND technique || part <> ''",
    ),
    (
        "entries with other hours than their clock",
        _RECOUNT,
        """entry FROM spells WHERE started_at IS NOT NULL
            AND abs(epoch(ended_at - started_at) / 3600 - hours) > 1e-6""",
    ),
    (
        "entries that count more or less than their hours",
        _RECOUNT,
        """entry FROM spells
            WHERE abs(counted_hours - CASE mode WHEN 'unattended' THEN 0 ELSE hours END) > 1e-6
            AND NOT (mode = 'attended' AND started_at IS NOT NULL)""",
    ),
    (
        "attended entries that count otherwise than they should beside other work of the same person",
        _RECOUNT,
        "entry FROM spells WHERE rowid IN (SELECT id FROM recounted)",
    ),
    (
        "entries that are gone without having been taken back",
        "Bring in the files of that work again, or restore a backup that has them.",
        """key FROM (SELECT key, arg_max(event, number) AS event FROM history
            WHERE kind = 'time_entries' GROUP BY key) WHERE key NOT IN (SELECT entry FROM spells)
            AND event <> 'taken back'""",
    ),
    (
        "works in the history that are not in the record",
        "Bring the objects file in again.",
        f"""DISTINCT key FROM history WHERE kind = 'objects' AND key NOT IN (SELECT object FROM objects)
            AND key NOT IN ({_STRUCK_OUT})""",
    ),
    (
        "versions of estimates in the history that are not in the record",
        _ESTIMATES,
        """key FROM (SELECT key, arg_max(event, number) AS event FROM history
            WHERE kind = 'estimate_versions' GROUP BY key) WHERE event <> 'taken back'
            AND key NOT IN (SELECT object || ' version ' || version FROM estimate_versions)""",
    ),
    (
        "earlier entries in the history that do not say what they are known by",
        _BACKUP,
        """key FROM history WHERE kind = 'time_entries' AND (earlier->>'content')
            IS DISTINCT FROM content::VARCHAR""",
    ),
    (
        "rows held back that resemble an entry which never was",
        "Decide them under Bring in logs: new, or left out.",
        """resembles FROM held_back WHERE decided IS NULL
            AND resembles NOT IN (SELECT entry FROM spells)
            AND resembles NOT IN (SELECT key FROM history WHERE kind = 'time_entries')""",
    ),
    (
        "lines of estimates in another unit than their technique",
        _UNIT,
        """object || ' ' || line_name(e.phase, technique)
            FROM estimate_lines AS e LEFT JOIN techniques AS t USING (technique)
            WHERE e.quantity IS NOT NULL AND e.unit IS DISTINCT FROM t.unit""",
    ),
    (
        "entries in another unit than their technique",
        _UNIT,
        """entry FROM time_entries AS e LEFT JOIN techniques AS t USING (technique)
            WHERE e.quantity IS NOT NULL AND e.unit IS DISTINCT FROM t.unit""",
    ),
    (
        "entries on no work, in a phase that is not studio time",
        "Give the phase the position 0 again, with a phases file, or correct the entries.",
        """entry FROM time_entries AS e LEFT JOIN phases AS p USING (phase) WHERE e.object IS NULL
            AND coalesce(p.position, 1) > 0""",
    ),
    (
        "techniques, phases or works with two pinned rates at once",
        "Pin the rate again under Our rates, and withdraw the other.",
        """line_name(phase, technique) FROM pinned_rates WHERE withdrawn_on IS NULL
            GROUP BY phase, technique HAVING count(*) > 1""",
    ),
)


def faults(con: Connection) -> list[Fault]:
    """Everything that does not hold together, in the file as `con` sees it; empty where all is well."""
    broken = unreadable(con)
    if broken:
        return broken  # the other questions could not be answered
    recounted(con)
    for table, _, column in (name.partition(".") for name in _REFERENCES.split()):
        target, named, what, remedy = _NAMED[column]
        rows, least = con.execute(
            f"""SELECT count(*), min({column}::VARCHAR) FROM {table}
            WHERE {column}::VARCHAR <> '' AND {column} NOT IN (SELECT {named} FROM {target})"""
        ).fetchall()[0]
        if rows:
            sentence = (
                f'{_CALLED[table]} that name a {what} which is not there: {rows:,}, "{least}" among them'
            )
            broken.append(Fault(sentence, remedy))
    for what, remedy, query in _OTHERS:
        rows, least = con.execute(f"SELECT count(*), min(COLUMNS(*)) FROM (SELECT {query})").fetchall()[0]
        if rows:
            broken.append(Fault(f"{what}: {rows:,}, {least} among them", remedy))
    counters = con.execute("SELECT count(*) FROM change_counter").fetchall()[0][0]
    if counters != 1:
        broken.append(Fault(f"the count of changes stands {counters + 1:,} times and not once", _BACKUP))
    return [*broken, *_meaning(con), *_settings(con)]


def sums(con: Connection) -> dict[str, tuple[int, int]]:
    """Row count and checksum of each table; every block of the file is read for it."""
    each = (
        f"SELECT {quoted(table)}, count(*), coalesce(bit_xor(hash(t)), 0) FROM {table} AS t"
        for table in tables(con)
    )
    return {table: (rows, of) for table, rows, of in con.execute(" UNION ALL ".join(each)).fetchall()}


def unreadable(con: Connection) -> list[Fault]:
    """Faults for parts of the file that cannot be read; empty where all can."""
    try:
        sums(con)
    except duckdb.Error as error:
        return [
            Fault(
                f"a part of the file cannot be read ({why(error)})",
                "Restore the last backup; keep this file, as what can be read of it may be of use.",
            )
        ]
    return []


def _meaning(con: Connection) -> list[Fault]:
    """Cells that say what none of their column can."""
    broken = []
    for table, constraints in CONSTRAINTS.items():
        counts = con.execute(
            f"SELECT {', '.join(f'count(*) FILTER ({item.condition})' for item in constraints)} FROM {table}"
        ).fetchall()[0]
        broken += [
            Fault(
                f"{_CALLED[table]} whose {constraint.column.replace('_', ' ')} {constraint.reason}: {rows:,}",
                _BACKUP,
            )
            for constraint, rows in zip(constraints, counts, strict=True)
            if rows
        ]
    return broken


def _settings(con: Connection) -> list[Fault]:
    broken = []
    for name, text in con.execute("SELECT setting, value FROM settings ORDER BY setting").fetchall():
        try:
            stored_text(name, text)
        except BenchHoursError as error:
            broken.append(Fault(f"of the settings, {error.what}", "Say it again under Studio."))
    try:
        read_settings(con)
    except ValueError as error:
        broken.append(Fault(f"the settings cannot be read ({error})", "Say them again under Studio."))
    return broken
