"""What an export carries beside the six forms: tables that leave as they are and come back as they were.

Settings, words with their names at birth, people, drafts, questions, history. Brought into a studio with nothing in
it yet they take the place of what a new file is planted with; in any other, what is held stays and what is new is added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import duckdb

from ingest import records, vocabulary
from ingest.checked import remark
from ingest.errors import BenchHoursError, FileError
from ingest.meaning import NONSENSE
from ingest.notation import of_a_file
from ingest.outcome import Fate, Outcome
from ingest.records import Form
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
    astray : SQL condition on a row `r` that names what is not held, the column of it, and the mend.
    """

    form: Form
    table: str
    key: tuple[str, ...]
    source: str
    order: str
    shared: bool = True
    astray: tuple[str, str, str] | None = None


_AS_WRITTEN = "Leave the files of an export as they are, or write it again."
_AS_HELD = "SELECT {columns} FROM {table}"
# Shared, the settings are without absences: why somebody is away is theirs.
_SETTINGS = "SELECT {columns} FROM {table} WHERE {private} OR setting <> 'absences'"
_WITH_OBJECTS = "Bring in the objects file of the same export with it, or first."
# Shared, the earlier versions of a work are without title and owner, and nothing tells the name of a file: it may be somebody's.
_HISTORY = """SELECT kind, key, changed_at, changed_by,
    CASE WHEN NOT {private} AND starts_with(reason, 'brought in with ') THEN 'brought in with a file' ELSE reason END AS reason,
    CASE WHEN NOT {private} AND kind = 'objects' THEN json_merge_patch(earlier, '{{"title": null, "owner": null, "owner_address": null}}') ELSE earlier END AS earlier,
    content, number FROM history WHERE {private} OR NOT (kind = 'settings' AND key = 'absences')"""
# Shared, a saved quote is without what was typed for its letter and without the letter: owners are named in them.
_QUOTES = "SELECT * REPLACE (CASE WHEN {private} THEN written END AS written, CASE WHEN {private} THEN letter END AS letter) FROM quotes"
_NO_VERSION = "(r.object, r.version) NOT IN (SELECT (object, version) FROM estimate_versions)"
_NO_QUOTE = "(r.object, r.version) NOT IN (SELECT (object, version) FROM quotes)"
_WITH_ESTIMATES = "Bring in the estimates of the same export with it, or first."
_WITH_QUOTES = "Bring in the saved quotes of the same export with it."
_ITS_OBJECT = "coalesce(r.earlier->>'object', r.earlier->>'$.version.object')"

KEPT = (
    Kept(form=records.SETTINGS, table="settings", key=("setting",), source=_SETTINGS, order="setting"),
    Kept(form=records.PHASE_NAMES, table="phases", key=("key",), source=_AS_HELD, order="position, phase"),
    Kept(
        form=records.TECHNIQUE_NAMES, table="techniques", key=("key",), source=_AS_HELD, order="technique",
        astray=("r.phase NOT IN (SELECT phase FROM phases)", "phase", "Bring in the phase names of the same export with it."),
    ),
    Kept(form=records.SPELLINGS, table="spellings", key=("kind", "spelling"), source=_AS_HELD, order="kind, spelling"),
    Kept(form=records.PEOPLE, table="people", key=("person",), source=_AS_HELD, order="person"),
    Kept(
        form=records.PEOPLE_SPELLINGS, table="person_spellings", key=("spelling",), source=_AS_HELD, order="person, spelling",
        astray=("r.person NOT IN (SELECT person FROM people)", "person", "Bring in the people of the same export with it."),
    ),
    Kept(form=records.HELD_BACK, table="held_back", key=("content", "rank"), source=_AS_HELD, order="noticed_at, file, line, content, rank", shared=False),
    Kept(
        form=records.DRAFTS, table="drafts", key=("object",), source=_AS_HELD, order="object", shared=False,
        astray=("r.object NOT IN (SELECT object FROM objects)", "object", _WITH_OBJECTS),
    ),
    Kept(form=records.UNSAVED, table="unsaved", key=("what",), source=_AS_HELD, order="what", shared=False),
    Kept(
        form=records.IMPORTS, table="imports", key=records.IMPORTS.names, source=_AS_HELD, order="number", shared=False,
    ),
    Kept(form=records.PHONE_ACTIONS, table="phone_actions", key=("action",), source=_AS_HELD, order="received_at, number, action", shared=False),
    Kept(
        form=records.PHONE_OUTCOMES, table="phone_outcomes", key=("action",), source=_AS_HELD, order="settled_at, action", shared=False,
        astray=("r.action NOT IN (SELECT action FROM phone_actions)", "action", "Bring in the actions of phones of the same export with it."),
    ),
    Kept(
        form=records.IN_HAND, table="spells_in_hand", key=("entry",), source=_AS_HELD, order="in_hand_since, entry", shared=False,
        astray=("r.object NOT IN (SELECT object FROM objects)", "object", _WITH_OBJECTS),
    ),
    Kept(
        form=records.PINNED_RATES, table="pinned_rates", key=records.PINNED_RATES.names, source=_AS_HELD, order="technique, pinned_on, withdrawn_on, rate, reason",
        shared=False, astray=("r.technique NOT IN (SELECT technique FROM techniques)", "technique", "Bring in the technique names of the same export with it."),
    ),
    Kept(
        form=records.QUOTES, table="quotes", key=("object", "version"), source=_QUOTES, order="object, version", astray=(_NO_VERSION, "version", _WITH_ESTIMATES),
    ),
    *(
        Kept(form=form, table=table, key=key, source=_AS_HELD, order=", ".join(key), astray=(_NO_QUOTE, "version", _WITH_QUOTES))
        for form, table, key in (
            (records.QUOTED_OPTIONS, "quoted_options", ("object", "version", "option")), (records.QUOTED_LINES, "quoted_lines", ("object", "version", "option", "place")),
        )
    ),
    Kept(
        form=records.ENDED_VERSIONS, table="ended_versions", key=("object", "version"), source=_AS_HELD, order="object, version", astray=(_NO_VERSION, "version", _WITH_ESTIMATES),
    ),
    Kept(
        form=records.HISTORY, table="history", key=("kind", "key", "changed_at", "changed_by", "content"), order="number",
        source=_HISTORY,
        astray=(f"{_ITS_OBJECT} IS NOT NULL AND {_ITS_OBJECT} NOT IN (SELECT object FROM objects)", "earlier", _WITH_OBJECTS),
    ),
)  # fmt: skip


_MAY_REPEAT = ("history", "imports")  # numbered; equal rows may stand in them


def kept_of(form: Form) -> Kept | None:
    """How a form is kept; None for a form of its own ways."""
    return next((kept for kept in KEPT if kept.form is form), None)


def is_new(con: duckdb.DuckDBPyConnection) -> bool:
    """Nothing is held yet but words and settings."""
    found: bool = con.execute(
        "SELECT NOT (EXISTS (FROM objects) OR EXISTS (FROM lines) OR EXISTS (FROM estimate_versions) OR EXISTS (FROM history))"
    ).fetchall()[0][0]
    return found


def bring_in(con: duckdb.DuckDBPyConnection, form: Form, names: Sequence[str], fate: Fate) -> Outcome:
    """Store the rows of the view `cells` as a kept form, inside the caller's transaction; faulty ones stand in `problems`."""
    _read(con, form, names)
    if form is records.SETTINGS:
        return _bring_in_settings(con, fate)
    if form is records.ENTRY_CONTENTS:
        return _bring_in_contents(con, fate)
    kept = kept_of(form)
    assert kept is not None  # every other form of these is in KEPT
    return _add(con, kept, fate)


def _read(con: duckdb.DuckDBPyConnection, form: Form, names: Sequence[str]) -> None:
    """The table `resolved`: the cells as values of the table's own types."""
    for table in ("problems", "warnings"):
        con.execute(f'CREATE OR REPLACE TEMP TABLE {table} ("row" BIGINT, column_name VARCHAR, reason VARCHAR, mend VARCHAR)')
    kept = kept_of(form)
    types = _types(con, kept.table) if kept else {"entry": ("VARCHAR", False), "content_as_read": ("UUID", False), "content": ("UUID", False)}
    values, faults = [], []
    for name in form.names:
        cell = f"cells.c{list(names).index(name)}"
        kind, may_be_empty = types[name]
        if kind == "VARCHAR":
            # no text at all and an empty text look alike in a file; where there must be one, it is the empty one
            values.append(f"{cell} AS {name}" if may_be_empty else f"coalesce({cell}, '') AS {name}")
            continue
        read = f"CASE WHEN json_valid({cell}) THEN {cell}::JSON END" if kind == "JSON" else f"TRY_CAST({cell} AS {kind})"
        values.append(f"{read} AS {name}")
        unread = f"{cell} IS NOT NULL AND ({read}) IS NULL"
        if not may_be_empty:
            unread += f" OR {cell} IS NULL"
        faults.append((name, kind, unread))
    blank = " AND ".join(f"c{number} IS NULL" for number in range(len(names)))
    con.execute(f'CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", {", ".join(values)} FROM cells WHERE NOT ({blank})')
    for name, kind, unread in faults:
        con.execute(
            f"""INSERT INTO problems SELECT "row", ?, 'is not as it was written out (' || ? || ')', {quoted(_AS_WRITTEN)}
            FROM cells WHERE NOT ({blank}) AND ({unread})""",
            [name, kind.lower()],
        )
    if kept:
        remark(con, "problems", "resolved", [(one.condition, one.column, quoted(one.reason), _AS_WRITTEN) for one in NONSENSE.get(kept.table, ())])


def _types(con: duckdb.DuckDBPyConnection, table: str) -> dict[str, tuple[str, bool]]:
    """Each column of a table with its type and whether it may be empty."""
    rows = con.execute(
        "SELECT column_name, data_type, is_nullable FROM duckdb_columns() WHERE table_name = ? AND database_name = current_database()", [table]
    ).fetchall()
    return {name: (kind, nullable) for name, kind, nullable in rows}


def _add(con: duckdb.DuckDBPyConnection, kept: Kept, fate: Fate) -> Outcome:
    """Rows that are new are added; of those whose key is held, what is held stays."""
    fate.reject_problems()
    if is_new(con):
        _make_room(con, kept, fate)
    names = kept.form.names
    listed = ", ".join(names)
    ours = ", ".join(kept.key)
    # The n-th of equal rows is held if n of them are: two changes of one moment may say the same.
    ranked = "row_number() OVER (PARTITION BY {ours} ORDER BY {order}) AS turn"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE of_file AS SELECT "row", {listed}, {ranked.format(ours=ours, order='"row"')} FROM resolved AS r WHERE {fate.untouched("r")}"""
    )
    con.execute(f"CREATE OR REPLACE TEMP TABLE of_store AS SELECT {listed}, {ranked.format(ours=ours, order='rowid')} FROM {kept.table}")
    if kept.table not in _MAY_REPEAT:
        con.execute(
            """INSERT INTO problems SELECT "row", ?, 'stands already on an earlier line of this file', 'Keep one of the two lines.' FROM of_file WHERE turn > 1""",
            [kept.key[0]],
        )
        fate.reject_problems()
    same_key = " AND ".join(f"h.{name} IS NOT DISTINCT FROM r.{name}" for name in (*kept.key, "turn"))
    others = [name for name in names if name not in kept.key]
    if others and kept.form is not records.HISTORY:
        differs = " OR ".join(f"h.{name}::VARCHAR IS DISTINCT FROM r.{name}::VARCHAR" for name in others)
        con.execute(
            f"""INSERT INTO warnings SELECT r."row", ?, 'is held otherwise here', 'What is held stays; change it on its page if this is right.'
            FROM of_file AS r JOIN of_store AS h ON {same_key} WHERE {differs}""",
            [kept.key[0]],
        )
    fate.mark("already held", f'SELECT r."row" FROM of_file AS r JOIN of_store AS h ON {same_key}')
    if kept.astray:
        condition, column, mend = kept.astray
        con.execute(
            f"""INSERT INTO problems SELECT r."row", ?, 'is of something that is not held', ? FROM resolved AS r WHERE {fate.untouched("r")} AND ({condition})""",
            [column, mend],
        )
        fate.reject_problems()
    for name in {"phases": ("phase",), "techniques": ("technique",), "person_spellings": ("written",)}.get(kept.table, ()):
        con.execute(
            f"""INSERT INTO problems SELECT r."row", ?, 'names something else here', 'Rename one of the two under Studio first.'
            FROM of_file AS r JOIN {kept.table} AS h USING ({name}) WHERE {fate.untouched("r")}
            UNION ALL SELECT "row", ?, 'names something else on an earlier line of this file', 'Keep one of the two lines.'
            FROM (SELECT "row", row_number() OVER (PARTITION BY {name} ORDER BY "row") AS n FROM of_file AS r WHERE {fate.untouched("r")}) WHERE n > 1""",
            [name, name],
        )
    fate.reject_problems()
    number = f'(SELECT coalesce(max(number), 0) FROM {kept.table}) + row_number() OVER (ORDER BY "row"), ' if kept.table in _MAY_REPEAT else ""
    into = f"number, {listed}" if number else listed
    con.execute(f'INSERT INTO {kept.table} ({into}) SELECT {number}{listed} FROM of_file AS r WHERE {fate.untouched("r")} ORDER BY "row"')
    return fate.outcome()


def _make_room(con: duckdb.DuckDBPyConnection, kept: Kept, fate: Fate) -> None:
    """In a new studio, words of the file take the place of those planted under the same key; what its user added stays."""
    if kept.table in ("phases", "techniques"):
        same = " AND ".join(f"r.{name} IS NOT DISTINCT FROM h.{name}" for name in kept.form.names)
        con.execute(
            f"CREATE OR REPLACE TEMP TABLE replaced AS SELECT h.* FROM {kept.table} AS h JOIN resolved AS r USING (key) WHERE {fate.untouched('r')} AND NOT ({same})"
        )
        if kept.table == "phases":
            con.execute("UPDATE techniques SET phase = r.phase FROM replaced AS h JOIN resolved AS r USING (key) WHERE techniques.phase = h.phase")
        con.execute(f"DELETE FROM {kept.table} WHERE key IN (SELECT key FROM replaced)")
    elif kept.table == "spellings":
        con.execute(
            f"""DELETE FROM spellings WHERE list_contains(?::VARCHAR[], kind || '|' || spelling)
            AND (kind, key) IN (SELECT (r.kind, r.key) FROM resolved AS r WHERE {fate.untouched("r")})
            AND (kind, spelling, written, key) NOT IN (SELECT (r.kind, r.spelling, r.written, r.key) FROM resolved AS r WHERE {fate.untouched("r")})""",
            [vocabulary.planted_spellings()],
        )


def _bring_in_settings(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    """Settings are judged one by one as if they were said now; in a studio with something in it, what is held stays."""
    new = is_new(con)
    held = dict(con.execute("SELECT setting, value FROM settings").fetchall())
    for row, name, text in con.execute('SELECT "row", setting, value FROM resolved ORDER BY "row"').fetchall():
        try:
            value = stored_text(name, of_a_file(text, ".") if name in NUMBERS else text)
            if value == held.get(name):
                fate.mark("already held", f'SELECT {row} AS "row"')
                continue
            if name == "demo" and not new:  # such a file is made anew by `demo`
                raise BenchHoursError("marks an invented studio, and this one is not", "Leave it out.")
            if name == "zone" and not new:
                raise FileError(
                    f"this is an export of a studio whose clock is in {value}, and the one here is in {held.get(name)}: its clock times would be read wrongly",
                    "Bring it into a new database.",
                )
            if name in held and not new:
                con.execute(
                    "INSERT INTO warnings VALUES (?, 'value', 'is held otherwise here', 'What is held stays; say it under Studio if this is right.')", [row]
                )
                fate.mark("already held", f'SELECT {row} AS "row"')
                continue
            write_settings(con, {name: value}, None if new else fate.change)
        except FileError:
            raise
        except BenchHoursError as error:
            con.execute("INSERT INTO problems VALUES (?, '', ?, ?)", [row, error.what, error.mend])
            continue
        if name in held:
            con.execute("INSERT INTO corrections VALUES (?, ?)", [row, name])
    fate.reject_problems()
    return fate.outcome()


def _bring_in_contents(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    """The identity of entries whose words have changed since: by it their old files are known."""
    con.execute(
        """INSERT INTO problems SELECT r."row", 'entry', 'is of an entry that is not held, or was changed since',
            'Bring in the time entries of the same export with it.'
        FROM resolved AS r LEFT JOIN spells AS e ON e.entry = r.entry WHERE e.entry IS NULL OR (e.content <> r.content AND e.content <> r.content_as_read)"""
    )
    fate.reject_problems()
    fate.mark("already held", 'SELECT r."row" FROM resolved AS r JOIN spells AS e ON e.entry = r.entry AND e.content = r.content')
    con.execute(f"UPDATE spells SET content = r.content FROM resolved AS r WHERE spells.entry = r.entry AND {fate.untouched('r')}")
    return fate.outcome()
