"""Changing one thing of the studio: choose it, rename it, retire it, and say what came of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import day, plain
from dashboard.ui import layout, page_data
from ingest.errors import BenchHoursError
from ingest.studio import spellings, vocabulary
from ingest.studio.spellings import Kind

_SHOWN = 100


def attempt(
    sentence: str,
    action: Callable[..., object],
    *values: object,
    afterwards: Callable[[], object] = lambda: None,
) -> None:
    """Do one thing in one write, and say so; or say why not."""
    try:
        with page_data.store().writing() as con:
            action(con, *values)
    except BenchHoursError as error:
        layout.refuse(f"Not done: {error}")
        return
    afterwards()
    layout.done(sentence)


def choose(label: str, names: list[str], placeholder: str, key: str) -> str | None:
    """A field to choose one of the names; warns where the chosen one was renamed in another window."""
    chosen: str | None = st.selectbox(label, names, index=None, placeholder=placeholder, key=key)
    before = st.session_state.get(f"{key} before")
    if chosen is None and before is not None and before not in names:
        st.warning(
            plain(
                f"{before} was renamed in another window. Nothing was changed here: choose the name it has"
                " now."
            )
        )
    st.session_state[f"{key} before"] = chosen
    return chosen


def forget_choice(key: str) -> None:
    """Renamed here: the name it was chosen by is gone."""
    del st.session_state[key], st.session_state[f"{key} before"]


def rename_form(name: str, effect: str, key: str) -> str | None:
    """The new name once it is given."""
    st.header("Another name")
    with st.form(f"rename {key}"):
        new = st.text_input("New name", key=f"new name {key}").strip()
        layout.say(
            f"{effect}. {name} is still understood in files, and files brought in before change nothing."
        )
        if not st.form_submit_button("Rename"):
            return None
    if not new:
        layout.refuse("Not renamed: write the new name first.")
    return new or None


def unchanged_elsewhere(shown_first: str, current: object) -> bool:
    """True if no other window changed it since the form was first shown; else an error is shown."""
    if shown_first == str(current):
        return True
    layout.refuse(
        "Not saved: this was changed elsewhere since you opened it. Load the page again to see how it is now;"
        " until then what you typed is still here."
    )
    return False


def spellings_of_tables(kind: Kind) -> None:
    """Spellings that came with tables, with where each came from, to be undone."""
    frame = queries.spelling_origins(page_data.store().cursor(), kind)
    if frame.empty:
        return
    with st.expander(
        f"Spellings that came with tables: {len(frame)}", key=f"spellings of tables {kind}", on_change="rerun"
    ) as opened:
        if not opened.open:
            return
        layout.say(
            "Each is understood as the word beside it, in files and tables. Undone, it means nothing any"
            " more; what came in by it stays, and its own table still knows it."
        )
        for row in frame.head(_SHOWN).to_dict("records"):
            with st.container(horizontal=True, vertical_alignment="center"):
                layout.say(f"{row['written']}: {row['name']}, from {row['file']}, {day(row['kept_at'])}")
                if st.button(plain(f"Undo {row['written']}"), key=f"undo {kind} {row['written']}"):
                    attempt(
                        f"{row['written']} is no spelling of {row['name']} any more.",
                        spellings.take_back,
                        kind,
                        row["written"],
                        page_data.change("undone under Studio"),
                    )
        if len(frame) > _SHOWN:
            layout.say(f"And {len(frame) - _SHOWN:,} earlier ones, which follow when these are undone.")


def rename_or_retire(kind: str, name: str, retired_on: object, effect: str) -> None:
    if new := rename_form(name, effect, f"{kind} {name}"):
        attempt(
            f"{name} is now {new}.",
            vocabulary.rename,
            kind,
            name,
            new,
            page_data.change("renamed under Studio"),
            afterwards=lambda: forget_choice(f"{kind} changed"),
        )
    st.header("In use or retired")
    if isinstance(retired_on, date) and pd.notna(retired_on):
        st.write(f"Retired on {day(retired_on)}.")
        if st.button("Take it back into use"):
            attempt(
                f"{name} is in use again.",
                vocabulary.retire,
                kind,
                name,
                None,
                page_data.change("taken back into use under Studio"),
            )
        return
    layout.say(
        f"Retired, {name} is offered no more for new work. What names it stays as it is and counts as"
        " before; entries of a later day come in with a note."
    )
    if st.button("Retire it, as of today"):
        attempt(
            f"{name} is retired. Nothing that names it has changed.",
            vocabulary.retire,
            kind,
            name,
            page_data.today(),
            page_data.change("retired under Studio"),
        )
