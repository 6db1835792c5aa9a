"""People of the studio: add, rename, join, leave."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import counted, day, plain
from dashboard.ui import layout, page_data
from dashboard.ui.studio import changes
from ingest.studio import people


def show() -> None:
    frame = queries.people(page_data.store().cursor())
    if frame.empty:
        st.write(
            "Nobody is known yet. People come in with the first hours logged under their name, or add them"
            " here."
        )
    else:
        layout.table_of(
            "People",
            frame,
            {
                "person": "person",
                "at the studio": lambda row: (
                    f"left on {day(row['left_on'])}" if pd.notna(row["left_on"]) else "yes"
                ),
                "logged": lambda row: (
                    f"{day(row['first_day'])} to {day(row['last_day'])}"
                    if row["entries"]
                    else "nothing logged"
                ),
                "also written": "spellings",
                "entries": lambda row: f"{row['entries']:,}",
            },
            words=range(4),
        )
    turn = st.session_state.setdefault("people added", 0)
    with st.form("add person"):
        name = st.text_input("Add a person: name", key=f"person added {turn}")
        if st.form_submit_button("Add"):
            changes.attempt(
                f"{name} is added.",
                people.add,
                name,
                page_data.change("").at,
                afterwards=lambda: st.session_state.update({"people added": turn + 1}),
            )
    if frame.empty:
        return
    changes.spellings_of_tables("person")
    names = frame["person"].tolist()
    chosen = changes.choose("Change a person", names, "Choose a name", "person changed")
    if chosen is not None:
        _person(chosen, frame)


def _person(chosen: str, frame: pd.DataFrame) -> None:
    names = frame["person"].tolist()
    row = frame.set_index("person", drop=False).loc[chosen].to_dict()
    entries = counted(int(row["entries"]), "entry", "entries")
    if new := changes.rename_form(chosen, f"{entries} will stand under the new name", chosen):
        changes.attempt(
            f"{chosen} is now {new}.",
            people.rename,
            chosen,
            new,
            page_data.change("renamed under Studio"),
            afterwards=lambda: changes.forget_choice("person changed"),
        )
    if len(names) > 1:
        st.header("Only a spelling of somebody else")
        other = st.selectbox(
            "It is really",
            [name for name in names if name != chosen],
            index=None,
            placeholder="Choose the person",
            key=f"really {chosen}",
        )
        if other:
            layout.say(
                f"{entries} of {chosen} become {other}'s, hours that overlap then count once, and"
                f" {chosen} in files will mean {other}. This cannot be taken apart again."
            )
            if st.button(plain(f"Join {chosen} with {other}")):
                changes.attempt(
                    f"{chosen} is now only a spelling of {other}.",
                    people.join,
                    chosen,
                    other,
                    page_data.change("joined under Studio"),
                    afterwards=lambda: changes.forget_choice("person changed"),
                )
    st.header("Here or gone")
    if pd.notna(row["left_on"]):
        if st.button(plain(f"{chosen} is here again")):
            changes.attempt(
                f"{chosen} is here again.", people.leave, chosen, None, page_data.change("said under Studio")
            )
    else:
        layout.say(
            f"The hours of {chosen} stay and count; the name is only no longer among those of the studio."
        )
        if st.button(plain(f"{chosen} has left, as of today")):
            changes.attempt(
                f"{chosen} has left. The hours stay.",
                people.leave,
                chosen,
                page_data.today(),
                page_data.change("said under Studio"),
            )
