"""Where the hours went: estimated against actual by phase, and why they differ."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import held, reading, tables
from dashboard.analysis.overruns import CAUSES, Comparison, by_phase, compare, open_summary, totals
from dashboard.charts import hours_by_phase
from dashboard.sentences import most_over, questions, said_beside
from dashboard.words import counted, hours, signed_hours
from ingest.errors import BenchHoursError


def show() -> None:
    st.title("Where the hours went")
    if held.shows_invented():
        st.info("This is an invented studio, to look around in. Nothing here is yours, and nothing of yours is here.")
        if st.button("Back to my studio"):
            st.query_params.clear()
            st.rerun()
    con = held.store().cursor()
    as_of = reading.today(con)
    held_now = reading.holdings(con)
    if not held_now["entries"]:
        _nothing_yet(held_now)
        return
    st.html(tables.beside([f"{held.studio_name()}, as of {as_of:%-d %B %Y}"]))
    _say(questions(held_now["held_back"]))
    comparison = compare(held.overruns(as_of))
    phases = by_phase(comparison)
    if phases.empty:
        st.write(
            "No line is finished yet, so there is nothing to compare. A line is finished by a milestone of its own or of its phase, or when its object is finished."
        )
        _say(said_beside(comparison))
        return
    _figures(comparison, phases)
    st.subheader("Estimated and actual hours by phase")
    st.html(
        tables.beside(
            [f"The pale bar ending in a tick is what was estimated, the narrow bar what it took. Finished lines of {counted(comparison.works, 'work')}."]
        )
    )
    st.altair_chart(hours_by_phase.estimated_against_actual(phases), width="stretch", theme=None)
    st.subheader("Why they differ")
    st.altair_chart(hours_by_phase.causes(phases, CAUSES), width="stretch", theme=None)
    st.subheader("The figures")
    st.html(tables.phase_table(phases))
    _say(said_beside(comparison))
    st.download_button(
        "Every line as CSV, objects by code", held.overruns(as_of).drop(columns="position").to_csv(index=False), "overruns.csv", "text/csv", on_click="ignore"
    )


def _say(sentences: list[str]) -> None:
    if sentences:  # Streamlit refuses to place nothing
        st.html(tables.beside(sentences))


def _figures(comparison: Comparison, phases: pd.DataFrame) -> None:
    everything = totals(phases)
    still = open_summary(comparison)
    st.html(
        tables.figures([
            ("estimated, finished lines", f"{hours(everything['estimated_hours'])} h", False),
            ("actual", f"{hours(everything['actual_hours'])} h", False),
            ("over the estimate" if everything["difference_hours"] >= 0 else "under the estimate", f"{signed_hours(everything['difference_hours'])} h", everything["difference_hours"] >= 0.05),
            (f"already over on {counted(int(still['lines']), 'open line')}", f"{signed_hours(still['over_hours'])} h", still["over_hours"] >= 0.05),
        ])
    )  # fmt: skip
    st.write(most_over(phases))


def _nothing_yet(held_now: dict[str, int]) -> None:
    st.write("Nothing is logged yet. Hours come in as CSV files; at a command line on this machine:")
    st.code("bench-hours import objects.csv estimates.csv time_entries.csv", language=None, wrap_lines=True)
    st.write(
        "A file of time entries needs the columns object, phase, technique and person, and either started_at and ended_at or date and hours. "
        "Stop these pages first (Ctrl-C): one program at a time holds the studio's file. The README lists every column."
    )
    if held_now["objects"]:
        st.write(f"{counted(held_now['objects'], 'object')} and {counted(held_now['versions'], 'estimate')} are here already; the hours are what is missing.")
    if not held.shows_invented() and st.button("Look at an invented studio first", type="primary"):
        st.query_params["studio"] = held.INVENTED
        st.rerun()


try:
    show()
except BenchHoursError as error:
    st.error(str(error))
