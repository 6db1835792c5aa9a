"""Rows of time entries matched with stored entries: the same, a correction, in doubt, or new."""

from __future__ import annotations

from typing import Literal

import pandas as pd

from ingest.importing.cell_values import note_all
from ingest.importing.row_status import RowStatus, untouched, with_status
from ingest.importing.rows import Rows, SaidOtherwise
from ingest.sql import Connection, statement
from ingest.tables.audit_log import Change

HeldBackAs = Literal["ask", "new", "correction"]
LINE_KEY = ("object", "phase", "technique", "part")
SPELL_COLUMNS = (
    *("person", "day", "started_at", "ended_at", "hours", "mode", "charge"),
    *("quantity", "unit", "done", "discovery", "note", "total"),
)
NAME_OF_CONTENT = "left(replace({content}::VARCHAR, '-', ''), 20) || '-'"
"""SQL for the name of an entry that has none of its own; its rank among equal rows follows."""
# Of the entry that a row of `resolved` is.
ENTRY_NAME = f"coalesce(r.entry, {NAME_OF_CONTENT.format(content='r.content')} || coalesce(n.rank, 1))"
# Until they are counted anew beside other work of the person.
COUNTED_HOURS = "CASE WHEN r.mode = 'unattended' THEN 0 ELSE r.hours END"


def match_rows(con: Connection, rows: Rows, status: RowStatus) -> None:
    """Mark rows that are stored already, list those that correct an entry, and name those that are new."""
    any_stored = bool(
        con.execute(
            "SELECT EXISTS (FROM time_entries) OR EXISTS (FROM history WHERE kind = 'time_entries')"
        ).fetchall()[0][0]
    )
    if con.execute("SELECT EXISTS (FROM resolved WHERE entry IS NOT NULL)").fetchall()[0][0]:
        _match_named(con, rows, status, any_stored)
    _find_unnamed(con, rows, status)
    _match_unnamed(con, status, any_stored)


def _match_named(con: Connection, rows: Rows, status: RowStatus, any_stored: bool) -> None:
    """Match rows that name their entry: of equal ones the first counts; another of that name is refused."""
    note_all(
        con,
        "faults",
        "entry",
        "entry_named_twice",
        f"""(
            SELECT "row", content,
                first_value(content) OVER (PARTITION BY entry ORDER BY "row") AS first_content
            FROM resolved
            WHERE entry IS NOT NULL AND {untouched()}
        )
        WHERE content <> first_content""",
    )
    status.reject_faulty()
    status.mark_repeats("entry", f"entry IS NOT NULL AND {untouched()}")
    if any_stored:
        status.mark(
            "already held",
            f"""SELECT r."row" FROM resolved AS r
            WHERE {untouched("r")}
                AND (
                    EXISTS (SELECT 1 FROM spells AS e WHERE e.entry = r.entry AND e.content = r.content)
                    OR (
                        {not rows.typed}
                        AND EXISTS (
                            SELECT 1 FROM history AS h
                            WHERE h.kind = 'time_entries' AND h.key = r.entry AND h.content = r.content
                        )
                    )
                )""",
        )
        con.execute(
            f"""INSERT INTO corrections
            SELECT r."row", e.entry FROM resolved AS r JOIN time_entries AS e ON e.entry = r.entry
            WHERE {untouched("r")}"""
        )


def _match_unnamed(con: Connection, status: RowStatus, any_stored: bool) -> None:
    """Match rows without a name: the n-th of equal rows is stored if n entries are or once were the same."""
    con.execute(
        """CREATE OR REPLACE TEMP TABLE repeated AS
        SELECT content FROM resolved
        WHERE entry IS NULL GROUP BY content HAVING count(*) > 1"""
    )
    # `repeated` is mostly empty: asked in one statement, a million rows would be joined in vain.
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE repeats AS
        SELECT "row", content, row_number() OVER (PARTITION BY content ORDER BY "row") AS rank FROM resolved
        WHERE entry IS NULL AND {untouched()} AND content IN (FROM repeated)"""
    )
    if any_stored:
        status.mark(
            "already held", statement("ingest.importing", "entries_stored_before", untouched_r=untouched("r"))
        )


def _find_unnamed(con: Connection, rows: Rows, status: RowStatus) -> None:
    """A named row of a file that says what an entry without a name of its own says is that entry, and names
    it: no hour counts twice.
    """
    con.execute(
        statement(
            "ingest.importing",
            "entries_adopted",
            from_file=not rows.typed,
            untouched_r=untouched("r"),
            name_of_content=NAME_OF_CONTENT.format(content="content"),
        )
    )
    status.mark("already held", 'SELECT "row" FROM adopted')


def adopt_names(con: Connection) -> None:
    """Give entries the names by which a file now calls them."""
    if not con.execute("SELECT EXISTS (FROM adopted)").fetchall()[0][0]:
        return
    con.execute("UPDATE spells SET entry = a.entry FROM adopted AS a WHERE spells.entry = a.unnamed")
    con.execute(
        """UPDATE history SET key = a.entry
        FROM adopted AS a
        WHERE history.kind = 'time_entries' AND history.key = a.unnamed"""
    )
    con.execute(
        "UPDATE held_back SET resembles = a.entry FROM adopted AS a WHERE held_back.resembles = a.unnamed"
    )
    con.execute(
        "UPDATE doubtful SET resembles = a.entry FROM adopted AS a WHERE doubtful.resembles = a.unnamed"
    )


def hold_back(con: Connection, rows: Rows, status: RowStatus, held_back_as: HeldBackAs) -> None:
    """Rows without a name that have the person, day, object and technique of a held entry, but say otherwise:
    other hours, or of the same spell other things; and those of a table that are held by other words.
    """
    con.execute(
        'CREATE OR REPLACE TEMP TABLE doubtful ("row" BIGINT, content UUID, rank BIGINT, candidates BIGINT,'
        " candidate VARCHAR, resembles VARCHAR)"
    )
    if rows.said_otherwise is not None and len(rows.said_otherwise.entries):
        _hold_back_said_otherwise(con, rows.said_otherwise, status, held_back_as)
    if held_back_as == "new" or not con.execute("SELECT EXISTS (FROM spells)").fetchall()[0][0]:
        return
    con.execute(statement("ingest.importing", "entries_doubtful", untouched_r=untouched("r")))
    if held_back_as == "correction":
        # Only where it is plain which entry is meant; each entry is corrected by one row.
        con.execute(
            """INSERT INTO corrections
            SELECT "row", candidate FROM doubtful
            WHERE candidates = 1 AND "row" NOT IN (SELECT "row" FROM corrections)
                AND candidate IN (
                    SELECT candidate FROM doubtful
                    WHERE candidates > 0 GROUP BY candidate HAVING count(*) = 1
                )"""
        )
    status.mark("held back", 'SELECT "row" FROM doubtful WHERE "row" NOT IN (SELECT "row" FROM corrections)')


def _hold_back_said_otherwise(
    con: Connection, said_otherwise: SaidOtherwise, status: RowStatus, held_back_as: HeldBackAs
) -> None:
    """Rows that are held by other words are never new: they would count twice. Each is held back beside its
    own entry; where another row of the file says now what that entry says, beside one of those that no row
    says any more.
    """
    con.register("said_otherwise", said_otherwise.entries)
    # what an earlier version of a file said never overrides what was corrected since
    status.mark("already held", 'SELECT "row" FROM said_otherwise WHERE entry IS NULL')
    # said again as it was at first: in the history alone, as the entry says something else in between
    status.unmark(
        "already held",
        """SELECT r."row" FROM resolved AS r JOIN said_otherwise AS o USING ("row")
        LEFT JOIN repeats AS n ON n."row" = r."row"
        LEFT JOIN (SELECT content, count(*) AS times FROM spells GROUP BY content) AS s
            ON s.content = r.content
        WHERE r.entry IS NULL AND o.entry IS NOT NULL AND coalesce(n.rank, 1) > coalesce(s.times, 0)
            AND NOT EXISTS (
                FROM held_back AS h
                WHERE h.content = r.content AND h.rank = coalesce(n.rank, 1) AND h.decided = 'left out'
            )""",
    )
    con.execute(statement("ingest.importing", "entries_said_otherwise", untouched_r=untouched("r")))
    if said_otherwise.become == "correction" or held_back_as == "correction":
        con.execute('INSERT INTO corrections SELECT "row", candidate FROM doubtful')
    elif said_otherwise.become == "left out":
        status.mark("already held", 'SELECT "row" FROM doubtful')
    else:
        status.mark("held back", 'SELECT "row" FROM doubtful')
    con.unregister("said_otherwise")


def held_back(con: Connection) -> pd.DataFrame:
    """The rows held back, as people read them; an entry that another row of the file corrects is told with
    the hours that it will have.
    """
    return con.execute(
        f"""SELECT l.line,
            concat_ws(', ', r.object, line_name(r.phase, r.technique), r.person, r.day::VARCHAR) AS what,
            coalesce(c.hours, e.hours) AS held_hours, r.hours
        FROM doubtful AS d JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row")
        JOIN spells AS e ON e.entry = d.resembles
        LEFT JOIN (
            SELECT entry, any_value(hours) AS hours
            FROM (SELECT c.entry, r.hours FROM corrections AS c JOIN resolved AS r USING ("row"))
            GROUP BY entry
        ) AS c ON c.entry = d.resembles
        WHERE d."row" IN ({with_status("held back")}) ORDER BY l.line"""
    ).df()


def store_held_back(con: Connection, rows: Rows, change: Change) -> None:
    cells = ", ".join(f"'{name}': {name}" for name in (*LINE_KEY, *SPELL_COLUMNS))
    con.execute(
        f"""INSERT INTO held_back
        SELECT d.content, d.rank, d.resembles, ?, l.line, ?, to_json({{{cells}}}),
            CASE WHEN d."row" IN ({with_status("already held")}) THEN 'left out' END
        FROM doubtful AS d JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row")
        WHERE d."row" NOT IN (SELECT "row" FROM corrections)
        ON CONFLICT DO UPDATE SET decided = coalesce(excluded.decided, held_back.decided)""",
        [rows.name, change.at],
    )


def close_questions(con: Connection) -> None:
    """A row held back is decided once what it says is held, by whatever file it came; the n-th of equal rows
    once n entries say or once said so.
    """
    con.execute("""UPDATE held_back
        SET decided = 'correction'
        FROM (
            SELECT r.content, coalesce(n.rank, 1) AS rank FROM resolved AS r
            JOIN corrections AS c ON c."row" = r."row" LEFT JOIN repeats AS n ON n."row" = r."row"
        ) AS d
        WHERE held_back.decided IS NULL AND held_back.content = d.content AND held_back.rank = d.rank""")
    con.execute("""UPDATE held_back
        SET decided = 'new'
        FROM (
            SELECT content, count(*) AS times
            FROM (
                SELECT content, entry FROM spells
                UNION
                SELECT content, key FROM history
                WHERE kind = 'time_entries'
            )
            WHERE content IN (SELECT content FROM resolved) GROUP BY content
        ) AS d
        WHERE held_back.decided IS NULL AND held_back.content = d.content AND held_back.rank <= d.times""")
