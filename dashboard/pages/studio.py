"""Studio: settings, people, techniques, phases; the effect of each change is said before it happens."""

from __future__ import annotations

import streamlit as st

from dashboard.ui import layout
from dashboard.ui.studio import people as people_part
from dashboard.ui.studio import phases as phases_part
from dashboard.ui.studio import settings as settings_part
from dashboard.ui.studio import techniques as techniques_part


def body() -> None:
    part = st.segmented_control(
        "Part",
        ["settings", "quotes", "bench", "people", "techniques", "phases"],
        default="settings",
        key="part",
        bind="query-params",
        required=True,
        label_visibility="collapsed",
    )
    {
        "settings": settings_part.show,
        "quotes": settings_part.show_quotes,
        "bench": settings_part.show_bench,
        "people": people_part.show,
        "techniques": techniques_part.show,
        "phases": phases_part.show,
    }[part or "settings"]()


layout.show("Studio", body)
