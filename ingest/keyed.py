"""Phases, techniques, objects and milestones: one row a key, the row of a file laid over the one held.

An empty cell says nothing and leaves what is held; a lone apostrophe says that there is nothing. A row that says what an earlier version said never
overrides the later one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import duckdb

from ingest import vocabulary
from ingest.cells import note, note_all, rule
from ingest.history import Change, keep_earlier, keep_made
from ingest.notation import folded
from ingest.readings import Context
from ingest.row_status import RowStatus, untouched, with_status
from ingest.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Keyed:
    """How the rows of a form are laid over the table of the same thing.

    Attributes
    ----------
    columns : of the table, beside its key.
    born : SQL for columns as a new row has them; what every row has from birth cannot be emptied.
    nothing : by column, the word with which a cell says that there is none; an empty cell says nothing at all.
    """

    table: str
    key: str
    columns: tuple[str, ...]
    born: Mapping[str, str] = field(default_factory=dict)
    nothing: Mapping[str, str] = field(default_factory=dict)


_PHASES = _Keyed(table="phases", key="phase", columns=("position", "note"), born={"key": "phase"})
_TECHNIQUES = _Keyed(
    table="techniques", key="technique", columns=("phase", "unit", "mode", "condition", "cautions", "note"),
    born={"key": "technique", "mode": "coalesce(mode, 'hands_on')"}, nothing={"unit": "none"},
)  # fmt: skip


def check_phases(con: duckdb.DuckDBPyConnection, rows: Rows, status: RowStatus) -> None:
    con.execute('CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", emptied, phase, position, note FROM checked')
    note(con, "faults", """(SELECT r."row", r.phase, r.position, (SELECT count(*) FROM time_entries AS e WHERE e.phase = r.phase AND e.object IS NULL) AS loose
        FROM resolved AS r JOIN phases AS p USING (phase) WHERE p.position = 0 AND r.position > 0)""", [
        rule("loose > 0", "position", "phase_in_use", phase="phase", entries="loose"),
    ])  # fmt: skip
    note_all(con, "warnings", "position", "position_shared", """(
        SELECT r."row", p.phase AS other FROM resolved AS r JOIN phases AS p ON p.position = r.position AND p.phase <> r.phase WHERE r.position > 0)""", other="other")  # fmt: skip
    _ask_of_spellings(con, rows, "phase", "phases")
    _check_keyed(con, _PHASES, rows, status)


def store_phases(con: duckdb.DuckDBPyConnection, change: Change) -> None:
    _store_keyed(con, _PHASES, change)


def check_techniques(con: duckdb.DuckDBPyConnection, rows: Rows, status: RowStatus) -> None:
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT "row", emptied, technique, phase, unit, mode, condition, cautions, aliases, note FROM checked""")
    _ask_of_spellings(con, rows, "technique", "techniques")
    note(con, "faults", """(SELECT r."row", r.technique, t.unit AS held, (SELECT count(*) FROM time_entries AS e WHERE e.technique = r.technique AND e.quantity IS NOT NULL) AS used,
            (SELECT count(*) FROM estimate_lines AS e WHERE e.technique = r.technique AND e.quantity IS NOT NULL) AS estimated
        FROM resolved AS r JOIN techniques AS t USING (technique) WHERE t.unit IS NOT NULL AND (r.unit <> t.unit OR list_contains(r.emptied, 'unit')))""", [
        rule("used + estimated > 0", "unit", "unit_in_use", technique="technique", unit="held", entries="used", lines="estimated"),
    ])  # fmt: skip
    note(con, "warnings", "(SELECT r.* FROM resolved AS r JOIN techniques AS t USING (technique))", [
        rule("list_contains(emptied, 'mode')", "mode", "mode_stays"),
        rule("list_contains(emptied, 'aliases')", "aliases", "aliases_stay"),
    ])  # fmt: skip
    _check_keyed(con, _TECHNIQUES, rows, status)


def store_techniques(con: duckdb.DuckDBPyConnection, change: Change) -> None:
    _store_keyed(con, _TECHNIQUES, change)
    rows = con.execute(f"""SELECT t.key, r.aliases FROM resolved AS r JOIN techniques AS t USING (technique)
        WHERE r.aliases IS NOT NULL AND r."row" NOT IN ({with_status("rejected")})""").fetchall()
    for (spelling,) in con.execute("SELECT spelling FROM claimed JOIN techniques ON technique = spelling ORDER BY spelling").fetchall():
        vocabulary.take_spelling(con, "technique", spelling, change)
    for key, aliases in rows:
        vocabulary.add_spellings(con, "technique", key, aliases.split("|"))


def _ask_of_spellings(con: duckdb.DuckDBPyConnection, rows: Rows, kind: str, table: str) -> None:
    """Ask about rows of `resolved` that name a word by another spelling of it: they may mean that word, or one of their own.

    By a name that it once had a word is known to old files: such a row goes on under the present name, and is asked about only where it would change something
    (`_check_keyed`, by the table `once_named`). A technique that stands among its own aliases is a word of its own: it is in `claimed`.
    """
    con.execute('CREATE OR REPLACE TEMP TABLE once_named ("row" BIGINT, word VARCHAR)')
    con.execute("CREATE OR REPLACE TEMP TABLE claimed (spelling VARCHAR)")
    known = vocabulary.read_vocabulary(con)
    spellings = known.phase_spellings if kind == "phase" else known.technique_spellings
    aliases = "list(coalesce(aliases, ''))" if kind == "technique" else "['']"
    for written, others in con.execute(f"SELECT {kind}, {aliases} FROM resolved WHERE {kind} NOT IN (SELECT {kind} FROM {table}) GROUP BY {kind}").fetchall():
        word = spellings.get(folded(written))
        if word is None:
            continue
        key = con.execute(f"SELECT key FROM {table} WHERE {kind} = ?", [word]).fetchall()[0][0]
        called = f'(SELECT "row", {kind} AS written, ?::VARCHAR AS word FROM resolved WHERE {kind} = ?)'
        if folded(written) in vocabulary.once_called(con, kind, key):
            con.execute(f'INSERT INTO once_named SELECT "row", {kind} FROM resolved WHERE {kind} = ?', [written])
            con.execute(f"UPDATE resolved SET {kind} = ? WHERE {kind} = ?", [word, written])
        elif any(folded(written) in map(folded, one.split("|")) for one in others):
            con.execute("INSERT INTO claimed VALUES (?)", [written])
            first = f'(SELECT min("row") AS "row", any_value(word) AS word FROM {called})'
            note_all(con, "warnings", kind, "spelling_becomes_word", first, [word, written], word="word", kind=f"'{kind}'")
        else:
            code = "phase_or_spelling" if kind == "phase" else "technique_or_spelling_typed" if rows.typed else "technique_or_spelling"
            note_all(con, "faults", kind, code, called, [word, written], word="word", written="written")


OBJECT_COLUMNS = (
    "title", "maker", "kind", "support", "shape", "height_cm", "width_cm", "area_dm2", "structure_condition", "paint_condition", "surface_condition",
    "received_on", "due_on", "finished_on", "returned_from", "commission", "note", "owner", "owner_address",
)  # fmt: skip


_OBJECTS = _Keyed(table="objects", key="object", columns=OBJECT_COLUMNS)


def check_objects(con: duckdb.DuckDBPyConnection, rows: Rows, context: Context, status: RowStatus) -> None:
    con.execute(f'CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", emptied, object, {", ".join(OBJECT_COLUMNS)} FROM checked')
    known = "(SELECT object FROM objects UNION SELECT object FROM resolved)"
    note(con, "faults", f"""(SELECT r.*, (r.returned_from IS NOT NULL AND r.returned_from NOT IN (SELECT object FROM {known} AS k WHERE object IS NOT NULL)) AS astray,
            coalesce(r.received_on, o.received_on) AS came_on, coalesce(r.finished_on, o.finished_on) AS went_on FROM resolved AS r LEFT JOIN objects AS o USING (object))""", [
        rule("astray", "returned_from", "unknown_returned_object"),
        rule("returned_from = object", "returned_from", "returned_from_itself"),
        rule("finished_on IS NOT NULL AND went_on < came_on", "finished_on", "finished_before_received"),
        rule(f"finished_on > DATE '{context.today}'", "finished_on", "finished_in_future"),
    ])  # fmt: skip
    note(con, "warnings", """(
        WITH worked AS (
            SELECT l.object, l.line, max(s.day) AS last_day FROM lines AS l JOIN spells AS s ON s.line = l.line
            WHERE l.object IN (SELECT object FROM resolved WHERE finished_on IS NOT NULL) AND s.charge <> 'own_cost' GROUP BY ALL
        )
        SELECT r."row", count(*) AS opened, max(w.last_day) AS last_day FROM resolved AS r JOIN worked AS w ON w.object = r.object AND w.last_day > r.finished_on
        LEFT JOIN objects AS o ON o.object = r.object WHERE o.finished_on IS DISTINCT FROM r.finished_on GROUP BY r."row")""", [
        rule("opened = 1", "finished_on", "finish_opens_line", last_day="last_day"),
        rule("opened > 1", "finished_on", "finish_opens_lines", last_day="last_day", lines="opened"),
    ])  # fmt: skip
    _check_keyed(con, _OBJECTS, rows, status)


def store_objects(con: duckdb.DuckDBPyConnection, change: Change) -> None:
    _store_keyed(con, _OBJECTS, change)


def check_milestones(con: duckdb.DuckDBPyConnection, rows: Rows, context: Context, status: RowStatus) -> None:
    """A milestone is its whole row: held, or new. Without a phase it is of the technique's usual one."""
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, coalesce(c.phase, t.phase) AS phase, coalesce(c.technique, '') AS technique, coalesce(c.part, '') AS part, c.finished_on
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique""")
    note(con, "faults", "resolved", [
        rule("phase IS NULL", "phase", "phase_and_technique_missing"),
        rule(f"finished_on > DATE '{context.today}'", "finished_on", "milestone_in_future"),
    ])  # fmt: skip
    note(con, "warnings", """(SELECT * FROM resolved AS r WHERE "row" NOT IN (SELECT "row" FROM faults) AND NOT EXISTS (
        SELECT 1 FROM lines AS l WHERE l.object = r.object AND l.phase = r.phase AND r.technique IN ('', l.technique)
            AND (l.part = r.part OR (r.technique = '' AND r.part = ''))))""", [
        rule("technique = ''", "phase", "finishes_no_line_of_phase", object="object", phase="phase"),
        rule("technique <> ''", "phase", "finishes_no_line_of_technique", object="object", phase="phase", technique="technique"),
    ])  # fmt: skip
    status.reject_faulty()
    status.mark("already held", 'SELECT "row" FROM resolved SEMI JOIN milestones USING (object, phase, technique, part, finished_on)')
    if not rows.typed:
        status.mark(
            "already held",
            f"""SELECT r."row" FROM resolved AS r {WITH_KEYS} WHERE {untouched("r")} AND {MILESTONE_CONTENT} IN (SELECT content FROM history WHERE kind = 'milestones')""",
        )
    status.mark(
        "already held",
        'SELECT "row" FROM (SELECT "row", row_number() OVER (PARTITION BY object, phase, technique, part, finished_on ORDER BY "row") AS n FROM resolved) WHERE n > 1',
    )
    _warn_of_later_entries(con)


def store_milestones(con: duckdb.DuckDBPyConnection) -> None:
    con.execute(f"INSERT INTO milestones SELECT object, phase, technique, part, finished_on FROM resolved WHERE {untouched()}")


def _warn_of_later_entries(con: duckdb.DuckDBPyConnection) -> None:
    """Milestones before the last entry of a line that nothing later finishes: the entry opens the line again."""
    reaches = "m.object = l.object AND m.phase = l.phase AND ((m.technique = l.technique AND m.part = l.part) OR (m.technique = '' AND m.part IN ('', l.part)))"
    note(con, "warnings", f"""(
        WITH worked AS (
            SELECT l.line, any_value(l.object) AS object, any_value(l.phase) AS phase, any_value(l.technique) AS technique, any_value(l.part) AS part, max(s.day) AS last_day
            FROM lines AS l JOIN spells AS s ON s.line = l.line
            WHERE l.object IN (SELECT object FROM resolved) AND s.charge <> 'own_cost' GROUP BY l.line
        ), reached AS (
            SELECT object, phase, technique, part, finished_on FROM milestones UNION ALL SELECT object, phase, technique, part, finished_on FROM resolved
        ), still_open AS (
            SELECT * FROM worked AS l WHERE NOT EXISTS (FROM reached AS m WHERE {reaches} AND m.finished_on >= l.last_day)
                AND NOT EXISTS (FROM objects AS o WHERE o.object = l.object AND o.finished_on >= l.last_day)
        )
        SELECT m."row", count(*) AS opened, max(l.last_day) AS last_day FROM resolved AS m JOIN still_open AS l ON {reaches}
        WHERE {untouched("m")} GROUP BY m."row")""", [
        rule("opened = 1", "finished_on", "milestone_opens_line", last_day="last_day"),
        rule("opened > 1", "finished_on", "milestone_opens_lines", last_day="last_day", lines="opened"),
    ])  # fmt: skip


# A milestone as one value, by the keys of its words: one that was taken back is not set again by its file.
MILESTONE_CONTENT = "md5(concat_ws(chr(31), r.object, p.key, coalesce(t.key, ''), r.part, r.finished_on))::UUID"
WITH_KEYS = "LEFT JOIN phases AS p ON p.phase = r.phase LEFT JOIN techniques AS t ON t.technique = r.technique"


def _value(keyed: _Keyed, name: str, cell: str) -> str:
    """SQL for what a cell says: that there is none, or itself."""
    return f"nullif({cell}, '{keyed.nothing[name]}')" if name in keyed.nothing else cell


def _check_keyed(con: duckdb.DuckDBPyConnection, keyed: _Keyed, rows: Rows, status: RowStatus) -> None:
    """Lay the rows of `resolved` over the rows held with the same key, in the table `laid`."""
    table, key, columns = keyed.table, keyed.key, keyed.columns
    repeated, held = con.execute(
        f"SELECT count(DISTINCT r.{key}) < count(r.{key}), count(t.{key}) > 0 FROM resolved AS r LEFT JOIN {table} AS t ON t.{key} = r.{key}"
    ).fetchall()[0]
    if repeated:
        new = ", ".join(columns)
        note_all(
            con, "faults", key, "key_repeated",
            f"""(SELECT "row", ({new}) AS cells, first_value(({new})) OVER (PARTITION BY {key} ORDER BY "row") AS first_cells FROM resolved WHERE {key} IS NOT NULL)
            WHERE cells IS DISTINCT FROM first_cells""",
        )  # fmt: skip
    status.reject_faulty()
    if repeated:
        status.mark(
            "already held",
            f'SELECT "row" FROM (SELECT "row", row_number() OVER (PARTITION BY {key} ORDER BY "row") AS n FROM resolved WHERE {untouched()}) WHERE n > 1',
        )
    if not held:
        return
    empty = {name: f"r.{name} IS NULL" for name in columns}
    silent = {
        name: empty[name] if name in keyed.born else "false" if rows.typed else f"({empty[name]} AND NOT list_contains(r.emptied, '{name}'))"
        for name in columns
    }
    laid = ", ".join(f"{_value(keyed, name, f'CASE WHEN {silent[name]} THEN t.{name} ELSE r.{name} END')} AS {name}" for name in columns)
    same = " AND ".join(f"l.{name} IS NOT DISTINCT FROM t.{name}" for name in columns)
    earlier = {name: f"coalesce(h.earlier->>'{name}', '{keyed.nothing[name]}')" if name in keyed.nothing else f"h.earlier->>'{name}'" for name in columns}
    # That there is nothing was said before only if something was there before that.
    something = "EXISTS (SELECT 1 FROM history AS b WHERE b.kind = h.kind AND b.key = h.key AND b.number < h.number AND b.earlier->>'{name}' IS NOT NULL)"
    once = " AND ".join(
        f"({silent[name]} OR (r.{name}::VARCHAR IS NOT DISTINCT FROM ({earlier[name]}) AND (r.{name} IS NOT NULL OR {something.format(name=name)})))"
        for name in columns
    )
    before = "false" if rows.typed else f"EXISTS (SELECT 1 FROM history AS h WHERE h.kind = '{table}' AND h.key = r.{key} AND {once})"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE laid AS
        SELECT l.*, {same} AS unchanged
        FROM (SELECT r."row", r.{key}, {laid}, {before} AS said_before
              FROM resolved AS r JOIN {table} AS t USING ({key}) WHERE {untouched("r")}) AS l JOIN {table} AS t USING ({key})"""
    )
    if table in ("phases", "techniques"):
        note_all(
            con, "faults", key, "once_its_name", f'(SELECT l."row", l.{key} FROM laid AS l JOIN once_named USING ("row") WHERE NOT (l.unchanged OR l.said_before))',
            word=key, kind=f"'{key}'",
        )  # fmt: skip
        status.reject_faulty()
    note_all(con, "warnings", key, "said_before", "laid WHERE said_before AND NOT unchanged")
    status.mark("already held", 'SELECT "row" FROM laid WHERE unchanged OR said_before')
    con.execute(f'INSERT INTO corrections SELECT "row", {key} FROM laid WHERE {untouched()}')


def _store_keyed(con: duckdb.DuckDBPyConnection, keyed: _Keyed, change: Change) -> None:
    table, key = keyed.table, keyed.key
    if con.execute("SELECT EXISTS (FROM corrections)").fetchall()[0][0]:
        keep_earlier(
            con,
            table,
            change,
            f"SELECT t.{key} AS key, to_json(t) AS earlier, NULL AS content FROM {table} AS t WHERE t.{key} IN (SELECT entry FROM corrections)",
        )
        sets = ", ".join(f"{name} = l.{name}" for name in keyed.columns)
        con.execute(f'UPDATE {table} AS t SET {sets} FROM laid AS l JOIN corrections AS c ON c."row" = l."row" WHERE t.{key} = l.{key}')
    fresh = {name: _value(keyed, name, name) for name in keyed.columns} | {**keyed.born}
    new = f'resolved WHERE {untouched()} AND "row" NOT IN (SELECT "row" FROM corrections)'
    keep_made(con, table, change, f"SELECT {key} AS key, json_object('{key}', {key}) AS earlier FROM {new}")
    con.execute(f"INSERT INTO {table} ({key}, {', '.join(fresh)}) SELECT {key}, {', '.join(fresh.values())} FROM {new}")
