"""Time entries: checked, matched with stored entries, stored, corrected, and their hours counted once.

No loop over entries: every step is one statement over all of them. A step hands its rows to the next in the
temporary tables of `ingest.importing.temporary_tables`.
"""

from __future__ import annotations

from collections.abc import Sequence

from ingest.importing.cell_readers import Context
from ingest.importing.cell_values import (
    NOT_MEASURED,
    OF_A_WHOLE,
    OTHER_UNIT,
    PART_OF_A_PIECE,
    WORDS_READ,
    note,
    rule,
)
from ingest.importing.entry_matching import (
    COUNTED_HOURS,
    ENTRY_NAME,
    SPELL_COLUMNS,
    HeldBackAs,
    adopt_names,
    close_questions,
    hold_back,
    match_rows,
    store_held_back,
)
from ingest.importing.entry_warnings import warn_of_another_part, warn_of_long_days, warn_of_overlaps
from ingest.importing.row_status import RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.schema.csv_columns import LONGEST_SPELL_HOURS, LONGEST_UNATTENDED_HOURS, TOTALS
from ingest.sql import Connection, quoted, statement
from ingest.studio import people
from ingest.tables.audit_log import Change, record_earlier, record_put_back
from ingest.tables.counted_hours import recount, touch
from ingest.tables.line_ids import add_lines, same_line
from ingest.values import timezones

TOTALS_SQL = f"[{', '.join(map(quoted, TOTALS))}]"
EARLIER = "SELECT e.entry AS key, to_json(e) AS earlier, e.content FROM time_entries AS e"


def check(
    con: Connection, rows: Rows, context: Context, status: RowStatus, held_back_as: HeldBackAs = "ask"
) -> None:
    """Check the entries of the view `checked` against themselves and what is held.

    Parameters
    ----------
    held_back_as : what to do with a row that may correct a held entry: keep it aside, store it, or correct.
    """
    _resolve(con, context)
    _check_rows(con, context)
    _warn_of_rows(con)
    status.reject_faulty()
    match_rows(con, rows, status)
    hold_back(con, rows, status, held_back_as)
    _check_done_never_falls(con, status)
    warn_of_overlaps(con)
    warn_of_another_part(con)
    warn_of_long_days(con)


def store(con: Connection, rows: Rows, new_people: Sequence[str], change: Change) -> None:
    """Store what `check` left."""
    adopt_names(con)
    store_held_back(con, rows, change)
    people.keep_new(con, new_people, change.at)
    _store(con, change)
    # who decides on a page settles the very rows that were asked about
    if (
        not rows.typed
        and con.execute("SELECT EXISTS (FROM held_back WHERE decided IS NULL)").fetchall()[0][0]
    ):
        close_questions(con)


def _resolve(con: Connection, context: Context) -> None:
    days = con.execute("SELECT DISTINCT started_at.wall::DATE, ended_at.wall::DATE FROM checked").fetchall()
    timezones.prepare_days(
        con, sorted({day for pair in days for day in pair if day is not None}), context.settings.zone
    )
    con.execute(
        statement(
            "ingest.importing",
            "entries_resolved",
            start_utc=timezones.utc_of("c.started_at.wall", "s."),
            start_in_change=timezones.in_change("c.started_at.wall", "s."),
            end_in_change=timezones.in_change("c.ended_at.wall", "e."),
            end_utc=timezones.utc_of("ended_at.wall", "e_", later_than="start_utc"),
            content=content_of(
                "x",
                started_at="x.start_utc",
                ended_at="x.end_utc",
                mode="coalesce(x.mode, t.mode, 'hands_on')",
                charge="coalesce(x.charge, 'quoted')",
                total="x.period",
            ),
            totals=TOTALS_SQL,
            today=f"DATE '{context.today}'",
        )
    )


def content_of(row: str, **otherwise: str) -> str:
    """SQL for the hash of an entry's content, which identifies an entry without a name.

    Words enter by their keys (tables `p` phases, `t` techniques, `w` people), so that an old file stays known
    when a word is renamed. Hours are those of an entry without clock times. An entry that is no total is
    known by the same hash as before there were any.

    Parameters
    ----------
    otherwise : SQL of columns that the row has otherwise than under their name.
    """
    columns = ("day", "started_at", "ended_at", "mode", "charge", "total")
    day, started_at, ended_at, mode, charge, total = (
        otherwise.get(name, f"{row}.{name}") for name in columns
    )
    # on which day of its period a total is dated depends on when it came in
    day = f"CASE WHEN {total} IS NULL THEN {day} ELSE date_trunc({total}, {day})::DATE END"
    hours = f"CASE WHEN {row}.started_at IS NULL THEN {row}.hours END"
    parts = [
        *(f"{row}.object", "p.key", "t.key", f"{row}.part", f"coalesce(w.key, {row}.person)", day),
        *(f"epoch_us({started_at})", f"epoch_us({ended_at})", hours, mode, charge, f"{row}.quantity"),
        *(f"{row}.done", f"coalesce({row}.discovery, false)", f"{row}.note"),
    ]
    # concat leaves nulls out, and the separator keeps the places
    return f"md5(concat({', chr(31), '.join(parts)}, chr(31) || {total}))::UUID"


# A row without times of which none is there and cannot be read: that would be another fault.
_WITHOUT_TIMES = """NOT says_start AND NOT says_end AND "row" NOT IN (
    SELECT "row" FROM faults WHERE column_name IN ('date', 'hours', 'started_at', 'ended_at')
)"""


def _check_rows(con: Connection, context: Context) -> None:
    present, today = f"TIMESTAMP '{context.now:%Y-%m-%d %H:%M:%S}'", f"DATE '{context.today}'"
    clocked, untimed = "started_at IS NOT NULL AND ended_at IS NOT NULL", _WITHOUT_TIMES
    note(
        con,
        "faults",
        "resolved",
        rule("says_start AND NOT says_end", "ended_at", "end_missing"),
        rule("says_end AND NOT says_start", "started_at", "start_missing"),
        rule(f"{untimed} AND said_day IS NULL AND said_hours IS NOT NULL", "date", "day_missing"),
        rule(f"{untimed} AND said_day IS NOT NULL AND said_hours IS NULL", "hours", "hours_missing"),
        rule(f"{untimed} AND said_day IS NULL AND said_hours IS NULL", "started_at", "day_and_hours_missing"),
        rule("start_in_change AND start_gap", "started_at", "never_on_the_clock"),
        rule("end_in_change AND end_gap", "ended_at", "never_on_the_clock"),
        rule(f"{clocked} AND ended_at <= started_at", "ended_at", "end_not_after_start"),
        rule(
            f"{clocked} AND said_hours IS NOT NULL AND abs(said_hours - hours) > 0.02",
            "hours",
            "hours_against_clock",
            clock_hours="round(hours, 2)",
        ),
        rule("total IS NOT NULL AND says_start AND says_end", "total", "total_with_clock"),
        rule("said_total = '' AND said_period IS NOT NULL", "date", "period_of_one_spell"),
        rule("says_start AND said_day IS NOT NULL AND said_day <> day", "date", "not_the_day_of_the_start"),
        rule(
            f"mode IN ('hands_on', 'attended') AND hours > {LONGEST_SPELL_HOURS} AND total IS NULL",
            "hours",
            "spell_too_long",
        ),
        rule(f"NOT says_start AND day > {today}", "date", "entry_in_future"),
        rule(
            f"says_start AND (day > {today} OR started_at > {present} + INTERVAL 10 MINUTE)",
            "started_at",
            "entry_in_future",
        ),
        rule("object IS NULL AND phase_position <> 0", "object", "object_missing", phase="phase"),
        rule(f"object IS NULL AND phase = '' AND {WORDS_READ}", "object", "object_and_phase_missing"),
        rule(OTHER_UNIT, "unit", "other_unit", technique="technique", unit="usual_unit"),
        NOT_MEASURED,
        *OF_A_WHOLE,
        rule(PART_OF_A_PIECE, "quantity", "not_whole_pieces"),
    )


def _warn_of_rows(con: Connection) -> None:
    note(
        con,
        "warnings",
        "resolved",
        rule("start_in_change AND NOT start_gap", "started_at", "start_on_clock_twice"),
        rule("end_in_change AND NOT end_gap", "ended_at", "end_on_clock_twice"),
        rule(
            f"mode = 'unattended' AND hours > {LONGEST_UNATTENDED_HOURS} AND total IS NULL",
            "hours",
            "long_unattended",
        ),
        rule("technique_retired_on <= day", "technique", "retired_word", retired_on="technique_retired_on"),
        rule("phase_retired_on <= day", "phase", "retired_word", retired_on="phase_retired_on"),
    )


def _check_done_never_falls(con: Connection, status: RowStatus) -> None:
    """A line that was three quarters done cannot be half done later; held entries of the line count too."""
    if not con.execute(
        "SELECT count(*) FROM resolved WHERE done IS NOT NULL AND object IS NOT NULL"
    ).fetchall()[0][0]:
        return
    # Within a day only entries with a clock have an order. What is at own cost is no part of the line, and
    # what is corrected no longer counts.
    note(
        con,
        "faults",
        statement("ingest.importing", "entries_progress", untouched=untouched()),
        rule('"row" IS NOT NULL AND earlier > done', "done", "done_falls", earlier="earlier"),
        rule('"row" IS NOT NULL AND later_held < done', "done", "done_above_later", later="later_held"),
    )
    con.execute('DELETE FROM corrections WHERE "row" IN (SELECT "row" FROM faults)')
    status.reject_faulty()


def _store(con: Connection, change: Change) -> None:
    again = touch(
        con,
        """SELECT DISTINCT person, day FROM resolved
        WHERE started_at IS NOT NULL
            AND (
                mode = 'attended' OR EXISTS (FROM resolved WHERE mode = 'attended')
                OR EXISTS (FROM spells WHERE mode = 'attended')
            )
        UNION
        SELECT person, day FROM spells
        WHERE entry IN (SELECT entry FROM corrections)""",
    )
    add_lines(con, f"resolved WHERE {untouched()}")
    record_put_back(
        con,
        change,
        f"""SELECT entry FROM resolved
        WHERE entry IS NOT NULL AND {untouched()} AND "row" NOT IN (SELECT "row" FROM corrections)""",
    )
    if con.execute("SELECT EXISTS (FROM corrections)").fetchall()[0][0]:
        record_earlier(
            con, "time_entries", change, f"{EARLIER} WHERE e.entry IN (SELECT entry FROM corrections)"
        )
        sets = ", ".join(f"{name} = r.{name}" for name in (*SPELL_COLUMNS, "content"))
        con.execute(
            f"""UPDATE spells AS e
            SET {sets}, line = l.line, counted_hours = {COUNTED_HOURS}
            FROM resolved AS r JOIN corrections AS c ON c."row" = r."row"
            JOIN lines AS l ON {same_line("r")}
            WHERE e.entry = c.entry"""
        )
    con.execute(f"""INSERT INTO spells (entry, line, {", ".join(SPELL_COLUMNS)}, counted_hours, content)
        SELECT {ENTRY_NAME}, l.line,
            {", ".join(f"r.{name}" for name in SPELL_COLUMNS)}, {COUNTED_HOURS}, r.content
        FROM resolved AS r JOIN lines AS l ON {same_line("r")} LEFT JOIN repeats AS n ON n."row" = r."row"
        WHERE {untouched("r")} AND r."row" NOT IN (SELECT "row" FROM corrections)""")
    if again:
        recount(con)
