"""One way in: rows are checked, and what was checked is stored.

Files, pages, phones and the sheet of a quote all become rows (`ingest.importing.rows`). `check` reads them
and the record and writes nothing but temporary tables of its connection
(`ingest.importing.temporary_tables`); `store` writes what it left, in the same connection and transaction,
and decides nothing of a row.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import pandas as pd

from ingest.faults import worded
from ingest.importing import (
    entry_matching,
    estimates,
    export_rows,
    milestones,
    objects,
    time_entries,
    vocabulary_rows,
)
from ingest.importing.cell_readers import Context
from ingest.importing.cell_values import read_cells
from ingest.importing.csv_reader import LineFault
from ingest.importing.declined_changes import store_left
from ingest.importing.entry_matching import HeldBackAs
from ingest.importing.rejects import Rejects, rejects_of
from ingest.importing.row_status import Outcome, RowStatus, untouched
from ingest.importing.rows import Rows
from ingest.schema.csv_columns import (
    ESTIMATES,
    FORMS,
    MILESTONES,
    OBJECTS,
    PHASES,
    REJECT_COLUMNS,
    TECHNIQUES,
    TIME_ENTRIES,
    Form,
)
from ingest.sql import Connection
from ingest.tables.audit_log import Change

_HELD_BACK: dict[str, Callable[[Connection], pd.DataFrame]] = {
    TIME_ENTRIES.kind: entry_matching.held_back,
    ESTIMATES.kind: estimates.held_back,
    OBJECTS.kind: objects.held_back,
}
FAULT_COLUMNS = ("row", "line", "column", "value", "code", "details")
REMARK_COLUMNS = ["line", "column", "value", "reason", "mend"]


@dataclass(frozen=True, kw_only=True)
class Checked:
    """The account of rows: what becomes of each, and why. Typed, they lie in the temporary table `resolved`
    until the next check in the same connection.

    Attributes
    ----------
    outcome : how many rows are stored, correct something, are held already, are held back, are rejected; or
        would be, until they are stored.
    faults, doubts : frames of `FAULT_COLUMNS` in the order of the rows: what rejects a row and what does not,
        each by its code in `ingest.faults` and its details as JSON; `row` is null for a line that is no row.
        A row may have several.
    new_people : named for the first time.
    held_back : frame of rows that may correct a held entry, or are held by other words: `line`, `what`
        (object, technique, person, day), `held_hours` of the entry it resembles, `hours`; null where there
        are none.
    token : by which a connection knows what it checked last.
    rejected : of a file, the rows that did not come in, where there are any.
    rejects : where they were written.
    settled : how many rows that were rejected before and waited to be mended have come in with these.
    """

    form: Form
    rows: Rows
    outcome: Outcome
    faults: pd.DataFrame
    doubts: pd.DataFrame
    new_people: list[str]
    held_back: pd.DataFrame
    token: str = ""
    rejected: Rejects | None = None
    rejects: Path | None = None
    settled: int = 0

    @property
    def file(self) -> str:
        return self.rows.name

    @property
    def kind(self) -> str:
        return self.form.kind

    @property
    def complete(self) -> bool:
        """True if nothing was rejected or held back."""
        return not (self.outcome.rejected or self.outcome.held_back)

    @property
    def held_by_other_words(self) -> int:
        """How many of the rows held back came in before, when words of their table meant something else."""
        said_otherwise = self.rows.said_otherwise
        if said_otherwise is None:
            return 0
        lines = self.rows.lines[said_otherwise.entries["row"]]
        return int(self.held_back["line"].isin(lines).sum())

    @cached_property
    def problems(self) -> pd.DataFrame:
        """The faults in words: frame of `line`, `column`, `value`, `reason`, `mend`."""
        return worded(self.faults)[REMARK_COLUMNS]

    @cached_property
    def warnings(self) -> pd.DataFrame:
        """The doubts in words, likewise."""
        return worded(self.doubts)[REMARK_COLUMNS]

    @property
    def unknown_columns(self) -> list[str]:
        """Columns of the file that were not read."""
        file = self.rows.file
        if file is None:
            return []
        columns = (*self.form.names, *REJECT_COLUMNS)
        strangers = [text for text, name in zip(file.header, file.names, strict=True) if name not in columns]
        return [*strangers, *self.rows.not_read]


def check(
    con: Connection, form: Form, rows: Rows, context: Context, held_back_as: HeldBackAs = "ask"
) -> Checked:
    """Check rows of a form against themselves and what the record holds; nothing is written.

    Parameters
    ----------
    held_back_as : what to do with a row that may correct a held entry: keep it aside, store it, or correct.
    """
    status = RowStatus(con)
    token = secrets.token_hex(8)
    con.execute(f"SET VARIABLE last_check = '{token}'")
    if form in FORMS:
        read_cells(con, form, rows, context)
    match form.kind:
        case PHASES.kind:
            vocabulary_rows.check_phases(con, rows, status)
        case TECHNIQUES.kind:
            vocabulary_rows.check_techniques(con, rows, status)
        case OBJECTS.kind:
            objects.check_objects(con, rows, context, status, held_back_as)
        case ESTIMATES.kind:
            estimates.check(con, rows, context, status, held_back_as)
        case MILESTONES.kind:
            milestones.check_milestones(con, rows, context, status)
        case TIME_ENTRIES.kind:
            time_entries.check(con, rows, context, status, held_back_as)
        case _:
            export_rows.check(con, form, rows, status)
    outcome = status.outcome()
    checked = Checked(
        token=token,
        form=form,
        rows=rows,
        outcome=replace(outcome, rejected=outcome.rejected + len(rows.faults)),
        faults=read_remarks(con, "faults", form, rows),
        doubts=read_remarks(con, "warnings", form, rows),
        new_people=named_first(con) if form in (TIME_ENTRIES, ESTIMATES) else [],
        held_back=(
            _HELD_BACK[form.kind](con)
            if outcome.held_back
            else pd.DataFrame(columns=["line", "what", "held_hours", "hours"])
        ),
    )
    if checked.outcome.rejected and not rows.typed:
        return replace(checked, rejected=rejects_of(con, rows, checked.faults))
    return checked


def store(con: Connection, checked: Checked, change: Change) -> None:
    """Store what was checked last in this connection, inside the caller's transaction; `change` is what the
    history notes of it.

    Raises `RuntimeError` where something else was checked since.
    """
    if con.execute("SELECT getvariable('last_check')").fetchall()[0][0] != checked.token:
        raise RuntimeError(
            "other rows were checked in this connection since, or these were checked in another one"
        )
    form, rows = checked.form, checked.rows
    match form.kind:
        case PHASES.kind:
            vocabulary_rows.store_phases(con, change)
        case TECHNIQUES.kind:
            vocabulary_rows.store_techniques(con, change)
        case OBJECTS.kind:
            objects.store_objects(con, change)
        case ESTIMATES.kind:
            estimates.store(con, checked.new_people, change)
        case MILESTONES.kind:
            milestones.store_milestones(con)
        case TIME_ENTRIES.kind:
            time_entries.store(con, rows, checked.new_people, change)
        case _:
            export_rows.store(con, form, rows, change)
    if form in (OBJECTS, ESTIMATES):
        store_left(con, rows, change)
    if not rows.typed:
        outcome = checked.outcome
        con.execute(
            "INSERT INTO imports SELECT coalesce(max(number), 0) + 1, ?, ?, ?, ?, ?, ?, ?, ? FROM imports",
            [
                change.at,
                rows.name,
                form.kind,
                outcome.stored,
                outcome.corrected,
                outcome.already_held,
                outcome.held_back,
                outcome.rejected,
            ],
        )


def read_remarks(con: Connection, table: str, form: Form, rows: Rows) -> pd.DataFrame:
    """Rows of the table `faults` or `warnings` as a frame of `FAULT_COLUMNS`, in the order of the rows; the
    faults include lines that are no rows.
    """
    lines = _of_lines(rows.faults) if table == "faults" else []
    if not con.execute(f"SELECT EXISTS (FROM {table})").fetchall()[0][0]:
        return pd.DataFrame(lines, columns=list(FAULT_COLUMNS)).sort_values(
            "line", kind="stable", ignore_index=True
        )
    shown = " ".join(
        f"WHEN '{name}' THEN raw.c{number}" for number, name in enumerate(rows.names) if name in form.names
    )
    frame = con.execute(
        f"""SELECT t."row", l.line, t.column_name AS "column",
            CASE t.column_name {shown} ELSE NULL END AS value, t.code, t.details::VARCHAR AS details
        FROM {table} AS t JOIN row_lines AS l USING ("row") JOIN raw USING ("row")
        ORDER BY l.line, list_position(?::VARCHAR[], t.column_name), t.code, t.details""",
        [form.names],
    ).df()
    if lines:
        frame = pd.concat([frame, pd.DataFrame(lines, columns=list(FAULT_COLUMNS))])
    return frame.sort_values("line", kind="stable", ignore_index=True)


def _of_lines(faults: Sequence[LineFault]) -> list[tuple[object, ...]]:
    return [
        (None, fault.line, "", fault.text[:80], fault.code, json.dumps(fault.details)) for fault in faults
    ]


def named_first(con: Connection) -> list[str]:
    """The people whom rows that will be stored (of the temporary table `resolved`) name for the first time,
    in the order of their names.
    """
    return [
        row[0]
        for row in con.execute(
            f"""SELECT DISTINCT person FROM resolved AS r ANTI JOIN people USING (person)
            WHERE person IS NOT NULL AND {untouched("r")} ORDER BY person"""
        ).fetchall()
    ]
