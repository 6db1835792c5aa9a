"""The versions of an estimate, and the lines of one of them."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import amount, hours, text
from dashboard.text import html_blocks
from dashboard.text import prices as prices_text
from dashboard.text import promises as promises_text
from dashboard.ui import layout, page_data, quote_provenance
from dashboard.ui.estimate import approval
from dashboard.ui.estimate import outcome as outcome_part
from dashboard.ui.estimate import tax as tax_part
from ingest.values.line_names import ALL_PHASES, line_names


def show(code: str, versions: pd.DataFrame) -> None:
    st.header("Its versions")
    st.html(html_blocks.versions(versions, prices_text.prices_of_versions(versions, page_data.settings())))
    tax_part.ask_of_version(code, versions)
    layout.say(*promises_text.apart(versions))
    with st.expander(
        "The lines of a version, and what it stood on", key=f"lines of {code}", on_change="rerun"
    ) as opened:
        if opened.open:
            _lines_of_version(code, versions)
    waiting = versions[versions["approved_on"].isna() & versions["outcome"].isna()]
    if len(waiting):
        approval.note(code, waiting)
        outcome_part.note(code, waiting)
    if versions["approved_on"].notna().any():
        approval.take_back(code, versions[versions["approved_on"].notna()])
    if versions["outcome"].notna().any():
        outcome_part.take_back(code, versions[versions["outcome"].notna()])


def _lines_of_version(code: str, versions: pd.DataFrame) -> None:
    numbers = versions["version"].unique().tolist()
    chosen = st.selectbox("Version", numbers, index=len(numbers) - 1, key=f"version shown {code}")
    lines = queries.estimate_lines(page_data.store().cursor(), code, chosen)
    cells = {
        "phase": [row["phase"] or ALL_PHASES for row in lines.to_dict("records")],
        "technique": line_names(lines[["phase", "technique"]]).tolist(),
        "hours": [hours(value) for value in lines["hours"]],
        "quantity": [amount(row["quantity"], text(row["unit"]) or None) for row in lines.to_dict("records")],
        "part": lines["part"].tolist(),
        "option": [text(value) for value in lines["option"]],
        "unattended, h elapsed": [
            hours(value) if pd.notna(value) else "" for value in lines["unattended_hours"]
        ],
    }
    # what no line has takes no room on a phone
    heads = [head for head, column in cells.items() if any(column)]
    rows = [list(row) for row in zip(*(cells[head] for head in heads), strict=True)]
    layout.table(
        f"Lines of version {chosen}",
        heads,
        rows,
        words=[n for n, head in enumerate(heads) if head in ("phase", "technique", "part", "option")],
    )
    quote_provenance.show(code, chosen)
