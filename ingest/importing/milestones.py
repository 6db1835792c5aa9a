"""Milestones: days on which a line, a phase of a work or all of it was finished."""

from __future__ import annotations

from ingest.importing.cell_readers import Context
from ingest.importing.cell_values import WORDS_READ, note, rule
from ingest.importing.row_status import RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.sql import Connection, statement

# Hash of a milestone, by the keys of its words: one that was taken back is not set again by its file.
MILESTONE_CONTENT = (
    "md5(concat_ws(chr(31), r.object, p.key, coalesce(t.key, ''), r.part, r.finished_on))::UUID"
)
WITH_KEYS = (
    "LEFT JOIN phases AS p ON p.phase = r.phase LEFT JOIN techniques AS t ON t.technique = r.technique"
)


def check_milestones(con: Connection, rows: Rows, context: Context, status: RowStatus) -> None:
    """Check milestones. Each is its whole row, stored or new; its phase may be the technique's usual one."""
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, coalesce(c.phase, t.phase, '') AS phase,
            coalesce(c.technique, '') AS technique, coalesce(c.part, '') AS part, c.finished_on
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique""")
    note(
        con,
        "faults",
        "resolved",
        rule(f"technique = '' AND phase = '' AND part <> '' AND {WORDS_READ}", "part", "part_of_no_phase"),
        rule(f"finished_on > DATE '{context.today}'", "finished_on", "milestone_in_future"),
    )
    _warn_of_no_line(con)
    status.reject_faulty()
    status.mark(
        "already held",
        'SELECT "row" FROM resolved SEMI JOIN milestones USING (object, phase, technique, part, finished_on)',
    )
    if not rows.typed:
        status.mark(
            "already held",
            f"""SELECT r."row" FROM resolved AS r {WITH_KEYS}
            WHERE {untouched("r")}
                AND {MILESTONE_CONTENT} IN (SELECT content FROM history WHERE kind = 'milestones')""",
        )
    status.mark_repeats("object, phase, technique, part, finished_on", "true")
    _warn_of_later_entries(con)


def _warn_of_no_line(con: Connection) -> None:
    """Warn of milestones that finish no line there is."""
    note(
        con,
        "warnings",
        """(
            SELECT * FROM resolved AS r
            WHERE "row" NOT IN (SELECT "row" FROM faults)
                AND NOT EXISTS (
                    SELECT 1 FROM lines AS l
                    WHERE l.object = r.object
                        AND holds(r.phase, r.technique, r.part, l.phase, l.technique, l.part)
                )
        )""",
        rule("technique = '' AND phase = ''", "object", "finishes_no_line", object="object"),
        rule(
            "technique = '' AND phase <> ''",
            "phase",
            "finishes_no_line_of_phase",
            object="object",
            phase="phase",
        ),
        rule(
            "technique <> ''",
            "phase",
            "finishes_no_line_of_technique",
            object="object",
            phase="phase",
            technique="technique",
        ),
    )


def store_milestones(con: Connection) -> None:
    con.execute(
        f"""INSERT INTO milestones
        SELECT object, phase, technique, part, finished_on FROM resolved
        WHERE {untouched()}"""
    )


def _warn_of_later_entries(con: Connection) -> None:
    """Warn of milestones before the last entry of a line: the entry opens it again, unless it ends later."""
    reaches = "m.object = l.object AND holds(m.phase, m.technique, m.part, l.phase, l.technique, l.part)"
    note(
        con,
        "warnings",
        statement("ingest.importing", "milestones_reopened", reaches=reaches, untouched_m=untouched("m")),
        rule("opened = 1", "finished_on", "milestone_opens_line", last_day="last_day"),
        rule("opened > 1", "finished_on", "milestone_opens_lines", last_day="last_day", lines="opened"),
    )
