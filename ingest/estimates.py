"""Estimates: numbered versions of the hours a line is thought to take.

A version comes whole or not at all: a version short of a line would make every comparison with it wrong.
An approved version is a promise and is never rewritten; a revision is a new version.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

import duckdb

from ingest import people
from ingest.cells import note, note_all, rule
from ingest.errors import BenchHoursError, NotationError
from ingest.history import Change, keep_earlier, keep_made
from ingest.lines import give_numbers, same_line
from ingest.notation import day_in_words, written
from ingest.readings import READERS, Context
from ingest.records import FAR_OFF
from ingest.row_status import RowStatus, has_faults, untouched
from ingest.rows import Rows
from ingest.settings import read_settings
from ingest.sql import quoted

_OF_A_LINE = ("person", "option", "quantity", "unit", "hours", "low_hours", "high_hours", "unattended_hours", "note")
NEITHER_HOURS_NOR_QUANTITY, VERSION_HAS_FAULT, LINES_SUMMED = "hours_and_quantity_missing", "version_has_fault", "lines_summed"
"""Codes of what is said of an estimate and not of the sheet of a quote, where the record says the hours."""


def check(con: duckdb.DuckDBPyConnection, rows: Rows, context: Context, status: RowStatus) -> None:
    """Check the versions of the view `checked` against themselves and what is held; a version with a fault in any row is left out whole, and a line of the
    file that is no row may belong to a version too."""
    con.execute("""CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, c.version, c.made_on, c.approved_on, c.reason, c.price, c.currency, c.tax_in_price, c.tax_per_cent, coalesce(c.phase, t.phase) AS phase, c.technique,
            coalesce(c.part, '') AS part, coalesce(w.person, c.person) AS person, c.option, c.quantity, CASE WHEN c.quantity IS NOT NULL THEN coalesce(c.unit, t.unit) END AS unit,
            c.hours, c.low_hours, c.high_hours, c.unattended_hours, c.note, c.unit AS said_unit, t.unit AS usual_unit
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique LEFT JOIN person_spellings AS w ON w.written = c.person""")
    asked = _Asked.of(con)
    _check_lines(con)
    _check_versions(con, asked)
    if asked.unreadable or rows.faults:
        _keep_out_what_may_lack_a_row(con, context, rows)
    if has_faults(con):  # a fault in one row keeps the whole version out, and the other rows say why
        note_all(
            con, "faults", "version", VERSION_HAS_FAULT,
            """(SELECT DISTINCT r."row", f.line FROM resolved AS r JOIN (SELECT object, version, min(line) AS line FROM resolved JOIN row_lines USING ("row")
                WHERE "row" IN (SELECT "row" FROM faults) GROUP BY object, version) AS f ON f.object = r.object AND f.version = r.version
                WHERE r."row" NOT IN (SELECT "row" FROM faults))""",
            line="line",
        )  # fmt: skip
    _check_no_gaps(con)
    status.reject_faulty()
    _say_what_is_summed(con, asked)
    if asked.prices:
        _ask_about_prices(con, context)
    _lay_versions(con)
    if asked.held:
        _compare_with_held(con, rows, status)


class _Asked(NamedTuple):
    """Which questions there are at all: most sheets need few of them, and each costs more to plan than to answer."""

    unreadable: bool
    heads_differ: bool
    approved: bool
    options: bool
    prices: bool
    repeated: bool
    held: bool

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection) -> _Asked:
        """In the table `resolved`: rows without a readable object or version; versions whose rows differ in what is of the version; approvals; options; prices; lines
        that stand several times; versions that are held."""
        return cls(
            *con.execute("""SELECT coalesce(bool_or(object IS NULL OR version IS NULL), false), coalesce(bool_or(first_head <> last_head), false), coalesce(sum(approvals), 0) > 0,
                coalesce(sum(options), 0) > 0, coalesce(sum(prices), 0) > 0, coalesce(bool_or(lines < n), false),
                EXISTS (SELECT 1 FROM resolved SEMI JOIN estimate_versions USING (object, version))
            FROM (SELECT object, version, min(hash(made_on, reason, price, currency, tax_in_price, tax_per_cent)) AS first_head,
                max(hash(made_on, reason, price, currency, tax_in_price, tax_per_cent)) AS last_head, count(approved_on) AS approvals, count(option) AS options,
                count(price) AS prices, len(list_distinct(list(hash(phase, technique, part, option)))) AS lines, count(*) AS n FROM resolved GROUP BY object, version)""").fetchall()[
                0
            ]
        )


def _check_lines(con: duckdb.DuckDBPyConnection) -> None:
    note(con, "faults", "resolved", [
        rule("hours IS NULL AND quantity IS NULL", "hours", NEITHER_HOURS_NOR_QUANTITY),
        rule("approved_on < made_on", "approved_on", "approved_before_made"),
        rule("low_hours > high_hours", "low_hours", "low_above_high"),
        rule("hours < low_hours OR hours > high_hours", "hours", "hours_outside_range"),
        rule("said_unit <> usual_unit", "unit", "other_unit_estimated", technique="technique", unit="usual_unit"),
        rule("(said_unit IS NOT NULL OR quantity IS NOT NULL) AND technique IS NOT NULL AND usual_unit IS NULL", "quantity", "not_measured", technique="technique"),
        rule("unit = 'pcs' AND quantity <> floor(quantity)", "quantity", "not_whole_pieces_estimated"),
    ])  # fmt: skip


def _check_versions(con: duckdb.DuckDBPyConnection, asked: _Asked) -> None:
    of_version = ("made_on", "reason", "price", "currency", "tax_in_price", "tax_per_cent")
    if asked.heads_differ:
        first = ", ".join(f'first_value({name}) OVER (PARTITION BY object, version ORDER BY "row") AS first_{name}' for name in of_version)
        note(con, "faults", f'(SELECT "row", {", ".join(of_version)}, {first} FROM resolved WHERE object IS NOT NULL AND version IS NOT NULL)', [
            rule(f"{name} IS DISTINCT FROM first_{name}", name, "version_disagrees", column=quoted(name)) for name in of_version
        ])  # fmt: skip
    if asked.approved:
        note(con, "faults", """(
            SELECT r."row", r.approved_on, r.option, v.* FROM resolved AS r JOIN (
                SELECT object, version, count(DISTINCT approved_on) AS days, count(DISTINCT option) FILTER (approved_on IS NOT NULL) AS options
                FROM resolved GROUP BY object, version) AS v USING (object, version))""", [
            rule("approved_on IS NOT NULL AND days > 1", "approved_on", "approval_disagrees"),
            rule("approved_on IS NOT NULL AND option IS NOT NULL AND options > 1", "option", "two_options_approved"),
        ])  # fmt: skip


def _keep_out_what_may_lack_a_row(con: duckdb.DuckDBPyConnection, context: Context, rows: Rows) -> None:
    """A line that cannot be read may belong to a version of the file: by what of it can be told, that version is left out."""
    lacking: dict[tuple[str | None, int | None], int] = {}
    for line, object_text, version_text in _unreadable(con, rows):
        held_object, version = _read("object", context, object_text), _read("version", context, version_text)
        if held_object is None and object_text:
            near = context.nearest_object(object_text)
            if near is None:
                continue  # an object of its own, not a slip of the pen in this version
            held_object = near
        lacking.setdefault((held_object, version), line)  # type: ignore[arg-type]
    for (known, version), line in lacking.items():
        note_all(
            con, "faults", "version", "version_may_lack_line",
            """resolved WHERE (?::VARCHAR IS NULL OR object = ?) AND (?::INTEGER IS NULL OR version = ?) AND "row" NOT IN (SELECT "row" FROM faults)""",
            [known, known, version, version], line=f"{line:d}",
        )  # fmt: skip


def _unreadable(con: duckdb.DuckDBPyConnection, rows: Rows) -> list[tuple[int, str, str]]:
    """Line, object and version as written, of lines that are no rows and of single rows whose object or version cannot be read.

    A row with neither and no technique is a total or a remark of the spreadsheet's, no line of any version.
    """
    places = [rows.names.index("object"), rows.names.index("version")]
    found = [(fault.line, *("" if len(fault.cells) <= place else fault.cells[place] for place in places)) for fault in rows.faults]
    single = con.execute(
        f"""SELECT min(l.line), cells.c{places[0]}, cells.c{places[1]} FROM resolved AS r JOIN cells ON cells."row" = r."row" JOIN row_lines AS l ON l."row" = r."row"
        WHERE (r.object IS NULL OR r.version IS NULL) AND (r.object IS NOT NULL OR r.version IS NOT NULL OR r.technique IS NOT NULL)
        GROUP BY ALL HAVING count(*) = 1 OR any_value(r.object) IS NOT NULL"""
    ).fetchall()
    return [*found, *((int(line), known or "", version or "") for line, known, version in single)]  # type: ignore[list-item]


def _read(reading: str, context: Context, text: str) -> object:
    try:
        return READERS[reading].read(context, text.strip()) if text.strip() else None
    except NotationError:
        return None


def _check_no_gaps(con: duckdb.DuckDBPyConnection) -> None:
    """Versions count 1, 2, 3 …, those held and those of this file that will be stored taken together."""
    note(con, "faults", """(
        WITH known AS (
            SELECT object, version FROM estimate_versions UNION
            SELECT object, version FROM resolved WHERE "row" NOT IN (SELECT "row" FROM faults)
        )
        SELECT r."row", r.object, r.version FROM resolved AS r JOIN (
            SELECT DISTINCT f.object, f.version FROM (SELECT DISTINCT object, version FROM resolved) AS f
            LEFT JOIN known AS k ON k.object = f.object AND k.version < f.version GROUP BY f.object, f.version HAVING count(k.version) < f.version - 1
        ) AS gap ON gap.object = r.object AND gap.version = r.version)""", [rule("true", "version", "version_gap", version="version", object="object")])  # fmt: skip


def _say_what_is_summed(con: duckdb.DuckDBPyConnection, asked: _Asked) -> None:
    if asked.repeated:
        note_all(con, "warnings", "technique", LINES_SUMMED, f"""(
            SELECT min("row") AS "row", technique, version, object, count(*) AS times FROM resolved WHERE {untouched()}
            GROUP BY object, version, phase, technique, part, option HAVING count(*) > 1)""", times="times", version="version", object="object")  # fmt: skip
    if asked.approved and asked.options:
        note_all(con, "warnings", "approved_on", "no_option_approved", f"""(
            SELECT min("row") AS "row", object, version FROM resolved WHERE {untouched()} GROUP BY object, version
            HAVING count(option) > 0 AND count(approved_on) > 0 AND count(approved_on) FILTER (option IS NOT NULL) = 0)""", version="version", object="object")  # fmt: skip


def _ask_about_prices(con: duckdb.DuckDBPyConnection, context: Context) -> None:
    """A price that is far off what its hours come to at the studio's rate. Tax, which is in it or not, is too little to matter here."""
    studio = context.settings
    if not studio.hourly_rate:
        return
    rate, currency = f"{studio.hourly_rate!r}", quoted(studio.currency)
    note_all(con, "warnings", "price", "price_far_off", f"""(
        SELECT min("row") AS "row", any_value(price) AS price, sum(hours) AS hours FROM resolved WHERE {untouched()} GROUP BY object, version
        HAVING count(price) > 0 AND count(hours) = count(*) AND count(option) = 0 AND sum(hours) > 0 AND any_value(price) > 0 AND coalesce(any_value(currency), {currency}) = {currency})
        WHERE greatest(price / hours / {rate}, {rate} * hours / price) >= {FAR_OFF}""",
        hourly="round(price / hours, 2)", currency=currency, hours="round(hours, 1)", rate=quoted(written(studio.hourly_rate)),
    )  # fmt: skip


# A version as one text, its lines in an order of their own: equal versions give equal texts.
_AS_TEXT = "string_agg(concat_ws(chr(31), {line}), chr(30) ORDER BY {line})".replace(
    "{line}",
    ", ".join(
        f"coalesce({name}::VARCHAR, '')"
        for name in ("p.key", "t.key", "e.part", "coalesce(w.key, e.person)", *(f"e.{name}" for name in _OF_A_LINE if name != "person"))
    ),
)
# What a price includes, unsaid, is left out of a content, which is then what it was before that could be said.
_CONTENT = """md5(concat_ws(chr(31), {lines}, {version}.made_on, coalesce({version}.approved_on::VARCHAR, ''), coalesce({version}.approved_option, ''),
    coalesce({version}.reason, ''), coalesce({version}.price::VARCHAR, ''), coalesce({version}.currency, ''), {version}.tax_in_price::VARCHAR,
    {version}.tax_per_cent::VARCHAR))::UUID"""
_WITH_KEYS = """LEFT JOIN phases AS p ON p.phase = e.phase LEFT JOIN techniques AS t ON t.technique = e.technique
    LEFT JOIN person_spellings AS w ON w.written = e.person"""


def _lay_versions(con: duckdb.DuckDBPyConnection) -> None:
    """The table `versions`: what the rows that may be stored say of each version. What a price includes, where they say nothing of it, is what is known of the same price."""
    con.execute(f"""CREATE OR REPLACE TEMP TABLE versions AS
        WITH new AS (
            SELECT object, version, min("row") AS "row", any_value(made_on) AS made_on, max(approved_on) AS approved_on, count(*) AS lines,
                max(option) FILTER (approved_on IS NOT NULL) AS approved_option, any_value(reason) AS reason, any_value(price) AS price,
                any_value(currency) AS currency, any_value(tax_in_price) AS tax_in_price, any_value(tax_per_cent) AS tax_per_cent
            FROM resolved WHERE {untouched()} GROUP BY object, version
        )
        SELECT new.*, v.approved_on AS held_approved_on,
            CASE WHEN new.price IS NOT DISTINCT FROM v.price THEN coalesce(new.tax_in_price, v.tax_in_price) ELSE new.tax_in_price END AS known_in_price,
            CASE WHEN new.price IS NOT DISTINCT FROM v.price THEN coalesce(new.tax_per_cent, v.tax_per_cent) ELSE new.tax_per_cent END AS known_per_cent
        FROM new LEFT JOIN estimate_versions AS v USING (object, version)""")


def _compare_with_held(con: duckdb.DuckDBPyConnection, rows: Rows, status: RowStatus) -> None:
    """Versions already held, newly approved, changed, or against an approved one."""
    con.execute(f"""CREATE OR REPLACE TEMP TABLE compared AS
        WITH new AS (
            SELECT e.object, e.version, {_AS_TEXT} AS as_text FROM resolved AS e {_WITH_KEYS} WHERE {untouched("e")} GROUP BY e.object, e.version
        ), held AS (
            SELECT e.object, e.version, {_AS_TEXT} AS as_text, count(*) AS lines FROM estimate_lines AS e {_WITH_KEYS} SEMI JOIN versions USING (object, version) GROUP BY e.object, e.version
        )
        SELECT n.object, n.version, n."row", n.lines, h.lines AS held_lines, n.held_approved_on, n.approved_on IS NOT NULL AS approved,
            (h.as_text = new.as_text AND v.made_on = n.made_on AND v.reason IS NOT DISTINCT FROM n.reason
                AND v.price IS NOT DISTINCT FROM n.price AND v.currency IS NOT DISTINCT FROM n.currency) AS same_lines,
            (v.approved_on IS NOT DISTINCT FROM n.approved_on AND v.approved_option IS NOT DISTINCT FROM n.approved_option) AS same_approval,
            -- a file that does not say what a price includes says nothing against what is known of it; where nothing is known it may say it, of an approved version too
            coalesce(n.tax_in_price = v.tax_in_price, n.tax_in_price IS NULL) AND coalesce(n.tax_per_cent = v.tax_per_cent, n.tax_per_cent IS NULL) AS same_tax,
            coalesce(n.tax_in_price = v.tax_in_price, true) AND coalesce(n.tax_per_cent = v.tax_per_cent, true) AS agrees,
            {_CONTENT.format(version="n", lines="new.as_text")} AS content
        FROM versions AS n JOIN new USING (object, version) JOIN estimate_versions AS v USING (object, version) LEFT JOIN held AS h USING (object, version)""")
    joined = "resolved AS r JOIN compared AS v USING (object, version)"
    status.mark(
        "already held",
        f"""SELECT r."row" FROM {joined} WHERE (v.same_lines AND v.same_tax AND (v.same_approval OR NOT v.approved))
        OR ({not rows.typed} AND EXISTS (SELECT 1 FROM history AS h WHERE h.kind = 'estimate_versions' AND h.key = v.object || ' version ' || v.version AND h.content = v.content))""",
    )
    faultless = f"""{untouched("r")} AND r."row" NOT IN (SELECT "row" FROM faults)"""
    note_all(
        con, "faults", "version", "version_approved",
        f"""(SELECT r."row", v.object, v.held_approved_on FROM {joined}
            WHERE v.held_approved_on IS NOT NULL AND NOT (v.same_lines AND v.same_approval AND v.agrees) AND {faultless})""",
        object="object", approved_on="held_approved_on",
    )  # fmt: skip
    note_all(
        con, "faults", "approved_on", "version_ended",
        f"""(SELECT r."row", v.object, v.version, x.outcome, x.ended_on FROM {joined} JOIN ended_versions AS x USING (object, version)
            WHERE v.approved AND {faultless})""",
        version="version", object="object", outcome="outcome", ended_on="ended_on",
    )  # fmt: skip
    note_all(
        con, "faults", "version", "version_quoted",
        f"""(SELECT r."row", v.object FROM {joined} JOIN quotes AS q USING (object, version) WHERE NOT (v.same_lines AND v.agrees) AND {faultless})""",
        object="object",
    )  # fmt: skip
    status.reject_faulty()
    con.execute(f"INSERT INTO corrections SELECT r.\"row\", r.object || ' version ' || r.version FROM {joined} WHERE {untouched('r')}")
    note_all(
        con, "warnings", "version", "version_loses_lines", f"compared WHERE lines < held_lines AND {untouched()}",
        object="object", held="held_lines", lines="lines",
    )  # fmt: skip


def store(con: duckdb.DuckDBPyConnection, new_people: Sequence[str], change: Change) -> None:
    """Store what `check` left."""
    kept = f"(SELECT DISTINCT object, version FROM resolved AS r WHERE {untouched('r')})"
    _keep_versions(con, change, kept)
    keep_made(
        con,
        "estimate_versions",
        change,
        f"SELECT object || ' version ' || version AS key, json_object('object', object) AS earlier FROM {kept} AS k ANTI JOIN estimate_versions USING (object, version)",
    )
    people.keep_new(con, new_people, change.at)
    con.execute(f"DELETE FROM estimated_lines WHERE (line, version) IN (SELECT (l.line, k.version) FROM {kept} AS k JOIN lines AS l ON l.object = k.object)")
    con.execute(f"DELETE FROM estimate_versions WHERE (object, version) IN (SELECT (object, version) FROM {kept})")
    con.execute(f"""INSERT INTO estimate_versions SELECT object, version, made_on, approved_on, approved_option, reason, price, currency, known_in_price, known_per_cent
        FROM versions JOIN {kept} AS k USING (object, version)""")
    give_numbers(con, f"resolved WHERE {untouched()}")
    con.execute(f"""INSERT INTO estimated_lines (version, line, {", ".join(_OF_A_LINE)})
        SELECT r.version, l.line, {", ".join(f"r.{name}" for name in _OF_A_LINE)} FROM resolved AS r JOIN lines AS l ON {same_line("r")} WHERE {untouched("r")}""")


_ONE = "(SELECT ?::VARCHAR AS object, ?::INTEGER AS version)"


def _keep_versions(con: duckdb.DuckDBPyConnection, change: Change, which: str, values: list[object] | None = None) -> None:
    """Keep versions as they are, with their content; `which` is a query of `object` and `version`."""
    keep_earlier(
        con,
        "estimate_versions",
        change,
        f"""SELECT v.object || ' version ' || v.version AS key, to_json({{'version': v, 'lines': l.lines}}) AS earlier,
            {_CONTENT.format(version="v", lines="l.as_text")} AS content
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
    _keep_versions(con, replace(change, event="approved"), _ONE, [known_object, version])
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
    _keep_versions(con, replace(change, event="taken back"), _ONE, [known_object, version])
    con.execute("UPDATE estimate_versions SET approved_on = NULL, approved_option = NULL WHERE object = ? AND version = ?", [known_object, version])
    before = con.execute(  # the price as it was before one was agreed; an entry of an earlier form does not say what it included
        """SELECT (earlier->>'$.version.price')::DOUBLE, earlier->>'$.version.currency', json_exists(earlier, '$.version.tax_in_price'), (earlier->>'$.version.tax_in_price')::BOOLEAN,
            (earlier->>'$.version.tax_per_cent')::DOUBLE FROM history WHERE kind = 'estimate_versions' AND key = ? AND event <> 'made' AND earlier->>'$.version.approved_on' IS NULL
        ORDER BY number DESC LIMIT 1""",
        [f"{known_object} version {version}"],
    ).fetchall()
    if before:
        price, currency, says_tax, *tax = before[0]
        con.execute("UPDATE estimate_versions SET price = ?, currency = ? WHERE object = ? AND version = ?", [price, currency, known_object, version])
        if says_tax:
            con.execute("UPDATE estimate_versions SET tax_in_price = ?, tax_per_cent = ? WHERE object = ? AND version = ?", [*tax, known_object, version])


def next_version(con: duckdb.DuckDBPyConnection, known_object: str) -> int:
    """The number that the next version of a work's estimate gets; numbers are never given twice, so it stands behind those that came to nothing too."""
    found: int = con.execute("SELECT coalesce(max(version), 0) + 1 FROM estimate_versions WHERE object = ?", [known_object]).fetchall()[0][0]
    return found


def _version(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> tuple[date, date | None]:
    found = con.execute("SELECT made_on, approved_on FROM estimate_versions WHERE object = ? AND version = ?", [known_object, version]).fetchall()
    if not found:
        raise BenchHoursError(f"{known_object} has no version {version}", "Load the page again.")
    return found[0][0], found[0][1]
