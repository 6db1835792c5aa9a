"""From the raw text of a file to typed values: each different text of a column is read once, by one reader.

Leaves the temporary view `checked` (`row`, `emptied` and the form's columns, typed) and the temporary tables
`problems` (what rejects a row) and `warnings` (what does not).
"""

from __future__ import annotations

import json
from typing import Any

import duckdb

from ingest.errors import BenchHoursError
from ingest.readings import READERS, Context, Reader
from ingest.records import Column, Form
from ingest.sql import quoted

_BLANK, _BLANK_MEND = "is empty", "Fill it in."
_REMARK_COLUMNS = '("row" BIGINT, column_name VARCHAR, reason VARCHAR, mend VARCHAR)'


def read_cells(con: duckdb.DuckDBPyConnection, form: Form, names: list[str], context: Context, *, has_nul: bool) -> None:
    """Read the view `cells`, whose columns `c0` … stand for `names`, as the form says."""
    con.execute(f"CREATE OR REPLACE TEMP TABLE problems {_REMARK_COLUMNS}")
    con.execute(f"CREATE OR REPLACE TEMP TABLE warnings {_REMARK_COLUMNS}")
    if has_nul:
        everything = ", ".join(f"c{number}" for number in range(len(names)))
        con.execute(
            "INSERT INTO problems SELECT \"row\", '', 'has a NUL byte in it', 'Type the row again; the file may be damaged.' "
            f"FROM cells WHERE contains(concat_ws(' ', {everything}), chr(0))"
        )
    values, joins = [], []
    left = _left_to_read(con, form, names)
    for column in form.columns:
        if column.name not in names:
            values.append(f"NULL::{READERS[column.reading].sql_type} AS {column.name}")
            continue
        cell = f"cells.c{names.index(column.name)}"
        value, join = _read_column(con, column, cell, left.get(column.name, []), context)
        values.append(f"{value} AS {column.name}")
        joins += join
    not_blank = " AND ".join(f"c{number} IS NULL" for number in range(len(names)))
    con.execute(
        f'CREATE OR REPLACE TEMP VIEW checked AS SELECT cells."row", cells.emptied, {", ".join(values)} FROM cells {" ".join(joins)} WHERE NOT ({not_blank})'
    )
    for column in form.columns:
        if column.filled and column.name in names:
            cell = f"c{names.index(column.name)}"
            at_once = READERS[column.reading].at_once
            empty = f"({at_once.format(text=cell)}) IS NULL" if column.reading == "text" and at_once else f"{cell} IS NULL"
            con.execute(f'INSERT INTO problems SELECT "row", ?, ?, ? FROM cells WHERE {empty} AND NOT ({not_blank})', [column.name, _BLANK, _BLANK_MEND])


def _left_to_read(con: duckdb.DuckDBPyConnection, form: Form, names: list[str]) -> dict[str, list[str]]:
    """By column, its different texts that no SQL of its reader reads at once, in one order."""
    questions = []
    for column in form.columns:
        if column.name in names and column.reading != "text":
            cell, at_once = f"c{names.index(column.name)}", READERS[column.reading].at_once
            unread = f"coalesce(({at_once.format(text=cell)}).wall IS NULL, true)" if at_once else "true"
            questions.append(f"SELECT DISTINCT '{column.name}' AS name, {cell} AS said FROM cells WHERE {cell} IS NOT NULL AND {unread}")
    left: dict[str, list[str]] = {}
    for name, said in con.execute(" UNION ALL ".join(questions)).fetchall() if questions else []:
        left.setdefault(name, []).append(said)
    return {name: sorted(texts) for name, texts in left.items()}


def _read_column(con: duckdb.DuckDBPyConnection, column: Column, cell: str, texts: list[str], context: Context) -> tuple[str, list[str]]:
    """SQL for the column's value, and the joins it needs; notes those of its `texts` that cannot be read."""
    reader = READERS[column.reading]
    at_once = reader.at_once.format(text=cell) if reader.at_once else None
    if column.reading == "text":
        return str(at_once), []
    if not texts:
        return (at_once or f"NULL::{reader.sql_type}"), []
    table = f"read_{column.name}"
    readings = _read_texts(reader, texts, context, column.filled)
    faulty = any(reading["reason"] for reading in readings)
    if reader.sql_type == "VARCHAR" and not faulty and not at_once and all(reading["value"] == reading["said"] for reading in readings):
        return cell, []  # every text means itself: no join needed
    _store_readings(con, table, reader, readings)
    if faulty:
        con.execute(
            f'INSERT INTO problems SELECT cells."row", ?, reason, mend FROM cells JOIN {table} ON {cell} = {table}.said WHERE reason IS NOT NULL', [column.name]
        )
    if any(reading["doubt"] for reading in readings):  # said once a text, on the first row that has it
        con.execute(
            f"""INSERT INTO warnings SELECT min(cells."row"), ?, any_value(doubt), any_value(doubt_mend) FROM cells JOIN {table} ON {cell} = {table}.said
            WHERE doubt IS NOT NULL GROUP BY {table}.said""",
            [column.name],
        )
    value = f"CASE WHEN {table}.said IS NULL THEN {at_once} ELSE {table}.value END" if at_once else f"{table}.value"
    return value, [f"LEFT JOIN {table} ON {cell} = {table}.said"]


def _read_texts(reader: Reader, texts: list[str], context: Context, filled: bool) -> list[dict[str, Any]]:
    """What each text means, or why it means nothing."""
    readings: list[dict[str, Any]] = []
    for text in texts:
        reading: dict[str, Any] = {"said": text, "value": None, "reason": None, "mend": None, "doubt": None, "doubt_mend": None}
        if stripped := text.strip():
            try:
                reading["value"] = reader.read(context, stripped)
                reading["doubt"], reading["doubt_mend"] = reader.doubt(context, stripped) or (None, None)
            except BenchHoursError as error:
                reading |= {"reason": error.what, "mend": error.mend}
        elif filled:  # white space only
            reading |= {"reason": _BLANK, "mend": _BLANK_MEND}
        readings.append(reading)
    return readings


def _store_readings(con: duckdb.DuckDBPyConnection, table: str, reader: Reader, readings: list[dict[str, Any]]) -> None:
    """Put what each text means into a temporary table."""
    shape = json.dumps([{"said": "VARCHAR", "value": _json_shape(reader.sql_type), **dict.fromkeys(("reason", "mend", "doubt", "doubt_mend"), "VARCHAR")}])
    con.execute(f"CREATE OR REPLACE TEMP TABLE {table} AS SELECT unnest(from_json(?, ?), max_depth := 2)", [json.dumps(readings), shape])


def _json_shape(sql_type: str) -> object:
    if sql_type.startswith("STRUCT"):
        return {"wall": "TIMESTAMP", "utc": "TIMESTAMP"}
    return sql_type


def remark(con: duckdb.DuckDBPyConnection, table: str, source: str, remarks: list[tuple[str, str, str, str]]) -> None:
    """Add problems or warnings for rows of a query or table that meet a condition.

    One pass tells which conditions are met at all, a second one, where any is, what to say: most files meet few or none, and a statement of all would cost
    more to plan than to run.

    Parameters
    ----------
    table : `problems` or `warnings`.
    source : FROM clause whose rows have `row`.
    remarks : condition, column name, SQL of the reason, mend.
    """
    if not remarks:
        return
    asked = ", ".join(f"coalesce(bool_or({condition}), false)" for condition, *_ in remarks)
    met = con.execute(f"SELECT [{asked}] FROM {source}").fetchall()[0][0]
    remarks = [one for one, is_met in zip(remarks, met, strict=True) if is_met]
    if not remarks:
        return
    structs = ", ".join(
        f"CASE WHEN {condition} THEN {{'column_name': '{column}', 'reason': {reason}, 'mend': {quoted(mend)}}} END"
        for condition, column, reason, mend in remarks
    )
    anything = " OR ".join(f"({condition})" for condition, *_ in remarks)
    # A cell that cannot be read is not also empty: one fault a cell, the first.
    once = f'AND NOT EXISTS (SELECT 1 FROM {table} AS t WHERE t."row" = found."row" AND t.column_name = r.column_name)' if table == "problems" else ""
    con.execute(
        f'INSERT INTO {table} SELECT "row", r.column_name, r.reason, r.mend '
        f'FROM (SELECT "row", unnest([{structs}]) AS r FROM {source} WHERE {anything}) AS found WHERE r IS NOT NULL {once}'
    )
