"""Versions of estimates as units: laid out of a file's rows, compared with those stored, and recorded."""

from __future__ import annotations

from ingest.importing.cell_values import note_all
from ingest.importing.row_status import RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.sql import Connection, statement
from ingest.tables.audit_log import Change, record_earlier

LINE_COLUMNS = [
    *("person", "option", "quantity", "unit"),
    *("hours", "low_hours", "high_hours", "unattended_hours", "note"),
]
# A version as one text, its lines in an order of their own: equal versions give equal texts.
AS_TEXT = "string_agg(concat_ws(chr(31), {line}), chr(30) ORDER BY {line})".replace(
    "{line}",
    ", ".join(
        f"coalesce({name}::VARCHAR, '')"
        for name in (
            "p.key",
            "t.key",
            "e.part",
            "coalesce(w.key, e.person)",
            *(f"e.{name}" for name in LINE_COLUMNS if name != "person"),
        )
    ),
)
# What a price includes, where unknown, is left out of the hash, which then equals that of older versions.
CONTENT = """md5(
        concat_ws(
            chr(31), {lines}, {version}.made_on, coalesce({version}.approved_on::VARCHAR, ''),
            coalesce({version}.approved_option, ''), coalesce({version}.reason, ''),
            coalesce({version}.price::VARCHAR, ''), coalesce({version}.currency, ''),
            {version}.tax_in_price::VARCHAR, {version}.tax_per_cent::VARCHAR
        )
    )::UUID"""
WITH_KEYS = """LEFT JOIN phases AS p ON p.phase = e.phase
    LEFT JOIN techniques AS t ON t.technique = e.technique
    LEFT JOIN person_spellings AS w ON w.written = e.person"""


def create_versions(con: Connection) -> None:
    """Create the table `versions`, a row for each version among the rows that may be stored. What a price
    includes is, where they leave it out, what is stored of the same price.
    """
    con.execute(statement("ingest.importing", "versions_created", untouched=untouched()))


def compare_with_stored(con: Connection, rows: Rows, status: RowStatus) -> None:
    """Sort the versions into unchanged, newly approved, changed, and in conflict with an approved one."""
    _create_compared(con)
    joined = "resolved AS r JOIN compared AS v USING (object, version)"
    status.mark(
        "already held",
        f"""SELECT r."row" FROM {joined}
        WHERE (v.same_lines AND v.same_tax AND (v.same_approval OR NOT v.approved))
            OR (
                {not rows.typed}
                -- said again as it was at first, it is laid over what was said in between
                AND (r.object, r.version) NOT IN (SELECT (object, version) FROM versions_said_otherwise)
                AND EXISTS (
                    SELECT 1 FROM history AS h
                    WHERE h.kind = 'estimate_versions' AND h.key = v.object || ' version ' || v.version
                        AND h.content = v.content
                )
            )""",
    )
    _refuse_conflicts(con, joined)
    status.reject_faulty()
    con.execute(
        f"""INSERT INTO corrections
        SELECT r."row", r.object || ' version ' || r.version FROM {joined} WHERE {untouched("r")}"""
    )
    note_all(
        con,
        "warnings",
        "version",
        "version_loses_lines",
        f"compared WHERE lines < held_lines AND {untouched()}",
        object="object",
        held="held_lines",
        lines="lines",
    )


def _create_compared(con: Connection) -> None:
    """Create the table `compared`: each version of `versions` beside the stored one of the same number."""
    con.execute(
        statement(
            "ingest.importing",
            "versions_compared",
            as_text=AS_TEXT,
            with_keys=WITH_KEYS,
            untouched_e=untouched("e"),
            content=CONTENT.format(version="n", lines="new.as_text"),
        )
    )


def _refuse_conflicts(con: Connection, joined: str) -> None:
    """Note rows that would change a version that was approved, ended or saved from a quote."""
    faultless = f"""{untouched("r")} AND r."row" NOT IN (SELECT "row" FROM faults)"""
    note_all(
        con,
        "faults",
        "version",
        "version_approved",
        f"""(
            SELECT r."row", v.object, v.held_approved_on FROM {joined}
            WHERE v.held_approved_on IS NOT NULL AND NOT (v.same_lines AND v.same_approval AND v.agrees)
                AND {faultless}
        )""",
        object="object",
        approved_on="held_approved_on",
    )
    note_all(
        con,
        "faults",
        "approved_on",
        "version_ended",
        f"""(
            SELECT r."row", v.object, v.version, x.outcome, x.ended_on FROM {joined}
            JOIN ended_versions AS x USING (object, version)
            WHERE v.approved AND {faultless}
        )""",
        version="version",
        object="object",
        outcome="outcome",
        ended_on="ended_on",
    )
    note_all(
        con,
        "faults",
        "version",
        "version_quoted",
        f"""(
            SELECT r."row", v.object FROM {joined} JOIN quotes AS q USING (object, version)
            WHERE NOT (v.same_lines AND v.agrees) AND {faultless}
        )""",
        object="object",
    )


def record_versions(con: Connection, change: Change, which: str, values: list[object] | None = None) -> None:
    """Record versions as they are in the history, with their hash.

    Parameters
    ----------
    which : SQL query of `object` and `version`; `values` are its parameters.
    """
    record_earlier(
        con,
        "estimate_versions",
        change,
        f"""SELECT v.object || ' version ' || v.version AS key,
            to_json({{'version': v, 'lines': l.lines}}) AS earlier,
            {CONTENT.format(version="v", lines="l.as_text")} AS content
        FROM estimate_versions AS v
        JOIN (
            SELECT e.object, e.version, list(e) AS lines, {AS_TEXT} AS as_text
            FROM estimate_lines AS e {WITH_KEYS}
            GROUP BY e.object, e.version
        ) AS l USING (object, version)
        JOIN {which} AS k USING (object, version)""",
        values,
    )


def next_version(con: Connection, known_object: str) -> int:
    """Number of the next version of a work's estimate. Numbers are never reused: ended versions count too."""
    number: int = con.execute(
        "SELECT coalesce(max(version), 0) + 1 FROM estimate_versions WHERE object = ?", [known_object]
    ).fetchall()[0][0]
    return number
