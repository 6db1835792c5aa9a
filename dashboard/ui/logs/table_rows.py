"""What a row of a table is, and where its heads stand."""

from __future__ import annotations

import streamlit as st

from dashboard.text.foreign_tables import ROW_KINDS
from dashboard.ui.logs import table_sheets
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign.sheets import ROWS_LOOKED_AT, Sheet, heads


def show(table: WaitingTable) -> None:
    """What a row is, and where the heads stand: another word here is another first guess."""
    reading = table.reading
    sheets = list(table.book.sheets)
    sheet = table.sheet
    if len(sheets) > 1:
        named = [item.name for item in sheets]
        chosen = st.selectbox("Sheet", named, index=named.index(sheet.name), key=table.key("sheet"))
        sheet = sheets[named.index(chosen or sheet.name)]
        if sheet is not table.sheet:
            table_sheets.take_up(table, sheet)
            st.rerun()
    if table.book.kind == "calendar":
        row, head_rows = 0, 1
    else:
        row, head_rows = _heads_at(table)
    rows = st.radio(
        "What is a row?",
        list(ROW_KINDS),
        index=list(ROW_KINDS).index(reading.rows),
        format_func=ROW_KINDS.__getitem__,
        horizontal=True,
        key=table.key("rows"),
    )
    if rows != reading.rows:
        table.rows_said = rows
    if (rows, row, head_rows) != (reading.rows, table.row, reading.head_rows):
        # until somebody has said the kind, it is guessed anew with other heads
        table.begin_at(sheet, row, table.rows_said, head_rows)
        st.rerun()


def _heads_at(table: WaitingTable) -> tuple[int, int]:
    """The row of the heads, from 0, and over how many they stand."""
    sheet = table.sheet
    places = range(min(len(sheet.lines), ROWS_LOOKED_AT))
    row = st.selectbox(
        "The heads stand in",
        places,
        index=table.row,
        format_func=lambda place: f"row {sheet.lines[place]}: {_beginning(sheet, place)}",
        key=table.key("heads"),
    )
    two = st.checkbox("The heads stand over two rows", table.reading.head_rows > 1, key=table.key("two rows"))
    return row or 0, 2 if two else 1


def _beginning(sheet: Sheet, row: int) -> str:
    return " | ".join(text for text in heads(sheet, row) if text)[:60]
