"""From the text of rows to typed values: each different text of a column is read once, by one reader.

Leaves the temporary view `checked` (`row`, `emptied` and the form's columns, typed) and begins the temporary
tables `faults` (what rejects a row) and `warnings` (what does not): the code of each in `ingest.faults`, with
its details as JSON.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ingest.errors import NotationError
from ingest.importing.cell_readers import READERS, Context, Reader
from ingest.importing.rows import Rows
from ingest.schema.csv_columns import Column, Form
from ingest.sql import Connection, quoted

_NO_DETAILS = "{}"
_STRUCT_FIELD = re.compile(r'[(,] *"?(\w+)"? (\w+)')  # of a type STRUCT(name TYPE, …)


@dataclass(frozen=True, slots=True)
class Rule:
    """A fault of a row, or a warning: the SQL condition that finds it, the column it is about, its code, and
    SQL for each of its details.
    """

    condition: str
    column: str
    code: str
    details: Mapping[str, str]

    @property
    def details_sql(self) -> str:
        if not self.details:
            return quoted(_NO_DETAILS)
        pairs = ", ".join(f"{quoted(name)}: ({value})::VARCHAR" for name, value in self.details.items())
        return f"to_json({{{pairs}}})"


def rule(condition: str, column: str, code: str, /, **details: str) -> Rule:
    """A rule, with SQL for its details by their names."""
    return Rule(condition, column, code, details)


# conditions on the unit of a row, and a rule, of entries and estimates alike
OTHER_UNIT = "said_unit <> usual_unit"
PART_OF_A_PIECE = "unit = 'pcs' AND quantity <> floor(quantity)"
_MEASURED = "(said_unit IS NOT NULL OR quantity IS NOT NULL)"
NOT_MEASURED = rule(
    f"{_MEASURED} AND technique <> '' AND usual_unit IS NULL",
    "quantity",
    "not_measured",
    technique="technique",
)
# A word that cannot be read leaves its column as empty as one that is not there.
WORDS_READ = """"row" NOT IN (SELECT "row" FROM faults WHERE column_name IN ('phase', 'technique'))"""
OF_A_WHOLE = (
    rule(f"technique = '' AND {_MEASURED} AND {WORDS_READ}", "quantity", "whole_not_measured"),
    rule(f"technique = '' AND phase = '' AND part <> '' AND {WORDS_READ}", "part", "part_of_no_phase"),
)


def begin_faults(con: Connection) -> None:
    """Make the tables `faults` and `warnings`, empty."""
    for table in ("faults", "warnings"):
        con.execute(
            f'CREATE OR REPLACE TEMP TABLE {table} ("row" BIGINT, column_name VARCHAR, code VARCHAR, details'
            " JSON)"
        )


def note(con: Connection, table: str, source: str, *rules: Rule) -> None:
    """Add faults or warnings for rows of a query or table that meet a condition.

    One pass tells which conditions are met at all, a second one, where any is, what to say: most files meet
    few or none, and a statement of all would cost more to plan than to run.

    Parameters
    ----------
    table : `faults` or `warnings`.
    source : FROM clause whose rows have `row`.
    """
    conditions = ", ".join(f"coalesce(bool_or({item.condition}), false)" for item in rules)
    met = con.execute(f"SELECT [{conditions}] FROM {source}").fetchall()[0][0]
    broken = [item for item, is_met in zip(rules, met, strict=True) if is_met]
    if not broken:
        return
    structs = ", ".join(
        f"CASE WHEN {item.condition} THEN {{'column_name': {quoted(item.column)},"
        f" 'code': {quoted(item.code)}, 'details': {item.details_sql}::VARCHAR}} END"
        for item in broken
    )
    anything = " OR ".join(f"({item.condition})" for item in broken)
    # A cell that cannot be read is not also empty: one fault a cell, the first.
    once = (
        f'AND NOT EXISTS (SELECT 1 FROM {table} AS t WHERE t."row" = found."row" AND t.column_name ='
        " r.column_name)"
        if table == "faults"
        else ""
    )
    con.execute(
        f"""INSERT INTO {table}
        SELECT "row", r.column_name, r.code, r.details
        FROM (SELECT "row", unnest([{structs}]) AS r FROM {source} WHERE {anything}) AS found
        WHERE r IS NOT NULL {once}"""
    )


def note_all(
    con: Connection,
    table: str,
    column: str,
    code: str,
    query: str,
    values: Sequence[object] = (),
    /,
    **details: str,
) -> None:
    """Add one fault or warning for every row of a query (a FROM clause with its conditions); `values` are
    bound to it, details are SQL over its columns.
    """
    details_sql = Rule("", column, code, details).details_sql
    con.execute(
        f'INSERT INTO {table} SELECT "row", ?, ?, {details_sql} FROM {query}', [column, code, *values]
    )


def read_cells(con: Connection, form: Form, rows: Rows, context: Context) -> None:
    """Read the view `cells` as the form says."""
    begin_faults(con)
    _note_given(con, rows)
    names = rows.names
    if rows.has_nul:
        everything = ", ".join(f"c{number}" for number in range(len(names)))
        note_all(con, "faults", "", "nul_byte", f"cells WHERE contains(concat_ws(' ', {everything}), chr(0))")
    values, joins = [], []
    left = rows.texts if rows.texts is not None else _left_to_read(con, form, rows)
    for column in form.columns:
        if column.name not in names:
            values.append(f"NULL::{READERS[column.reading].sql_type} AS {column.name}")
            continue
        cell = f"cells.c{names.index(column.name)}"
        value, join = _read_column(
            con,
            column,
            cell,
            _at_once(column, rows),
            left.get(column.name, []),
            context,
            few=rows.typed and not rows.has_nul,
        )
        values.append(f"{value} AS {column.name}")
        joins += join
    not_blank = " OR ".join(f"c{number} IS NOT NULL" for number in range(len(names))) or "false"
    con.execute(
        f"""CREATE OR REPLACE TEMP VIEW checked AS
        SELECT cells."row", cells.emptied, {", ".join(values)} FROM cells {" ".join(joins)}
        WHERE {not_blank}"""
    )
    empty = {}
    for column in form.columns:
        if column.filled and column.name in names:
            cell = f"c{names.index(column.name)}"
            at_once = READERS[column.reading].at_once
            empty[column.name] = (
                f"({at_once.format(text=cell)}) IS NULL"
                if column.reading == "text" and at_once
                else f"{cell} IS NULL"
            )
    if empty:
        note(
            con,
            "faults",
            f"(FROM cells WHERE {not_blank})",
            *[rule(condition, name, "empty") for name, condition in empty.items()],
        )


def _note_given(con: Connection, rows: Rows) -> None:
    """Note what could not be turned into our form; of such a cell nothing else is said."""
    if rows.cell_faults is not None and len(rows.cell_faults):
        con.register("given_faults", rows.cell_faults)
        con.execute('INSERT INTO faults SELECT "row", column_name, code, details FROM given_faults')
        con.unregister("given_faults")


def _at_once(column: Column, rows: Rows) -> str | None:
    """SQL for what the column's reader reads at once: of a file, all but plain text was read with it."""
    at_once = READERS[column.reading].at_once
    if at_once is None or rows.typed or column.reading == "text":
        return at_once and at_once.format(text=f"cells.c{rows.names.index(column.name)}")
    return f"cells.at_once_{column.name}"


def _left_to_read(con: Connection, form: Form, rows: Rows) -> dict[str, list[str]]:
    """By column, its different texts that no SQL of its reader reads at once, in one order."""
    questions = []
    for column in form.columns:
        if column.name in rows.names and column.reading != "text":
            cell, at_once = f"c{rows.names.index(column.name)}", _at_once(column, rows)
            unread = f"coalesce(({at_once}).wall IS NULL, true)" if at_once else "true"
            questions.append(
                f"""SELECT DISTINCT '{column.name}' AS name, {cell} AS text FROM cells
                WHERE {cell} IS NOT NULL AND {unread}"""
            )
    left: dict[str, list[str]] = {}
    for name, text in con.execute(" UNION ALL ".join(questions)).fetchall() if questions else []:
        left.setdefault(name, []).append(text)
    return {name: sorted(texts) for name, texts in left.items()}


def _read_column(
    con: Connection,
    column: Column,
    cell: str,
    at_once: str | None,
    texts: list[str],
    context: Context,
    *,
    few: bool,
) -> tuple[str, list[str]]:
    """SQL for the column's value, and the joins it needs; notes those of its `texts` that cannot be read.
    `few`: there are so few rows that a table costs more than it saves.
    """
    reader = READERS[column.reading]
    if column.reading == "text":
        return str(at_once), []
    if not texts:
        return (at_once or f"NULL::{reader.sql_type}"), []
    table = f"read_{column.name}"
    readings = [_read_text(reader, text, context, column.filled) for text in texts]
    faulty = any(reading["fault"] for reading in readings)
    if (
        reader.sql_type == "VARCHAR"
        and not faulty
        and not at_once
        and all(reading["value"] == reading["text"] for reading in readings)
    ):
        return cell, []  # every text means itself: no join needed
    is_struct = reader.sql_type.startswith("STRUCT")
    if (
        few
        and not is_struct
        and not faulty
        and not at_once
        and not any(reading["doubt"] for reading in readings)
    ):
        listed = ", ".join(
            "NULL" if reading["value"] is None else quoted(reading["value"]) for reading in readings
        )
        keys = ", ".join(quoted(text) for text in texts)
        return f"([{listed}]::{reader.sql_type}[])[list_position([{keys}], {cell})]", []
    _store_readings(con, table, reader, readings)
    joined = f"cells JOIN {table} ON {cell} = {table}.text"
    if faulty:
        con.execute(
            f"""INSERT INTO faults
            SELECT cells."row", ?, fault, details FROM {joined}
            WHERE fault IS NOT NULL
                AND cells."row" NOT IN (SELECT "row" FROM faults WHERE column_name = ?)""",
            [column.name, column.name],
        )
    if any(reading["doubt"] for reading in readings):  # said once a text, on the first row that has it
        con.execute(
            f"""INSERT INTO warnings
            SELECT min(cells."row"), ?, any_value(doubt), any_value(details) FROM {joined}
            WHERE doubt IS NOT NULL GROUP BY {table}.text""",
            [column.name],
        )
    value = (
        f"CASE WHEN {table}.text IS NULL THEN {at_once} ELSE {table}.value END"
        if at_once
        else f"{table}.value"
    )
    return value, [f"LEFT JOIN {table} ON {cell} = {table}.text"]


def _read_text(reader: Reader, text: str, context: Context, filled: bool) -> dict[str, Any]:
    """Value of a text, or its fault."""
    reading: dict[str, Any] = {
        "text": text,
        "value": None,
        "fault": None,
        "doubt": None,
        "details": _NO_DETAILS,
    }
    if stripped := text.strip():
        try:
            reading["value"] = reader.read(context, stripped)
            if doubt := reader.doubt(context, stripped):
                reading["doubt"], details = doubt
                reading["details"] = json.dumps(details)
        except NotationError as error:
            reading |= {"fault": error.code, "details": json.dumps(error.details)}
    elif filled:  # white space only
        reading["fault"] = "empty"
    return reading


def _store_readings(con: Connection, table: str, reader: Reader, readings: list[dict[str, Any]]) -> None:
    """Put what each text means into a temporary table."""
    fields = _STRUCT_FIELD.findall(reader.sql_type)
    value = dict(fields) if fields else reader.sql_type
    shape = json.dumps(
        [{"text": "VARCHAR", "value": value, **dict.fromkeys(("fault", "doubt", "details"), "VARCHAR")}]
    )
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE {table} AS SELECT unnest(from_json(?, ?), max_depth := 2)",
        [json.dumps(readings), shape],
    )
