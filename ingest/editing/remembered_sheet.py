"""The sheet of works from memory: finished works of before, a row each, kept as it is typed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ingest import autosave
from ingest.sql import Connection
from ingest.store import Store

QUOTED, TAKEN = "quoted ", "taken "  # in front of a phase: a cell of its hours
OF_THE_WORK = ("title", "kind")
GRADES = ("structure_condition", "paint_condition", "surface_condition")


@dataclass(slots=True, kw_only=True)
class Sheet:
    """What is typed so far.

    Attributes
    ----------
    works : a row each, to text: `OF_THE_WORK`, `size`, `GRADES`, `when`, `quoted` and `taken` (hours),
        `price`, and `QUOTED` and `TAKEN` with a phase behind.
    phases : whose hours have columns of their own.
    person : whose hours they were; `when` : the period of rows that say none.
    kept_at, kept_by : when (UTC) and by which visit it was kept; None for one that is not kept yet.
    """

    works: list[dict[str, str]] = field(default_factory=list)
    phases: list[str] = field(default_factory=list)
    person: str = ""
    when: str = ""
    kept_at: datetime | None = None
    kept_by: str = ""

    @property
    def filled(self) -> dict[int, dict[str, str]]:
        """The rows with anything in them, by their number on the sheet."""
        return {number: row for number, row in enumerate(self.works, 1) if any(row.values())}

    @property
    def as_kept(self) -> dict[str, object]:
        return {"works": self.works, "phases": self.phases, "person": self.person, "when": self.when}


def read(con: Connection) -> Sheet | None:
    """The sheet as it was kept, if anything is."""
    draft = autosave.read(con, autosave.FROM_MEMORY)
    return Sheet(**draft.value, kept_at=draft.at, kept_by=draft.by) if draft else None


def keep(store: Store, sheet: Sheet, by: str) -> datetime:
    """Keep the sheet from the visit `by`; returns the instant in UTC."""
    return autosave.keep(store, autosave.FROM_MEMORY, sheet.as_kept, by).at
