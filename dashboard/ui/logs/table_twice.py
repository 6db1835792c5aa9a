"""Rows of a table that came in before, when it was read otherwise or its words meant something else: moved,
or left as they were.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from dashboard.formatting import counted
from dashboard.text.foreign_tables import read_otherwise, said_otherwise
from dashboard.ui import layout, page_data
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign import memory
from ingest.foreign.counted_twice import ReadOtherwise, WordSaidOtherwise, would_count_twice
from ingest.foreign.reading import RowKind, missing
from ingest.foreign.sheets import heads
from ingest.importing.csv_file import distinct_names
from ingest.importing.rows import SaidOtherwiseAs

_MOVED: Mapping[RowKind, str] = {
    "time entries": "Moved, the earlier entries say what the rows say now, and their earlier versions are"
    " kept.",
    "estimates": "Moved, the earlier versions of the estimates say what the rows say now, and stay in the"
    " history; an approved one stays as it is.",
    "objects": "Moved, what the rows say is laid over the works that are meant now; the works that were meant"
    " before stay as they are.",
}
"""By what the rows are, what becomes of what came in before."""


def found_twice(table: WaitingTable) -> list[WordSaidOtherwise | ReadOtherwise]:
    """The words and readings of which rows would count twice."""
    if missing(table.reading) or not memory.read_tables(page_data.store().cursor()):
        return []
    return table.once(
        "twice",
        (
            *(table.sheet.name, table.row, table.reading.to_json(), repr(table.meanings)),
            *(len(table.files), page_data.store().changes()),
        ),
        lambda: _look(table),
    )


def _look(table: WaitingTable) -> list[WordSaidOtherwise | ReadOtherwise]:
    table_heads = memory.signature(table.book, table.sheet, table.row, table.reading)
    sheets = [
        (file.book, sheet, row)
        for file in table.files
        for sheet, row in memory.sheets_with(file.book, table_heads, table.reading)
    ]
    return would_count_twice(page_data.store(), table_heads, sheets, table.reading, table.meanings)


def ask(table: WaitingTable, changes: Sequence[WordSaidOtherwise | ReadOtherwise]) -> SaidOtherwiseAs | None:
    """Say which rows would count twice, and offer what becomes of them; None until that is chosen."""
    titles = page_data.titles(page_data.works(page_data.today()))
    written = heads(table.sheet, table.row, table.reading.head_rows)
    by_name = dict(zip(distinct_names(written), written, strict=True))
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
        _MOVED[table.reading.rows],
        "All other rows come in as they are said, either way.",
    )
    with st.container(horizontal=True):
        if st.button("Move them", type="primary", key=table.key("move")):
            return "correction"
        if st.button("Leave them as they were", key=table.key("leave as they were")):
            return "left out"
    return None
