"""Phases, techniques, objects and milestones: one row a key, the row of a file laid over the one held.

An empty cell says nothing and leaves what is held; a lone apostrophe says that there is nothing. A row that says what an earlier version said never
overrides the later one.
"""

from __future__ import annotations

import duckdb

from ingest import vocabulary
from ingest.checked import remark
from ingest.history import keep_earlier
from ingest.notation import folded
from ingest.outcome import Fate, Outcome

_LINES = "' || CASE WHEN opened = 1 THEN 'the line' ELSE opened || ' lines' END || '"  # within a reason, in SQL


def bring_in_phases(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    con.execute('CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", emptied, phase, position, note FROM checked')
    remark(con, "problems", """(SELECT r."row", r.phase, r.position, (SELECT count(*) FROM time_entries AS e WHERE e.phase = r.phase AND e.object IS NULL) AS loose
        FROM resolved AS r JOIN phases AS p USING (phase) WHERE p.position = 0 AND r.position > 0)""", [
        ("loose > 0", "position", "'would make ' || phase || ' work on an object; entries in it without an object: ' || loose",
         "Leave it at 0, and add a phase of its own for work on objects."),
    ])  # fmt: skip
    remark(con, "warnings", """(SELECT r."row", r.phase, r.position, p.phase AS other FROM resolved AS r JOIN phases AS p ON p.position = r.position AND p.phase <> r.phase
        WHERE r.position > 0)""", [("true", "position", "'is the position of ' || other || ' too'", "Kept; they stand side by side.")])  # fmt: skip
    _ask_of_spellings(con, fate, "phase", "phases")
    return _merge(con, fate, "phases", "phase", ("position", "note"), born={"key": "phase"})


def bring_in_techniques(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT "row", emptied, technique, phase, unit, mode, condition, cautions, aliases, note FROM checked""")
    claimed = _ask_of_spellings(con, fate, "technique", "techniques")
    remark(con, "problems", """(SELECT r."row", r.technique, r.unit, t.unit AS held, (SELECT count(*) FROM time_entries AS e WHERE e.technique = r.technique AND e.quantity IS NOT NULL) AS used,
            (SELECT count(*) FROM estimate_lines AS e WHERE e.technique = r.technique AND e.quantity IS NOT NULL) AS estimated
        FROM resolved AS r JOIN techniques AS t USING (technique) WHERE t.unit IS NOT NULL AND (r.unit <> t.unit OR list_contains(r.emptied, 'unit')))""", [
        ("used + estimated > 0", "unit",
         "'would change the unit of ' || technique || ' from ' || held || '; entries measured in it: ' || used || ', lines of estimates: ' || estimated",
         "Give the new way of measuring a technique of its own, and retire the old one."),
    ])  # fmt: skip
    remark(con, "warnings", "(SELECT r.* FROM resolved AS r JOIN techniques AS t USING (technique))", [
        ("list_contains(emptied, 'mode')", "mode", "'cannot be left without one'", "Kept as it is held; write another mode to change it."),
        ("list_contains(emptied, 'aliases')", "aliases", "'are not taken away by a file'", "Kept as they are held; take them away under Studio."),
    ])  # fmt: skip
    outcome = _merge(
        con, fate, "techniques", "technique", ("phase", "unit", "mode", "condition", "cautions", "note"),
        born={"key": "technique", "mode": "coalesce(mode, 'hands_on')"}, nothing={"unit": "none"},
    )  # fmt: skip
    rows = con.execute(
        f"SELECT t.key, r.aliases FROM resolved AS r JOIN techniques AS t USING (technique) WHERE r.aliases IS NOT NULL AND {fate.not_rejected('r')}"
    ).fetchall()
    for spelling in claimed:
        if con.execute("SELECT EXISTS (FROM techniques WHERE technique = ?)", [spelling]).fetchall()[0][0]:
            vocabulary.take_spelling(con, "technique", spelling, fate.change)
    for key, aliases in rows:
        vocabulary.add_spellings(con, "technique", key, aliases.split("|"))
    return outcome


def _ask_of_spellings(con: duckdb.DuckDBPyConnection, fate: Fate, kind: str, table: str) -> list[str]:
    """Ask about rows of `resolved` that name a word by another spelling of it: they may mean that word, or one of their own.

    By a name that it once had a word is known to old files: such a row goes on under the present name, and is asked about only where it would change something
    (`_merge`, by the table `once_named`). A technique that stands among its own aliases is a word of its own.

    Returns
    -------
    The spellings that become words of their own.
    """
    con.execute('CREATE OR REPLACE TEMP TABLE once_named ("row" BIGINT, word VARCHAR)')
    known = vocabulary.read_vocabulary(con)
    spellings = known.phase_spellings if kind == "phase" else known.technique_spellings
    aliases = "list(coalesce(aliases, ''))" if kind == "technique" else "['']"
    claimed: list[str] = []
    for written, others in con.execute(f"SELECT {kind}, {aliases} FROM resolved WHERE {kind} NOT IN (SELECT {kind} FROM {table}) GROUP BY {kind}").fetchall():
        word = spellings.get(folded(written))
        if word is None:
            continue
        key = con.execute(f"SELECT key FROM {table} WHERE {kind} = ?", [word]).fetchall()[0][0]
        if folded(written) in vocabulary.once_called(con, kind, key):
            con.execute(f'INSERT INTO once_named SELECT "row", {kind} FROM resolved WHERE {kind} = ?', [written])
            con.execute(f"UPDATE resolved SET {kind} = ? WHERE {kind} = ?", [word, written])
        elif any(folded(written) in map(folded, one.split("|")) for one in others):
            claimed.append(written)
            con.execute(
                f'INSERT INTO warnings SELECT min("row"), ?, ?, ? FROM resolved WHERE {kind} = ?',
                [kind, f"is no spelling of {word} any more, but a {kind} of its own", f"What was logged by it stays with {word}.", written],
            )
        else:
            own = (
                f' For a {kind} of its own, write "{written}" among its {"other spellings" if fate.typed else "aliases"} too.'
                if kind == "technique"
                else " A phase of its own needs another name."
            )
            con.execute(
                f'INSERT INTO problems SELECT "row", ?, ?, ? FROM resolved WHERE {kind} = ?',
                [kind, f"is another spelling of {word}: is that meant, or a {kind} of its own", f'To change {word}, write "{word}".{own}', written],
            )
    return claimed


OBJECT_COLUMNS = (
    "title", "maker", "kind", "support", "shape", "height_cm", "width_cm", "area_dm2", "structure_condition", "paint_condition", "surface_condition",
    "received_on", "due_on", "finished_on", "returned_from", "commission", "note", "owner", "owner_address",
)  # fmt: skip


def bring_in_objects(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    con.execute(f'CREATE OR REPLACE TEMP TABLE resolved AS SELECT "row", emptied, object, {", ".join(OBJECT_COLUMNS)} FROM checked')
    known = "(SELECT object FROM objects UNION SELECT object FROM resolved)"
    remark(con, "problems", f"""(SELECT r.*, (r.returned_from IS NOT NULL AND r.returned_from NOT IN (SELECT object FROM {known} AS k WHERE object IS NOT NULL)) AS astray,
            coalesce(r.received_on, o.received_on) AS came_on, coalesce(r.finished_on, o.finished_on) AS went_on FROM resolved AS r LEFT JOIN objects AS o USING (object))""", [
        ("astray", "returned_from", "'is not a known object'", "Bring that object in first, or leave it empty."),
        ("returned_from = object", "returned_from", "'is the object itself'", "A work that returns is a new object with a code of its own."),
        ("finished_on IS NOT NULL AND went_on < came_on", "finished_on", "'is before the work was received'", "Mend one of the two days."),
        (f"finished_on > {fate.today}", "finished_on", "'lies in the future'", "Give the day once it has come; what is planned is due_on."),
    ])  # fmt: skip
    remark(con, "warnings", """(
        WITH worked AS (
            SELECT l.object, l.line, max(s.day) AS last_day FROM lines AS l JOIN spells AS s ON s.line = l.line
            WHERE l.object IN (SELECT object FROM resolved WHERE finished_on IS NOT NULL) AND s.charge <> 'own_cost' GROUP BY ALL
        )
        SELECT r."row", count(*) AS opened, max(w.last_day) AS last_day FROM resolved AS r JOIN worked AS w ON w.object = r.object AND w.last_day > r.finished_on
        LEFT JOIN objects AS o ON o.object = r.object WHERE o.finished_on IS DISTINCT FROM r.finished_on GROUP BY r."row")""", [
        ("true", "finished_on", f"'is before the last entry (' || last_day || '), which opens {_LINES} again'", "Kept; set it to that day or later if the work is finished."),
    ])  # fmt: skip
    return _merge(con, fate, "objects", "object", OBJECT_COLUMNS)


def bring_in_milestones(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    """A milestone is its whole row: held, or new. Without a phase it is of the technique's usual one."""
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, coalesce(c.phase, t.phase) AS phase, coalesce(c.technique, '') AS technique, coalesce(c.part, '') AS part, c.finished_on
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique""")
    remark(con, "problems", "resolved", [
        ("phase IS NULL", "phase", "'is empty, and so is technique'", "Give the phase that is finished, or the technique."),
        (f"finished_on > {fate.today}", "finished_on", "'lies in the future'", "Set it once it is reached."),
    ])  # fmt: skip
    remark(con, "warnings", """(SELECT * FROM resolved AS r WHERE "row" NOT IN (SELECT "row" FROM problems) AND NOT EXISTS (
        SELECT 1 FROM lines AS l WHERE l.object = r.object AND l.phase = r.phase AND r.technique IN ('', l.technique)
            AND (l.part = r.part OR (r.technique = '' AND r.part = ''))))""", [
        ("true", "phase", "'finishes nothing yet: no line of ' || object || ' is in ' || phase || CASE WHEN technique <> '' THEN ' with ' || technique ELSE '' END",
         "Kept; see that phase, technique and part are those of the line."),
    ])  # fmt: skip
    fate.reject_problems()
    fate.mark("already held", 'SELECT "row" FROM resolved SEMI JOIN milestones USING (object, phase, technique, part, finished_on)')
    fate.mark(
        "already held",
        f"""SELECT r."row" FROM resolved AS r {WITH_KEYS} WHERE {fate.untouched("r")} AND {fate.earlier_counts}
        AND {MILESTONE_CONTENT} IN (SELECT content FROM history WHERE kind = 'milestones')""",
    )
    fate.mark(
        "already held",
        'SELECT "row" FROM (SELECT "row", row_number() OVER (PARTITION BY object, phase, technique, part, finished_on ORDER BY "row") AS n FROM resolved) WHERE n > 1',
    )
    _warn_of_later_entries(con, fate)
    con.execute(f"INSERT INTO milestones SELECT object, phase, technique, part, finished_on FROM resolved WHERE {fate.untouched()}")
    return fate.outcome()


def _warn_of_later_entries(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """Milestones before the last entry of a line that nothing later finishes: the entry opens the line again."""
    reaches = "m.object = l.object AND m.phase = l.phase AND ((m.technique = l.technique AND m.part = l.part) OR (m.technique = '' AND m.part IN ('', l.part)))"
    remark(con, "warnings", f"""(
        WITH worked AS (
            SELECT l.line, any_value(l.object) AS object, any_value(l.phase) AS phase, any_value(l.technique) AS technique, any_value(l.part) AS part, max(s.day) AS last_day
            FROM lines AS l JOIN spells AS s ON s.line = l.line
            WHERE l.object IN (SELECT object FROM resolved) AND s.charge <> 'own_cost' GROUP BY l.line
        ), told AS (
            SELECT object, phase, technique, part, finished_on FROM milestones UNION ALL SELECT object, phase, technique, part, finished_on FROM resolved
        ), still_open AS (
            SELECT * FROM worked AS l WHERE NOT EXISTS (FROM told AS m WHERE {reaches} AND m.finished_on >= l.last_day)
                AND NOT EXISTS (FROM objects AS o WHERE o.object = l.object AND o.finished_on >= l.last_day)
        )
        SELECT m."row", count(*) AS opened, max(l.last_day) AS last_day FROM resolved AS m JOIN still_open AS l ON {reaches}
        WHERE {fate.untouched("m")} GROUP BY m."row")""", [
        ("true", "finished_on", f"'is before the last entry (' || last_day || '), which opens {_LINES} again'",
         "Kept; set it on that day or later if that work is finished."),
    ])  # fmt: skip


# A milestone as one value, by the keys of its words: one that was taken back is not set again by its file.
MILESTONE_CONTENT = "md5(concat_ws(chr(31), r.object, p.key, coalesce(t.key, ''), r.part, r.finished_on))::UUID"
WITH_KEYS = "LEFT JOIN phases AS p ON p.phase = r.phase LEFT JOIN techniques AS t ON t.technique = r.technique"


def _merge(
    con: duckdb.DuckDBPyConnection,
    fate: Fate,
    table: str,
    key: str,
    columns: tuple[str, ...],
    born: dict[str, str] | None = None,
    nothing: dict[str, str] | None = None,
) -> Outcome:
    """Lay the rows of `resolved` over a table by its key.

    Parameters
    ----------
    born : SQL for columns as a new row has them.
    nothing : by column, the word with which a cell says that there is none; an empty cell says nothing at all.
    """
    born, nothing = born or {}, nothing or {}
    new = ", ".join(columns)
    con.execute(
        f"""INSERT INTO problems SELECT "row", ?, 'stands already on an earlier line of this file with other contents', 'Keep one of the two lines.'
        FROM (SELECT "row", {key}, ({new}) AS said, first_value(({new})) OVER (PARTITION BY {key} ORDER BY "row") AS first_said FROM resolved WHERE {key} IS NOT NULL)
        WHERE said IS DISTINCT FROM first_said""",
        [key],
    )
    fate.reject_problems()
    fate.mark(
        "already held",
        f'SELECT "row" FROM (SELECT "row", row_number() OVER (PARTITION BY {key} ORDER BY "row") AS n FROM resolved WHERE {fate.untouched()}) WHERE n > 1',
    )
    value = {name: f"nullif({{0}}, '{nothing[name]}')" if name in nothing else "{0}" for name in columns}
    empty = {name: f"r.{name} IS NULL" for name in columns}
    unsaid = {
        name: empty[name] if name in born else "false" if fate.typed else f"({empty[name]} AND NOT list_contains(r.emptied, '{name}'))" for name in columns
    }  # what every row has from birth cannot be emptied
    laid = ", ".join(value[name].format(f"CASE WHEN {unsaid[name]} THEN t.{name} ELSE r.{name} END") + f" AS {name}" for name in columns)
    same = " AND ".join(f"l.{name} IS NOT DISTINCT FROM t.{name}" for name in columns)
    earlier = {name: f"coalesce(h.earlier->>'{name}', '{nothing[name]}')" if name in nothing else f"h.earlier->>'{name}'" for name in columns}
    # That there is nothing was said before only if something was there before that.
    something = "EXISTS (SELECT 1 FROM history AS b WHERE b.kind = h.kind AND b.key = h.key AND b.number < h.number AND b.earlier->>'{name}' IS NOT NULL)"
    once = " AND ".join(
        f"({unsaid[name]} OR (r.{name}::VARCHAR IS NOT DISTINCT FROM ({earlier[name]}) AND (r.{name} IS NOT NULL OR {something.format(name=name)})))"
        for name in columns
    )
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE laid AS
        SELECT l.*, {same} AS unchanged
        FROM (SELECT r."row", r.{key}, {laid}, {fate.earlier_counts} AND EXISTS (SELECT 1 FROM history AS h WHERE h.kind = '{table}' AND h.key = r.{key} AND {once}) AS said_before
              FROM resolved AS r JOIN {table} AS t USING ({key}) WHERE {fate.untouched("r")}) AS l JOIN {table} AS t USING ({key})"""
    )
    if table in ("phases", "techniques"):
        con.execute(
            f"""INSERT INTO problems SELECT "row", ?, 'was once the name of ' || l.{key} || ', and this would change it',
                'To change it, write "' || l.{key} || '". A {key} of its own needs another name, as old files mean ' || l.{key} || ' by this one.'
            FROM laid AS l JOIN once_named USING ("row") WHERE NOT (l.unchanged OR l.said_before)""",
            [key],
        )
        fate.reject_problems()
    remark(con, "warnings", "(SELECT * FROM laid WHERE said_before AND NOT unchanged)", [
        ("true", key, "'says what an earlier version said; the later one stays'", "Change it in the studio's own record if the earlier was right."),
    ])  # fmt: skip
    fate.mark("already held", 'SELECT "row" FROM laid WHERE unchanged OR said_before')
    con.execute(f'INSERT INTO corrections SELECT "row", {key} FROM laid WHERE {fate.untouched()}')
    keep_earlier(
        con,
        table,
        fate.change,
        f"SELECT t.{key} AS key, to_json(t) AS earlier, NULL AS content FROM {table} AS t WHERE t.{key} IN (SELECT entry FROM corrections)",
    )
    con.execute(
        f'UPDATE {table} AS t SET {", ".join(f"{name} = l.{name}" for name in columns)} FROM laid AS l JOIN corrections AS c ON c."row" = l."row" WHERE t.{key} = l.{key}'
    )
    fresh = {name: value[name].format(name) for name in columns} | born
    con.execute(
        f"INSERT INTO {table} ({key}, {', '.join(fresh)}) SELECT {key}, {', '.join(fresh.values())} FROM resolved "
        f'WHERE {fate.untouched()} AND "row" NOT IN (SELECT "row" FROM corrections)'
    )
    return fate.outcome()
