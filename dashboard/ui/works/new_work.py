"""The draft of a new work, stored field by field."""

from __future__ import annotations

import streamlit as st

from dashboard.ui import fields, layout, page_data
from ingest import autosave
from ingest.schema.csv_columns import OBJECTS


def key() -> str:
    """In the keys of the fields of a new work; another one once the form was emptied, so that they begin
    empty.
    """
    return f"new {st.session_state.setdefault('new work turn', 0)}"


def read() -> dict[str, str]:
    """The draft, read when the form is first shown; from then on its fields keep their own values."""
    draft = autosave.read(page_data.store().cursor(), autosave.NEW_WORK)
    fresh = f"title {key()}" not in st.session_state
    st.session_state["new work elsewhere"] = fields.changed_elsewhere(
        autosave.NEW_WORK, draft.at if draft else None, draft.by if draft else "", fresh=fresh
    )
    if fresh:
        st.session_state["new work"] = draft.value if draft else {}
    typed: dict[str, str] = st.session_state["new work"]
    return typed


def say_status() -> None:
    if st.session_state["new work elsewhere"]:
        st.warning(
            "Another window is writing a new work too, and that one is kept. What you type here is not kept"
            " until you save it."
        )
    else:
        layout.say("Each field is kept as soon as you leave it, and waits here until the work is saved.")


def keep() -> None:
    """Called when a field was left, before anything else happens, be it that the page is left."""
    draft = autosave.read(page_data.store().cursor(), autosave.NEW_WORK)
    if not fields.changed_elsewhere(
        autosave.NEW_WORK, draft.at if draft else None, draft.by if draft else "", fresh=False
    ):
        typed = {name: text for name in OBJECTS.names if (text := st.session_state.get(f"{name} {key()}"))}
        if typed:
            autosave.keep(page_data.store(), autosave.NEW_WORK, typed, page_data.visit())
        else:
            autosave.forget(page_data.store(), autosave.NEW_WORK)


def forget() -> None:
    if not st.session_state["new work elsewhere"]:
        autosave.forget(page_data.store(), autosave.NEW_WORK)
    st.session_state["new work turn"] += 1
