"""Estimates: numbered versions of the hours a line is thought to take.

A version comes whole or not at all: a version short of a line would make every comparison with it wrong.
An approved version is a promise and is never rewritten; a revision is a new version.
"""

from __future__ import annotations

from datetime import date

import duckdb

from ingest import people
from ingest.checked import remark
from ingest.csv_files import RawRows
from ingest.errors import BenchHoursError
from ingest.history import Change, keep_earlier
from ingest.lines import give_numbers, same_line
from ingest.notation import day_in_words, written
from ingest.outcome import Fate, Outcome
from ingest.readings import READERS, Context
from ingest.records import FAR_OFF
from ingest.settings import read_settings
from ingest.sql import quoted

_OF_A_LINE = ("person", "option", "quantity", "unit", "hours", "low_hours", "high_hours", "unattended_hours", "note")
_LINE = ("phase", "technique", "part", *_OF_A_LINE)


def bring_in(con: duckdb.DuckDBPyConnection, context: Context, fate: Fate, raw: RawRows) -> Outcome:
    """Store the versions of the view `checked`; a version with a fault in any row is left out whole.

    `raw` tells the lines that are no rows: they too may belong to a version.
    """
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, c.version, c.made_on, c.approved_on, c.reason, c.price, c.currency, c.tax_in_price, c.tax_per_cent, coalesce(c.phase, t.phase) AS phase, c.technique,
            coalesce(c.part, '') AS part, coalesce(w.person, c.person) AS person, c.option, c.quantity, CASE WHEN c.quantity IS NOT NULL THEN coalesce(c.unit, t.unit) END AS unit,
            c.hours, c.low_hours, c.high_hours, c.unattended_hours, c.note, c.unit AS said_unit, t.unit AS usual_unit
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique LEFT JOIN person_spellings AS w ON w.written = c.person""")
    _check_lines(con)
    _check_versions(con)
    _keep_out_what_may_lack_a_row(con, context, raw)
    # A fault in one row keeps the whole version out, and the other rows say why.
    con.execute("""INSERT INTO problems SELECT DISTINCT r."row", 'version', 'has a fault in another of its rows (line ' || f.line || ')',
            'Mend that row; a version comes in whole, so bring in all its rows again.'
        FROM resolved AS r JOIN (SELECT object, version, min(line) AS line FROM resolved JOIN row_lines USING ("row")
                WHERE "row" IN (SELECT "row" FROM problems) GROUP BY object, version) AS f
            ON f.object = r.object AND f.version = r.version
        WHERE r."row" NOT IN (SELECT "row" FROM problems)""")
    _check_no_gaps(con)
    fate.reject_problems()
    _say_what_is_summed(con, fate)
    _ask_about_prices(con, fate)
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
    for column in ("made_on", "reason", "price", "currency", "tax_in_price", "tax_per_cent"):
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


def _keep_out_what_may_lack_a_row(con: duckdb.DuckDBPyConnection, context: Context, raw: RawRows) -> None:
    """A line that cannot be read may belong to a version of the file: by what of it can be told, that version is left out."""
    told: dict[tuple[str | None, int | None], int] = {}
    for line, object_text, version_text in _unreadable(con, raw):
        held_object, version = _read("object", context, object_text), _read("version", context, version_text)
        if held_object is None and object_text:
            near = context.nearest_object(object_text)
            if near is None:
                continue  # an object of its own, not a slip of the pen in this version
            held_object = near
        told.setdefault((held_object, version), line)  # type: ignore[arg-type]
    for (known, version), line in told.items():
        con.execute(
            f"""INSERT INTO problems SELECT "row", 'version', 'may lack line {line:d}, which cannot be read', ? FROM resolved
            WHERE (?::VARCHAR IS NULL OR object = ?) AND (?::INTEGER IS NULL OR version = ?) AND "row" NOT IN (SELECT "row" FROM problems)""",
            ["Mend that line; a version comes in whole, so bring in all its rows again.", known, known, version, version],
        )


def _unreadable(con: duckdb.DuckDBPyConnection, raw: RawRows) -> list[tuple[int, str, str]]:
    """Line, object and version as written, of lines that are no rows and of single rows whose object or version cannot be read.

    A row with neither and no technique is a total or a remark of the spreadsheet's, no line of any version.
    """
    names = raw.file.names
    places = [names.index("object"), names.index("version")]
    found = [(fault.line, *("" if len(fault.cells) <= place else fault.cells[place] for place in places)) for fault in raw.faults]
    rows = con.execute(
        f"""SELECT min(l.line), cells.c{places[0]}, cells.c{places[1]} FROM resolved AS r JOIN cells ON cells."row" = r."row" JOIN row_lines AS l ON l."row" = r."row"
        WHERE (r.object IS NULL OR r.version IS NULL) AND (r.object IS NOT NULL OR r.version IS NOT NULL OR r.technique IS NOT NULL)
        GROUP BY ALL HAVING count(*) = 1 OR any_value(r.object) IS NOT NULL"""
    ).fetchall()
    return [*found, *((int(line), said or "", version or "") for line, said, version in rows)]  # type: ignore[list-item]


def _read(reading: str, context: Context, text: str) -> object:
    try:
        return READERS[reading].read(context, text.strip()) if text.strip() else None
    except BenchHoursError:
        return None


def _check_no_gaps(con: duckdb.DuckDBPyConnection) -> None:
    """Versions count 1, 2, 3 …, those held and those of this file that will be stored taken together."""
    remark(con, "problems", """(
        WITH known AS (
            SELECT object, version FROM estimate_versions UNION
            SELECT object, version FROM resolved WHERE "row" NOT IN (SELECT "row" FROM problems)
        )
        SELECT r."row", r.object, r.version FROM resolved AS r JOIN (
            SELECT DISTINCT f.object, f.version FROM (SELECT DISTINCT object, version FROM resolved) AS f
            LEFT JOIN known AS k ON k.object = f.object AND k.version < f.version GROUP BY f.object, f.version HAVING count(k.version) < f.version - 1
        ) AS gap ON gap.object = r.object AND gap.version = r.version)""", [
        ("true", "version", "'leaves a gap below version ' || version || ' of ' || object", "Number versions 1, 2, 3 …; bring in the earlier ones first or with it."),
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


def _ask_about_prices(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """A price that is far off what its hours come to at the studio's rate. Tax, which is in it or not, is too little to matter here."""
    studio = read_settings(con)
    if not studio.hourly_rate:
        return
    rate = f"{studio.hourly_rate!r}"
    told = f"round(price / hours, 2) || ' {studio.currency} an hour for ' || round(hours, 1) || ' h, and the studio''s rate is {written(studio.hourly_rate)} {studio.currency}'"
    remark(con, "warnings", f"""(
        SELECT min("row") AS "row", object, version, any_value(price) AS price, sum(hours) AS hours FROM resolved WHERE {fate.untouched()} GROUP BY object, version
        HAVING count(price) > 0 AND count(hours) = count(*) AND count(option) = 0 AND sum(hours) > 0 AND any_value(price) > 0 AND coalesce(any_value(currency), {quoted(studio.currency)}) = {quoted(studio.currency)})""", [
        (f"greatest(price / hours / {rate}, {rate} * hours / price) >= {FAR_OFF}", "price", f"'is ' || {told}", "See whether a digit, or a mark between thousands, went astray."),
    ])  # fmt: skip


# A version as one text, its lines in an order of their own: equal versions give equal texts.
_AS_TEXT = "string_agg(concat_ws(chr(31), {line}), chr(30) ORDER BY {line})".replace(
    "{line}",
    ", ".join(
        f"coalesce({name}::VARCHAR, '')"
        for name in ("p.key", "t.key", "e.part", "coalesce(w.key, e.person)", *(f"e.{name}" for name in _OF_A_LINE if name != "person"))
    ),
)
_TAX = "{0}.tax_in_price::VARCHAR, {0}.tax_per_cent::VARCHAR"  # unsaid, they are left out of a content, which is then what it was before they could be said
_WITH_KEYS = """LEFT JOIN phases AS p ON p.phase = e.phase LEFT JOIN techniques AS t ON t.technique = e.technique
    LEFT JOIN person_spellings AS w ON w.written = e.person"""


def _compare_with_held(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """Versions already held, newly approved, changed, or against an approved one."""
    con.execute(f"""CREATE OR REPLACE TEMP TABLE versions AS
        WITH new AS (
            SELECT e.object, e.version, min(e."row") AS "row", any_value(e.made_on) AS made_on, max(e.approved_on) AS approved_on, count(*) AS lines_now,
                max(e.option) FILTER (e.approved_on IS NOT NULL) AS approved_option, any_value(e.reason) AS reason, any_value(e.price) AS price,
                any_value(e.currency) AS currency, any_value(e.tax_in_price) AS tax_in_price, any_value(e.tax_per_cent) AS tax_per_cent, {_AS_TEXT} AS lines FROM resolved AS e {_WITH_KEYS} WHERE {fate.untouched("e")} GROUP BY e.object, e.version
        ), held AS (
            SELECT e.object, e.version, {_AS_TEXT} AS held_lines, count(*) AS held_count FROM estimate_lines AS e {_WITH_KEYS} GROUP BY e.object, e.version
        )
        SELECT new.*, h.held_count, v.object IS NOT NULL AS is_held, v.approved_on AS held_approved_on,
            (h.held_lines = new.lines AND v.made_on = new.made_on AND v.reason IS NOT DISTINCT FROM new.reason
                AND v.price IS NOT DISTINCT FROM new.price AND v.currency IS NOT DISTINCT FROM new.currency) AS same_lines,
            (v.approved_on IS NOT DISTINCT FROM new.approved_on AND v.approved_option IS NOT DISTINCT FROM new.approved_option) AS same_approval,
            -- a file that does not say what a price includes says nothing against what is known of it; where nothing is known it may say it, of an approved version too
            coalesce(new.tax_in_price = v.tax_in_price, new.tax_in_price IS NULL) AND coalesce(new.tax_per_cent = v.tax_per_cent, new.tax_per_cent IS NULL) AS same_tax,
            coalesce(new.tax_in_price = v.tax_in_price, true) AND coalesce(new.tax_per_cent = v.tax_per_cent, true) AS agrees,
            CASE WHEN new.price IS NOT DISTINCT FROM v.price THEN coalesce(new.tax_in_price, v.tax_in_price) ELSE new.tax_in_price END AS known_in_price,
            CASE WHEN new.price IS NOT DISTINCT FROM v.price THEN coalesce(new.tax_per_cent, v.tax_per_cent) ELSE new.tax_per_cent END AS known_per_cent,
            md5(concat_ws(chr(31), new.lines, new.made_on, coalesce(new.approved_on::VARCHAR, ''), coalesce(new.approved_option, ''), coalesce(new.reason, ''),
                coalesce(new.price::VARCHAR, ''), coalesce(new.currency, ''), {_TAX.format("new")}))::UUID AS content
        FROM new LEFT JOIN estimate_versions AS v USING (object, version) LEFT JOIN held AS h USING (object, version)""")
    in_version = 'SELECT r."row" FROM resolved AS r JOIN versions AS v USING (object, version) WHERE '
    fate.mark(
        "already held",
        in_version
        + f"""v.is_held AND ((v.same_lines AND v.same_tax AND (v.same_approval OR v.approved_on IS NULL))
        OR ({fate.earlier_counts} AND EXISTS (SELECT 1 FROM history AS h WHERE h.kind = 'estimate_versions' AND h.key = v.object || ' version ' || v.version AND h.content = v.content)))""",
    )
    con.execute(
        f"""INSERT INTO problems SELECT r."row", 'version',
            'of ' || v.object || ' was approved on ' || v.held_approved_on || ', and this file says otherwise', 'An approved version stays; bring the change in as a new version.'
        FROM resolved AS r JOIN versions AS v USING (object, version) WHERE v.is_held AND v.held_approved_on IS NOT NULL AND NOT (v.same_lines AND v.same_approval AND v.agrees) AND {fate.untouched("r")}"""
    )
    con.execute(
        f"""INSERT INTO problems SELECT r."row", 'approved_on', 'is of version ' || v.version || ' of ' || v.object || ', which was ' || x.outcome || ' on ' || x.ended_on,
            'Say under Estimate that it stands after all, and bring the file in again.'
        FROM resolved AS r JOIN versions AS v USING (object, version) JOIN ended_versions AS x USING (object, version) WHERE v.approved_on IS NOT NULL AND {fate.untouched("r")}
            AND r."row" NOT IN (SELECT "row" FROM problems)"""
    )
    con.execute(
        f"""INSERT INTO problems SELECT r."row", 'version', 'of ' || v.object || ' was saved from a quote, and this file says otherwise',
            'A quote stays as it was given; bring the change in as a new version.'
        FROM resolved AS r JOIN versions AS v USING (object, version) JOIN quotes AS q USING (object, version) WHERE NOT (v.same_lines AND v.agrees) AND {fate.untouched("r")}
            AND r."row" NOT IN (SELECT "row" FROM problems)"""
    )
    fate.reject_problems()
    con.execute(
        f"INSERT INTO corrections SELECT r.\"row\", r.object || ' version ' || r.version FROM resolved AS r JOIN versions AS v USING (object, version) WHERE v.is_held AND {fate.untouched('r')}"
    )
    remark(con, "warnings", f"(SELECT * FROM versions WHERE is_held AND lines_now < held_count AND {fate.untouched()})", [
        ("true", "version", "'of ' || object || ' held ' || held_count || ' lines and now has ' || lines_now", "The earlier version is kept in the history; bring in all rows of a version together."),
    ])  # fmt: skip


def _store(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    kept = f"(SELECT DISTINCT object, version FROM resolved AS r WHERE {fate.untouched('r')})"
    _keep_versions(con, fate.change, kept)
    new = [
        row[0]
        for row in con.execute(
            f"SELECT DISTINCT person FROM resolved AS r ANTI JOIN people USING (person) WHERE person IS NOT NULL AND {fate.untouched('r')}"
        ).fetchall()
    ]
    people.keep_new(con, new, fate.now)
    con.execute(f"DELETE FROM estimated_lines WHERE (line, version) IN (SELECT (l.line, k.version) FROM {kept} AS k JOIN lines AS l ON l.object = k.object)")
    con.execute(f"DELETE FROM estimate_versions WHERE (object, version) IN (SELECT (object, version) FROM {kept})")
    con.execute(f"""INSERT INTO estimate_versions SELECT object, version, made_on, approved_on, approved_option, reason, price, currency, known_in_price, known_per_cent
        FROM versions JOIN {kept} AS k USING (object, version)""")
    give_numbers(con, f"resolved WHERE {fate.untouched()}")
    con.execute(f"""INSERT INTO estimated_lines (version, line, {", ".join(_OF_A_LINE)})
        SELECT r.version, l.line, {", ".join(f"r.{name}" for name in _OF_A_LINE)} FROM resolved AS r JOIN lines AS l ON {same_line("r")} WHERE {fate.untouched("r")}""")


_ONE = "(SELECT ?::VARCHAR AS object, ?::INTEGER AS version)"


def _keep_versions(con: duckdb.DuckDBPyConnection, change: Change, which: str, values: list[object] | None = None) -> None:
    """Keep versions as they are, with their content; `which` is a query of `object` and `version`."""
    keep_earlier(
        con,
        "estimate_versions",
        change,
        f"""SELECT v.object || ' version ' || v.version AS key, to_json({{'version': v, 'lines': l.lines}}) AS earlier,
            md5(concat_ws(chr(31), l.as_text, v.made_on, coalesce(v.approved_on::VARCHAR, ''), coalesce(v.approved_option, ''), coalesce(v.reason, ''),
                coalesce(v.price::VARCHAR, ''), coalesce(v.currency, ''), {_TAX.format("v")}))::UUID AS content
        FROM estimate_versions AS v
        JOIN (SELECT e.object, e.version, list(e) AS lines, {_AS_TEXT} AS as_text FROM estimate_lines AS e {_WITH_KEYS} GROUP BY e.object, e.version) AS l USING (object, version)
        JOIN {which} AS k USING (object, version)""",
        values,
    )


def approve(
    con: duckdb.DuckDBPyConnection,
    known_object: str,
    version: int,
    on: date,
    option: str | None,
    change: Change,
    price: tuple[float, str] | None = None,
    tax: tuple[bool | None, float | None] | None = None,
) -> None:
    """Note that the owner approved a version on a day, and of its options which one; raises where that cannot be.

    Parameters
    ----------
    price : agreed with it, an amount and its currency, in place of the one that it has; None: as it is, or as that option was quoted. tax : whether tax is in that price, and at how many per cent; None: as in the one that it has.
    """
    made_on, approved_on = _version(con, known_object, version)
    if approved_on:
        raise BenchHoursError(f"version {version} of {known_object} was approved on {day_in_words(approved_on)} already", "Make the next version for a change.")
    ended = con.execute("SELECT outcome, ended_on FROM ended_versions WHERE object = ? AND version = ?", [known_object, version]).fetchall()
    if ended:
        raise BenchHoursError(f"version {version} was {ended[0][0]} on {day_in_words(ended[0][1])}", "Take that back first, if it stands after all.")
    if on < made_on:
        raise BenchHoursError(f"version {version} was made on {day_in_words(made_on)}, after that day", "Give the day of the owner's word.")
    if on > con.execute("SELECT timezone(?, timezone('UTC', ?::TIMESTAMP))::DATE", [read_settings(con).zone, change.at]).fetchall()[0][0]:
        raise BenchHoursError(f"{day_in_words(on)} lies in the future", "Note the approval when it has been given.")
    options = {
        row[0]
        for row in con.execute(
            "SELECT DISTINCT option FROM estimate_lines WHERE object = ? AND version = ? AND option IS NOT NULL", [known_object, version]
        ).fetchall()
    }
    if options and option not in options:
        raise BenchHoursError(f"version {version} has the options {', '.join(sorted(options))}", "Say which one was approved.")
    _keep_versions(con, change, _ONE, [known_object, version])
    con.execute(
        "UPDATE estimate_versions SET approved_on = ?, approved_option = ? WHERE object = ? AND version = ?",
        [on, option if options else None, known_object, version],
    )
    if price is None:  # of options each was quoted at its own
        found = con.execute(
            "SELECT price, currency FROM quoted_options WHERE object = ? AND version = ? AND option = ? AND price IS NOT NULL",
            [known_object, version, option or ""],
        ).fetchall()
        price = found[0] if found else None
    if price is not None:
        con.execute("UPDATE estimate_versions SET price = ?, currency = ? WHERE object = ? AND version = ?", [*price, known_object, version])
    if tax is not None:
        con.execute("UPDATE estimate_versions SET tax_in_price = ?, tax_per_cent = ? WHERE object = ? AND version = ?", [*tax, known_object, version])


def say_tax(con: duckdb.DuckDBPyConnection, known_object: str, version: int, change: Change, tax: tuple[bool, float | None]) -> None:
    """Say of a version whether tax is in its price, and at how many per cent, where nobody had said so."""
    _version(con, known_object, version)
    if con.execute("SELECT tax_in_price FROM taxed_versions WHERE object = ? AND version = ?", [known_object, version]).fetchall()[0][0] is not None:
        raise BenchHoursError(f"version {version} of {known_object} says already whether tax is in its price", "Load the page again.")
    _keep_versions(con, change, _ONE, [known_object, version])
    con.execute("UPDATE estimate_versions SET tax_in_price = ?, tax_per_cent = ? WHERE object = ? AND version = ?", [*tax, known_object, version])


def take_back_approval(con: duckdb.DuckDBPyConnection, known_object: str, version: int, change: Change) -> None:
    """Take an approval back that was noted by mistake."""
    if not _version(con, known_object, version)[1]:
        raise BenchHoursError(f"version {version} of {known_object} is not approved", "Load the page again.")
    _keep_versions(con, change, _ONE, [known_object, version])
    con.execute("UPDATE estimate_versions SET approved_on = NULL, approved_option = NULL WHERE object = ? AND version = ?", [known_object, version])
    before = con.execute(  # the price as it was before one was agreed; an entry of an earlier form does not say what it included
        """SELECT (earlier->>'$.version.price')::DOUBLE, earlier->>'$.version.currency', json_exists(earlier, '$.version.tax_in_price'), (earlier->>'$.version.tax_in_price')::BOOLEAN,
            (earlier->>'$.version.tax_per_cent')::DOUBLE FROM history WHERE kind = 'estimate_versions' AND key = ? AND earlier->>'$.version.approved_on' IS NULL
        ORDER BY number DESC LIMIT 1""",
        [f"{known_object} version {version}"],
    ).fetchall()
    if before:
        price, currency, says_tax, *tax = before[0]
        con.execute("UPDATE estimate_versions SET price = ?, currency = ? WHERE object = ? AND version = ?", [price, currency, known_object, version])
        if says_tax:
            con.execute("UPDATE estimate_versions SET tax_in_price = ?, tax_per_cent = ? WHERE object = ? AND version = ?", [*tax, known_object, version])


def _version(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> tuple[date, date | None]:
    found = con.execute("SELECT made_on, approved_on FROM estimate_versions WHERE object = ? AND version = ?", [known_object, version]).fetchall()
    if not found:
        raise BenchHoursError(f"{known_object} has no version {version}", "Load the page again.")
    return found[0][0], found[0][1]
