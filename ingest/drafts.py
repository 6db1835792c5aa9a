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
from ingest.typed import put_rows

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
    """

    version: dict[str, str] = field(default_factory=dict)
    lines: list[dict[str, str]] = field(default_factory=list)
    kept_at: datetime | None = None

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
    return Draft(version=said["version"], lines=said["lines"], kept_at=found[0][1])


def keep(store: Store, known_object: str, draft: Draft) -> datetime:
    """Keep a draft as it stands now; the instant in UTC."""
    now = utc_now()
    said = json.dumps({"version": _said(draft.version, VERSION_COLUMNS), "lines": [_said(line, LINE_COLUMNS) for line in draft.lines]}, ensure_ascii=False)
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
    lines = draft.filled
    if not lines:
        raise BenchHoursError("the estimate has no lines yet", "Write a technique and its hours, or a quantity.")
    with store.writing() as con:
        version = 1 + con.execute("SELECT coalesce(max(version), 0) FROM estimate_versions WHERE object = ?", [known_object]).fetchall()[0][0]
        head = {"object": known_object, "version": str(version), **_said(draft.version, VERSION_COLUMNS)}
        head.setdefault("made_on", "")
        report = put_rows(con, ESTIMATES, [{"phase": "", **head, **_said(line, LINE_COLUMNS)} for line in lines], change)
        con.execute("DELETE FROM drafts WHERE object = ?", [known_object])
    return version, report
