"""Estimates: numbered versions of the hours a line is thought to take.

A version comes whole or not at all: a version short of a line would make every comparison with it wrong. An
approved version is a promise and is never rewritten; a revision is a new version.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from ingest.errors import NotationError
from ingest.importing.cell_readers import READERS, Context
from ingest.importing.cell_values import (
    NOT_MEASURED,
    OF_A_WHOLE,
    OTHER_UNIT,
    PART_OF_A_PIECE,
    note,
    note_all,
    rule,
)
from ingest.importing.entry_matching import HeldBackAs
from ingest.importing.estimate_versions import (
    LINE_COLUMNS,
    compare_with_stored,
    create_versions,
    record_versions,
)
from ingest.importing.estimate_warnings import Features, warn_of_lines, warn_of_prices
from ingest.importing.row_status import RowStatus, has_faults, untouched, with_status
from ingest.importing.rows import Rows
from ingest.importing.versions_said_otherwise import delete_moved, hold_back_versions
from ingest.sql import Connection, quoted, statement
from ingest.studio import people
from ingest.tables.audit_log import Change, record_made
from ingest.tables.line_ids import add_lines, same_line

# Faults of an estimate that are none on the sheet of a quote, where the record estimates the hours.
NEITHER_HOURS_NOR_QUANTITY = "hours_and_quantity_missing"
VERSION_HAS_FAULT = "version_has_fault"


def check(
    con: Connection, rows: Rows, context: Context, status: RowStatus, held_back_as: HeldBackAs = "ask"
) -> None:
    """Check the versions of the view `checked` against themselves and what is held; a version with a fault in
    any row is left out whole, and a line of the file that is no row may belong to a version too.

    Parameters
    ----------
    held_back_as : what to do with versions that are held by other words: keep them aside, or correct.
    """
    con.execute(
        """CREATE OR REPLACE TEMP TABLE resolved AS
        SELECT c."row", c.object, c.version, c.made_on, c.approved_on, c.reason, c.price, c.currency,
            c.tax_in_price, c.tax_per_cent, coalesce(c.phase, t.phase, '') AS phase,
            coalesce(c.technique, '') AS technique,
            coalesce(c.part, '') AS part, coalesce(w.person, c.person) AS person, c.option, c.quantity,
            CASE WHEN c.quantity IS NOT NULL THEN coalesce(c.unit, t.unit) END AS unit, c.hours,
            c.low_hours, c.high_hours, c.unattended_hours, c.note, c.unit AS said_unit, t.unit AS usual_unit
        FROM checked AS c LEFT JOIN techniques AS t ON t.technique = c.technique
        LEFT JOIN person_spellings AS w ON w.written = c.person"""
    )
    features = Features.of(con)
    _check_lines(con)
    _check_versions(con, features)
    if features.unreadable or rows.faults:
        _keep_out_what_may_lack_a_row(con, context, rows)
    if has_faults(con):  # a fault in one row keeps the whole version out, and the other rows say why
        note_all(
            con,
            "faults",
            "version",
            VERSION_HAS_FAULT,
            """(
                SELECT DISTINCT r."row", f.line FROM resolved AS r
                JOIN (
                    SELECT object, version, min(line) AS line FROM resolved JOIN row_lines USING ("row")
                    WHERE "row" IN (SELECT "row" FROM faults) GROUP BY object, version
                ) AS f ON f.object = r.object AND f.version = r.version
                WHERE r."row" NOT IN (SELECT "row" FROM faults)
            )""",
            line="line",
        )
    _check_no_gaps(con)
    status.reject_faulty()
    warn_of_lines(con, features)
    if features.prices:
        warn_of_prices(con, context)
    hold_back_versions(con, rows, status, held_back_as)
    create_versions(con)
    if features.stored:
        compare_with_stored(con, rows, status)


def _check_lines(con: Connection) -> None:
    note(
        con,
        "faults",
        """(
            SELECT *, price IS NOT NULL AND bool_and(technique = '' AND hours IS NULL AND quantity IS NULL)
                OVER (PARTITION BY object, version) AS price_alone
            FROM resolved
        )""",
        # of a version from long ago often its price alone is known, and for how much as a whole it was asked
        rule("hours IS NULL AND quantity IS NULL AND NOT price_alone", "hours", NEITHER_HOURS_NOR_QUANTITY),
        rule("approved_on < made_on", "approved_on", "approved_before_made"),
        rule("low_hours > high_hours", "low_hours", "low_above_high"),
        rule("hours < low_hours OR hours > high_hours", "hours", "hours_outside_range"),
        rule(OTHER_UNIT, "unit", "other_unit_estimated", technique="technique", unit="usual_unit"),
        NOT_MEASURED,
        *OF_A_WHOLE,
        rule(PART_OF_A_PIECE, "quantity", "not_whole_pieces_estimated"),
    )


def _check_versions(con: Connection, features: Features) -> None:
    of_version = ("made_on", "reason", "price", "currency", "tax_in_price", "tax_per_cent")
    if features.heads_differ:
        first = ", ".join(
            f'first_value({name}) OVER (PARTITION BY object, version ORDER BY "row") AS first_{name}'
            for name in of_version
        )
        note(
            con,
            "faults",
            f"""(
                SELECT "row", {", ".join(of_version)}, {first} FROM resolved
                WHERE object IS NOT NULL AND version IS NOT NULL
            )""",
            *[
                rule(f"{name} IS DISTINCT FROM first_{name}", name, "version_disagrees", column=quoted(name))
                for name in of_version
            ],
        )
    if features.approved:
        note(
            con,
            "faults",
            """(
                SELECT r."row", r.approved_on, r.option, v.* FROM resolved AS r
                JOIN (
                    SELECT object, version, count(DISTINCT approved_on) AS days,
                        count(DISTINCT option) FILTER (approved_on IS NOT NULL) AS options
                    FROM resolved
                    GROUP BY object, version
                ) AS v USING (object, version)
            )""",
            rule("approved_on IS NOT NULL AND days > 1", "approved_on", "approval_disagrees"),
            rule(
                "approved_on IS NOT NULL AND option IS NOT NULL AND options > 1",
                "option",
                "two_options_approved",
            ),
        )


def _keep_out_what_may_lack_a_row(con: Connection, context: Context, rows: Rows) -> None:
    """A line that cannot be read may belong to a version of the file: by what of it can be told, that version
    is left out.
    """
    lacking: dict[tuple[str | None, int | None], int] = {}
    for line, object_text, version_text in _unreadable(con, rows):
        held_object, version = _read("object", context, object_text), _read("version", context, version_text)
        if held_object is None and object_text:
            near = context.nearest_object(object_text)
            if near is None:
                continue  # an object of its own, not a slip of the pen in this version
            held_object = near
        lacking.setdefault((held_object, version), line)  # type: ignore[arg-type]
    for (code, version), line in lacking.items():
        note_all(
            con,
            "faults",
            "version",
            "version_may_lack_line",
            """resolved
            WHERE (?::VARCHAR IS NULL OR object = ?) AND (?::INTEGER IS NULL OR version = ?)
                AND "row" NOT IN (SELECT "row" FROM faults)""",
            [code, code, version, version],
            line=f"{line:d}",
        )


def _unreadable(con: Connection, rows: Rows) -> list[tuple[int, str, str]]:
    """Line, object and version as written, of lines that are no rows and of single rows whose object or
    version cannot be read.

    A row with neither and no phase or technique is a total or a remark of the spreadsheet's, no line of any
    version.
    """
    places = [rows.names.index("object"), rows.names.index("version")]
    broken = [
        (fault.line, *("" if len(fault.cells) <= place else fault.cells[place] for place in places))
        for fault in rows.faults
    ]
    single = con.execute(
        f"""SELECT min(l.line), cells.c{places[0]}, cells.c{places[1]} FROM resolved AS r
        JOIN cells ON cells."row" = r."row" JOIN row_lines AS l ON l."row" = r."row"
        WHERE (r.object IS NULL OR r.version IS NULL)
            AND (r.object IS NOT NULL OR r.version IS NOT NULL OR r.technique <> '' OR r.phase <> '')
        GROUP BY ALL HAVING count(*) = 1 OR any_value(r.object) IS NOT NULL"""
    ).fetchall()
    return [*broken, *((int(line), code or "", version or "") for line, code, version in single)]  # type: ignore[list-item]


def _read(reading: str, context: Context, text: str) -> object:
    try:
        return READERS[reading].read(context, text.strip()) if text.strip() else None
    except NotationError:
        return None


def _check_no_gaps(con: Connection) -> None:
    """Versions count 1, 2, 3 …, those held and those of this file that will be stored taken together."""
    note(
        con,
        "faults",
        statement("ingest.importing", "version_gaps"),
        rule("true", "version", "version_gap", version="version", object="object"),
    )


def held_back(con: Connection) -> pd.DataFrame:
    """The rows held back, as people read them: frame as of `entry_matching.held_back`, with no held hours."""
    return con.execute(
        f"""SELECT l.line, concat_ws(
                ', ', r.object, 'version ' || r.version, line_name(r.phase, r.technique), nullif(r.part, '')
            ) AS what,
            NULL::DOUBLE AS held_hours, r.hours
        FROM resolved AS r JOIN row_lines AS l USING ("row")
        WHERE "row" IN ({with_status("held back")}) ORDER BY l.line"""
    ).df()


def store(con: Connection, new_people: Sequence[str], change: Change) -> None:
    """Store what `check` left."""
    versions = f"(SELECT DISTINCT object, version FROM resolved AS r WHERE {untouched('r')})"
    record_versions(con, change, versions)
    record_made(
        con,
        "estimate_versions",
        change,
        f"""SELECT object || ' version ' || version AS key, json_object('object', object) AS earlier
        FROM {versions} AS k ANTI JOIN estimate_versions USING (object, version)""",
    )
    record_versions(con, replace(change, event="taken back"), "moved_versions")
    delete_moved(con)
    people.keep_new(con, new_people, change.at)
    con.execute(
        f"""DELETE FROM estimated_lines
        WHERE (line, version) IN (
            SELECT (l.line, k.version) FROM {versions} AS k JOIN lines AS l ON l.object = k.object
        )"""
    )
    con.execute(
        f"DELETE FROM estimate_versions WHERE (object, version) IN (SELECT (object, version) FROM {versions})"
    )
    con.execute(
        f"""INSERT INTO estimate_versions
        SELECT object, version, made_on, approved_on, approved_option, reason, price, currency,
            known_in_price, known_per_cent
        FROM versions JOIN {versions} AS k USING (object, version)"""
    )
    add_lines(con, f"resolved WHERE {untouched()}")
    con.execute(
        f"""INSERT INTO estimated_lines (version, line, {", ".join(LINE_COLUMNS)})
        SELECT r.version, l.line, {", ".join(f"r.{name}" for name in LINE_COLUMNS)} FROM resolved AS r
        JOIN lines AS l ON {same_line("r")}
        WHERE {untouched("r")}"""
    )
