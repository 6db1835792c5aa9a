"""Versions of estimates that are held by other words: their table was brought in before, when it was read
otherwise or its texts meant something else.
"""

from __future__ import annotations

from ingest.importing.cell_values import note_all
from ingest.importing.declined_changes import mark_left
from ingest.importing.entry_matching import HeldBackAs
from ingest.importing.estimate_versions import AS_TEXT, WITH_KEYS
from ingest.importing.row_status import RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.sql import Connection

VERSION_KEY = "{row}.object || ' version ' || {row}.version"
_HELD_OTHERWISE = f"""
    SELECT r."row", v.entry, v.content FROM resolved AS r
    JOIN (
        SELECT e.object, e.version, min(o.earlier) AS entry,
            md5(
                concat_ws(
                    chr(31), 'version', e.object, e.version, min(o.earlier), {AS_TEXT},
                    min(e.made_on), coalesce(max(e.approved_on)::VARCHAR, ''), coalesce(min(e.reason), ''),
                    coalesce(min(e.price)::VARCHAR, ''), coalesce(min(e.currency), '')
                )
            )::UUID AS content
        FROM resolved AS e
        JOIN (
            SELECT object, version, min(earlier) AS earlier FROM versions_said_otherwise
            WHERE earlier IS NOT NULL GROUP BY object, version
        ) AS o ON o.object = e.object AND o.version = e.version
        {WITH_KEYS}
        GROUP BY e.object, e.version
    ) AS v ON v.object = r.object AND v.version = r.version
    WHERE {untouched("r")}
"""


def hold_back_versions(con: Connection, rows: Rows, status: RowStatus, held_back_as: HeldBackAs) -> None:
    """Hold back the versions of `resolved` that have a row which is held by other words, or have them laid
    over the earlier ones; one that is of another work now is moved to it, where nothing stands on it there.

    It fills the tables `versions_said_otherwise` (a version as it is said now, and the key of that in which
    it is held; none where that was changed since, which stands) and `moved_versions`.
    """
    con.execute(
        """CREATE OR REPLACE TEMP TABLE versions_said_otherwise
        (object VARCHAR, version INTEGER, earlier VARCHAR)"""
    )
    con.execute("CREATE OR REPLACE TEMP TABLE moved_versions (object VARCHAR, version INTEGER)")
    said_otherwise = rows.said_otherwise
    if said_otherwise is None or said_otherwise.entries.empty:
        return
    con.register("said_otherwise", said_otherwise.entries)
    con.execute(
        f"""INSERT INTO versions_said_otherwise
        SELECT DISTINCT r.object, r.version, o.entry FROM resolved AS r JOIN said_otherwise AS o USING ("row")
        WHERE {untouched("r")}"""
    )
    con.unregister("said_otherwise")
    of_versions = (
        'SELECT r."row" FROM resolved AS r JOIN versions_said_otherwise AS o USING (object, version)'
    )
    status.mark("already held", f"{of_versions} WHERE o.earlier IS NULL")
    mark_left(con, said_otherwise, _HELD_OTHERWISE, status)
    if "correction" not in (said_otherwise.become, held_back_as):
        status.mark("held back", of_versions)
    else:
        _move_to_another_work(con, status)


def _move_to_another_work(con: Connection, status: RowStatus) -> None:
    con.execute(
        f"""INSERT INTO moved_versions
        SELECT v.object, v.version FROM estimate_versions AS v
        WHERE {VERSION_KEY.format(row="v")} IN (
                SELECT earlier FROM versions_said_otherwise AS o
                SEMI JOIN (FROM resolved AS r WHERE {untouched("r")}) AS r USING (object, version)
            )
            AND (v.object, v.version) NOT IN (
                SELECT (object, version) FROM resolved
                WHERE object IS NOT NULL AND version IS NOT NULL
            )"""
    )
    note_all(
        con,
        "faults",
        "object",
        "version_stands_elsewhere",
        f"""(
            SELECT DISTINCT r."row", m.object, m.version FROM resolved AS r
            JOIN versions_said_otherwise AS o USING (object, version)
            JOIN moved_versions AS m ON o.earlier = {VERSION_KEY.format(row="m")}
            JOIN estimate_versions AS v ON v.object = m.object AND v.version = m.version
            WHERE v.approved_on IS NOT NULL
                OR (m.object, m.version) IN (SELECT (object, version) FROM ended_versions)
                OR (m.object, m.version) IN (SELECT (object, version) FROM quotes)
                OR EXISTS (
                    FROM estimate_versions AS l WHERE l.object = m.object AND l.version > m.version
                        AND (l.object, l.version) NOT IN (SELECT (object, version) FROM moved_versions)
                )
        )""",
        object="object",
        version="version",
    )
    status.reject_faulty()
    con.execute(
        f"""DELETE FROM moved_versions AS m
        WHERE {VERSION_KEY.format(row="m")} NOT IN (
            SELECT o.earlier FROM versions_said_otherwise AS o
            JOIN (FROM resolved AS r WHERE {untouched("r")}) AS r USING (object, version)
        )"""
    )


def delete_moved(con: Connection) -> None:
    """Delete the versions that were moved to another work, once they are in the history."""
    con.execute(
        """DELETE FROM estimated_lines
        WHERE (line, version) IN (
            SELECT (l.line, m.version) FROM moved_versions AS m JOIN lines AS l ON l.object = m.object
        )"""
    )
    con.execute(
        """DELETE FROM estimate_versions
        WHERE (object, version) IN (SELECT (object, version) FROM moved_versions)"""
    )
