"""Works from memory: rows of their sheet read over, and saved by the one check and store.

A row becomes a work, the estimate that was quoted for it (made and approved at the begin of its period; where
only its price is known, without hours) and its hours as totals dated within the period.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import pandas as pd

from ingest import autosave
from ingest.editing.remembered_kinds import KindRead, in_full, kinds_held
from ingest.editing.remembered_sheet import GRADES, OF_THE_WORK, QUOTED, TAKEN, Sheet
from ingest.errors import NotationError
from ingest.faults import sentence, worded
from ingest.importing.cell_readers import Context
from ingest.importing.form_rows import RowsRefused, check_typed, own_faults, put_rows
from ingest.importing.rows import Row
from ingest.schema.csv_columns import ESTIMATES, OBJECTS, TIME_ENTRIES, Form
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import Change
from ingest.values import calendar_days, durations, sizes
from ingest.values.calendar_days import Period
from ingest.values.work_codes import codes_from_memory

SAME_HOURS = 0.05  # within which the hours of a work are those of its phases

# What a cell of the sheet is in the rows of the forms.
_CELL_OF = {
    "height_cm": "size",
    "width_cm": "size",
    "finished_on": "when",
    "made_on": "when",
    "approved_on": "when",
    "date": "when",
}


@dataclass(frozen=True, slots=True)
class CellFault:
    """What is wrong with a cell, or may be: the number of its row, its column of the sheet and what it says,
    with the sentences.
    """

    row: int
    column: str
    value: str
    reason: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The sheet, read.

    Attributes
    ----------
    faults : by which rows stay on the sheet; `doubts` : what does not keep them from being saved.
    ready : numbers of the rows without a fault.
    """

    faults: list[CellFault]
    doubts: list[CellFault]
    ready: list[int]


@dataclass(frozen=True, slots=True)
class _WorkRows:
    """The rows of the forms that one row of the sheet comes to."""

    work: Row
    estimate: list[dict[str, str]]
    entries: list[dict[str, str]]


def read_over(store: Store, sheet: Sheet, now: datetime) -> Reading:
    """Read the sheet as it would be read on saving, all rows at once, and store nothing."""
    if not sheet.filled:
        return Reading(faults=[], doubts=[], ready=[])
    with store.reading() as con:
        context = Context.of(con, now=now)
        works, kinds = in_full(kinds_held(con), sheet.works)
        sheet = replace(sheet, works=works)
        rows, faults = _rows_of(con, sheet, context)
        faults += [_of_kind(read) for read in kinds if len(read.kinds) > 1]
        doubts = _first_of_each([read for read in kinds if len(read.kinds) == 1])
        # a work is known to what is checked after it by the context that its check has added it to
        for form, of_form in _FORMS:
            listed = [(number, row) for number, work in rows.items() for row in of_form(work)]
            if not listed:
                continue
            checked = check_typed(con, form, [row for _, row in listed], context, [n for n, _ in listed])
            faults += _cell_faults(own_faults(checked.faults), form, sheet)
            doubts += _cell_faults(checked.doubts, form, sheet)
    faulty = {fault.row for fault in faults}
    priced = {fault.row for fault in faults if fault.column == "price"}
    # that there is nothing but a price is no fault beside one of the price itself
    faults = [fault for fault in faults if fault.value or fault.column != "quoted" or fault.row not in priced]
    return Reading(
        faults=_once(faults),
        doubts=[doubt for doubt in _once(doubts) if doubt.row not in faulty],
        ready=[number for number in sheet.filled if number not in faulty],
    )


def save(store: Store, sheet: Sheet, change: Change, by: str) -> tuple[list[str], Sheet]:
    """Store every row without a fault, a transaction each in which it leaves the kept sheet too.

    Returns
    -------
    The codes of the works that came in, and what is left on the sheet.
    """
    codes: list[str] = []
    with store.reading() as con:
        sheet = replace(sheet, works=in_full(kinds_held(con), sheet.works)[0])
    left = sheet
    for number in read_over(store, sheet, change.at).ready:
        row = sheet.works[number - 1]
        single = replace(sheet, works=[row])
        rest = replace(left, works=[other for other in left.works if other is not row])
        try:
            with store.writing() as con:
                rows, faults = _rows_of(con, single, Context.of(con, now=change.at))
                if faults:
                    continue
                for form, of_form in _FORMS:
                    if listed := list(of_form(rows[1])):
                        put_rows(con, form, listed, change)
                autosave.put(con, autosave.FROM_MEMORY, rest.as_kept, by, change.at)
        except RowsRefused:
            continue  # what another window changed meanwhile: the row stays, and its fault is said of it
        left = rest
        codes.append(rows[1].work["object"])
    return codes, left


_FORMS: tuple[tuple[Form, Callable[[_WorkRows], Sequence[Row]]], ...] = (
    (OBJECTS, lambda rows: [rows.work]),
    (ESTIMATES, lambda rows: rows.estimate),
    (TIME_ENTRIES, lambda rows: rows.entries),
)


def _rows_of(con: Connection, sheet: Sheet, context: Context) -> tuple[dict[int, _WorkRows], list[CellFault]]:
    """The rows of the forms by the number of the row, of those whose period is known; and what is wrong with
    the cells that these rows do not have as they stand.
    """
    rows: dict[int, _WorkRows] = {}
    faults: list[CellFault] = []
    periods = _periods(sheet, context, faults)
    codes = codes_from_memory(
        {number: period.first.year for number, period in periods.items()}, _codes_used(con)
    )
    for number, period in periods.items():
        cells = sheet.works[number - 1]
        cell_faults = [*_missing(cells, sheet, number), *_disagreeing(cells, sheet, number)]
        sides: tuple[str, str] | None = None
        try:
            sides = sizes.two_sides(cells["size"]) if cells.get("size") else None
        except NotationError as error:
            cell_faults.append(_fault(number, "size", cells, error.code, error.details))
        faults += cell_faults
        # also of a row with a fault, so that all that is wrong with it is said at once
        rows[number] = _work_rows(cells, sheet, period, sides, codes[number], context)
    return rows, faults


def _periods(sheet: Sheet, context: Context, faults: list[CellFault]) -> dict[int, Period]:
    """When each work was treated."""
    periods = {}
    for number, cells in sheet.filled.items():
        text = cells.get("when") or sheet.when
        if not text:
            faults.append(_fault(number, "when", cells, "empty", {}))
            continue
        try:
            periods[number] = calendar_days.day_or_period(text, context.settings.day_order)
        except NotationError as error:
            faults.append(_fault(number, "when", {"when": text}, error.code, error.details))
    return periods


def _missing(cells: Mapping[str, str], sheet: Sheet, number: int) -> list[CellFault]:
    missing = [] if cells.get("title") else ["title"]
    if not cells.get("taken") and not any(cells.get(f"{TAKEN}{phase}") for phase in sheet.phases):
        missing.append("taken")
    if not sheet.person:
        missing.append("person")
    return [_fault(number, name, cells, "empty", {}) for name in missing]


def _disagreeing(cells: Mapping[str, str], sheet: Sheet, number: int) -> list[CellFault]:
    """Hours of the work that are not what its phases come to."""
    cell_faults = []
    for column, prefix in (("quoted", QUOTED), ("taken", TAKEN)):
        of_phases = [
            cells[name] for name in (f"{prefix}{phase}" for phase in sheet.phases) if cells.get(name)
        ]
        if not (cells.get(column) and of_phases):
            continue
        try:
            phases_hours = sum(map(durations.hours, of_phases))
            differs = abs(durations.hours(cells[column]) - phases_hours) > SAME_HOURS
        except NotationError:
            continue  # the check of its row says so
        if differs:
            cell_faults.append(_fault(number, column, cells, "hours_against_phases", {"hours": phases_hours}))
    return cell_faults


def _of_phases(sheet: Sheet, prefix: str) -> list[str]:
    return [f"{prefix}{phase}" for phase in sheet.phases]


def _work_rows(
    cells: Mapping[str, str],
    sheet: Sheet,
    period: Period,
    sides: tuple[str, str] | None,
    code: str,
    context: Context,
) -> _WorkRows:
    finished_on = max(period.first, min(period.last, context.today))
    work = {
        "object": code,
        **{name: cells[name] for name in (*OF_THE_WORK, *GRADES) if cells.get(name)},
        **(dict(zip(("height_cm", "width_cm"), sides, strict=True)) if sides else {}),
        "finished_on": f"{finished_on}",
        "remembered": "yes",
    }
    head = {"object": code, "version": "1", "made_on": f"{period.first}", "approved_on": f"{period.first}"}
    if cells.get("price"):
        head |= {"price": cells["price"], "currency": context.settings.currency}
    quoted, taken = _lines(cells, sheet, "quoted", QUOTED), _lines(cells, sheet, "taken", TAKEN)
    if cells.get("price") and not quoted:  # for how many hours it was asked nobody knows
        quoted = [line | {"hours": ""} for line in taken]
    estimate = [head | line for line in quoted]
    # dated by the text where it is of a period, so that it is stored how well the date is known
    dated = {"date": cells.get("when") or sheet.when, "total": period.total or "day"}
    entries = [{"object": code, "person": sheet.person, **dated, **line} for line in taken]
    return _WorkRows(work, estimate, entries)


def _lines(cells: Mapping[str, str], sheet: Sheet, column: str, prefix: str) -> list[dict[str, str]]:
    """The hours of each phase, or else of the work as a whole."""
    of_phases = [
        {"phase": phase, "technique": "", "hours": cells[f"{prefix}{phase}"]}
        for phase in sheet.phases
        if cells.get(f"{prefix}{phase}")
    ]
    of_work = [{"phase": "", "technique": "", "hours": cells[column]}] if cells.get(column) else []
    return of_phases or of_work


def _codes_used(con: Connection) -> list[str]:
    """Codes of works that are held, or were once."""
    return [
        code
        for (code,) in con.execute(
            "SELECT object FROM objects UNION SELECT key FROM history WHERE kind = 'objects'"
        ).fetchall()
    ]


def _first_of_each(reads: Sequence[KindRead]) -> list[CellFault]:
    """What letters are read as is said where they stand first."""
    first = {read.letters: read for read in reversed(reads)}
    return [_of_kind(read) for read in first.values()]


def _of_kind(read: KindRead) -> CellFault:
    """What first letters are read as, or that several kinds begin so."""
    code = "kind_read_as" if len(read.kinds) == 1 else "kind_of_several"
    return _fault(read.row, "kind", {"kind": read.letters}, code, {"kinds": " or ".join(read.kinds)})


def _cell_faults(faults: pd.DataFrame, form: Form, sheet: Sheet) -> list[CellFault]:
    """Faults of rows of a form as faults of cells of the sheet."""
    hours = {ESTIMATES.kind: ("quoted", QUOTED), TIME_ENTRIES.kind: ("taken", TAKEN)}
    cell_faults = []
    for number, column, value, reason, mend in worded(faults)[
        ["line", "column", "value", "reason", "mend"]
    ].itertuples(index=False):
        cells = sheet.works[int(number) - 1]
        cell = _CELL_OF.get(column, column)
        if column in ("hours", "phase") and form.kind in hours:
            of_work, prefix = hours[form.kind]
            cell = next((name for name in _of_phases(sheet, prefix) if cells.get(name) == value), of_work)
        shown = cells.get(cell) or (value if isinstance(value, str) else "")
        cell_faults.append(CellFault(int(number), cell, shown, reason, mend))
    return cell_faults


def _fault(
    number: int, column: str, cells: Mapping[str, str], code: str, details: Mapping[str, object]
) -> CellFault:
    return CellFault(number, column, cells.get(column, ""), *sentence(code, details))


def _once(faults: Sequence[CellFault]) -> list[CellFault]:
    """One fault a cell, the first, in the order of the rows."""
    first = {(fault.row, fault.column): fault for fault in reversed(faults)}
    return sorted(first.values(), key=lambda fault: fault.row)
