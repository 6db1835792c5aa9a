"""An estimate being written: every committed cell is kept, until the draft becomes a version or is thrown away."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import duckdb

from ingest.errors import BenchHoursError
from ingest.history import Change, utc_now
from ingest.imports import Report
from ingest.records import ESTIMATES
from ingest.store import Store
from ingest.typed import own_faults, put_rows

VERSION_COLUMNS = ("made_on", "reason", "price", "currency")
LINE_COLUMNS = ("phase", "technique", "part", "person", "quantity", "hours", "low_hours", "high_hours", "unattended_hours", "option", "note")


@dataclass(slots=True, kw_only=True)
class Draft:
    """What is typed so far, as text.

    Attributes
    ----------
    version : `VERSION_COLUMNS` to text.
    lines : one mapping of `LINE_COLUMNS` to text each; nothing need be right yet.
    kept_at : when the last cell was kept, in UTC; None for a draft that is not kept yet.
    kept_by : from which visit, so that two open at once do not overwrite each other without a word.
    """

    version: dict[str, str] = field(default_factory=dict)
    lines: list[dict[str, str]] = field(default_factory=list)
    kept_at: datetime | None = None
    kept_by: str = ""

    @property
    def filled(self) -> list[dict[str, str]]:
        """The lines with anything in them."""
        return [line for line in self.lines if any(line.values())]


def read(con: duckdb.DuckDBPyConnection, known_object: str) -> Draft | None:
    """The draft of a work, if one is being written."""
    found = con.execute("SELECT said, kept_at FROM drafts WHERE object = ?", [known_object]).fetchall()
    if not found:
        return None
    said = json.loads(found[0][0])
    return Draft(version=said["version"], lines=said["lines"], kept_at=found[0][1], kept_by=said["kept_by"])


def keep(store: Store, known_object: str, draft: Draft, by: str = "") -> datetime:
    """Keep a draft as it stands now, from the visit `by`; the instant in UTC."""
    now = utc_now()
    lines = [_said(line, LINE_COLUMNS) for line in draft.lines]
    said = json.dumps({"version": _said(draft.version, VERSION_COLUMNS), "lines": lines, "kept_by": by}, ensure_ascii=False)
    with store.writing() as con:
        con.execute(
            """INSERT INTO drafts VALUES (?, ?, ?, ?) ON CONFLICT (object) DO UPDATE SET kept_at = excluded.kept_at, said = excluded.said""",
            [known_object, now, now, said],
        )
    return now


def _said(cells: Mapping[str, str], columns: tuple[str, ...]) -> dict[str, str]:
    return {name: cells[name] for name in columns if cells.get(name)}


def throw_away(store: Store, known_object: str) -> None:
    """Forget a draft."""
    with store.writing() as con:
        con.execute("DELETE FROM drafts WHERE object = ?", [known_object])


def make_version(store: Store, known_object: str, draft: Draft, change: Change) -> tuple[int, Report]:
    """Store a draft as the next version of the estimate, in one transaction; raises `RowsRefused` and keeps the draft if it has a fault."""
    if not draft.filled:
        raise BenchHoursError("the estimate has no lines yet", "Write a technique and its hours, or a quantity.")
    with store.writing() as con:
        version = _next_version(con, known_object)
        report = put_rows(con, ESTIMATES, _rows(known_object, version, draft), change)
        con.execute("DELETE FROM drafts WHERE object = ?", [known_object])
    return version, report


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a draft reads as it stands.

    Attributes
    ----------
    problems : sentences, in the order of the lines.
    phases : phase to hours, in the order of work; None where a line of it has a quantity only.
    techniques : those on the sheet.
    lines : lines without a fault.
    unattended_hours : elapsed.
    """

    problems: list[str]
    phases: dict[str, float | None]
    techniques: list[str]
    lines: int
    unattended_hours: float


def read_over(store: Store, known_object: str, draft: Draft, change: Change) -> Reading:
    """Read a draft as it would be read on saving, and store nothing."""
    lines = draft.filled
    if not lines:
        return Reading(problems=[], phases={}, techniques=[], lines=0, unattended_hours=0.0)
    with store.writing(keep=False) as con:
        version = _next_version(con, known_object)
        report = put_rows(con, ESTIMATES, _rows(known_object, version, draft), change, all_or_none=False)
        own = own_faults(report.problems)
        faulty = set(own["line"])
        rows = con.execute(
            """SELECT r.phase, r.technique, r.hours, r.unattended_hours, l.line FROM resolved AS r JOIN row_lines AS l USING ("row") LEFT JOIN phases AS p ON p.phase = r.phase
            ORDER BY p.position, r.phase, l.line"""
        ).fetchall()
    good = [row for row in rows if row[4] not in faulty]
    phases: dict[str, float | None] = {}
    for phase, _, hours, _, _ in good:
        before = phases.get(phase, 0.0)
        phases[phase] = None if hours is None or before is None else before + hours
    return Reading(
        problems=[_fault(int(line) - 1, column, value, reason, mend) for line, column, value, reason, mend in own.itertuples(index=False)],
        phases=phases,
        techniques=list(dict.fromkeys(row[1] for row in good)),
        lines=len(good),
        unattended_hours=sum(row[3] or 0.0 for row in good),
    )


def _fault(line: int, column: str, value: object, reason: str, mend: str) -> str:
    where = "" if column in VERSION_COLUMNS else f"Line {line}, "
    shown = f' "{value}"' if isinstance(value, str) and value else ""
    return f"{where}{column.replace('_', ' ')}{shown}: {reason}. {mend}"


def _next_version(con: duckdb.DuckDBPyConnection, known_object: str) -> int:
    found: int = con.execute("SELECT coalesce(max(version), 0) + 1 FROM estimate_versions WHERE object = ?", [known_object]).fetchall()[0][0]
    return found


def _rows(known_object: str, version: int, draft: Draft) -> list[dict[str, str]]:
    head = {"phase": "", "technique": "", "made_on": "", "object": known_object, "version": str(version), **_said(draft.version, VERSION_COLUMNS)}
    return [{**head, **_said(line, LINE_COLUMNS)} for line in draft.filled]
