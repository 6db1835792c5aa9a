"""The pages and their order; Streamlit runs this script at each visit."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import look

PAGES = Path(__file__).with_name("pages")

st.set_page_config(page_title="bench-hours", page_icon="✎", layout="centered", initial_sidebar_state="collapsed")
st.html(look.PAGE_STYLE)
st.navigation([st.Page(PAGES / "where_the_hours_went.py", title="Where the hours went", default=True)], position="hidden").run()
