"""Objects: the works, one row each."""

from __future__ import annotations

import pandas as pd

from ingest.importing.cell_readers import Context
from ingest.importing.cell_values import note, rule
from ingest.importing.declined_changes import mark_left
from ingest.importing.entry_matching import HeldBackAs
from ingest.importing.row_status import RowStatus, untouched, with_status
from ingest.importing.rows import Rows, SaidOtherwise
from ingest.importing.upserts import KeyedForm, check_keyed, store_keyed
from ingest.sql import Connection, statement
from ingest.tables.audit_log import Change

OBJECT_COLUMNS = (
    *("title", "maker", "kind", "support", "shape", "height_cm", "width_cm", "area_dm2"),
    *("structure_condition", "paint_condition", "surface_condition", "received_on", "due_on", "finished_on"),
    *("returned_from", "commission", "note", "remembered", "owner", "owner_address"),
)
_OBJECTS = KeyedForm(table="objects", key="object", columns=OBJECT_COLUMNS)
_HELD_OTHERWISE = f"""
    SELECT r."row", o.entry,
        md5(
            concat_ws(
                chr(31), 'work', r.object, o.entry,
                {", ".join(f"coalesce(r.{name}::VARCHAR, '')" for name in OBJECT_COLUMNS)}
            )
        )::UUID AS content
    FROM resolved AS r JOIN said_otherwise AS o USING ("row")
    WHERE o.entry IS NOT NULL AND {untouched("r")}
"""


def check_objects(
    con: Connection, rows: Rows, context: Context, status: RowStatus, held_back_as: HeldBackAs = "ask"
) -> None:
    """Check the works of the view `checked` against themselves and what is held.

    Parameters
    ----------
    held_back_as : what to do with rows that are held as other works: keep them aside, or store them.
    """
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
    if rows.said_otherwise is not None and len(rows.said_otherwise.entries):
        _hold_back(con, rows.said_otherwise, status, held_back_as)
    check_keyed(con, _OBJECTS, rows, status)


def _hold_back(
    con: Connection, said_otherwise: SaidOtherwise, status: RowStatus, held_back_as: HeldBackAs
) -> None:
    """Rows whose text meant another work before, or which were read otherwise."""
    con.register("said_otherwise", said_otherwise.entries)
    status.reject_faulty()
    status.mark("already held", 'SELECT "row" FROM said_otherwise WHERE entry IS NULL')
    mark_left(con, said_otherwise, _HELD_OTHERWISE, status)
    if "correction" not in (said_otherwise.become, held_back_as):
        status.mark("held back", 'SELECT "row" FROM said_otherwise')
    con.unregister("said_otherwise")


def held_back(con: Connection) -> pd.DataFrame:
    """The rows held back, as people read them: frame as of `entry_matching.held_back`, without hours."""
    return con.execute(
        f"""SELECT l.line, concat_ws(' ', r.object, r.title) AS what, NULL::DOUBLE AS held_hours,
            NULL::DOUBLE AS hours
        FROM resolved AS r JOIN row_lines AS l USING ("row")
        WHERE "row" IN ({with_status("held back")}) ORDER BY l.line"""
    ).df()


def store_objects(con: Connection, change: Change) -> None:
    store_keyed(con, _OBJECTS, change)
