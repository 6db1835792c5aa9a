"""How a table writes days and hours, and which of its rows are none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import get_args

import streamlit as st

from dashboard.formatting import label
from dashboard.text.foreign_tables import DAY_ORDERS, HOURS_UNITS, rule
from dashboard.ui import fields, page_data
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign.reading import TODAY, HoursUnit, LeaveOut, Reading
from ingest.values.spelling import folded

_DAY_LENGTHS = [half / 2 for half in range(2, 25)]


def how_written(table: WaitingTable, reading: Reading) -> Reading:
    """How days and hours are written."""
    orders = list(DAY_ORDERS)
    this_year = page_data.today().year
    years = [0, *range(this_year + 1, this_year - 41, -1)]
    with st.container(horizontal=True):
        day_order = st.selectbox(
            "Days in numbers are written",
            orders,
            index=orders.index(reading.day_order),
            format_func=DAY_ORDERS.__getitem__,
            key=table.key("day order"),
            width=fields.SIDE_BY_SIDE,
        )
        year = st.selectbox(
            "Year of days written without one",
            years,
            index=years.index(reading.year) if reading.year in years else 0,
            format_func=lambda item: f"{item}" if item else "none: such days are refused",
            key=table.key("year"),
            width=fields.SIDE_BY_SIDE,
        )
        unit, hours_a_day = _hours_written(table, reading)
    serial = st.checkbox(
        "A bare number in the place of a day counts days, as spreadsheets do",
        reading.serial_days,
        key=table.key("serial days"),
    )
    return replace(
        reading,
        day_order=day_order,
        serial_days=serial,
        year=year or None,
        hours_unit=unit,
        hours_a_day=float(hours_a_day),
    )


def _hours_written(table: WaitingTable, reading: Reading) -> tuple[HoursUnit, float]:
    """What a bare number of hours is in, and how many hours a working day has."""
    unit, hours_a_day = reading.hours_unit, reading.hours_a_day
    if reading.rows == "objects":
        return unit, hours_a_day
    units = list(get_args(HoursUnit))
    unit = st.selectbox(
        "A bare number of hours is in",
        units,
        index=units.index(unit),
        format_func=HOURS_UNITS.__getitem__,
        key=table.key("hours unit"),
        width=fields.SIDE_BY_SIDE,
    )
    if unit == "days":
        lengths = sorted({*_DAY_LENGTHS, hours_a_day})
        hours_a_day = st.selectbox(
            "Hours of a working day",
            lengths,
            index=lengths.index(hours_a_day),
            format_func=lambda item: f"{item:g}",
            key=table.key("hours a day"),
            width=fields.SIDE_BY_SIDE,
        )
    return unit, hours_a_day


def left_out(
    table: WaitingTable, reading: Reading, columns: Sequence[str], heads: Mapping[str, str]
) -> Reading:
    """Cells that mean what stands above them, and rows that are none."""
    rules = table.reading.left_out
    days = []
    with st.container(horizontal=True, vertical_alignment="bottom"):
        filled_down = st.multiselect(
            "An empty cell means what stands above it, in",
            columns,
            default=[name for name in table.reading.filled_down if name in columns],
            format_func=heads.__getitem__,
            key=table.key("filled down"),
            width=fields.SIDE_BY_SIDE,
        )
        begins = st.text_input(
            "Left out: rows in which a cell begins with",
            ", ".join(item.text for item in rules if _is_sum(item)),
            key=table.key("sums"),
            placeholder="words, with commas between",
            width=fields.SIDE_BY_SIDE,
        )
        empty = st.multiselect(
            "Left out: rows in which this is empty",
            columns,
            default=[item.column for item in rules if item.test == "empty" and item.column in columns],
            format_func=heads.__getitem__,
            key=table.key("empty"),
            width=fields.SIDE_BY_SIDE,
        )
        for test, words in (("before", "Left out: days before"), ("after", "Left out: days after")):
            limit = next((item.text for item in rules if item.test == test and item.text != TODAY), None)
            shown = date.fromisoformat(limit) if limit else None
            typed = fields.choose_day(
                words, shown, key=table.key(test), otherwise=shown, width=fields.SIDE_BY_SIDE
            )
            if typed:
                days.append(LeaveOut(test="before" if test == "before" else "after", text=typed.isoformat()))
    others = [
        item
        for number, item in enumerate(table.offered_rules)
        if not _has_field(item)
        and st.checkbox(
            label(f"Left out: {rule(item, heads)}"), item in rules, key=table.key(f"rule {number}")
        )
    ]
    sums = [LeaveOut(test="begins", text=word.strip()) for word in begins.split(",") if folded(word)]
    return replace(
        reading,
        filled_down=tuple(filled_down),
        left_out=(*sums, *(LeaveOut(column=name, test="empty") for name in empty), *days, *others),
    )


def _is_sum(item: LeaveOut) -> bool:
    return item.test == "begins" and not item.column


def _has_field(item: LeaveOut) -> bool:
    """It has a field of its own, and is no rule to be taken back only."""
    return _is_sum(item) or item.test == "empty" or (item.test in ("before", "after") and item.text != TODAY)
