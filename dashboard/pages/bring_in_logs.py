"""Bring in logs: files and tables in, an account of every row out, and what waits for a word decided."""

from __future__ import annotations

import streamlit as st

from dashboard import queries
from dashboard.ui import layout, page_data
from dashboard.ui.logs import device_changes, held_back
from dashboard.ui.logs import files as files_part
from dashboard.ui.logs import rejects as rejects_part
from dashboard.ui.logs import report as report_part
from dashboard.ui.logs import tables as tables_part


def body() -> None:
    if not queries.holdings(page_data.store().cursor())["objects"]:
        st.write(
            "Begin with a file of objects, or with all files you have: they may come in any order. Bringing a"
            " file in twice changes nothing."
        )
        layout.invite_to_invented()
    files_part.show()
    tables_part.show()
    for report in st.session_state.get("reports", []):
        report_part.show(*report)
    tables_part.show_remembered()
    rejects_part.show()
    device_changes.waiting()
    device_changes.show()
    device_changes.show_refused()
    held_back.show()


layout.show("Bring in logs", body)
