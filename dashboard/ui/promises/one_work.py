"""One finished work: its promise, and the rates without it and with it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.formatting import day, hours, per_unit, rate
from dashboard.text import promises as promises_text
from dashboard.text.rounding import difference
from dashboard.ui import layout, page_data, results


def show(row: pd.Series) -> None:
    code = row["object"]
    with st.container(horizontal=True):
        layout.link("one_work", "Where its hours went", object=code)
        layout.link("estimate", "Its versions", object=code)
    st.header(f"What {code} taught")
    layout.figures(
        ("promised", f"{hours(row['promised_hours'])} h"),
        ("took", f"{hours(row['actual_hours'])} h", not row["kept"]),
        (
            "promise",
            (
                "kept"
                if row["kept"]
                else f"over by {hours(difference(row['actual_hours'], row['promised_hours']))} h"
            ),
            not row["kept"],
        ),
    )
    taught = results.taught(code, row["finished_on"].date())
    lines = results.scored(page_data.today()).lines
    layout.say(
        promises_text.one_promise(row.to_dict()),
        promises_text.not_worked(lines[lines["object"] == code]),
        promises_text.learned(taught),
        promises_text.turned_up(taught),
    )
    if taught.rates.empty:
        return
    layout.table_of(
        "Rates without it and with it",
        taught.rates,
        {
            "technique": lambda row: page_data.rate_link(row["phase"], row["technique"]),
            "took here, h": lambda row: hours(row["hours"]),
            "rate without it": lambda row: rate(row["rate_before"]),
            "with it": lambda row: rate(row["rate_after"]),
            "per": lambda row: per_unit(row["unit"]),
            "change": lambda row: (
                "–"
                if pd.isna(row["change"])
                else "unchanged"
                if row["unchanged"]
                else f"{100 * row['change']:+.1f} %".replace("-", "−")
            ),
            "works before": "works_before",
        },
        words=(0, 4),
    )
    layout.say(
        f"Both as of {day(taught.on)}, when its last line was finished. Hours that estimates and"
        " revisions said teach nothing: only what was logged does."
    )
