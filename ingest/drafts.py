"""An estimate being written: every committed cell is kept, until the draft becomes a version or is thrown away."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import duckdb
import pandas as pd

from ingest.check import Checked
from ingest.errors import BenchHoursError
from ingest.estimates import next_version
from ingest.faults import worded
from ingest.history import Change, utc_now
from ingest.notation import written
from ingest.records import ESTIMATES
from ingest.store import Store
from ingest.typed import as_called, check_typed, own_faults, put_rows

VERSION_COLUMNS = ("made_on", "reason", "price", "currency", "tax_in_price", "tax_per_cent")
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
    def filled(self) -> dict[int, dict[str, str]]:
        """The lines with anything in them, by their number on the sheet."""
        return {number: line for number, line in enumerate(self.lines, 1) if any(line.values())}


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
    begun = read(store.cursor(), known_object) is None  # that there is a draft stands in the list of works; what is in it is nobody's figure
    with store.writing(counts=begun) as con:
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


def make_version(store: Store, known_object: str, draft: Draft, change: Change, called: Mapping[str, str] | None = None) -> tuple[int, Checked]:
    """Store a draft as the next version of the estimate, in one transaction; raises `RowsRefused` and keeps the draft if it has a fault."""
    if not draft.filled:
        raise BenchHoursError("the estimate has no lines yet", "Write a technique and its hours, or a quantity.")
    with store.writing() as con:
        version = next_version(con, known_object)
        rows = _rows(known_object, version, draft)
        report = put_rows(con, ESTIMATES, rows, change, numbers=list(draft.filled), called=called)
        con.execute("DELETE FROM drafts WHERE object = ?", [known_object])
    return version, report


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a draft reads as it stands.

    Attributes
    ----------
    problems, notes : sentences, in the order of the lines: what keeps it from being saved, and what does not. doubts : what of its price can hardly be meant.
    lines : frame of the lines without a fault, in the order of work: `phase`, `technique`, `part`, `option` (empty: belongs to all), `quantity`, `unit`,
        `hours` (null where there is a quantity only), `unattended_hours` (elapsed).
    price, currency, tax_in_price, tax_per_cent : None where not said, or not readable.
    """

    problems: list[str]
    notes: list[str]
    lines: pd.DataFrame
    price: float | None = None
    currency: str | None = None
    tax_in_price: bool | None = None
    tax_per_cent: float | None = None
    doubts: list[str] = field(default_factory=list)


_PRICE = ("price", "currency", "tax_in_price", "tax_per_cent")
_LINE_COLUMNS = ("phase", "technique", "part", "option", "quantity", "unit", "hours", "unattended_hours")
_READ_LINES = """
SELECT r.phase, r.technique, r.part, coalesce(r.option, '') AS option, r.quantity, r.unit, r.hours, r.unattended_hours
FROM resolved AS r JOIN row_lines AS l USING ("row") LEFT JOIN phases AS p ON p.phase = r.phase
WHERE NOT list_contains(?::BIGINT[], l.line) ORDER BY p.position, r.phase, l.line
"""


def read_over(store: Store, known_object: str, draft: Draft, called: Mapping[str, str]) -> Reading:
    """Read a draft as it would be read on saving, and store nothing; `called` are the sheet's words for columns."""
    if not draft.filled:
        return Reading(problems=[], notes=[], lines=pd.DataFrame(columns=_LINE_COLUMNS))
    with store.reading() as con:
        checked = check_typed(con, ESTIMATES, _rows(known_object, next_version(con, known_object), draft), numbers=list(draft.filled))
        own = own_faults(checked.faults)  # that the other lines stay out with a faulty one is no fault of theirs
        lines = con.execute(_READ_LINES, [[int(line) for line in own["line"]]]).df()
        price = con.execute(f"SELECT {', '.join(f'any_value({name})' for name in _PRICE)} FROM resolved").fetchall()[0]
    of_price = checked.doubts["column"] == "price"
    return Reading(
        problems=sentences(own, called),
        notes=sentences(checked.doubts[~of_price], called),
        doubts=sentences(checked.doubts[of_price], called),
        lines=lines,
        **dict(zip(_PRICE, price, strict=True)),
    )


def as_typed(lines: pd.DataFrame) -> list[dict[str, str]]:
    """Lines of an estimate that is held, as they would be typed: `LINE_COLUMNS` to text, empty where there is nothing."""
    return [
        {name: "" if pd.isna(row[name]) else written(row[name]) if isinstance(row[name], float) else str(row[name]) for name in LINE_COLUMNS}
        for row in lines.to_dict("records")
    ]


def sentences(faults: pd.DataFrame, called: Mapping[str, str], *, of_lines: bool = True) -> list[str]:
    """Each fault or warning once, in the page's own words: on a sheet with the number of the line, else (not `of_lines`) on the one thing a form is about."""
    said = []
    for line, column, value, reason, mend in worded(faults)[["line", "column", "value", "reason", "mend"]].itertuples(index=False):
        where = "" if column in VERSION_COLUMNS or not of_lines else f"Line {line}, "
        shown = f' "{value}"' if isinstance(value, str) and value else ""
        sentence = f"{where}{called.get(column, column.replace('_', ' '))}{shown}: {as_called(f'{reason}. {mend}', called)}"
        said.append(sentence[0].upper() + sentence[1:])
    return list(dict.fromkeys(said))


def _rows(known_object: str, version: int, draft: Draft) -> list[dict[str, str]]:
    head = {"phase": "", "technique": "", "made_on": "", "object": known_object, "version": str(version), **_said(draft.version, VERSION_COLUMNS)}
    return [{**head, **_said(line, LINE_COLUMNS)} for line in draft.filled.values()]
