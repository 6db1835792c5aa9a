"""The first approved version of a work's estimate against the latest."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import counted, hours
from dashboard.text import html_blocks
from dashboard.text import prices as prices_text
from dashboard.text import promises as promises_text
from dashboard.ui import layout, page_data
from ingest.values.line_names import line_cells


def show(code: str, lines: pd.DataFrame) -> None:
    st.header("First approved against latest")
    versions = queries.versions(page_data.store().cursor(), code)
    if versions.empty:
        st.write("No estimate yet.")
        return
    st.html(
        html_blocks.versions(
            versions,
            prices_text.prices_of_versions(versions, page_data.settings())
            if page_data.is_principal()
            else None,
        )
    )
    layout.say(*promises_text.apart(versions))
    first, latest = lines["first_approved_hours"], lines["estimated_hours"]
    if lines["yardstick"].iloc[0] != "approved":
        layout.say("No version is approved: the latest made is the yardstick.")
    elif versions.loc[versions["approved_on"].notna(), "version"].nunique() < 2:
        layout.say("One version is approved, so first and latest are the same.")
    else:
        moved = lines[(first.fillna(0) - latest.fillna(0)).abs() >= 0.05]
        layout.say(
            f"First approved {hours(first.sum())} h, latest approved {hours(latest.sum())} h;"
            f" {counted(len(moved), 'line')} changed."
        )
        rows = [
            [
                *line_cells(row["phase"], row["technique"], row["part"]),
                hours(row["first_approved_hours"]),
                hours(row["estimated_hours"]),
                hours(row["actual_hours"]),
            ]
            for row in moved.to_dict("records")
        ]
        if rows:
            layout.table(
                "Lines that changed",
                ["phase", "technique", "part", "first approved, h", "latest, h", "actual, h"],
                rows,
                words=range(3),
            )
