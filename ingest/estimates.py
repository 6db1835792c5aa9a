"""Estimates: numbered versions of the hours a line is thought to take.

A version comes whole or not at all: a version short of a line would make every comparison with it wrong.
An approved version is a promise and is never rewritten; a revision is a new version.
"""

from __future__ import annotations

import duckdb

from ingest.checked import remark
from ingest.lines import give_numbers, same_line
from ingest.outcome import Fate, Outcome

_OF_A_LINE = ("person", "option", "quantity", "unit", "hours", "low_hours", "high_hours", "unattended_hours", "note")
_LINE = ("phase", "technique", "part", *_OF_A_LINE)


def bring_in(con: duckdb.DuckDBPyConnection, fate: Fate) -> Outcome:
    """Store the versions of the view `checked`; a version with a fault in any row is left out whole."""
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, c.version, c.made_on, c.approved_on, c.reason, c.price, c.currency, coalesce(c.phase, t.phase) AS phase, c.technique,
            coalesce(c.part, '') AS part, c.person, c.option, c.quantity, CASE WHEN c.quantity IS NOT NULL THEN coalesce(c.unit, t.unit) END AS unit,
            c.hours, c.low_hours, c.high_hours, c.unattended_hours, c.note, c.unit AS said_unit, t.unit AS usual_unit
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique""")
    _check_lines(con)
    _check_versions(con)
    # A fault in one row keeps the whole version out, and the other rows say why.
    con.execute("""INSERT INTO problems SELECT DISTINCT r."row", 'version', 'has a fault in another of its rows',
            'Mend that row; a version comes in whole, so bring in all its rows again.'
        FROM resolved AS r JOIN resolved AS f ON f.object = r.object AND f.version = r.version JOIN problems AS p ON p."row" = f."row"
        WHERE r."row" NOT IN (SELECT "row" FROM problems)""")
    fate.reject_problems()
    _say_what_is_summed(con, fate)
    _compare_with_held(con, fate)
    outcome = fate.outcome()
    _store(con, fate)
    return outcome


def _check_lines(con: duckdb.DuckDBPyConnection) -> None:
    remark(con, "problems", "resolved", [
        ("hours IS NULL AND quantity IS NULL", "hours", "'is empty, and so is quantity'", "A line needs hours or a quantity."),
        ("approved_on < made_on", "approved_on", "'is before the estimate was made'", "Mend one of the two days."),
        ("low_hours > high_hours", "low_hours", "'is more than high_hours'", "Turn the two round."),
        ("hours < low_hours OR hours > high_hours", "hours", "'is outside low_hours to high_hours'", "Mend one of the three."),
        ("said_unit <> usual_unit", "unit", "'is not the unit of ' || technique || ', which is counted in ' || usual_unit", "Convert the quantity."),
        ("(said_unit IS NOT NULL OR quantity IS NOT NULL) AND technique IS NOT NULL AND usual_unit IS NULL", "quantity",
         "'is given, but ' || technique || ' is not measured'", "Leave quantity and unit empty, or give the technique a unit."),
        ("unit = 'pcs' AND quantity <> floor(quantity)", "quantity", "'is not a whole number of pieces'", "Count whole pieces."),
    ])  # fmt: skip


def _check_versions(con: duckdb.DuckDBPyConnection) -> None:
    for column in ("made_on", "reason", "price", "currency"):
        con.execute(
            f"""INSERT INTO problems SELECT "row", '{column}', 'differs from another row of the same version',
                'Give all rows of a version the same {column}.'
            FROM (SELECT "row", {column}, first_value({column}) OVER (PARTITION BY object, version ORDER BY "row") AS first_said FROM resolved WHERE version IS NOT NULL)
            WHERE {column} IS DISTINCT FROM first_said"""
        )
    remark(con, "problems", """(
        SELECT r."row", r.approved_on, r.option, v.* FROM resolved AS r JOIN (
            SELECT object, version, count(DISTINCT approved_on) AS days, count(DISTINCT option) FILTER (approved_on IS NOT NULL) AS options
            FROM resolved GROUP BY object, version) AS v USING (object, version))""", [
        ("approved_on IS NOT NULL AND days > 1", "approved_on", "'differs from another row of the same version'", "A version is approved on one day."),
        ("approved_on IS NOT NULL AND option IS NOT NULL AND options > 1", "option", "'is approved beside another option of the same version'",
         "Give approved_on to the rows of the one option that was taken."),
    ])  # fmt: skip
    remark(con, "problems", """(
        SELECT r."row", r.object, r.version, n.version IS NULL AS gap FROM resolved AS r
        LEFT JOIN (SELECT object, version FROM estimate_versions UNION SELECT object, version FROM resolved) AS n
            ON n.object = r.object AND n.version = r.version - 1
        WHERE r.version > 1 AND r.object IS NOT NULL)""", [
        ("gap", "version", "'leaves a gap: there is no version ' || (version - 1) || ' of ' || object", "Number versions 1, 2, 3 …; bring in the earlier one first or with it."),
    ])  # fmt: skip


def _say_what_is_summed(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    remark(con, "warnings", f"""(
        SELECT min("row") AS "row", technique, version, object, count(*) AS times FROM resolved WHERE {fate.untouched()}
        GROUP BY object, version, phase, technique, part, option HAVING count(*) > 1)""", [
        ("true", "technique", "'stands ' || times || ' times in version ' || version || ' of ' || object || '; the hours are summed'", "Give each its own part if they are different work."),
    ])  # fmt: skip
    remark(con, "warnings", f"""(
        SELECT min("row") AS "row", object, version FROM resolved WHERE {fate.untouched()} GROUP BY object, version
        HAVING count(option) > 0 AND count(approved_on) > 0 AND count(approved_on) FILTER (option IS NOT NULL) = 0)""", [
        ("true", "approved_on", "'says that version ' || version || ' of ' || object || ' was approved, but of no option'",
         "Kept; only the rows without an option count. Give approved_on to the rows of the option that was taken."),
    ])  # fmt: skip


# A version as one text, its lines in an order of their own: equal versions give equal texts.
_AS_TEXT = "string_agg(concat_ws(chr(31), {line}), chr(30) ORDER BY {line})".replace("{line}", ", ".join(f"coalesce({name}::VARCHAR, '')" for name in _LINE))


def _compare_with_held(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """Versions already held, newly approved, changed, or against an approved one."""
    con.execute(f"""CREATE OR REPLACE TEMP TABLE versions AS
        WITH new AS (
            SELECT object, version, min("row") AS "row", any_value(made_on) AS made_on, max(approved_on) AS approved_on,
                max(option) FILTER (approved_on IS NOT NULL) AS approved_option, any_value(reason) AS reason, any_value(price) AS price, any_value(currency) AS currency,
                {_AS_TEXT} AS lines FROM resolved WHERE {fate.untouched()} GROUP BY object, version
        ), held AS (
            SELECT object, version, {_AS_TEXT} AS held_lines FROM estimate_lines GROUP BY object, version
        )
        SELECT new.*, v.object IS NOT NULL AS is_held, v.approved_on AS held_approved_on,
            (h.held_lines = new.lines AND v.made_on = new.made_on AND v.reason IS NOT DISTINCT FROM new.reason
                AND v.price IS NOT DISTINCT FROM new.price AND v.currency IS NOT DISTINCT FROM new.currency) AS same_lines,
            (v.approved_on IS NOT DISTINCT FROM new.approved_on AND v.approved_option IS NOT DISTINCT FROM new.approved_option) AS same_approval,
            md5(concat_ws(chr(31), new.lines, new.made_on, coalesce(new.approved_on::VARCHAR, ''), coalesce(new.approved_option, ''), coalesce(new.reason, ''),
                coalesce(new.price::VARCHAR, ''), coalesce(new.currency, '')))::UUID AS content
        FROM new LEFT JOIN estimate_versions AS v USING (object, version) LEFT JOIN held AS h USING (object, version)""")
    in_version = 'SELECT r."row" FROM resolved AS r JOIN versions AS v USING (object, version) WHERE '
    fate.mark(
        "already held",
        in_version
        + """v.is_held AND ((v.same_lines AND (v.same_approval OR v.approved_on IS NULL))
        OR EXISTS (SELECT 1 FROM history AS h WHERE h.kind = 'estimate_versions' AND h.key = v.object || ' version ' || v.version AND h.content = v.content))""",
    )
    con.execute(
        f"""INSERT INTO problems SELECT r."row", 'version',
            'was approved on ' || v.held_approved_on || ' and says otherwise', 'An approved version stays; bring the change in as a new version.'
        FROM resolved AS r JOIN versions AS v USING (object, version) WHERE v.is_held AND v.held_approved_on IS NOT NULL AND {fate.untouched("r")}"""
    )
    fate.reject_problems()
    con.execute(
        f"INSERT INTO corrections SELECT r.\"row\", r.object || ' version ' || r.version FROM resolved AS r JOIN versions AS v USING (object, version) WHERE v.is_held AND {fate.untouched('r')}"
    )


def _store(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    kept = f"(SELECT DISTINCT object, version FROM resolved AS r WHERE {fate.untouched('r')})"
    con.execute(
        f"""INSERT INTO history (kind, key, changed_at, changed_by, reason, earlier, content)
        SELECT 'estimate_versions', v.object || ' version ' || v.version, ?, ?, ?, to_json({{'version': v, 'lines': l.lines}}),
            md5(concat_ws(chr(31), l.as_text, v.made_on, coalesce(v.approved_on::VARCHAR, ''), coalesce(v.approved_option, ''), coalesce(v.reason, ''),
                coalesce(v.price::VARCHAR, ''), coalesce(v.currency, '')))::UUID
        FROM estimate_versions AS v
        JOIN (SELECT object, version, list(e) AS lines, {_AS_TEXT} AS as_text FROM estimate_lines AS e GROUP BY object, version) AS l USING (object, version)
        JOIN {kept} AS k USING (object, version)""",
        [fate.now, fate.by, f"brought in with {fate.file}"],
    )
    con.execute(f"DELETE FROM estimated_lines WHERE (line, version) IN (SELECT (l.line, k.version) FROM {kept} AS k JOIN lines AS l ON l.object = k.object)")
    con.execute(f"DELETE FROM estimate_versions WHERE (object, version) IN (SELECT (object, version) FROM {kept})")
    con.execute(f"""INSERT INTO estimate_versions SELECT object, version, made_on, approved_on, approved_option, reason, price, currency
        FROM versions JOIN {kept} AS k USING (object, version)""")
    give_numbers(con, f"resolved WHERE {fate.untouched()}")
    con.execute(f"""INSERT INTO estimated_lines (version, line, {", ".join(_OF_A_LINE)})
        SELECT r.version, l.line, {", ".join(f"r.{name}" for name in _OF_A_LINE)} FROM resolved AS r JOIN lines AS l ON {same_line("r")} WHERE {fate.untouched("r")}""")
