"""Phases of the studio: add, order, rename, retire."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import counted, day, text
from dashboard.ui import fields, layout, page_data
from dashboard.ui.studio import changes
from ingest.errors import BenchHoursError
from ingest.importing.form_rows import put_rows, store_rows
from ingest.schema.csv_columns import PHASES
from ingest.values.spelling import folded


def show() -> None:
    use = queries.phases(page_data.store().cursor())
    layout.table_of(
        "Phases",
        use,
        {
            "position": "position",
            "phase": "phase",
            "techniques": "techniques",
            "works": "works",
            "entries": lambda row: f"{row['entries']:,}",
            "note": lambda row: (
                f"retired on {day(row['retired_on'])}" if pd.notna(row["retired_on"]) else text(row["note"])
            ),
        },
        words=(1, 5),
    )
    layout.say("Phases stand in the order of their positions; position 0 is studio time, on no work.")
    changes.spellings_of_tables("phase")
    chosen = changes.choose("Change a phase", use["phase"].tolist(), "Choose a phase", "phase changed")
    if chosen is None:
        with st.form("add phase"):
            st.header("Add a phase")
            name = st.text_input("Name")
            position = st.text_input("Position", f"{int(use['position'].max()) + 1}")
            if st.form_submit_button("Add"):
                _add_phase(name, position)
        return
    row = use[use["phase"] == chosen].iloc[0]
    named = (
        f"{counted(int(row['techniques']), 'technique')} and"
        f" {counted(int(row['entries']), 'entry', 'entries')} on {counted(int(row['works']), 'work')}"
    )
    current = row[["position", "note"]].to_dict()
    shown_first = fields.remember_shown(f"phase {chosen}", f"position {chosen}", str(current))
    with st.form(f"phase {chosen}"):
        position = st.text_input("Position", f"{row['position']}", key=f"position {chosen}")
        note = st.text_input("Note", text(row["note"]), key=f"phase note {chosen}")
        layout.say(
            f"The position only orders it on pages and letters. {named} are of this phase and stay so."
        )
        save = st.form_submit_button("Save", type="primary")
    if save and changes.unchanged_elsewhere(shown_first, current):
        typed = {"phase": chosen, "position": position, "note": note}
        changes.attempt(
            f"{chosen} is saved.",
            put_rows,
            PHASES,
            [typed],
            page_data.change("changed under Studio"),
            afterwards=lambda: fields.forget_shown(f"phase {chosen}"),
        )
    changes.rename_or_retire("phase", chosen, row["retired_on"], f"{named} will name it so")


def _add_phase(name: str, position: str) -> None:
    try:
        if name.strip() and (meant := page_data.vocabulary().phase_spellings.get(folded(name))):
            raise BenchHoursError(
                f'"{name}" is understood already, as {meant}', "Choose another name, or change that one."
            )
        store_rows(
            page_data.store(),
            PHASES,
            [{"phase": name, "position": position}],
            page_data.change("added under Studio"),
        )
    except BenchHoursError as error:
        layout.refuse(f"Not added: {error} What you typed is still here.")
        return
    layout.done(f"{name.strip()} is among the phases.")
