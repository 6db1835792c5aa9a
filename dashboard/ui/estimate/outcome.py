"""Noting that a version was declined or withdrawn, and taking that back."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.formatting import day
from dashboard.ui import fields, layout, page_data
from ingest.editing import version_outcomes
from ingest.errors import BenchHoursError


def note(code: str, waiting: pd.DataFrame) -> None:
    with st.expander("The owner has declined, or we have withdrawn"):
        layout.say(
            "The version stays and is counted under Promised and kept. It is no yardstick any more, and"
            " teaches no rate."
        )
        with st.form(f"end {code}", border=False):
            numbers = waiting["version"].unique().tolist()
            version = st.selectbox("Version", numbers, index=len(numbers) - 1, key=f"end version {code}")
            outcome = st.selectbox(
                "What became of it",
                version_outcomes.OUTCOMES,
                format_func={"declined": "declined by the owner", "withdrawn": "withdrawn by us"}.__getitem__,
                key=f"end how {code}",
            )
            on = fields.day_field("On", page_data.today(), key=f"end day {code}")
            why = st.text_input("Why (may stay empty)", key=f"end why {code}")
            if not st.form_submit_button("Note it"):
                return
        try:
            when = fields.require_day("On", on)
            with page_data.store().writing() as con:
                version_outcomes.end(
                    con, code, version, outcome, when, page_data.today(), page_data.change(why.strip())
                )
        except BenchHoursError as error:
            layout.refuse(f"Not noted: {error}")
            return
        layout.done(
            f"Version {version} of {code} was {outcome} on {day(when)}. It is kept.",
            ("promised_and_kept", "Promised and kept", {}),
        )


def take_back(code: str, ended: pd.DataFrame) -> None:
    with st.expander("A version stands after all"):
        version = st.selectbox("Version", ended["version"].unique().tolist(), key=f"stands {code}")
        if st.button("It stands after all"):
            with page_data.store().writing() as con:
                version_outcomes.take_back_end(
                    con, code, version, page_data.change("taken back under Estimate")
                )
            layout.done(f"Version {version} of {code} stands again.")
