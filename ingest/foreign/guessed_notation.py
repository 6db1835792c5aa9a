"""How a table seems to write days and hours, and which of its rows are none."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import pandas as pd

from ingest.foreign.looked_at import LookedAt
from ingest.foreign.reading import CELL, LeaveOut, Source
from ingest.values.calendar_days import DayOrder
from ingest.values.spelling import folded

Columns = Mapping[str, Source]
"""By our column, where it comes from."""


def day_order(table: LookedAt, columns: Columns, wide_names: Sequence[str]) -> DayOrder:
    """The order of days that the table shows; else that of the studio."""
    texts = [table.head[name] for name in wide_names]
    for column in ("date", "received_on", "made_on"):
        if column in columns:
            texts += list(table.contents.filled(columns[column].text))
    pairs = [
        (int(match[1]), int(match[2]))
        for text in texts
        if (match := re.search(r"\b(\d{1,2})[./-](\d{1,2})\b", text)) and not re.match(r"\d{4}", text)
    ]
    if any(first > 12 for first, _ in pairs):
        return "dmy"
    if any(second > 12 for _, second in pairs):
        return "mdy"
    return table.studio.context.settings.day_order


def year_of_heads(table: LookedAt, wide_names: Sequence[str]) -> int | None:
    """The year of heads that name none, if it stands above them or in the name of the sheet or file."""
    if any(re.search(r"\b(19|20)\d\d\b", table.head[name]) for name in wide_names):
        return None
    years = {int(year) for text in table.above for year in re.findall(r"(?<!\d)20\d\d(?!\d)", text)}
    return years.pop() if len(years) == 1 else None


def has_serial_days(table: LookedAt, columns: Columns) -> bool:
    """Days are counted, as spreadsheets do."""
    source = columns.get("date")
    return (
        source is not None and source.origin == "column" and table.contents.share_of_serials(source.text) > 0
    )


def is_in_minutes(table: LookedAt, columns: Columns) -> bool:
    """Lengths are in minutes: the head says so, or hours could not be so many."""
    source = columns.get("hours")
    if source is None:
        return False
    numbers = pd.to_numeric(table.contents.filled(source.text), errors="coerce").dropna()
    in_head = re.search(r"\bmin", folded(table.head[source.text])) is not None
    return len(numbers) > 0 and (in_head or float(numbers.median()) > 16)


def rules(
    table: LookedAt, columns: Columns, filled_down: Sequence[str], wide: str | None
) -> tuple[LeaveOut, ...]:
    """Rules for rows that are none: sums, and those without a day or a work."""
    left_out = [LeaveOut(test="begins", text=text) for text in table.sums]
    source = columns.get("date") if not wide else columns.get("object")
    if source and source.text not in filled_down and (table.contents.cells[source.text] == "").any():
        left_out.append(LeaveOut(column=source.text, test="empty"))
    if wide and (table.contents.cells == "0").any(axis=None):
        left_out.append(LeaveOut(column=CELL, test="is", text="0"))
    return tuple(left_out)
