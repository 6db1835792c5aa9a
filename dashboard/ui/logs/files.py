"""Files that are chosen: our forms are brought in or checked, other tables wait to be spoken of."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard.ui import layout
from dashboard.ui.logs import importing, waiting_tables
from ingest.foreign.any_table import ENDINGS
from ingest.schema.csv_columns import FORMS


def show() -> None:
    turn = st.session_state.setdefault("files turn", 0)
    files = st.file_uploader(
        "CSV files, tables of any spreadsheet, or a calendar",
        type=[ending.removeprefix(".") for ending in ENDINGS],
        accept_multiple_files=True,
        key=f"files {turn}",
    )
    with st.expander("What the files look like"):
        layout.say(
            "The kind of a file is told by the columns marked *. Every row is stored, or held already, or"
            " held back, or rejected with its reason and mend. Of a table in other words the page asks"
            " once what its columns mean."
        )
        layout.table(
            "The forms",
            ["kind", "columns"],
            [
                [
                    form.kind,
                    ", ".join(f"{column.name}{'*' if column.star else ''}" for column in form.columns),
                ]
                for form in FORMS
            ],
            words=range(2),
        )
        _empty_files()
    waiting_tables.take(files)
    ours = waiting_tables.without_tables(files)
    with st.container(horizontal=True):
        bring = st.button("Bring in", type="primary", disabled=not ours)
        check = st.button(
            "Only check", disabled=not ours, help="Reads the files in the same way and stores nothing"
        )
    if ours and (bring or check):
        # Named by themselves alone: a browser's file name may hold a path of that machine.
        importing.bring_in([(Path(file.name).name, file.getvalue()) for file in ours], stored=bring)
        if bring:
            st.session_state["files turn"] = turn + 1  # what is brought in lies there no more
        st.rerun()


def _empty_files() -> None:
    """A file of each kind with its columns and no row, to be filled in."""
    layout.say("A file of each kind to fill in, with all its columns; those without * may go:")
    with st.container(horizontal=True):
        for form in FORMS:
            layout.download(
                form.kind.capitalize(), ",".join(form.names) + "\n", f"{form.kind.replace(' ', '_')}.csv"
            )
