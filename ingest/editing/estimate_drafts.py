"""An estimate being written: every committed cell is kept, until the draft becomes a version or is thrown
away.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd

from ingest.errors import BenchHoursError
from ingest.faults import worded
from ingest.importing.check import Checked
from ingest.importing.estimate_versions import next_version
from ingest.importing.form_rows import check_typed, own_faults, put_rows, with_labels
from ingest.schema.csv_columns import ESTIMATES
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import Change, utc_now
from ingest.values.numbers import written

VERSION_COLUMNS = ("made_on", "reason", "price", "currency", "tax_in_price", "tax_per_cent")
LINE_COLUMNS = (
    *("phase", "technique", "part", "person", "quantity"),
    *("hours", "low_hours", "high_hours", "unattended_hours", "option", "note"),
)


@dataclass(slots=True, kw_only=True)
class Draft:
    """Texts typed so far.

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
        """The lines that are not blank, by their number on the sheet."""
        return {number: line for number, line in enumerate(self.lines, 1) if not is_blank(line)}


_OF_OTHER_CELLS = ("person", "option", "mark", "unit")


def is_blank(line: Mapping[str, str]) -> bool:
    """A line of a sheet says neither in words nor in hours what is to be done, whoever is to do it."""
    return not any(text for name, text in line.items() if name not in _OF_OTHER_CELLS)


def read(con: Connection, known_object: str) -> Draft | None:
    """The draft of a work, if one is being written."""
    rows = con.execute("SELECT said, kept_at FROM drafts WHERE object = ?", [known_object]).fetchall()
    if not rows:
        return None
    content = json.loads(rows[0][0])
    return Draft(
        version=content["version"], lines=content["lines"], kept_at=rows[0][1], kept_by=content["kept_by"]
    )


def keep(store: Store, known_object: str, draft: Draft, by: str = "") -> datetime:
    """Store a draft from the visit `by`; returns the instant in UTC."""
    now = utc_now()
    lines = [_filled_cells(line, LINE_COLUMNS) for line in draft.lines]
    content = json.dumps(
        {"version": _filled_cells(draft.version, VERSION_COLUMNS), "lines": lines, "kept_by": by},
        ensure_ascii=False,
    )
    # that there is a draft stands in the list of works; what is in it is nobody's figure
    begun = read(store.cursor(), known_object) is None
    with store.writing(counts=begun) as con:
        con.execute(
            """INSERT INTO drafts
            VALUES (?, ?, ?, ?) ON CONFLICT (object) DO UPDATE SET kept_at = excluded.kept_at,
                said = excluded.said""",
            [known_object, now, now, content],
        )
    return now


def _filled_cells(cells: Mapping[str, str], columns: tuple[str, ...]) -> dict[str, str]:
    return {name: cells[name] for name in columns if cells.get(name)}


def throw_away(store: Store, known_object: str) -> None:
    """Forget a draft."""
    with store.writing() as con:
        con.execute("DELETE FROM drafts WHERE object = ?", [known_object])


def make_version(
    store: Store, known_object: str, draft: Draft, change: Change, labels: Mapping[str, str] | None = None
) -> tuple[int, Checked]:
    """Store a draft as the next version of the estimate, in one transaction; raises `RowsRefused` and keeps
    the draft if it has a fault.
    """
    if not draft.filled:
        raise BenchHoursError(
            "the estimate has no lines yet",
            "Write a technique or a phase and its hours, or the hours of the whole work.",
        )
    with store.writing() as con:
        version = next_version(con, known_object)
        rows = _rows(known_object, version, draft)
        report = put_rows(con, ESTIMATES, rows, change, numbers=list(draft.filled), labels=labels)
        con.execute("DELETE FROM drafts WHERE object = ?", [known_object])
    return version, report


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A draft, read.

    Attributes
    ----------
    problems, notes : sentences, in the order of the lines: what keeps it from being saved, and what does not.
    doubts : what of its price can hardly be meant.
    lines : frame of the lines without a fault, in the order of work: `phase`, `technique`, `part`, `option`
        (empty: belongs to all), `quantity`, `unit`, `hours` (null where there is a quantity only),
        `unattended_hours` (elapsed).
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
SELECT r.phase, r.technique, r.part, coalesce(r.option, '') AS option, r.quantity, r.unit, r.hours,
    r.unattended_hours
FROM resolved AS r JOIN row_lines AS l USING ("row") LEFT JOIN phases AS p ON p.phase = r.phase
WHERE NOT list_contains(?::BIGINT[], l.line) ORDER BY p.position, r.phase, l.line
"""


def read_over(store: Store, known_object: str, draft: Draft, labels: Mapping[str, str]) -> Reading:
    """Read a draft as it would be read on saving, and store nothing; `labels` are the sheet's words for
    columns.
    """
    if not draft.filled:
        return Reading(problems=[], notes=[], lines=pd.DataFrame(columns=_LINE_COLUMNS))
    with store.reading() as con:
        checked = check_typed(
            con,
            ESTIMATES,
            _rows(known_object, next_version(con, known_object), draft),
            numbers=list(draft.filled),
        )
        # that the other lines stay out with a faulty one is no fault of theirs
        own = own_faults(checked.faults)
        lines = con.execute(_READ_LINES, [[int(line) for line in own["line"]]]).df()
        price = con.execute(
            f"SELECT {', '.join(f'any_value({name})' for name in _PRICE)} FROM resolved"
        ).fetchall()[0]
    of_price = checked.doubts["column"] == "price"
    return Reading(
        problems=fault_sentences(own, labels),
        notes=fault_sentences(checked.doubts[~of_price], labels),
        doubts=fault_sentences(checked.doubts[of_price], labels),
        lines=lines,
        **dict(zip(_PRICE, price, strict=True)),
    )


def as_typed(lines: pd.DataFrame) -> list[dict[str, str]]:
    """Lines of an estimate that is held, as they would be typed: `LINE_COLUMNS` to text, empty where there is
    nothing.
    """
    return [
        {
            name: (
                ""
                if pd.isna(row[name])
                else written(row[name])
                if isinstance(row[name], float)
                else str(row[name])
            )
            for name in LINE_COLUMNS
        }
        for row in lines.to_dict("records")
    ]


def fault_sentences(faults: pd.DataFrame, labels: Mapping[str, str], *, of_lines: bool = True) -> list[str]:
    """Each fault or warning once, in the page's own words: on a sheet with the number of the line, else (not
    `of_lines`) on the one thing a form is about.
    """
    sentences = []
    for line, column, value, reason, mend in worded(faults)[
        ["line", "column", "value", "reason", "mend"]
    ].itertuples(index=False):
        where = "" if column in VERSION_COLUMNS or not of_lines else f"Line {line}, "
        shown = f' "{value}"' if isinstance(value, str) and value else ""
        sentence = (
            f"{where}{labels.get(column, column.replace('_', ' '))}{shown}:"
            f" {with_labels(f'{reason}. {mend}', labels)}"
        )
        sentences.append(sentence[0].upper() + sentence[1:])
    return list(dict.fromkeys(sentences))


def _rows(known_object: str, version: int, draft: Draft) -> list[dict[str, str]]:
    head = {
        "phase": "",
        "technique": "",
        "made_on": "",
        "object": known_object,
        "version": str(version),
        **_filled_cells(draft.version, VERSION_COLUMNS),
    }
    return [{**head, **_filled_cells(line, LINE_COLUMNS)} for line in draft.filled.values()]
