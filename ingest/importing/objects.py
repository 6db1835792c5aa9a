"""Objects: the works, one row each."""

from __future__ import annotations

from ingest.importing.cell_readers import Context
from ingest.importing.cell_values import note, rule
from ingest.importing.row_status import RowStatus
from ingest.importing.rows import Rows
from ingest.importing.upserts import KeyedForm, check_keyed, store_keyed
from ingest.sql import Connection, statement
from ingest.tables.audit_log import Change

OBJECT_COLUMNS = (
    *("title", "maker", "kind", "support", "shape", "height_cm", "width_cm", "area_dm2"),
    *("structure_condition", "paint_condition", "surface_condition", "received_on", "due_on", "finished_on"),
    *("returned_from", "commission", "note", "remembered", "owner", "owner_address"),
)
_OBJECTS = KeyedForm(table="objects", key="object", columns=OBJECT_COLUMNS)


def check_objects(con: Connection, rows: Rows, context: Context, status: RowStatus) -> None:
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT "row", emptied, object, {", ".join(OBJECT_COLUMNS)} FROM checked"""
    )
    objects = "(SELECT object FROM objects UNION SELECT object FROM resolved)"
    note(
        con,
        "faults",
        f"""(
            SELECT r.*,
                (
                    r.returned_from IS NOT NULL
                    AND r.returned_from NOT IN (SELECT object FROM {objects} AS k WHERE object IS NOT NULL)
                ) AS astray, coalesce(r.received_on, o.received_on) AS came_on,
                coalesce(r.finished_on, o.finished_on) AS went_on
            FROM resolved AS r LEFT JOIN objects AS o USING (object)
        )""",
        rule("astray", "returned_from", "unknown_returned_object"),
        rule("returned_from = object", "returned_from", "returned_from_itself"),
        rule("finished_on IS NOT NULL AND went_on < came_on", "finished_on", "finished_before_received"),
        rule(f"finished_on > DATE '{context.today}'", "finished_on", "finished_in_future"),
    )
    note(
        con,
        "warnings",
        statement("ingest.importing", "objects_reopened"),
        rule("opened = 1", "finished_on", "finish_opens_line", last_day="last_day"),
        rule("opened > 1", "finished_on", "finish_opens_lines", last_day="last_day", lines="opened"),
    )
    check_keyed(con, _OBJECTS, rows, status)


def store_objects(con: Connection, change: Change) -> None:
    store_keyed(con, _OBJECTS, change)
