"""Rows of a table that came in before, when its words meant something else: moved, or left as they were."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard.formatting import counted
from dashboard.text.foreign_tables import said_otherwise
from dashboard.ui import layout, page_data
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign import memory
from ingest.foreign.counted_twice import WordSaidOtherwise, would_count_twice
from ingest.foreign.reading import missing
from ingest.importing.rows import SaidOtherwiseAs


def words_of(table: WaitingTable) -> list[WordSaidOtherwise]:
    """The words of which rows would count twice."""
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


def _look(table: WaitingTable) -> list[WordSaidOtherwise]:
    heads = memory.signature(table.book, table.sheet, table.row, table.reading)
    sheets = [
        (file.book, sheet, row)
        for file in table.files
        for sheet, row in memory.sheets_with(file.book, heads, table.reading)
    ]
    return would_count_twice(page_data.store(), heads, sheets, table.reading, table.meanings)


def ask(table: WaitingTable, words: Sequence[WordSaidOtherwise]) -> SaidOtherwiseAs | None:
    """Say which rows would count twice, and offer what becomes of them; None until that is chosen."""
    titles = page_data.titles(page_data.works(page_data.today()))
    layout.say(
        *(
            f"{counted(word.rows, 'row')} of {table.name} came in before with {said_otherwise(word, titles)}"
            for word in words
        ),
        "Moved, the earlier entries say what the rows say now, and their earlier versions are kept. All other"
        " rows come in as they are said, either way.",
    )
    with st.container(horizontal=True):
        if st.button("Move them", type="primary", key=table.key("move")):
            return "correction"
        if st.button("Leave them as they were", key=table.key("leave as they were")):
            return "left out"
    return None
