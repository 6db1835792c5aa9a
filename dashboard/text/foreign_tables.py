"""Tables in other words than ours, in words: what their columns, texts and rules mean, and where a row
stands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from dashboard.formatting import day
from ingest.foreign.counted_twice import ReadOtherwise, WordSaidOtherwise
from ingest.foreign.preview import RowOutcome
from ingest.foreign.reading import ANY, CELL, FROM_TO, TODAY, HoursUnit, LeaveOut, Reading, RowKind, Source
from ingest.foreign.staying_versions import StayingVersion
from ingest.foreign.words import Meaning
from ingest.studio.vocabulary import Vocabulary
from ingest.values.calendar_days import DayOrder
from ingest.values.line_names import line_name
from ingest.values.spelling import folded

ROW_KINDS: dict[RowKind, str] = {
    "time entries": "hours worked",
    "estimates": "lines of an estimate",
    "objects": "works",
}

COLUMNS = {
    "entry": "code of the entry",
    "object": "work",
    "phase": "phase",
    "technique": "technique",
    "part": "part",
    "person": "person",
    "started_at": "begin",
    "ended_at": "end",
    FROM_TO: "begin and end in one cell",
    "date": "day",
    "hours": "hours",
    "mode": "mode",
    "charge": "charged as",
    "quantity": "quantity",
    "unit": "unit",
    "done": "done, per cent",
    "total": "a total of several days",
    "discovery": "discovery",
    "note": "note",
    "version": "version",
    "made_on": "made on",
    "approved_on": "approved on",
    "reason": "reason",
    "price": "price",
    "currency": "currency",
    "tax_in_price": "tax in the price",
    "tax_per_cent": "tax, per cent",
    "low_hours": "hours, low",
    "high_hours": "hours, high",
    "unattended_hours": "hours unattended",
    "option": "option",
    "title": "title",
    "maker": "maker",
    "kind": "kind",
    "support": "support",
    "shape": "shape",
    "height_cm": "height",
    "width_cm": "width",
    "area_dm2": "area",
    "structure_condition": "condition of the structure",
    "paint_condition": "condition of the paint",
    "surface_condition": "condition of the surface",
    "received_on": "received on",
    "due_on": "due on",
    "finished_on": "finished on",
    "returned_from": "returned from",
    "remembered": "told from memory",
    "commission": "commission",
    "owner": "owner",
    "owner_address": "address of the owner",
    "weekday": "day of the week",
}
"""By the name of one of our columns, how pages call it."""

STATUSES = {
    "stored": "kept",
    "corrects": "corrects what is held",
    "already held": "held already",
    "held back": "held back: correction or new?",
    "rejected": "refused",
}
OUTCOMES: Mapping[RowOutcome, str] = {
    "stored": "kept",
    "held already": "held already",
    "asked about": "asked about",
    "held back": "held back",
    "left out": "left out",
    "rejected": "refused",
}

DAY_ORDERS: Mapping[DayOrder, str] = {
    "dmy": "day, month, year",
    "mdy": "month, day, year",
    "ymd": "year, month, day",
    "unset": "not said: days that can be read two ways are refused",
}
HOURS_UNITS: Mapping[HoursUnit, str] = {"hours": "hours", "minutes": "minutes", "days": "working days"}
_TESTS = {"empty": "is empty", "is": "is", "begins": "begins with", "contains": "contains"}


def rule(item: LeaveOut, heads: Mapping[str, str]) -> str:
    """A rule for rows that are none; `heads` has the head of each column as written, by its name."""
    if item.test in ("before", "after"):
        return f"{item.test} {'today' if item.text == TODAY else item.text}"
    where = {ANY: "any cell", CELL: "the cell with the hours"}.get(item.column) or heads.get(
        item.column, item.column
    )
    return " ".join(filter(None, (where, _TESTS[item.test], item.text and f'"{item.text}"')))


def meaning(item: Meaning, titles: Mapping[str, str]) -> str:
    """What a text means, in a few words; `titles` of works by code."""
    if item.left_out:
        return "its rows are left out"
    values = item.values
    line = line_name(values.get("phase", ""), values.get("technique", ""))
    if code := values.get("object"):
        title = item.new_title or titles.get(code, "")
        return f"{'a new work, ' if item.new_title else ''}{code} {title}".strip()
    if "object" in values:
        return f"studio time, {line}"
    in_phase = f" ({values['phase']})" if values.get("phase") and values.get("technique") else ""
    return values.get("person") or f"{line}{in_phase}"


def stands_for(item: Meaning, words: Vocabulary, titles: Mapping[str, str]) -> str:
    """What a text means, with whether that is a technique or a phase."""
    values = item.values
    if values.get("object") or item.left_out or "object" in values:
        return meaning(item, titles)
    if technique := words.technique_spellings.get(folded(values.get("technique", ""))):
        phase = values.get("phase") or words.techniques[technique].phase
        return f"the technique {technique}, in the phase {phase}"
    if whole := words.phase_spellings.get(folded(values.get("phase", ""))):
        return f"the phase {whole} as a whole" if "technique" in values else f"the phase {whole}"
    return meaning(item, titles)


def said_otherwise(word: WordSaidOtherwise, titles: Mapping[str, str]) -> str:
    """That rows came in with a word that means something else now; the sentence to its end."""
    then, now = meaning(word.then, titles), meaning(word.now, titles)
    they = "it" if word.rows == 1 else "they"
    return f'"{word.text}" as {then}. Brought in as {now} {they} would count twice.'


def read_otherwise(change: ReadOtherwise, heads: Mapping[str, str]) -> str:
    """That rows came in by a reading that is another now; the sentence to its end. `heads` has the head of
    each column as written, by its name.
    """
    then, now = change.then, change.now
    differences = [
        f"with lengths in {_hours_in(then)}, now in {_hours_in(now)}"
        if _hours_in(then) != _hours_in(now)
        else "",
        f"with days as {DAY_ORDERS[then.day_order]}, now as {DAY_ORDERS[now.day_order].partition(':')[0]}"
        if then.day_order != now.day_order
        else "",
        *(
            f"with {COLUMNS[name]} from {_source(then.columns.get(name), heads)}, now from"
            f" {_source(now.columns.get(name), heads)}"
            for name in COLUMNS
            if then.columns.get(name) != now.columns.get(name)
        ),
    ]
    how = "; ".join(filter(None, differences)) or "when the table was read otherwise"
    they = "it" if change.rows == 1 else "they"
    return (
        f"{how}. Brought in as {they} {'reads' if change.rows == 1 else 'read'} now {they} would count twice."
    )


def stays(item: StayingVersion, titles: Mapping[str, str]) -> str:
    """That a version is not moved, and why; a sentence."""
    work = f"{item.object} {titles.get(item.object, '')}".strip()
    why = {
        "approved": f"it was approved on {day(item.approved_on)}" if item.approved_on else "",
        "ended": f"it was {item.outcome}",
        "quoted": "it was saved from a quote",
        "followed": "a later version follows it",
    }[item.why]
    return f"Version {item.version} of {work} stays: {why}."


def next_versions(numbers: Mapping[str, int]) -> str:
    """Which version of each work is the next, in a few words."""
    return ", ".join(f"{work} version {number}" for work, number in numbers.items())


def _hours_in(reading: Reading) -> str:
    unit = HOURS_UNITS[reading.hours_unit]
    return f"{unit} of {reading.hours_a_day:g} hours" if reading.hours_unit == "days" else unit


def _source(source: Source | None, heads: Mapping[str, str]) -> str:
    if source is None:
        return "nowhere"
    match source.origin:
        case "column":
            return heads.get(source.text, source.text)
        case "fixed":
            return f"{source.text} for all rows" if source.text else "nowhere"
        case "head":
            return "the heads"
        case _:
            return "the name of the sheet"


def place_word(file: str) -> str:
    """What a number in a file counts: a row of a workbook, an event of a calendar, a line of anything else.

    Parameters
    ----------
    file : as an account names it, like `hours.xlsx, sheet 2025`.
    """
    if re.search(r"\.(xlsx|xls|xlsm|ods)(, sheet .*)?$", file, re.IGNORECASE):
        return "row"
    return "event" if re.search(r"\.ics(, sheet .*)?$", file, re.IGNORECASE) else "line"
