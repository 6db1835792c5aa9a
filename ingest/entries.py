"""Time entries: checked, told apart from what is held, stored, corrected, and their hours counted once.

No loop over entries: every step is one statement over all of them. What one step leaves to the next lies in the temporary tables of `ingest.stages`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import duckdb
import pandas as pd

from ingest import clock, people, records
from ingest.cells import note, note_all, rule
from ingest.counting import count_out, recount, touch
from ingest.history import Change, keep_earlier, keep_put_back
from ingest.lines import give_numbers, same_line
from ingest.readings import Context
from ingest.row_status import RowStatus, untouched, with_status
from ingest.rows import Rows
from ingest.sql import statement

HeldBackAs = Literal["ask", "new", "correction"]

_LINE = ("object", "phase", "technique", "part")
EARLIER = "SELECT e.entry AS key, to_json(e) AS earlier, e.content FROM time_entries AS e"
_OF_A_SPELL = ("person", "day", "started_at", "ended_at", "hours", "mode", "charge", "quantity", "unit", "done", "discovery", "note")
_NAME_OF_CONTENT = "left(replace({content}::VARCHAR, '-', ''), 20) || '-'"
"""SQL for the name of an entry that has none of its own; its rank among equal rows follows."""
_NAME = f"coalesce(r.entry, {_NAME_OF_CONTENT.format(content='r.content')} || coalesce(n.rank, 1))"  # of the entry that a row is
_COUNTED = "CASE WHEN r.mode = 'unattended' THEN 0 ELSE r.hours END"  # until it is recounted beside other work of the person


def check(con: duckdb.DuckDBPyConnection, rows: Rows, context: Context, status: RowStatus, held_back_as: HeldBackAs = "ask") -> None:
    """Check the entries of the view `checked` against themselves and what is held.

    Parameters
    ----------
    held_back_as : what to do with a row that may correct a held entry: keep it aside, store it, or correct.
    """
    _resolve(con, context)
    _check_rows(con, context)
    status.reject_faulty()
    _tell_apart(con, rows, status)
    _hold_back(con, status, held_back_as)
    _check_done_never_falls(con, status)
    _warn_of_overlaps(con)
    _warn_of_another_part(con)
    _warn_of_long_days(con)


def store(con: duckdb.DuckDBPyConnection, rows: Rows, new_people: Sequence[str], change: Change) -> None:
    """Store what `check` left."""
    _adopt(con)
    _keep_held_back(con, rows, change)
    people.keep_new(con, new_people, change.at)
    _store(con, change)
    # who decides on a page settles the very rows that were asked about
    if not rows.typed and con.execute("SELECT EXISTS (FROM held_back WHERE decided IS NULL)").fetchall()[0][0]:
        _close_questions(con)


def _resolve(con: duckdb.DuckDBPyConnection, context: Context) -> None:
    days = con.execute("SELECT DISTINCT started_at.wall::DATE, ended_at.wall::DATE FROM checked").fetchall()
    clock.prepare_days(con, sorted({day for pair in days for day in pair if day is not None}), context.settings.zone)
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


def _check_rows(con: duckdb.DuckDBPyConnection, context: Context) -> None:
    present, today = f"TIMESTAMP '{context.now:%Y-%m-%d %H:%M:%S}'", f"DATE '{context.today}'"
    # what is there and cannot be read is not also empty
    silent = """NOT says_start AND NOT says_end AND "row" NOT IN (SELECT "row" FROM faults WHERE column_name IN ('date', 'hours', 'started_at', 'ended_at'))"""
    clocked = "started_at IS NOT NULL AND ended_at IS NOT NULL"
    note(con, "faults", "resolved", [
        rule("says_start AND NOT says_end", "ended_at", "end_missing"),
        rule("says_end AND NOT says_start", "started_at", "start_missing"),
        rule(f"{silent} AND said_day IS NULL AND said_hours IS NOT NULL", "date", "day_missing"),
        rule(f"{silent} AND said_day IS NOT NULL AND said_hours IS NULL", "hours", "hours_missing"),
        rule(f"{silent} AND said_day IS NULL AND said_hours IS NULL", "started_at", "day_and_hours_missing"),
        rule("start_in_change AND start_gap", "started_at", "never_on_the_clock"),
        rule("end_in_change AND end_gap", "ended_at", "never_on_the_clock"),
        rule(f"{clocked} AND ended_at <= started_at", "ended_at", "end_not_after_start"),
        rule(f"{clocked} AND said_hours IS NOT NULL AND abs(said_hours - hours) > 0.02", "hours", "hours_against_clock", clock_hours="round(hours, 2)"),
        rule("says_start AND said_day IS NOT NULL AND said_day <> day", "date", "not_the_day_of_the_start"),
        rule(f"mode IN ('hands_on', 'attended') AND hours > {records.LONGEST_SPELL_HOURS}", "hours", "spell_too_long"),
        rule(f"NOT says_start AND day > {today}", "date", "entry_in_future"),
        rule(f"says_start AND (day > {today} OR started_at > {present} + INTERVAL 10 MINUTE)", "started_at", "entry_in_future"),
        rule("object IS NULL AND phase_position <> 0", "object", "object_missing", phase="phase"),
        rule("said_unit IS NOT NULL AND usual_unit IS NOT NULL AND said_unit <> usual_unit", "unit", "other_unit", technique="technique", unit="usual_unit"),
        rule("(said_unit IS NOT NULL OR quantity IS NOT NULL) AND technique IS NOT NULL AND usual_unit IS NULL", "quantity", "not_measured", technique="technique"),
        rule("unit = 'pcs' AND quantity <> floor(quantity)", "quantity", "not_whole_pieces"),
    ])  # fmt: skip
    note(con, "warnings", "resolved", [
        rule("start_in_change AND NOT start_gap", "started_at", "start_on_clock_twice"),
        rule("end_in_change AND NOT end_gap", "ended_at", "end_on_clock_twice"),
        rule(f"mode = 'unattended' AND hours > {records.LONGEST_UNATTENDED_HOURS}", "hours", "long_unattended"),
        rule("technique_retired_on <= day", "technique", "retired_word", retired_on="technique_retired_on"),
        rule("phase_retired_on <= day", "phase", "retired_word", retired_on="phase_retired_on"),
    ])  # fmt: skip


def _check_done_never_falls(con: duckdb.DuckDBPyConnection, status: RowStatus) -> None:
    """A line that was three quarters done cannot be half done later; held entries of the line count too."""
    if not con.execute("SELECT count(*) FROM resolved WHERE done IS NOT NULL AND object IS NOT NULL").fetchall()[0][0]:
        return
    # Within a day only entries with a clock have an order. What is at own cost is no part of the line, and what is
    # corrected no longer counts.
    note(con, "faults", f"""(
        WITH said AS (
            SELECT "row", object, phase, technique, part, done, day, started_at FROM resolved
            WHERE done IS NOT NULL AND object IS NOT NULL AND charge <> 'own_cost' AND {untouched()}
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
        rule('"row" IS NOT NULL AND earlier > done', "done", "done_falls", earlier="earlier"),
        rule('"row" IS NOT NULL AND later_held < done', "done", "done_above_later", later="later_held"),
    ])  # fmt: skip
    con.execute('DELETE FROM corrections WHERE "row" IN (SELECT "row" FROM faults)')
    status.reject_faulty()


def _tell_apart(con: duckdb.DuckDBPyConnection, rows: Rows, status: RowStatus) -> None:
    """Rows already held, rows that correct a held entry, and the identity of those that are new."""
    held_anything = bool(con.execute("SELECT EXISTS (FROM time_entries) OR EXISTS (FROM history WHERE kind = 'time_entries')").fetchall()[0][0])
    # Rows that name their entry: the first of equal ones counts, a different one under the same name is refused.
    if con.execute("SELECT EXISTS (FROM resolved WHERE entry IS NOT NULL)").fetchall()[0][0]:
        note_all(
            con, "faults", "entry", "entry_named_twice",
            f"""(SELECT "row", content, first_value(content) OVER (PARTITION BY entry ORDER BY "row") AS first_content
                FROM resolved WHERE entry IS NOT NULL AND {untouched()}) WHERE content <> first_content""",
        )  # fmt: skip
        status.reject_faulty()
        status.mark(
            "already held",
            f'SELECT "row" FROM (SELECT "row", row_number() OVER (PARTITION BY entry ORDER BY "row") AS n FROM resolved WHERE entry IS NOT NULL AND {untouched()}) WHERE n > 1',
        )
        if held_anything:
            status.mark(
                "already held",
                f"""SELECT r."row" FROM resolved AS r WHERE {untouched("r")} AND (
                EXISTS (SELECT 1 FROM spells AS e WHERE e.entry = r.entry AND e.content = r.content) OR ({not rows.typed}
                AND EXISTS (SELECT 1 FROM history AS h WHERE h.kind = 'time_entries' AND h.key = r.entry AND h.content = r.content)))""",
            )
            con.execute(
                f'INSERT INTO corrections SELECT r."row", e.entry FROM resolved AS r JOIN time_entries AS e ON e.entry = r.entry WHERE {untouched("r")}'
            )
    _find_unnamed(con, rows, status)
    # Rows without: the n-th of equal rows is held if at least n entries say or once said the same.
    con.execute("CREATE OR REPLACE TEMP TABLE repeated AS SELECT content FROM resolved WHERE entry IS NULL GROUP BY content HAVING count(*) > 1")
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE repeats AS
        SELECT "row", content, row_number() OVER (PARTITION BY content ORDER BY "row") AS rank FROM resolved
        WHERE entry IS NULL AND {untouched()} AND content IN (FROM repeated)"""  # of a table that is mostly empty: asked in one, a million rows are joined in vain
    )
    if held_anything:
        status.mark(
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
            WHERE r.entry IS NULL AND {untouched("r")} AND coalesce(n.rank, 1) <= times.held""",
        )


def _find_unnamed(con: duckdb.DuckDBPyConnection, rows: Rows, status: RowStatus) -> None:
    """A named row of a file that says what an entry without a name of its own says is that entry, and names it: no hour counts twice."""
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE adopted AS
        SELECT n."row", n.entry, held.entry AS unnamed FROM (
            SELECT r."row", r.entry, r.content, row_number() OVER (PARTITION BY r.content ORDER BY r."row") AS rank
            FROM resolved AS r WHERE r.entry IS NOT NULL AND {not rows.typed} AND {untouched("r")} AND r."row" NOT IN (SELECT "row" FROM corrections)
        ) AS n JOIN (
            SELECT entry, content, row_number() OVER (PARTITION BY content ORDER BY entry) AS rank FROM spells
            WHERE starts_with(entry, {_NAME_OF_CONTENT.format(content="content")}) AND content IN (SELECT content FROM resolved WHERE entry IS NOT NULL)
        ) AS held ON held.content = n.content AND held.rank = n.rank"""
    )
    status.mark("already held", 'SELECT "row" FROM adopted')


def _adopt(con: duckdb.DuckDBPyConnection) -> None:
    """Give entries the names by which a file now calls them."""
    if not con.execute("SELECT EXISTS (FROM adopted)").fetchall()[0][0]:
        return
    con.execute("UPDATE spells SET entry = a.entry FROM adopted AS a WHERE spells.entry = a.unnamed")
    con.execute("UPDATE history SET key = a.entry FROM adopted AS a WHERE history.kind = 'time_entries' AND history.key = a.unnamed")
    con.execute("UPDATE held_back SET resembles = a.entry FROM adopted AS a WHERE held_back.resembles = a.unnamed")
    con.execute("UPDATE doubtful SET resembles = a.entry FROM adopted AS a WHERE doubtful.resembles = a.unnamed")


def _hold_back(con: duckdb.DuckDBPyConnection, status: RowStatus, held_back_as: HeldBackAs) -> None:
    """Rows without a name that have the person, day, object and technique of a held entry, but say otherwise: other hours, or of the same spell other things."""
    con.execute('CREATE OR REPLACE TEMP TABLE doubtful ("row" BIGINT, content UUID, rank BIGINT, candidates BIGINT, candidate VARCHAR, resembles VARCHAR)')
    if held_back_as == "new" or not con.execute("SELECT EXISTS (FROM spells)").fetchall()[0][0]:
        return
    con.execute(
        f"""INSERT INTO doubtful
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
        WHERE r.entry IS NULL AND {untouched("r")}
        GROUP BY ALL"""
    )
    if held_back_as == "correction":
        # Only where it is plain which entry is meant; each entry is corrected by one row.
        con.execute(
            """INSERT INTO corrections SELECT "row", candidate FROM doubtful
            WHERE candidates = 1 AND candidate IN (SELECT candidate FROM doubtful WHERE candidates > 0 GROUP BY candidate HAVING count(*) = 1)"""
        )
        status.mark("held back", 'SELECT "row" FROM doubtful WHERE "row" NOT IN (SELECT "row" FROM corrections)')
    else:
        status.mark("held back", 'SELECT "row" FROM doubtful')


def held_back(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The rows held back, as people read them; an entry that another row of the file corrects is told with the hours that it will have."""
    return con.execute(
        f"""SELECT l.line, concat_ws(', ', r.object, r.technique, r.person, r.day::VARCHAR) AS what, coalesce(c.hours, e.hours) AS held_hours, r.hours
        FROM doubtful AS d JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row") JOIN spells AS e ON e.entry = d.resembles
        LEFT JOIN (SELECT entry, any_value(hours) AS hours FROM (SELECT c.entry, r.hours FROM corrections AS c JOIN resolved AS r USING ("row")) GROUP BY entry) AS c ON c.entry = d.resembles
        WHERE d."row" IN ({with_status("held back")}) ORDER BY l.line"""
    ).df()


def _keep_held_back(con: duckdb.DuckDBPyConnection, rows: Rows, change: Change) -> None:
    cells = ", ".join(f"'{name}': {name}" for name in (*_LINE, *_OF_A_SPELL))
    con.execute(
        f"""INSERT INTO held_back SELECT d.content, d.rank, d.resembles, ?, l.line, ?, to_json({{{cells}}}), NULL
        FROM doubtful AS d JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row")
        WHERE d."row" IN ({with_status("held back")}) ON CONFLICT DO NOTHING""",
        [rows.name, change.at],
    )


def _warn_of_overlaps(con: duckdb.DuckDBPyConnection) -> None:
    """A person's overlapping hands-on spells, among themselves and with what is held; all are kept."""
    con.execute(f"""CREATE OR REPLACE TEMP VIEW sittings AS
        SELECT "row", person, started_at, ended_at FROM resolved WHERE mode = 'hands_on' AND started_at IS NOT NULL AND {untouched()}
        UNION ALL
        SELECT NULL, person, started_at, ended_at FROM spells WHERE person IN (SELECT person FROM resolved)
            AND day BETWEEN (SELECT min(day) - 1 FROM resolved) AND (SELECT max(day) + 1 FROM resolved)
            AND mode = 'hands_on' AND started_at IS NOT NULL AND entry NOT IN (SELECT entry FROM corrections)""")
    # Where no spell begins before its neighbour ends, none overlaps any: the dearer question is for the people where one does. A number sorts faster than a name,
    # and two people who share one are only asked about in vain.
    con.execute("""CREATE OR REPLACE TEMP TABLE overlapping AS SELECT DISTINCT person FROM (
        SELECT person, started_at < lag(ended_at) OVER (PARTITION BY person ORDER BY started_at) AS too_soon
        FROM (SELECT hash(person) AS person, started_at, ended_at FROM sittings)) WHERE too_soon""")
    note(con, "warnings", """(
        SELECT "row", person, started_at,
            max(ended_at) OVER (PARTITION BY person ORDER BY started_at, ended_at ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS busy_until,
            ended_at, lead(started_at) OVER (PARTITION BY person ORDER BY started_at, ended_at) AS next_start
        FROM sittings WHERE hash(person) IN (SELECT person FROM overlapping)
    )""", [
        rule('"row" IS NOT NULL AND (started_at < busy_until OR ended_at > next_start)', "started_at", "spells_overlap", person="person"),
    ])  # fmt: skip


def _warn_of_another_part(con: duckdb.DuckDBPyConnection) -> None:
    """Hours on no line of the yardstick, whose technique stands in it under another part: a part may have been forgotten. Said once a line."""
    note_all(con, "warnings", "part", "another_part", f"""(
        WITH yardstick AS (
            FROM yardsticks('infinity'::DATE)
        ), estimated AS (
            SELECT DISTINCT l.object, l.phase, l.technique, l.part FROM estimated_lines AS e JOIN lines AS l ON l.line = e.line
            JOIN yardstick AS y ON y.object = l.object AND y.version = e.version AND (e.option IS NULL OR coalesce(e.option = y.option, false))
        )
        SELECT g."row", g.object, g.technique, string_agg(CASE WHEN e.part = '' THEN 'without a part' ELSE 'with part "' || e.part || '"' END, ', ' ORDER BY e.part) AS parts
        FROM (SELECT min("row") AS "row", object, phase, technique, part FROM resolved
            WHERE object IN (SELECT object FROM yardstick) AND charge = 'quoted' AND discovery IS DISTINCT FROM true AND {untouched()}
            GROUP BY object, phase, technique, part) AS g
        JOIN estimated AS e USING (object, phase, technique)
        GROUP BY g."row", g.object, g.technique, g.part HAVING NOT bool_or(e.part = g.part))""", object="object", technique="technique", parts="parts")  # fmt: skip


def _warn_of_long_days(con: duckdb.DuckDBPyConnection) -> None:
    """Days on which a person will have more than 16 counted hours, all entries held taken together; they are kept."""
    con.execute(f"""CREATE OR REPLACE TEMP VIEW spells_to_be AS
        SELECT rowid AS id, entry, person, day, started_at, ended_at, hours, counted_hours, mode FROM spells WHERE entry NOT IN (SELECT entry FROM corrections)
        UNION ALL
        SELECT -1 - r."row", {_NAME}, r.person, r.day, r.started_at, r.ended_at, r.hours, {_COUNTED}, r.mode
        FROM resolved AS r LEFT JOIN repeats AS n ON n."row" = r."row" WHERE {untouched("r")}""")
    # No day counts more than the hours of all its spells: only those that could be too long are counted out.
    if not touch(con, f"""SELECT person, day FROM spells_to_be WHERE mode <> 'unattended' AND day BETWEEN (SELECT min(day) FROM resolved) AND (SELECT max(day) FROM resolved)
        GROUP BY person, day HAVING sum(hours) > {records.LONGEST_SPELL_HOURS}"""):  # fmt: skip
        return
    count_out(con, "spells_to_be")
    note_all(con, "warnings", "date", "long_day", f"""(
        SELECT n."row", n.person, d.hours FROM (
            SELECT min("row") AS "row", person, day FROM resolved WHERE {untouched()} GROUP BY person, day
        ) AS n JOIN (
            SELECT s.person, s.day, sum(coalesce(c.counted_hours, s.counted_hours)) AS hours
            FROM spells_to_be AS s SEMI JOIN touched AS t ON t.person = s.person AND t.day = s.day LEFT JOIN recounted AS c ON c.id = s.id
            GROUP BY s.person, s.day HAVING sum(coalesce(c.counted_hours, s.counted_hours)) > {records.LONGEST_SPELL_HOURS}
        ) AS d ON d.person = n.person AND d.day = n.day
    )""", hours="round(hours, 1)", person="person")  # fmt: skip


def _store(con: duckdb.DuckDBPyConnection, change: Change) -> None:
    again = touch(con, """
        SELECT DISTINCT person, day FROM resolved WHERE started_at IS NOT NULL AND (mode = 'attended' OR EXISTS (FROM resolved WHERE mode = 'attended')
            OR EXISTS (FROM spells WHERE mode = 'attended'))
        UNION SELECT person, day FROM spells WHERE entry IN (SELECT entry FROM corrections)""")  # fmt: skip
    give_numbers(con, f"resolved WHERE {untouched()}")
    keep_put_back(con, change, f'SELECT entry FROM resolved WHERE entry IS NOT NULL AND {untouched()} AND "row" NOT IN (SELECT "row" FROM corrections)')
    if con.execute("SELECT EXISTS (FROM corrections)").fetchall()[0][0]:
        keep_earlier(con, "time_entries", change, f"{EARLIER} WHERE e.entry IN (SELECT entry FROM corrections)")
        sets = ", ".join(f"{name} = r.{name}" for name in (*_OF_A_SPELL, "content"))
        con.execute(
            f"""UPDATE spells AS e SET {sets}, line = l.line, counted_hours = {_COUNTED}
            FROM resolved AS r JOIN corrections AS c ON c."row" = r."row" JOIN lines AS l ON {same_line("r")} WHERE e.entry = c.entry"""
        )
    con.execute(
        f"""INSERT INTO spells (entry, line, {", ".join(_OF_A_SPELL)}, counted_hours, content)
        SELECT {_NAME}, l.line,
            {", ".join(f"r.{name}" for name in _OF_A_SPELL)}, {_COUNTED}, r.content
        FROM resolved AS r JOIN lines AS l ON {same_line("r")} LEFT JOIN repeats AS n ON n."row" = r."row"
        WHERE {untouched("r")} AND r."row" NOT IN (SELECT "row" FROM corrections)"""
    )
    if again:
        recount(con)


def _close_questions(con: duckdb.DuckDBPyConnection) -> None:
    """A row held back is decided once what it says is held, by whatever file it came; the n-th of equal rows once n entries say or once said so."""
    con.execute("""UPDATE held_back SET decided = 'correction' FROM (
        SELECT r.content, coalesce(n.rank, 1) AS rank FROM resolved AS r JOIN corrections AS c ON c."row" = r."row" LEFT JOIN repeats AS n ON n."row" = r."row") AS d
        WHERE held_back.decided IS NULL AND held_back.content = d.content AND held_back.rank = d.rank""")
    con.execute("""UPDATE held_back SET decided = 'new' FROM (
        SELECT content, count(*) AS times FROM (SELECT content, entry FROM spells UNION SELECT content, key FROM history WHERE kind = 'time_entries')
        WHERE content IN (SELECT content FROM resolved) GROUP BY content) AS d
        WHERE held_back.decided IS NULL AND held_back.content = d.content AND held_back.rank <= d.times""")
