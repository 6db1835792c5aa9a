"""Phases and techniques: words of the vocabulary, with their spellings, brought in by files."""

from __future__ import annotations

from ingest.importing.cell_values import note, note_all, rule
from ingest.importing.row_status import RowStatus, with_status
from ingest.importing.rows import Rows
from ingest.importing.upserts import KeyedForm, check_keyed, store_keyed
from ingest.sql import Connection, statement
from ingest.studio import vocabulary
from ingest.tables.audit_log import Change
from ingest.values.spelling import folded

_PHASES = KeyedForm(table="phases", key="phase", columns=("position", "note"), born={"key": "phase"})
_TECHNIQUES = KeyedForm(
    table="techniques",
    key="technique",
    columns=("phase", "unit", "mode", "condition", "cautions", "note"),
    born={"key": "technique", "mode": "coalesce(mode, 'hands_on')"},
    nothing={"unit": "none"},
)


def check_phases(con: Connection, rows: Rows, status: RowStatus) -> None:
    con.execute(
        'CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", emptied, phase, position, note FROM checked'
    )
    note(
        con,
        "faults",
        """(
            SELECT r."row", r.phase, r.position,
                (
                    SELECT count(*) FROM time_entries AS e WHERE e.phase = r.phase AND e.object IS NULL
                ) AS loose
            FROM resolved AS r JOIN phases AS p USING (phase)
            WHERE p.position = 0 AND r.position > 0
        )""",
        rule("loose > 0", "position", "phase_in_use", phase="phase", entries="loose"),
    )
    note_all(
        con,
        "warnings",
        "position",
        "position_shared",
        """(
            SELECT r."row", p.phase AS other FROM resolved AS r
            JOIN phases AS p ON p.position = r.position AND p.phase <> r.phase
            WHERE r.position > 0
        )""",
        other="other",
    )
    _check_spellings(con, rows, "phase", "phases")
    check_keyed(con, _PHASES, rows, status)


def store_phases(con: Connection, change: Change) -> None:
    store_keyed(con, _PHASES, change)


def check_techniques(con: Connection, rows: Rows, status: RowStatus) -> None:
    con.execute(
        """CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT "row", emptied, technique, phase, unit, mode, condition, cautions, aliases, note
        FROM checked"""
    )
    _check_spellings(con, rows, "technique", "techniques")
    note(
        con,
        "faults",
        statement("ingest.importing", "technique_units_in_use"),
        rule(
            "used + estimated > 0",
            "unit",
            "unit_in_use",
            technique="technique",
            unit="held",
            entries="used",
            lines="estimated",
        ),
    )
    note(
        con,
        "warnings",
        "(SELECT r.* FROM resolved AS r JOIN techniques AS t USING (technique))",
        rule("list_contains(emptied, 'mode')", "mode", "mode_stays"),
        rule("list_contains(emptied, 'aliases')", "aliases", "aliases_stay"),
    )
    check_keyed(con, _TECHNIQUES, rows, status)


def store_techniques(con: Connection, change: Change) -> None:
    store_keyed(con, _TECHNIQUES, change)
    rows = con.execute(f"""SELECT t.key, r.aliases FROM resolved AS r JOIN techniques AS t USING (technique)
        WHERE r.aliases IS NOT NULL AND r."row" NOT IN ({with_status("rejected")})""").fetchall()
    for (spelling,) in con.execute(
        "SELECT spelling FROM claimed JOIN techniques ON technique = spelling ORDER BY spelling"
    ).fetchall():
        vocabulary.take_spelling(con, "technique", spelling, change)
    for key, aliases in rows:
        vocabulary.add_spellings(con, "technique", key, aliases.split("|"))


def _check_spellings(con: Connection, rows: Rows, kind: str, table: str) -> None:
    """Ask about rows of `resolved` that name a word by another spelling of it: they may mean that word, or
    one of their own.

    By a name that it once had a word is known to old files: such a row goes on under the present name, and is
    asked about only where it would change something (`_check_keyed`, by the table `once_named`). A technique
    that stands among its own aliases is a word of its own: it is in `claimed`.
    """
    con.execute('CREATE OR REPLACE TEMP TABLE once_named ("row" BIGINT, word VARCHAR)')
    con.execute("CREATE OR REPLACE TEMP TABLE claimed (spelling VARCHAR)")
    words = vocabulary.read_vocabulary(con)
    spellings = words.phase_spellings if kind == "phase" else words.technique_spellings
    aliases = "list(coalesce(aliases, ''))" if kind == "technique" else "['']"
    for written, others in con.execute(
        f"""SELECT {kind}, {aliases} FROM resolved
        WHERE {kind} NOT IN (SELECT {kind} FROM {table}) GROUP BY {kind}"""
    ).fetchall():
        word = spellings.get(folded(written))
        if word is None:
            continue
        key = con.execute(f"SELECT key FROM {table} WHERE {kind} = ?", [word]).fetchall()[0][0]
        named = f'(SELECT "row", {kind} AS written, ?::VARCHAR AS word FROM resolved WHERE {kind} = ?)'
        if folded(written) in vocabulary.former_names(con, kind, key):
            con.execute(
                f'INSERT INTO once_named SELECT "row", {kind} FROM resolved WHERE {kind} = ?', [written]
            )
            con.execute(f"UPDATE resolved SET {kind} = ? WHERE {kind} = ?", [word, written])
        elif any(folded(written) in map(folded, other.split("|")) for other in others):
            con.execute("INSERT INTO claimed VALUES (?)", [written])
            first = f'(SELECT min("row") AS "row", any_value(word) AS word FROM {named})'
            note_all(
                con,
                "warnings",
                kind,
                "spelling_becomes_word",
                first,
                [word, written],
                word="word",
                kind=f"'{kind}'",
            )
        else:
            code = (
                "phase_or_spelling"
                if kind == "phase"
                else "technique_or_spelling_typed"
                if rows.typed
                else "technique_or_spelling"
            )
            note_all(con, "faults", kind, code, named, [word, written], word="word", written="written")
