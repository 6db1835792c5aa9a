"""Rows of an export's tables, brought into a studio.

In a new studio they replace the words that every new database has; in any other, stored rows stay and new
ones are added.
"""

from __future__ import annotations

from collections.abc import Sequence

from ingest.errors import BenchHoursError, FileError
from ingest.importing.cell_values import begin_faults, note, note_all, rule
from ingest.importing.constraints import CONSTRAINTS
from ingest.importing.export_tables import ExportTable, export_table_of
from ingest.importing.row_status import RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.schema import csv_columns
from ingest.schema.csv_columns import Form
from ingest.sql import Connection, quoted
from ingest.studio import vocabulary
from ingest.studio.settings import NUMBERS, stored_text, write_settings
from ingest.tables.audit_log import Change, derive_events
from ingest.values.numbers import of_a_file

_MAY_REPEAT = ("history", "imports")  # numbered; equal rows may stand in them


def is_new(con: Connection) -> bool:
    """True if nothing is stored but words and settings."""
    nothing_stored: bool = con.execute(
        """SELECT NOT (
            EXISTS (FROM objects) OR EXISTS (FROM lines) OR EXISTS (FROM estimate_versions)
            OR EXISTS (FROM history WHERE event <> 'made')
        )"""
    ).fetchall()[0][0]
    return nothing_stored


def check(con: Connection, form: Form, rows: Rows, status: RowStatus) -> None:
    """Check the rows of the view `cells` as a kept form."""
    begin_faults(con)
    _read(con, form, rows.names)
    status.reject_faulty()
    if form is csv_columns.SETTINGS:
        _check_settings(con, status)
    elif form is csv_columns.ENTRY_CONTENTS:
        _check_contents(con, status)
    else:
        destination = export_table_of(form)
        assert destination is not None  # every other form of these is in EXPORT_TABLES
        _check_table(con, destination, status)


def store(con: Connection, form: Form, rows: Rows, change: Change) -> None:
    """Store what `check` left."""
    if form is csv_columns.SETTINGS:
        new = dict(
            con.execute(
                f'SELECT setting, value FROM settings_to_be WHERE {untouched()} ORDER BY "row"'
            ).fetchall()
        )
        first = is_new(con)
        for name, value in new.items():
            write_settings(con, {name: value}, None if first else change)
    elif form is csv_columns.ENTRY_CONTENTS:
        con.execute(
            f"""UPDATE spells SET content = r.content
            FROM resolved AS r
            WHERE spells.entry = r.entry AND {untouched("r")}"""
        )
    else:
        destination = export_table_of(form)
        assert destination is not None
        last: int = con.execute("SELECT coalesce(max(number), 0) FROM history").fetchall()[0][0]
        _store_table(con, destination)
        if form is csv_columns.HISTORY and "event" not in rows.names:  # of an export from before it was kept
            derive_events(con, after=last)


def _read(con: Connection, form: Form, names: Sequence[str]) -> None:
    """The table `resolved`: the cells as values of the table's own types."""
    destination = export_table_of(form)
    types = (
        _types(con, destination.table)
        if destination
        else {"entry": ("VARCHAR", False), "content_as_read": ("UUID", False), "content": ("UUID", False)}
    )
    values, unread = [], []
    blank = " AND ".join(f"c{number} IS NULL" for number in range(len(names)))
    for name in form.names:
        # A history from before events were stored has none: they are worked out once the rows are stored.
        absent = "'corrected'" if form is csv_columns.HISTORY else "NULL"
        cell = f"c{names.index(name)}" if name in names else absent
        kind, may_be_empty = types[name]
        if kind == "VARCHAR":
            # NULL and an empty text look alike in a file; a column that is never NULL has the empty one.
            values.append(f"{cell} AS {name}" if may_be_empty else f"coalesce({cell}, '') AS {name}")
            continue
        read = (
            f"CASE WHEN json_valid({cell}) THEN {cell}::JSON END"
            if kind == "JSON"
            else f"TRY_CAST({cell} AS {kind})"
        )
        values.append(f"{read} AS {name}")
        missing = "" if may_be_empty else f" OR {cell} IS NULL"
        unread.append(
            rule(
                f"{cell} IS NOT NULL AND ({read}) IS NULL{missing}",
                name,
                "not_as_exported",
                type=quoted(kind.lower()),
            )
        )
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT "row", {", ".join(values)} FROM cells
        WHERE NOT ({blank})"""
    )
    if unread:
        note(con, "faults", f"(FROM cells WHERE NOT ({blank}))", *unread)
    if destination and destination.table in CONSTRAINTS:
        note(
            con,
            "faults",
            "resolved",
            *[
                rule(
                    item.condition,
                    item.column,
                    item.code,
                    **{name: quoted(detail) for name, detail in item.details.items()},
                )
                for item in CONSTRAINTS[destination.table]
            ],
        )


def _types(con: Connection, table: str) -> dict[str, tuple[str, bool]]:
    """Each column of a table with its type and whether it may be empty."""
    rows = con.execute(
        """SELECT column_name, data_type, is_nullable FROM duckdb_columns()
        WHERE table_name = ? AND database_name = current_database()""",
        [table],
    ).fetchall()
    return {name: (kind, nullable) for name, kind, nullable in rows}


def _check_table(con: Connection, destination: ExportTable, status: RowStatus) -> None:
    """Rows that are new are added; of those whose key is held, what is held stays."""
    table, names = destination.table, destination.form.names
    _find_replaced(con, destination)
    listed, ours = ", ".join(names), ", ".join(destination.key)
    # The n-th of equal rows is held if n of them are: two changes of one moment may say the same.
    ranked = "row_number() OVER (PARTITION BY {ours} ORDER BY {order}) AS turn"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE of_file AS
        SELECT "row", {listed}, {ranked.format(ours=ours, order='"row"')} FROM resolved AS r
        WHERE {untouched("r")}"""
    )
    staying = f"{table} AS t WHERE t.rowid NOT IN (SELECT id FROM replaced)"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE of_store AS
        SELECT {listed}, {ranked.format(ours=ours, order="rowid")} FROM {staying}"""
    )
    if table not in _MAY_REPEAT:
        note_all(con, "faults", destination.key[0], "kept_repeated", "of_file WHERE turn > 1")
        status.reject_faulty()
    same_key = " AND ".join(f"h.{name} IS NOT DISTINCT FROM r.{name}" for name in (*destination.key, "turn"))
    others = [name for name in names if name not in destination.key]
    if others and destination.form is not csv_columns.HISTORY:
        differs = " OR ".join(f"h.{name}::VARCHAR IS DISTINCT FROM r.{name}::VARCHAR" for name in others)
        note_all(
            con,
            "warnings",
            destination.key[0],
            "held_otherwise",
            f'(SELECT r."row" FROM of_file AS r JOIN of_store AS h ON {same_key} WHERE {differs})',
        )
    status.mark("already held", f'SELECT r."row" FROM of_file AS r JOIN of_store AS h ON {same_key}')
    _check_references(con, destination, status)


def _check_references(con: Connection, destination: ExportTable, status: RowStatus) -> None:
    """Refuse rows that name what is not stored, or take a name that another row has."""
    if destination.astray:
        condition, column, code, file = destination.astray
        note_all(
            con,
            "faults",
            column,
            code,
            f"resolved AS r WHERE {untouched('r')} AND ({condition})",
            file=quoted(file),
        )
        status.reject_faulty()
    unique = {"phases": "phase", "techniques": "technique", "person_spellings": "written"}
    if name := unique.get(destination.table):
        note_all(
            con,
            "faults",
            name,
            "name_taken",
            f'(SELECT r."row" FROM of_file AS r JOIN of_store AS h USING ({name}) WHERE {untouched("r")})',
        )
        again = f"""(
            SELECT "row", row_number() OVER (PARTITION BY {name} ORDER BY "row") AS n
            FROM of_file AS r
            WHERE {untouched("r")}
        )
        WHERE n > 1"""
        note_all(con, "faults", name, "name_repeated", again)
    status.reject_faulty()


def _find_replaced(con: Connection, destination: ExportTable) -> None:
    """In a new studio, words of the file take the place of those planted under the same key (their row ids
    are in `replaced`); what its user added stays.
    """
    con.execute("CREATE OR REPLACE TEMP TABLE replaced (id BIGINT)")
    if not is_new(con):
        return
    if destination.table in ("phases", "techniques"):
        same = " AND ".join(f"r.{name} IS NOT DISTINCT FROM h.{name}" for name in destination.form.names)
        con.execute(
            f"""INSERT INTO replaced
            SELECT h.rowid FROM {destination.table} AS h JOIN resolved AS r USING (key)
            WHERE {untouched("r")} AND NOT ({same})"""
        )
    elif destination.table == "spellings":
        con.execute(
            f"""INSERT INTO replaced
            SELECT rowid FROM spellings
            WHERE list_contains(?::VARCHAR[], kind || '|' || spelling)
                AND (kind, key) IN (SELECT (r.kind, r.key) FROM resolved AS r WHERE {untouched("r")})
                AND (kind, spelling, written, key) NOT IN (
                    SELECT (r.kind, r.spelling, r.written, r.key) FROM resolved AS r WHERE {untouched("r")}
                )""",
            [vocabulary.created_spellings()],
        )


def _store_table(con: Connection, destination: ExportTable) -> None:
    table, listed = destination.table, ", ".join(destination.form.names)
    if table == "phases":
        con.execute("""UPDATE techniques SET phase = r.phase FROM phases AS h JOIN resolved AS r USING (key)
            WHERE h.rowid IN (SELECT id FROM replaced) AND techniques.phase = h.phase""")
    con.execute(f"DELETE FROM {table} WHERE rowid IN (SELECT id FROM replaced)")
    number = (
        f'(SELECT coalesce(max(number), 0) FROM {table}) + row_number() OVER (ORDER BY "row"), '
        if table in _MAY_REPEAT
        else ""
    )
    into = f"number, {listed}" if number else listed
    con.execute(
        f"INSERT INTO {table} ({into}) SELECT {number}{listed} FROM of_file AS r WHERE {untouched('r')} ORDER"
        ' BY "row"'
    )


def _check_settings(con: Connection, status: RowStatus) -> None:
    """Settings are judged one by one as if they were said now; in a studio with something in it, what is held
    stays.
    """
    new = is_new(con)
    stored = dict(con.execute("SELECT setting, value FROM settings").fetchall())
    con.execute('CREATE OR REPLACE TEMP TABLE settings_to_be ("row" BIGINT, setting VARCHAR, value VARCHAR)')
    for row, name, text in con.execute(
        f'SELECT "row", setting, value FROM resolved WHERE {untouched()} ORDER BY "row"'
    ).fetchall():
        this = f'(SELECT {row} AS "row")'
        try:
            value = stored_text(name, of_a_file(text, ".") if name in NUMBERS else text)
        except BenchHoursError as error:
            note_all(
                con, "faults", "", "setting_refused", this, what=quoted(error.what), mend=quoted(error.mend)
            )
            continue
        if value == stored.get(name):
            status.mark("already held", this)
        elif name == "demo" and not new:  # such a file is made anew by `demo`
            note_all(con, "faults", "", "demo_only", this)
        elif name == "zone" and not new:
            raise FileError(
                f"this is an export of a studio whose clock is in {value}, and the one here is in"
                f" {stored.get(name)}: its clock times would be read wrongly",
                "Bring it into a new database.",
            )
        elif name in stored and not new:
            note_all(con, "warnings", "value", "setting_held_otherwise", this)
            status.mark("already held", this)
        else:
            con.execute("INSERT INTO settings_to_be VALUES (?, ?, ?)", [row, name, value])
            if name in stored:
                con.execute("INSERT INTO corrections VALUES (?, ?)", [row, name])
    status.reject_faulty()


def _check_contents(con: Connection, status: RowStatus) -> None:
    """The identity of entries whose words have changed since: by it their old files are known."""
    note_all(
        con,
        "faults",
        "entry",
        "entry_changed_since",
        """(
            SELECT r."row" FROM resolved AS r LEFT JOIN spells AS e ON e.entry = r.entry
            WHERE e.entry IS NULL OR (e.content <> r.content AND e.content <> r.content_as_read)
        )""",
    )
    status.reject_faulty()
    status.mark(
        "already held",
        'SELECT r."row" FROM resolved AS r JOIN spells AS e ON e.entry = r.entry AND e.content = r.content',
    )
