"""What an export carries beside the six forms: tables that leave as they are and come back as they were.

Settings, words with their names at birth, people, drafts, questions, history. Brought into a studio with nothing in
it yet they take the place of what a new file is planted with; in any other, what is held stays and what is new is added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import duckdb

from ingest import records, vocabulary
from ingest.cells import begin_faults, note, note_all, rule
from ingest.errors import BenchHoursError, FileError
from ingest.history import Change, tell_events
from ingest.meaning import NONSENSE
from ingest.notation import of_a_file
from ingest.records import Form
from ingest.row_status import RowStatus, untouched
from ingest.rows import Rows
from ingest.settings import NUMBERS, stored_text, write_settings
from ingest.sql import quoted


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """How the rows of one kept form lie in the database.

    Attributes
    ----------
    form : its columns; named as those of the table.
    table : where they are held.
    key : by which a row is known.
    source : SQL of the rows as they are exported, columns of the form; `{private}` is true where private columns go along.
    order : SQL, in which they are exported.
    shared : goes into an export that others may see.
    astray : SQL condition on a row `r` that names what is not held, the column of it, the code of the fault, and which file of the export has it.
    """

    form: Form
    table: str
    key: tuple[str, ...]
    source: str
    order: str
    shared: bool = True
    astray: tuple[str, str, str, str] | None = None


_AS_HELD = "SELECT {columns} FROM {table}"
# Shared, the settings are without absences: why somebody is away is theirs.
_SETTINGS = "SELECT {columns} FROM {table} WHERE {private} OR setting <> 'absences'"
_WITH_OBJECTS = "lacks_an_earlier_file", "objects file"
# Shared, the earlier versions of a work are without title and owner, and nothing tells the name of a file: it may be somebody's.
_HISTORY = """SELECT kind, key, event, changed_at, changed_by,
    CASE WHEN NOT {private} AND event = 'brought in' THEN 'brought in with a file' ELSE reason END AS reason,
    CASE WHEN NOT {private} AND kind = 'objects' THEN json_merge_patch(earlier, '{{"title": null, "owner": null, "owner_address": null}}') ELSE earlier END AS earlier,
    content, number FROM history WHERE {private} OR NOT (kind = 'settings' AND key = 'absences')"""
# Shared, a saved quote is without what was typed for its letter and without the letter: owners are named in them.
_QUOTES = "SELECT * REPLACE (CASE WHEN {private} THEN written END AS written, CASE WHEN {private} THEN letter END AS letter) FROM quotes"
_NO_VERSION = "(r.object, r.version) NOT IN (SELECT (object, version) FROM estimate_versions)"
_NO_QUOTE = "(r.object, r.version) NOT IN (SELECT (object, version) FROM quotes)"
_WITH_ESTIMATES = "lacks_an_earlier_file", "estimates"
_WITH_QUOTES = "lacks_its_file", "saved quotes"
_ITS_OBJECT = "coalesce(r.earlier->>'object', r.earlier->>'$.version.object')"

KEPT = (
    Kept(form=records.SETTINGS, table="settings", key=("setting",), source=_SETTINGS, order="setting"),
    Kept(form=records.PHASE_NAMES, table="phases", key=("key",), source=_AS_HELD, order="position, phase"),
    Kept(
        form=records.TECHNIQUE_NAMES, table="techniques", key=("key",), source=_AS_HELD, order="technique",
        astray=("r.phase NOT IN (SELECT phase FROM phases)", "phase", "lacks_its_file", "phase names"),
    ),
    Kept(form=records.SPELLINGS, table="spellings", key=("kind", "spelling"), source=_AS_HELD, order="kind, spelling"),
    Kept(form=records.PEOPLE, table="people", key=("person",), source=_AS_HELD, order="person"),
    Kept(
        form=records.PEOPLE_SPELLINGS, table="person_spellings", key=("spelling",), source=_AS_HELD, order="person, spelling",
        astray=("r.person NOT IN (SELECT person FROM people)", "person", "lacks_its_file", "people"),
    ),
    Kept(form=records.HELD_BACK, table="held_back", key=("content", "rank"), source=_AS_HELD, order="noticed_at, file, line, content, rank", shared=False),
    Kept(
        form=records.DRAFTS, table="drafts", key=("object",), source=_AS_HELD, order="object", shared=False,
        astray=("r.object NOT IN (SELECT object FROM objects)", "object", *_WITH_OBJECTS),
    ),
    Kept(form=records.UNSAVED, table="unsaved", key=("what",), source=_AS_HELD, order="what", shared=False),
    Kept(
        form=records.IMPORTS, table="imports", key=records.IMPORTS.names, source=_AS_HELD, order="number", shared=False,
    ),
    Kept(form=records.PHONE_ACTIONS, table="phone_actions", key=("action",), source=_AS_HELD, order="received_at, number, action", shared=False),
    Kept(
        form=records.PHONE_OUTCOMES, table="phone_outcomes", key=("action",), source=_AS_HELD, order="settled_at, action", shared=False,
        astray=("r.action NOT IN (SELECT action FROM phone_actions)", "action", "lacks_its_file", "actions of phones"),
    ),
    Kept(
        form=records.IN_HAND, table="spells_in_hand", key=("entry",), source=_AS_HELD, order="in_hand_since, entry", shared=False,
        astray=("r.object NOT IN (SELECT object FROM objects)", "object", *_WITH_OBJECTS),
    ),
    Kept(
        form=records.PINNED_RATES, table="pinned_rates", key=records.PINNED_RATES.names, source=_AS_HELD, order="technique, pinned_on, withdrawn_on, rate, reason",
        shared=False, astray=("r.technique NOT IN (SELECT technique FROM techniques)", "technique", "lacks_its_file", "technique names"),
    ),
    Kept(
        form=records.QUOTES, table="quotes", key=("object", "version"), source=_QUOTES, order="object, version", astray=(_NO_VERSION, "version", *_WITH_ESTIMATES),
    ),
    *(
        Kept(form=form, table=table, key=key, source=_AS_HELD, order=", ".join(key), astray=(_NO_QUOTE, "version", *_WITH_QUOTES))
        for form, table, key in (
            (records.QUOTED_OPTIONS, "quoted_options", ("object", "version", "option")), (records.QUOTED_LINES, "quoted_lines", ("object", "version", "option", "place")),
        )
    ),
    Kept(
        form=records.ENDED_VERSIONS, table="ended_versions", key=("object", "version"), source=_AS_HELD, order="object, version", astray=(_NO_VERSION, "version", *_WITH_ESTIMATES),
    ),
    Kept(
        form=records.HISTORY, table="history", key=("kind", "key", "changed_at", "changed_by", "content"), order="number",
        source=_HISTORY,
        astray=(f"{_ITS_OBJECT} IS NOT NULL AND {_ITS_OBJECT} NOT IN (SELECT object FROM objects)", "earlier", *_WITH_OBJECTS),
    ),
)  # fmt: skip


_MAY_REPEAT = ("history", "imports")  # numbered; equal rows may stand in them


def kept_of(form: Form) -> Kept | None:
    """How a form is kept; None for a form of its own ways."""
    return next((kept for kept in KEPT if kept.form is form), None)


def is_new(con: duckdb.DuckDBPyConnection) -> bool:
    """Nothing is held yet but words and settings."""
    found: bool = con.execute(
        "SELECT NOT (EXISTS (FROM objects) OR EXISTS (FROM lines) OR EXISTS (FROM estimate_versions) OR EXISTS (FROM history WHERE event <> 'made'))"
    ).fetchall()[0][0]
    return found


def check(con: duckdb.DuckDBPyConnection, form: Form, rows: Rows, status: RowStatus) -> None:
    """Check the rows of the view `cells` as a kept form."""
    begin_faults(con)
    _read(con, form, rows.names)
    status.reject_faulty()
    if form is records.SETTINGS:
        _check_settings(con, status)
    elif form is records.ENTRY_CONTENTS:
        _check_contents(con, status)
    else:
        kept = kept_of(form)
        assert kept is not None  # every other form of these is in KEPT
        _check_kept(con, kept, status)


def store(con: duckdb.DuckDBPyConnection, form: Form, rows: Rows, change: Change) -> None:
    """Store what `check` left."""
    if form is records.SETTINGS:
        new = dict(con.execute(f'SELECT setting, value FROM settings_to_be WHERE {untouched()} ORDER BY "row"').fetchall())
        first = is_new(con)
        for name, value in new.items():
            write_settings(con, {name: value}, None if first else change)
    elif form is records.ENTRY_CONTENTS:
        con.execute(f"UPDATE spells SET content = r.content FROM resolved AS r WHERE spells.entry = r.entry AND {untouched('r')}")
    else:
        kept = kept_of(form)
        assert kept is not None
        last: int = con.execute("SELECT coalesce(max(number), 0) FROM history").fetchall()[0][0]
        _store_kept(con, kept)
        if form is records.HISTORY and "event" not in rows.names:  # of an export from before it was kept
            tell_events(con, after=last)


def _read(con: duckdb.DuckDBPyConnection, form: Form, names: Sequence[str]) -> None:
    """The table `resolved`: the cells as values of the table's own types."""
    kept = kept_of(form)
    types = _types(con, kept.table) if kept else {"entry": ("VARCHAR", False), "content_as_read": ("UUID", False), "content": ("UUID", False)}
    values, unread = [], []
    blank = " AND ".join(f"c{number} IS NULL" for number in range(len(names)))
    for name in form.names:
        cell = f"c{names.index(name)}" if name in names else "'corrected'"  # the event of a history from before it was kept: told once the rows are stored
        kind, may_be_empty = types[name]
        if kind == "VARCHAR":
            # no text at all and an empty text look alike in a file; where there must be one, it is the empty one
            values.append(f"{cell} AS {name}" if may_be_empty else f"coalesce({cell}, '') AS {name}")
            continue
        read = f"CASE WHEN json_valid({cell}) THEN {cell}::JSON END" if kind == "JSON" else f"TRY_CAST({cell} AS {kind})"
        values.append(f"{read} AS {name}")
        missing = "" if may_be_empty else f" OR {cell} IS NULL"
        unread.append(rule(f"{cell} IS NOT NULL AND ({read}) IS NULL{missing}", name, "not_as_exported", type=quoted(kind.lower())))
    con.execute(f'CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", {", ".join(values)} FROM cells WHERE NOT ({blank})')
    if unread:
        note(con, "faults", f"(FROM cells WHERE NOT ({blank}))", unread)
    if kept and kept.table in NONSENSE:
        note(
            con, "faults", "resolved",
            [rule(one.condition, one.column, one.code, **{name: quoted(detail) for name, detail in one.details.items()}) for one in NONSENSE[kept.table]],
        )  # fmt: skip


def _types(con: duckdb.DuckDBPyConnection, table: str) -> dict[str, tuple[str, bool]]:
    """Each column of a table with its type and whether it may be empty."""
    rows = con.execute(
        "SELECT column_name, data_type, is_nullable FROM duckdb_columns() WHERE table_name = ? AND database_name = current_database()", [table]
    ).fetchall()
    return {name: (kind, nullable) for name, kind, nullable in rows}


def _check_kept(con: duckdb.DuckDBPyConnection, kept: Kept, status: RowStatus) -> None:
    """Rows that are new are added; of those whose key is held, what is held stays."""
    table, names = kept.table, kept.form.names
    _find_replaced(con, kept)
    listed, ours = ", ".join(names), ", ".join(kept.key)
    # The n-th of equal rows is held if n of them are: two changes of one moment may say the same.
    ranked = "row_number() OVER (PARTITION BY {ours} ORDER BY {order}) AS turn"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE of_file AS SELECT "row", {listed}, {ranked.format(ours=ours, order='"row"')} FROM resolved AS r WHERE {untouched("r")}"""
    )
    staying = f"{table} AS t WHERE t.rowid NOT IN (SELECT id FROM replaced)"
    con.execute(f"CREATE OR REPLACE TEMP TABLE of_store AS SELECT {listed}, {ranked.format(ours=ours, order='rowid')} FROM {staying}")
    if table not in _MAY_REPEAT:
        note_all(con, "faults", kept.key[0], "kept_repeated", "of_file WHERE turn > 1")
        status.reject_faulty()
    same_key = " AND ".join(f"h.{name} IS NOT DISTINCT FROM r.{name}" for name in (*kept.key, "turn"))
    others = [name for name in names if name not in kept.key]
    if others and kept.form is not records.HISTORY:
        differs = " OR ".join(f"h.{name}::VARCHAR IS DISTINCT FROM r.{name}::VARCHAR" for name in others)
        note_all(con, "warnings", kept.key[0], "held_otherwise", f'(SELECT r."row" FROM of_file AS r JOIN of_store AS h ON {same_key} WHERE {differs})')
    status.mark("already held", f'SELECT r."row" FROM of_file AS r JOIN of_store AS h ON {same_key}')
    if kept.astray:
        condition, column, code, file = kept.astray
        note_all(con, "faults", column, code, f"resolved AS r WHERE {untouched('r')} AND ({condition})", file=quoted(file))
        status.reject_faulty()
    for name in {"phases": ("phase",), "techniques": ("technique",), "person_spellings": ("written",)}.get(table, ()):
        note_all(con, "faults", name, "name_taken", f'(SELECT r."row" FROM of_file AS r JOIN of_store AS h USING ({name}) WHERE {untouched("r")})')
        again = f'(SELECT "row", row_number() OVER (PARTITION BY {name} ORDER BY "row") AS n FROM of_file AS r WHERE {untouched("r")}) WHERE n > 1'
        note_all(con, "faults", name, "name_repeated", again)
    status.reject_faulty()


def _find_replaced(con: duckdb.DuckDBPyConnection, kept: Kept) -> None:
    """In a new studio, words of the file take the place of those planted under the same key (their row ids are in `replaced`); what its user added stays."""
    con.execute("CREATE OR REPLACE TEMP TABLE replaced (id BIGINT)")
    if not is_new(con):
        return
    if kept.table in ("phases", "techniques"):
        same = " AND ".join(f"r.{name} IS NOT DISTINCT FROM h.{name}" for name in kept.form.names)
        con.execute(f"INSERT INTO replaced SELECT h.rowid FROM {kept.table} AS h JOIN resolved AS r USING (key) WHERE {untouched('r')} AND NOT ({same})")
    elif kept.table == "spellings":
        con.execute(
            f"""INSERT INTO replaced SELECT rowid FROM spellings WHERE list_contains(?::VARCHAR[], kind || '|' || spelling)
            AND (kind, key) IN (SELECT (r.kind, r.key) FROM resolved AS r WHERE {untouched("r")})
            AND (kind, spelling, written, key) NOT IN (SELECT (r.kind, r.spelling, r.written, r.key) FROM resolved AS r WHERE {untouched("r")})""",
            [vocabulary.planted_spellings()],
        )


def _store_kept(con: duckdb.DuckDBPyConnection, kept: Kept) -> None:
    table, listed = kept.table, ", ".join(kept.form.names)
    if table == "phases":
        con.execute(
            """UPDATE techniques SET phase = r.phase FROM phases AS h JOIN resolved AS r USING (key)
            WHERE h.rowid IN (SELECT id FROM replaced) AND techniques.phase = h.phase"""
        )
    con.execute(f"DELETE FROM {table} WHERE rowid IN (SELECT id FROM replaced)")
    number = f'(SELECT coalesce(max(number), 0) FROM {table}) + row_number() OVER (ORDER BY "row"), ' if table in _MAY_REPEAT else ""
    into = f"number, {listed}" if number else listed
    con.execute(f'INSERT INTO {table} ({into}) SELECT {number}{listed} FROM of_file AS r WHERE {untouched("r")} ORDER BY "row"')


def _check_settings(con: duckdb.DuckDBPyConnection, status: RowStatus) -> None:
    """Settings are judged one by one as if they were said now; in a studio with something in it, what is held stays."""
    new = is_new(con)
    held = dict(con.execute("SELECT setting, value FROM settings").fetchall())
    con.execute('CREATE OR REPLACE TEMP TABLE settings_to_be ("row" BIGINT, setting VARCHAR, value VARCHAR)')
    for row, name, text in con.execute(f'SELECT "row", setting, value FROM resolved WHERE {untouched()} ORDER BY "row"').fetchall():
        this = f'(SELECT {row} AS "row")'
        try:
            value = stored_text(name, of_a_file(text, ".") if name in NUMBERS else text)
        except BenchHoursError as error:
            note_all(con, "faults", "", "setting_refused", this, what=quoted(error.what), mend=quoted(error.mend))
            continue
        if value == held.get(name):
            status.mark("already held", this)
        elif name == "demo" and not new:  # such a file is made anew by `demo`
            note_all(con, "faults", "", "demo_only", this)
        elif name == "zone" and not new:
            raise FileError(
                f"this is an export of a studio whose clock is in {value}, and the one here is in {held.get(name)}: its clock times would be read wrongly",
                "Bring it into a new database.",
            )
        elif name in held and not new:
            note_all(con, "warnings", "value", "setting_held_otherwise", this)
            status.mark("already held", this)
        else:
            con.execute("INSERT INTO settings_to_be VALUES (?, ?, ?)", [row, name, value])
            if name in held:
                con.execute("INSERT INTO corrections VALUES (?, ?)", [row, name])
    status.reject_faulty()


def _check_contents(con: duckdb.DuckDBPyConnection, status: RowStatus) -> None:
    """The identity of entries whose words have changed since: by it their old files are known."""
    note_all(con, "faults", "entry", "entry_changed_since", """(
        SELECT r."row" FROM resolved AS r LEFT JOIN spells AS e ON e.entry = r.entry WHERE e.entry IS NULL OR (e.content <> r.content AND e.content <> r.content_as_read))""")  # fmt: skip
    status.reject_faulty()
    status.mark("already held", 'SELECT r."row" FROM resolved AS r JOIN spells AS e ON e.entry = r.entry AND e.content = r.content')
