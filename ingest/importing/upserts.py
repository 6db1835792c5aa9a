"""Upserts: forms with one row a key, whose rows are merged into the stored rows.

An empty cell leaves the stored value; a lone apostrophe clears it. A row that equals an earlier version of
the stored one never overrides the later one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ingest.importing.cell_values import note_all
from ingest.importing.row_status import RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.sql import Connection
from ingest.tables.audit_log import Change, record_earlier, record_made


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyedForm:
    """A form and the table into which its rows are merged.

    Attributes
    ----------
    columns : of the table, beside its key.
    born : SQL for columns as a new row has them; what every row has from birth cannot be emptied.
    nothing : by column, the word with which a cell says that there is none; an empty cell says nothing at
        all.
    """

    table: str
    key: str
    columns: tuple[str, ...]
    born: Mapping[str, str] = field(default_factory=dict)
    nothing: Mapping[str, str] = field(default_factory=dict)


def _value(keyed: KeyedForm, name: str, cell: str) -> str:
    """SQL for what a cell says: that there is none, or itself."""
    return f"nullif({cell}, '{keyed.nothing[name]}')" if name in keyed.nothing else cell


def check_keyed(con: Connection, keyed: KeyedForm, rows: Rows, status: RowStatus) -> None:
    """Merge the rows of `resolved` into the stored rows of the same key, in the table `laid`."""
    table, key, columns = keyed.table, keyed.key, keyed.columns
    repeated, any_stored = con.execute(
        f"""SELECT count(DISTINCT r.{key}) < count(r.{key}), count(t.{key}) > 0 FROM resolved AS r
        LEFT JOIN {table} AS t ON t.{key} = r.{key}"""
    ).fetchall()[0]
    if repeated:
        new = ", ".join(columns)
        note_all(
            con,
            "faults",
            key,
            "key_repeated",
            f"""(
                SELECT "row", ({new}) AS cells,
                    first_value(({new})) OVER (PARTITION BY {key} ORDER BY "row") AS first_cells
                FROM resolved
                WHERE {key} IS NOT NULL
            )
            WHERE cells IS DISTINCT FROM first_cells""",
        )
    status.reject_faulty()
    if repeated:
        status.mark_repeats(key)
    if not any_stored:
        return
    _create_merged(con, keyed, rows)
    if table in ("phases", "techniques"):
        note_all(
            con,
            "faults",
            key,
            "once_its_name",
            f"""(
                SELECT l."row", l.{key} FROM laid AS l JOIN once_named USING ("row")
                WHERE NOT (l.unchanged OR l.said_before)
            )""",
            word=key,
            kind=f"'{key}'",
        )
        status.reject_faulty()
    note_all(con, "warnings", key, "said_before", "laid WHERE said_before AND NOT unchanged")
    status.mark("already held", 'SELECT "row" FROM laid WHERE unchanged OR said_before')
    con.execute(f'INSERT INTO corrections SELECT "row", {key} FROM laid WHERE {untouched()}')


def _create_merged(con: Connection, keyed: KeyedForm, rows: Rows) -> None:
    """Create the table `laid`: rows merged into the stored rows, and whether they change or repeat them."""
    table, key, columns = keyed.table, keyed.key, keyed.columns
    empty = {name: f"r.{name} IS NULL" for name in columns}
    silent = {
        name: (
            empty[name]
            if name in keyed.born
            else "false"
            if rows.typed
            else f"({empty[name]} AND NOT list_contains(r.emptied, '{name}'))"
        )
        for name in columns
    }
    laid = ", ".join(
        f"{_value(keyed, name, f'CASE WHEN {silent[name]} THEN t.{name} ELSE r.{name} END')} AS {name}"
        for name in columns
    )
    same = " AND ".join(f"l.{name} IS NOT DISTINCT FROM t.{name}" for name in columns)
    earlier = {
        name: (
            f"coalesce(h.earlier->>'{name}', '{keyed.nothing[name]}')"
            if name in keyed.nothing
            else f"h.earlier->>'{name}'"
        )
        for name in columns
    }
    # That there is nothing was said before only if something was there before that.
    something = """EXISTS (
            SELECT 1 FROM history AS b
            WHERE b.kind = h.kind AND b.key = h.key AND b.number < h.number
                AND b.earlier->>'{name}' IS NOT NULL
        )"""
    once = " AND ".join(
        f"({silent[name]} OR (r.{name}::VARCHAR IS NOT DISTINCT FROM ({earlier[name]}) AND (r.{name} IS NOT"
        f" NULL OR {something.format(name=name)})))"
        for name in columns
    )
    before = (
        "false"
        if rows.typed
        else f"EXISTS (SELECT 1 FROM history AS h WHERE h.kind = '{table}' AND h.key = r.{key} AND {once})"
    )
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE laid AS
        SELECT l.*, {same} AS unchanged
        FROM (
            SELECT r."row", r.{key}, {laid}, {before} AS said_before FROM resolved AS r
            JOIN {table} AS t USING ({key})
            WHERE {untouched("r")}
        ) AS l
        JOIN {table} AS t USING ({key})"""
    )


def store_keyed(con: Connection, keyed: KeyedForm, change: Change) -> None:
    table, key = keyed.table, keyed.key
    if con.execute("SELECT EXISTS (FROM corrections)").fetchall()[0][0]:
        record_earlier(
            con,
            table,
            change,
            f"""SELECT t.{key} AS key, to_json(t) AS earlier, NULL AS content FROM {table} AS t
            WHERE t.{key} IN (SELECT entry FROM corrections)""",
        )
        sets = ", ".join(f"{name} = l.{name}" for name in keyed.columns)
        con.execute(
            f"""UPDATE {table} AS t SET {sets}
            FROM laid AS l JOIN corrections AS c ON c."row" = l."row"
            WHERE t.{key} = l.{key}"""
        )
    fresh = {name: _value(keyed, name, name) for name in keyed.columns} | {**keyed.born}
    new = f'resolved WHERE {untouched()} AND "row" NOT IN (SELECT "row" FROM corrections)'
    record_made(con, table, change, f"SELECT {key} AS key, json_object('{key}', {key}) AS earlier FROM {new}")
    con.execute(
        f"""INSERT INTO {table} ({key}, {", ".join(fresh)})
        SELECT {key}, {", ".join(fresh.values())} FROM {new}"""
    )
