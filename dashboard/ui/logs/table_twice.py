"""Rows of a table that came in before, when it was read otherwise or its words meant something else: moved,
or left as they were.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from dashboard.formatting import counted
from dashboard.text.foreign_tables import next_versions, read_otherwise, said_otherwise, stays
from dashboard.ui import layout, page_data
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign import memory
from ingest.foreign.counted_twice import ReadOtherwise, WordSaidOtherwise, would_count_twice
from ingest.foreign.reading import RowKind, Source, missing
from ingest.foreign.sheets import Book, Sheet, heads
from ingest.foreign.staying_versions import StayingVersions, staying_versions
from ingest.importing.csv_file import distinct_names
from ingest.importing.rows import SaidOtherwiseAs

_MOVED: Mapping[RowKind, str] = {
    "time entries": "Moved, the earlier entries say what the rows say now, and their earlier versions are"
    " kept.",
    "estimates": "Moved, the earlier versions of the estimates say what the rows say now, and stay in the"
    " history.",
    "objects": "Moved, what the rows say is laid over the works that are meant now; the works that were meant"
    " before stay as they are.",
}
"""By what the rows are, what becomes of what came in before."""
_MOST_SHOWN = 6


def found_twice(table: WaitingTable) -> list[WordSaidOtherwise | ReadOtherwise]:
    """The words and readings of which rows would count twice."""
    if missing(table.reading) or not memory.read_tables(page_data.store().cursor()):
        return []
    return table.once(
        "twice",
        _said_of(table),
        lambda: would_count_twice(
            page_data.store(), *_heads_and_sheets(table), table.reading, table.meanings
        ),
    )


def _stays(table: WaitingTable) -> StayingVersions | None:
    """What of the versions that came in before cannot be moved; None where the rows are of no versions."""
    if table.reading.rows != "estimates":
        return None
    return table.once(
        "staying versions",
        _said_of(table),
        lambda: staying_versions(page_data.store(), *_heads_and_sheets(table), table.reading, table.meanings),
    )


def _said_of(table: WaitingTable) -> tuple[object, ...]:
    return (
        *(table.sheet.name, table.row, table.reading.to_json(), repr(table.meanings)),
        *(len(table.files), page_data.store().changes()),
    )


def _heads_and_sheets(table: WaitingTable) -> tuple[str, list[tuple[Book, Sheet, int]]]:
    table_heads = memory.signature(table.book, table.sheet, table.row, table.reading)
    return table_heads, [
        (file.book, sheet, row)
        for file in table.files
        for sheet, row in memory.sheets_with(file.book, table_heads, table.reading)
    ]


def ask(table: WaitingTable, changes: Sequence[WordSaidOtherwise | ReadOtherwise]) -> SaidOtherwiseAs | None:
    """Say which rows would count twice, and offer what becomes of them; None until that is chosen."""
    titles = page_data.titles(page_data.works(page_data.today()))
    written = heads(table.sheet, table.row, table.reading.head_rows)
    by_name = dict(zip(distinct_names(written), written, strict=True))
    stay = _stays(table)
    can_move = stay is None or stay.can_move > 0
    layout.say(
        *(
            f"{counted(change.rows, 'row')} of {table.name} came in before"
            + (
                f" with {said_otherwise(change, titles)}"
                if isinstance(change, WordSaidOtherwise)
                else f", {read_otherwise(change, by_name)}"
            )
            for change in changes
        ),
        _MOVED[table.reading.rows] if can_move else "",
        "All other rows come in as they are said, either way." if can_move else "",
    )
    if stay and stay.versions:
        _say_which_stay(stay, titles)
    with st.container(horizontal=True):
        if can_move and st.button("Move them", type="primary", key=table.key("move")):
            return "correction"
        if st.button(
            "Leave them as they were",
            type="secondary" if can_move else "primary",
            key=table.key("leave as they were"),
        ):
            return "left out"
        if stay and stay.versions:
            _offer_next_version(table, stay)
            layout.link("estimate", "See them under Estimate", object=stay.versions[0].object)
    return None


def _say_which_stay(stay: StayingVersions, titles: Mapping[str, str]) -> None:
    """Which versions are not moved and why, and what to do instead."""
    shown, others = stay.versions[:_MOST_SHOWN], len(stay.versions) - _MOST_SHOWN
    numbers = sorted(set(stay.next_versions.values()))
    layout.say(
        *(stays(item, titles) for item in shown),
        f"So {'does' if others == 1 else 'do'} {others:,} more." if others > 0 else "",
        "Moved, the others say what the rows say now; the rows of those that stay are refused."
        if stay.can_move
        else "None of them can be moved.",
        "Leave them as they were, or bring the change in as a new version:"
        + (
            f" all rows as version {numbers[0]}, which is made and approved on the days that are said above."
            if len(numbers) == 1
            else " the works stand at different versions, so the table needs a column with the number of"
            f" each ({next_versions(stay.next_versions)})."
        ),
    )


def _offer_next_version(table: WaitingTable, stay: StayingVersions) -> None:
    """A press that makes all rows those of the next version, where it has one number for all works."""
    numbers = set(stay.next_versions.values())
    if len(numbers) > 1:
        return
    (number,) = numbers
    if st.button(f"Bring all in as version {number}", key=table.key("next version")):
        source = Source(origin="fixed", text=f"{number}")
        columns = {**table.reading.columns, "version": source}
        table.take_up(table.sheet, table.row, replace(table.reading, columns=columns))
        table.stage = "open"
        st.rerun()
