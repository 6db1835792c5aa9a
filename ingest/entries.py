"""Time entries: checked, told apart from what is held, stored, corrected, and their hours counted once.

Works on the temporary views and tables that `ingest.checked` leaves, in the caller's transaction. No loop over
entries: every step is one statement over all of them.
"""

from __future__ import annotations

from typing import Literal

import duckdb

from ingest import clock, people, records
from ingest.checked import remark
from ingest.counting import recount
from ingest.history import keep_earlier
from ingest.lines import give_numbers, same_line
from ingest.outcome import Fate, Outcome
from ingest.readings import Context
from ingest.sql import statement

HeldBackAs = Literal["ask", "new", "correction"]

_LINE = ("object", "phase", "technique", "part")
EARLIER = "SELECT e.entry AS key, to_json(e) AS earlier, e.content FROM time_entries AS e"
_OF_A_SPELL = ("person", "day", "started_at", "ended_at", "hours", "mode", "charge", "quantity", "unit", "done", "discovery", "note")


def bring_in(con: duckdb.DuckDBPyConnection, context: Context, fate: Fate, held_back_as: HeldBackAs = "ask") -> Outcome:
    """Store the entries of the view `checked`; rows with problems are left to the caller.

    Parameters
    ----------
    fate : its `now` is the present instant in UTC; a spell that begins later is refused.
    held_back_as : what to do with a row that may correct a held entry: keep it aside, store it, or correct.
    """
    _resolve(con, context)
    _check(con, fate)
    fate.reject_problems()
    _tell_apart(con, fate)
    _hold_back(con, fate, held_back_as)
    _check_done_never_falls(con, fate)
    outcome = fate.outcome()
    _warn_of_overlaps(con, fate)
    _warn_of_another_part(con, fate)
    _store(con, fate)
    _warn_of_long_days(con, fate)
    return outcome


def _resolve(con: duckdb.DuckDBPyConnection, context: Context) -> None:
    days = con.execute(
        "SELECT DISTINCT unnest([started_at.wall::DATE, ended_at.wall::DATE]) AS day FROM checked WHERE started_at IS NOT NULL OR ended_at IS NOT NULL"
    ).fetchall()
    clock.prepare_days(con, sorted(row[0] for row in days if row[0] is not None), context.settings.zone)
    con.execute(
        statement("ingest.queries", "entries_resolved")
        .replace("{start_utc}", clock.utc_of("c.started_at.wall", "s."))
        .replace("{start_in_change}", clock.in_change("c.started_at.wall", "s."))
        .replace("{end_in_change}", clock.in_change("c.ended_at.wall", "e."))
        .replace("{end_utc}", clock.utc_of("ended_at.wall", "e_", later_than="start_utc"))
        .replace(
            "{content}",
            content_of(
                "x", day="coalesce(x.started_at.wall::DATE, x.date)", started_at="x.start_utc", ended_at="x.end_utc",
                hours="CASE WHEN x.started_at IS NULL THEN x.hours END", mode="coalesce(x.mode, t.mode)", charge="coalesce(x.charge, 'quoted')",
            ),
        )
    )  # fmt: skip


def content_of(row: str, *, day: str, started_at: str, ended_at: str, hours: str, mode: str, charge: str) -> str:
    """SQL for what an entry says, as one value: its identity where it has no name.

    By the keys of its words (`p` of the phase, `t` of the technique, `w` of the person): a word that is renamed makes no old file new. `hours` are those of
    an entry without a clock.
    """
    said = [
        f"{row}.object", "p.key", "t.key", f"{row}.part", f"coalesce(w.key, {row}.person)", day, f"epoch_us({started_at})", f"epoch_us({ended_at})", hours,
        mode, charge, f"{row}.quantity", f"{row}.done", f"coalesce({row}.discovery, false)", f"{row}.note",
    ]  # fmt: skip
    return f"md5(concat({', chr(31), '.join(said)}))::UUID"  # concat leaves nulls out, and the separator keeps the places


def _check(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    present = f"TIMESTAMP '{fate.now:%Y-%m-%d %H:%M:%S}'"
    at_hand = "mode IN ('hands_on', 'attended')"
    # what is there and cannot be read is not also empty
    unsaid = (
        """NOT says_start AND NOT says_end AND "row" NOT IN (SELECT "row" FROM problems WHERE column_name IN ('date', 'hours', 'started_at', 'ended_at'))"""
    )
    clock_given = "started_at IS NOT NULL AND ended_at IS NOT NULL"
    remark(con, "problems", "resolved", [
        ("says_start AND NOT says_end", "ended_at", "'is empty, but started_at is given'", "Give both, or a date and hours."),
        ("says_end AND NOT says_start", "started_at", "'is empty, but ended_at is given'", "Give both, or a date and hours."),
        (f"{unsaid} AND said_day IS NULL AND said_hours IS NOT NULL", "date", "'is empty'", "Give the day of these hours."),
        (f"{unsaid} AND said_day IS NOT NULL AND said_hours IS NULL", "hours", "'is empty'", "Give the hours of this day."),
        (f"{unsaid} AND said_day IS NULL AND said_hours IS NULL", "started_at",
         "'is empty, and so are date and hours'", "Give started_at and ended_at, or date and hours."),
        ("start_in_change AND start_gap", "started_at",
         "'never was on the clock: it was put forward over this hour'", "Write the time that the clock showed, or the offset behind it."),
        ("end_in_change AND end_gap", "ended_at",
         "'never was on the clock: it was put forward over this hour'", "Write the time that the clock showed, or the offset behind it."),
        (f"{clock_given} AND ended_at <= started_at", "ended_at", "'is not after the start'", "If the spell ran past midnight, write the next day."),
        (f"{clock_given} AND said_hours IS NOT NULL AND abs(said_hours - hours) > 0.02", "hours",
         "'does not agree with the clock, which says ' || round(hours, 2)", "Leave hours empty, or leave the clock times empty."),
        ("says_start AND said_day IS NOT NULL AND said_day <> day", "date", "'is not the day on which the spell began'", "Leave date empty."),
        (f"{at_hand} AND hours > {records.LONGEST_SPELL_HOURS}", "hours",
         "'is more than 16 hours in one spell'", "Split it into days, or give the mode unattended if nobody stood by."),
        ("NOT says_start AND " + f"day > {fate.today}", "date", "'lies in the future'", "Log it when it is done."),
        (f"says_start AND (day > {fate.today} OR started_at > {present} + INTERVAL 10 MINUTE)", "started_at", "'lies in the future'", "Log it when it is done."),
        ("object IS NULL AND phase_position <> 0", "object", "'is empty, but ' || phase || ' is work on an object'",
         "Give the object, or take a phase of studio time."),
        ("said_unit IS NOT NULL AND usual_unit IS NOT NULL AND said_unit <> usual_unit", "unit",
         "'is not the unit of ' || technique || ', which is counted in ' || usual_unit", "Convert the quantity, or leave both empty."),
        ("(said_unit IS NOT NULL OR quantity IS NOT NULL) AND technique IS NOT NULL AND usual_unit IS NULL", "quantity",
         "'is given, but ' || technique || ' is not measured'", "Leave quantity and unit empty, or give the technique a unit."),
        ("unit = 'pcs' AND quantity <> floor(quantity)", "quantity", "'is not a whole number of pieces'",
         "Count whole pieces; leave it empty until a piece is finished."),
    ])  # fmt: skip
    remark(con, "warnings", "resolved", [
        ("start_in_change AND NOT start_gap", "started_at",
         "'was on the clock twice (it was put back); taken as the first time'", "Write the offset behind it, like +01:00, if it was the second."),
        ("end_in_change AND NOT end_gap", "ended_at",
         "'was on the clock twice (it was put back); taken as the first time after the start'", "Write the offset behind it, like +01:00, if it was the other."),
        (f"mode = 'unattended' AND hours > {records.LONGEST_UNATTENDED_HOURS}", "hours",
         "'is more than 60 days unattended'", "Kept; see that the end is right."),
        ("technique_retired_on <= day", "technique", "'was retired from the vocabulary on ' || technique_retired_on", "Kept; take it back into use if it still is."),
        ("phase_retired_on <= day", "phase", "'was retired from the vocabulary on ' || phase_retired_on", "Kept; take it back into use if it still is."),
    ])  # fmt: skip


def _check_done_never_falls(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """A line that was three quarters done cannot be half done later; held entries of the line count too."""
    if not con.execute("SELECT count(*) FROM resolved WHERE done IS NOT NULL AND object IS NOT NULL").fetchall()[0][0]:
        return
    # Within a day only entries with a clock have an order. What is at own cost is no part of the line, and what is
    # corrected no longer counts.
    remark(con, "problems", f"""(
        WITH said AS (
            SELECT "row", object, phase, technique, part, done, day, started_at FROM resolved
            WHERE done IS NOT NULL AND object IS NOT NULL AND charge <> 'own_cost' AND {fate.untouched()}
        ), together AS (
            SELECT "row", object, phase, technique, part, done, day, started_at FROM said
            UNION ALL
            SELECT NULL, object, phase, technique, part, done, day, started_at FROM time_entries AS held
            WHERE done IS NOT NULL AND charge <> 'own_cost' AND object IN (SELECT object FROM said) AND held.entry NOT IN (SELECT entry FROM corrections)
        )
        SELECT "row", done,
            greatest(max(done) OVER (days GROUPS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING),
                CASE WHEN started_at IS NOT NULL THEN max(done) OVER (clock ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) END) AS earlier,
            least(min(done) FILTER ("row" IS NULL) OVER (days GROUPS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING),
                CASE WHEN started_at IS NOT NULL THEN min(done) FILTER ("row" IS NULL) OVER (clock ROWS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING) END) AS later_held
        FROM together
        WINDOW days AS (PARTITION BY object, phase, technique, part ORDER BY day),
            clock AS (PARTITION BY object, phase, technique, part, day, started_at IS NULL ORDER BY started_at, done)
    )""", [
        ("\"row\" IS NOT NULL AND earlier > done", "done", "'is less than ' || earlier || ', which the line had reached before'",
         "A line does not become less done: mend the wrong one, or leave it empty."),
        ("\"row\" IS NOT NULL AND later_held < done", "done", "'is more than ' || later_held || ', which is held for a later day'",
         "A line does not become less done: mend the wrong one, or leave it empty."),
    ])  # fmt: skip
    con.execute('DELETE FROM corrections WHERE "row" IN (SELECT "row" FROM problems)')
    fate.reject_problems()


def _tell_apart(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """Rows already held, rows that correct a held entry, and the identity of those that are new."""
    held_anything = bool(con.execute("SELECT EXISTS (FROM time_entries) OR EXISTS (FROM history WHERE kind = 'time_entries')").fetchall()[0][0])
    # Rows that name their entry: the first of equal ones counts, a different one under the same name is refused.
    if con.execute("SELECT EXISTS (FROM resolved WHERE entry IS NOT NULL)").fetchall()[0][0]:
        con.execute(
            f"""INSERT INTO problems SELECT "row", 'entry', 'stands already in this file with other contents', 'Give each entry its own name.'
            FROM (SELECT "row", entry, content, first_value(content) OVER (PARTITION BY entry ORDER BY "row") AS first_content
                  FROM resolved WHERE entry IS NOT NULL AND {fate.untouched()})
            WHERE content <> first_content"""
        )
        fate.reject_problems()
        fate.mark(
            "already held",
            f'SELECT "row" FROM (SELECT "row", row_number() OVER (PARTITION BY entry ORDER BY "row") AS n FROM resolved WHERE entry IS NOT NULL AND {fate.untouched()}) WHERE n > 1',
        )
        if held_anything:
            fate.mark(
                "already held",
                f"""SELECT r."row" FROM resolved AS r WHERE {fate.untouched("r")} AND (
                EXISTS (SELECT 1 FROM spells AS e WHERE e.entry = r.entry AND e.content = r.content) OR ({fate.earlier_counts}
                AND EXISTS (SELECT 1 FROM history AS h WHERE h.kind = 'time_entries' AND h.key = r.entry AND h.content = r.content)))""",
            )
            con.execute(
                f'INSERT INTO corrections SELECT r."row", e.entry FROM resolved AS r JOIN time_entries AS e ON e.entry = r.entry WHERE {fate.untouched("r")}'
            )
            if not fate.typed:
                _adopt(con, fate)
    # Rows without: the n-th of equal rows is held if at least n entries say or once said the same.
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE repeats AS
        SELECT "row", content, row_number() OVER (PARTITION BY content ORDER BY "row") AS rank FROM resolved
        WHERE entry IS NULL AND {fate.untouched()} AND content IN (SELECT content FROM resolved WHERE entry IS NULL GROUP BY content HAVING count(*) > 1)"""
    )
    if held_anything:
        fate.mark(
            "already held",
            f"""
            WITH ever AS (
                SELECT content, entry FROM time_entries UNION
                SELECT content, key FROM history WHERE kind = 'time_entries' AND content IS NOT NULL UNION
                SELECT content, 'left out ' || rank FROM held_back WHERE decided = 'left out'  -- decided once, it is not asked again
            ), times AS (
                SELECT content, count(*) AS held FROM ever WHERE content IN (SELECT content FROM resolved WHERE entry IS NULL) GROUP BY content
            )
            SELECT r."row" FROM resolved AS r JOIN times USING (content) LEFT JOIN repeats AS n ON n."row" = r."row"
            WHERE r.entry IS NULL AND {fate.untouched("r")} AND coalesce(n.rank, 1) <= times.held""",
        )


def _adopt(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """A named row that says what an entry without a name of its own says is that entry, and names it: no hour counts twice."""
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE adopted AS
        SELECT n."row", n.entry, held.entry AS unnamed FROM (
            SELECT r."row", r.entry, r.content, row_number() OVER (PARTITION BY r.content ORDER BY r."row") AS rank
            FROM resolved AS r WHERE r.entry IS NOT NULL AND {fate.untouched("r")} AND r."row" NOT IN (SELECT "row" FROM corrections)
        ) AS n JOIN (
            SELECT entry, content, row_number() OVER (PARTITION BY content ORDER BY entry) AS rank FROM spells
            WHERE starts_with(entry, {_name_of("content")}) AND content IN (SELECT content FROM resolved WHERE entry IS NOT NULL)
        ) AS held ON held.content = n.content AND held.rank = n.rank"""
    )
    con.execute("UPDATE spells SET entry = a.entry FROM adopted AS a WHERE spells.entry = a.unnamed")
    con.execute("UPDATE history SET key = a.entry FROM adopted AS a WHERE history.kind = 'time_entries' AND history.key = a.unnamed")
    con.execute("UPDATE held_back SET resembles = a.entry FROM adopted AS a WHERE held_back.resembles = a.unnamed")
    fate.mark("already held", 'SELECT "row" FROM adopted')


def _name_of(content: str) -> str:
    """SQL for the name of an entry that has none of its own; its rank among equal rows follows."""
    return f"left(replace({content}::VARCHAR, '-', ''), 20) || '-'"


def _hold_back(con: duckdb.DuckDBPyConnection, fate: Fate, held_back_as: HeldBackAs) -> None:
    """Rows without a name that have the person, day, object and technique of a held entry, but say otherwise: other hours, or of the same spell other things."""
    if not con.execute("SELECT EXISTS (FROM time_entries)").fetchall()[0][0]:
        return
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE doubtful AS
        SELECT r."row", r.content, coalesce(any_value(n.rank), 1) AS rank,
            -- an entry that this file itself states, or corrects by name, is not what another row of it corrects
            count(DISTINCT e.entry) FILTER (NOT stated) AS candidates, arg_min(e.entry, abs(e.hours - r.hours)) FILTER (NOT stated) AS candidate,
            arg_min(e.entry, abs(e.hours - r.hours)) AS resembles
        FROM resolved AS r
        JOIN (SELECT *, content IN (SELECT content FROM resolved) OR entry IN (SELECT entry FROM corrections) AS stated FROM time_entries) AS e
            ON e.person = r.person AND e.day = r.day AND e.technique = r.technique AND e.object IS NOT DISTINCT FROM r.object
            AND (abs(e.hours - r.hours) > 1e-6 OR e.phase <> r.phase OR e.mode <> r.mode
                OR (e.part = r.part AND e.started_at IS NOT DISTINCT FROM r.started_at))
        LEFT JOIN repeats AS n ON n."row" = r."row"
        WHERE r.entry IS NULL AND {fate.untouched("r")}
        GROUP BY ALL"""
    )
    if held_back_as == "new":
        return
    if held_back_as == "correction":
        # Only where it is plain which entry is meant; each entry is corrected by one row.
        con.execute(
            """INSERT INTO corrections SELECT "row", candidate FROM doubtful
            WHERE candidates = 1 AND candidate IN (SELECT candidate FROM doubtful WHERE candidates > 0 GROUP BY candidate HAVING count(*) = 1)"""
        )
        fate.mark("held back", 'SELECT "row" FROM doubtful WHERE "row" NOT IN (SELECT "row" FROM corrections)')
    else:
        fate.mark("held back", 'SELECT "row" FROM doubtful')
    said = ", ".join(f"'{name}': {name}" for name in (*_LINE, *_OF_A_SPELL))
    con.execute(
        f"""INSERT INTO held_back SELECT d.content, d.rank, d.resembles, ?, l.line, ?, to_json({{{said}}}), NULL
        FROM doubtful AS d JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row")
        WHERE d."row" IN ({fate.rows("held back")}) ON CONFLICT DO NOTHING""",
        [fate.file, fate.now],
    )


def _warn_of_overlaps(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """A person's overlapping hands-on spells, among themselves and with what is held; all are kept."""
    con.execute(f"""CREATE OR REPLACE TEMP VIEW sittings AS
        SELECT "row", person, started_at, ended_at FROM resolved WHERE mode = 'hands_on' AND started_at IS NOT NULL AND {fate.untouched()}
        UNION ALL
        SELECT NULL, person, started_at, ended_at FROM spells WHERE person IN (SELECT person FROM resolved)
            AND day BETWEEN (SELECT min(day) - 1 FROM resolved) AND (SELECT max(day) + 1 FROM resolved)
            AND mode = 'hands_on' AND started_at IS NOT NULL AND entry NOT IN (SELECT entry FROM corrections)""")
    # Where no spell begins before its neighbour ends, none overlaps any: the dearer question is for the people where one does.
    con.execute("""CREATE OR REPLACE TEMP TABLE overlapping AS SELECT DISTINCT person FROM (
        SELECT person, started_at < lag(ended_at) OVER (PARTITION BY person ORDER BY started_at, ended_at) AS too_soon FROM sittings) WHERE too_soon""")
    remark(con, "warnings", """(
        SELECT "row", person, started_at,
            max(ended_at) OVER (PARTITION BY person ORDER BY started_at, ended_at ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS busy_until,
            ended_at, lead(started_at) OVER (PARTITION BY person ORDER BY started_at, ended_at) AS next_start
        FROM sittings WHERE person IN (SELECT person FROM overlapping)
    )""", [
        ("\"row\" IS NOT NULL AND (started_at < busy_until OR ended_at > next_start)", "started_at",
         "'overlaps another hands-on spell of ' || person", "Both are kept and both count; see that the times are right."),
    ])  # fmt: skip


def _warn_of_another_part(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """Hours on no line of the yardstick, whose technique stands in it under another part: a part may have been forgotten. Said once a line."""
    remark(con, "warnings", f"""(
        WITH yardstick AS (
            SELECT object, version, approved_option FROM standing_versions JOIN (
                SELECT object, coalesce(max(version) FILTER (approved_on IS NOT NULL), max(version)) AS version FROM standing_versions GROUP BY object) USING (object, version)
        ), estimated AS (
            SELECT DISTINCT l.object, l.phase, l.technique, l.part FROM estimated_lines AS e JOIN lines AS l ON l.line = e.line
            JOIN yardstick AS y ON y.object = l.object AND y.version = e.version AND (e.option IS NULL OR coalesce(e.option = y.approved_option, false))
        )
        SELECT g."row", g.object, g.technique, string_agg(CASE WHEN e.part = '' THEN 'without a part' ELSE 'with part "' || e.part || '"' END, ', ' ORDER BY e.part) AS parts
        FROM (SELECT min("row") AS "row", object, phase, technique, part FROM resolved
            WHERE object IN (SELECT object FROM yardstick) AND charge = 'quoted' AND discovery IS DISTINCT FROM true AND {fate.untouched()}
            GROUP BY object, phase, technique, part) AS g
        JOIN estimated AS e USING (object, phase, technique)
        GROUP BY g."row", g.object, g.technique, g.part HAVING NOT bool_or(e.part = g.part))""", [
        ("true", "part", "'leaves it on no line of the estimate of ' || object || ', which has ' || technique || ' ' || parts",
         "Kept, and counted as found on the way; if it is that work, give it that part."),
    ])  # fmt: skip


def _warn_of_long_days(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """Days on which a person has more than 16 counted hours, all entries held taken together; they are kept."""
    remark(con, "warnings", f"""(
        SELECT n."row", n.person, d.hours FROM (
            SELECT min("row") AS "row", person, day FROM resolved WHERE {fate.untouched()} GROUP BY person, day
        ) AS n JOIN (
            SELECT person, day, sum(counted_hours) AS hours FROM spells WHERE day BETWEEN (SELECT min(day) FROM resolved) AND (SELECT max(day) FROM resolved)
            GROUP BY person, day HAVING sum(counted_hours) > {records.LONGEST_SPELL_HOURS}
        ) AS d ON d.person = n.person AND d.day = n.day
    )""", [
        ("true", "date", "'has ' || round(hours, 1) || ' hours of ' || person", "Kept; see that the day is right."),
    ])  # fmt: skip


def _store(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    new = [row[0] for row in con.execute(f"SELECT DISTINCT person FROM resolved ANTI JOIN people USING (person) WHERE {fate.untouched()}").fetchall()]
    people.keep_new(con, new, fate.now)
    con.execute("""CREATE OR REPLACE TEMP TABLE touched AS
        SELECT DISTINCT person, day FROM resolved WHERE started_at IS NOT NULL AND (mode = 'attended' OR EXISTS (FROM resolved WHERE mode = 'attended')
            OR EXISTS (FROM time_entries WHERE mode = 'attended'))
        UNION SELECT person, day FROM time_entries WHERE entry IN (SELECT entry FROM corrections)""")
    give_numbers(con, f"resolved WHERE {fate.untouched()}")
    counted = "CASE WHEN r.mode = 'unattended' THEN 0 ELSE r.hours END"
    if con.execute("SELECT EXISTS (FROM corrections)").fetchall()[0][0]:
        keep_earlier(con, "time_entries", fate.change, f"{EARLIER} WHERE e.entry IN (SELECT entry FROM corrections)")
        sets = ", ".join(f"{name} = r.{name}" for name in (*_OF_A_SPELL, "content"))
        con.execute(
            f"""UPDATE spells AS e SET {sets}, line = l.line, counted_hours = {counted}
            FROM resolved AS r JOIN corrections AS c ON c."row" = r."row" JOIN lines AS l ON {same_line("r")} WHERE e.entry = c.entry"""
        )
    con.execute(
        f"""INSERT INTO spells (entry, line, {", ".join(_OF_A_SPELL)}, counted_hours, content)
        SELECT coalesce(r.entry, {_name_of("r.content")} || coalesce(n.rank, 1)), l.line,
            {", ".join(f"r.{name}" for name in _OF_A_SPELL)}, {counted}, r.content
        FROM resolved AS r JOIN lines AS l ON {same_line("r")} LEFT JOIN repeats AS n ON n."row" = r."row"
        WHERE {fate.untouched("r")} AND r."row" NOT IN (SELECT "row" FROM corrections)"""
    )
    _close_questions(con, fate)
    recount(con)


def _close_questions(con: duckdb.DuckDBPyConnection, fate: Fate) -> None:
    """A row held back is decided once what it says is held, by whatever file it came; the n-th of equal rows once n entries say or once said so."""
    if fate.typed:
        return  # who decides on a page settles the very rows that were asked about
    con.execute("""UPDATE held_back SET decided = 'correction' FROM (
        SELECT r.content, coalesce(n.rank, 1) AS rank FROM resolved AS r JOIN corrections AS c ON c."row" = r."row" LEFT JOIN repeats AS n ON n."row" = r."row") AS d
        WHERE held_back.decided IS NULL AND held_back.content = d.content AND held_back.rank = d.rank""")
    con.execute("""UPDATE held_back SET decided = 'new' FROM (
        SELECT content, count(*) AS times FROM (SELECT content, entry FROM spells UNION SELECT content, key FROM history WHERE kind = 'time_entries')
        WHERE content IN (SELECT content FROM resolved) GROUP BY content) AS d
        WHERE held_back.decided IS NULL AND held_back.content = d.content AND held_back.rank <= d.times""")
