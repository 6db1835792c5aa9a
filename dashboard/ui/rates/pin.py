"""Pinning a rate of the studio's own, and unpinning it."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard.formatting import rate
from dashboard.text.rates import per as per_what
from dashboard.text.rates import usual
from dashboard.ui import layout, page_data
from ingest.editing import pinned_rates
from ingest.values.line_names import line_name


def show(row: pd.Series, as_of: date, today: date) -> None:
    if as_of != today:
        return
    per = per_what(row, row["counted_in"])
    name = line_name(row["phase"], row["technique"])
    named = {"technique": row["technique"], "phase": "" if row["technique"] else row["phase"]}
    is_pinned = pd.notna(row["pinned_rate"])
    with st.expander("Pin another rate" if is_pinned else "Pin a rate of your own"):
        layout.say(
            "What you pin is used in place of the record’s rate, and shown as pinned with your reason"
            " wherever it is used; what the record says stays beside it.",
            (
                ""
                if row["technique"]
                else f"It is of {usual(row)}: larger and smaller ones take more or less, as the record says."
            ),
        )
        with st.form(f"pin {name}", border=False):
            hours_per = st.text_input(f"Hours per {per}", key=f"pin rate {name}")
            reason = st.text_input(
                "Why", key=f"pin reason {name}", placeholder="a new solvent gel, twice as fast"
            )
            if st.form_submit_button("Pin it"):
                if not hours_per.strip():
                    layout.refuse("No rate is written yet. Write the hours.")
                else:
                    pinned = pinned_rates.read_rate(per, hours_per)
                    opened = page_data.store()
                    with opened.writing() as con:
                        pinned_rates.pin(con, rate=pinned, on=today, change=page_data.change(reason), **named)
                    layout.done(f"{name} is pinned at {rate(pinned)} h per {per}.")
        if is_pinned and st.button("Let the record say it"):
            opened = page_data.store()
            page_data.change("unpinned")  # only for whoever may change something
            with opened.writing() as con:
                pinned_rates.withdraw(con, on=today, **named)
            layout.done(f"{name} is no longer pinned: the record says its rate.")
