"""Corrections of the record: of entries and milestones, and decisions on rows held back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, Literal

import numpy as np
import pandas as pd

from ingest.errors import BenchHoursError
from ingest.importing.check import Checked
from ingest.importing.form_rows import put_rows
from ingest.importing.milestones import MILESTONE_CONTENT, WITH_KEYS
from ingest.importing.time_entries import EARLIER
from ingest.schema.csv_columns import TIME_ENTRIES
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import Change, record_earlier
from ingest.tables.counted_hours import recount, touch
from ingest.values.numbers import written

Decision = Literal["correction", "new", "left out"]


def as_row(entry: Mapping[str, Any]) -> dict[str, str]:
    """A time entry as it is held (columns of `time_entries`, or its JSON) as a row of the form: the same
    entry when it is read again.
    """
    row = {name: text_of(entry.get(name)) for name in TIME_ENTRIES.names if name in entry}
    if row.get("started_at"):
        row |= {name: f"{row[name]}Z" for name in ("started_at", "ended_at")} | {"hours": ""}
    else:
        row |= {"date": text_of(entry.get("day"))[:10], "hours": text_of(entry.get("hours"))}
    return row


def text_of(value: Any) -> str:
    """A value as it is held, as it would be typed."""
    if value is None or pd.isna(value):
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return written(value) if isinstance(value, float) else str(value)


def correct(
    store: Store,
    entry: str,
    cells: Mapping[str, str],
    change: Change,
    labels: Mapping[str, str] | None = None,
) -> Checked:
    """Correct a held entry: `cells` is the whole row as it should be, `labels` what the page calls its
    columns; the earlier version is kept.
    """
    with store.writing() as con:
        _check_stored(con, entry)
        return put_rows(con, TIME_ENTRIES, [{**cells, "entry": entry}], change, labels=labels)


def take_back(store: Store, entry: str, change: Change) -> None:
    """Take an entry out of the record. It stays in the history, can be put back, and does not come in again
    with its file.
    """
    with store.writing() as con:
        _check_stored(con, entry)
        delete_entries(con, [entry], change)


def delete_entries(con: Connection, entries: Sequence[str], change: Change) -> None:
    """The same of several entries, in the caller's transaction; entries that are not stored are skipped."""
    named = "entry IN (SELECT unnest(?::VARCHAR[]))"
    record_earlier(
        con, "time_entries", replace(change, event="taken back"), f"{EARLIER} WHERE {named}", [list(entries)]
    )
    touch(con, f"SELECT DISTINCT person, day FROM spells WHERE {named}", [list(entries)])
    con.execute(f"DELETE FROM spells WHERE {named}", [list(entries)])
    recount(con)


def put_back(store: Store, entry: str, change: Change) -> Checked:
    """Put an entry that was taken back into the record again, as it last was."""
    with store.writing() as con:
        if con.execute("SELECT EXISTS (FROM spells WHERE entry = ?)", [entry]).fetchall()[0][0]:
            raise BenchHoursError(f"entry {entry} is in the record already", "Load the page again.")
        rows = con.execute(
            """SELECT earlier FROM history
            WHERE kind = 'time_entries' AND key = ? ORDER BY number DESC LIMIT 1""",
            [entry],
        ).fetchall()
        if not rows:
            raise BenchHoursError(f"there is no entry {entry}", "Load the page again.")
        return put_rows(con, TIME_ENTRIES, [as_row(json.loads(rows[0][0]))], change)


def _check_stored(con: Connection, entry: str) -> None:
    if not con.execute("SELECT EXISTS (FROM spells WHERE entry = ?)", [entry]).fetchall()[0][0]:
        raise BenchHoursError(
            f"there is no entry {entry}", "It may have been changed elsewhere: load the page again."
        )


def decide(
    store: Store, rows: Sequence[tuple[str, int]], decision: Decision, change: Change
) -> tuple[int, list[str]]:
    """Decide on rows held back.

    Parameters
    ----------
    rows : `content` and `rank` of each, as in the table `held_back`; those decided already are passed over.
    decision : `correction` of the entry it resembles, `new`, or `left out` (neither: it stays out, also when
        its file comes again).

    Returns
    -------
    How many were decided, and a sentence for each that was not.
    """
    with store.writing() as con:
        con.execute(
            'CREATE OR REPLACE TEMP TABLE asked AS SELECT unnest(from_json(?, \'[{"content": "UUID", "rank":'
            ' "BIGINT"}]\'), max_depth := 2)',
            [json.dumps([{"content": content, "rank": rank} for content, rank in rows])],
        )
        questions = con.execute(
            """SELECT b.content, b.rank, b.resembles, b.said,
                left(replace(b.content::VARCHAR, '-', ''), 20) || '-' || b.rank AS own_name, b.file, b.line,
                count(*) OVER (PARTITION BY b.resembles) > 1 AS shared
            FROM held_back AS b SEMI JOIN asked USING (content, rank)
            WHERE b.decided IS NULL ORDER BY b.file, b.line"""
        ).fetchall()
        left: list[str] = []
        settled: list[tuple[Any, int]] = []
        if decision == "left out":
            settled = [(content, rank) for content, rank, *_ in questions]
        else:
            plain = [row for row in questions if decision == "new" or not row[7]]
            left = [
                f"{row[5]}, line {row[6]}: several rows would correct the same entry; decide them one by one."
                for row in questions
                if row not in plain
            ]
            settled = _put(con, plain, decision, change, left)
        for content, rank in settled:
            con.execute(
                "UPDATE held_back SET decided = ? WHERE content = ? AND rank = ?", [decision, content, rank]
            )
    return len(settled), left


def _put(
    con: Connection, questions: list[Any], decision: Decision, change: Change, left: list[str]
) -> list[tuple[Any, int]]:
    """Store the rows as decided; those that have a fault now stay open, and `left` says why."""
    if not questions:
        return []
    cells = [
        {**as_row(json.loads(row[3])), "entry": row[2] if decision == "correction" else row[4]}
        for row in questions
    ]
    report = put_rows(con, TIME_ENTRIES, cells, change, all_or_none=False)
    faulty = {
        line - 1: f"{reason}. {mend}"
        for line, reason, mend in report.problems[["line", "reason", "mend"]].itertuples(index=False)
    }
    left += [f"{questions[number][5]}, line {questions[number][6]}: {why}" for number, why in faulty.items()]
    return [(row[0], row[1]) for number, row in enumerate(questions) if number not in faulty]


def take_back_milestone(
    con: Connection,
    known_object: str,
    phase: str,
    technique: str,
    part: str,
    finished_on: date,
    change: Change,
) -> None:
    """Take a milestone back: the line is open again, unless another finishes it. `technique` and `part`
    empty: of the whole phase.
    """
    which = "r.object = ? AND r.phase = ? AND r.technique = ? AND r.part = ? AND r.finished_on = ?"
    values: list[object] = [known_object, phase, technique, part, finished_on]
    record_earlier(
        con,
        "milestones",
        replace(change, event="taken back"),
        f"""SELECT r.object AS key, to_json(r) AS earlier, {MILESTONE_CONTENT} AS content
        FROM milestones AS r {WITH_KEYS}
        WHERE {which}""",
        values,
    )
    taken = con.execute(f"DELETE FROM milestones AS r WHERE {which}", values).fetchall()[0][0]
    if not taken:
        raise BenchHoursError(
            "there is no such milestone", "It may have been taken back already: load the page again."
        )
