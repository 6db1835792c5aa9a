"""Hours of a work by phase, estimated against actual."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.analysis.report.overruns import by_phase, compare, main_cause, summed, totals
from dashboard.charts import overruns as overruns_chart
from dashboard.formatting import hours, plain, signed_hours
from dashboard.text.overruns import alt_text, levels, most_over, most_under, named, remarks
from dashboard.text.rounding import as_shown
from dashboard.ui import layout


def show(lines: pd.DataFrame) -> None:
    comparison = compare(lines)
    touched = pd.concat([comparison.finished, comparison.open])
    if touched.empty:
        estimated = bool(lines["yardstick"].ne("none").any())
        st.write(
            f"It has no estimate{' in hours' if estimated else ''}: these are its hours, and there is nothing"
            " to hold them against."
        )
        layout.say(*(remarks(comparison) if estimated else []))
        return
    phases = summed(named(touched), ["position", "phase"]).sort_values("position", ignore_index=True)
    layout.figures(*_four_figures(phases))
    st.header("Its phases")
    so_far = "" if comparison.open.empty else " so far; what is not used yet is no saving"
    layout.say(f"The pale bar ending in a tick is what was estimated, the narrow bar what it took{so_far}.")
    layout.chart(overruns_chart.estimated_against_actual(phases, "phase"), alt_text(phases, "phase"))
    finished = by_phase(compare(named(lines)))
    if len(finished):
        st.write(plain(f"{most_over(finished)} {most_under(finished)}"))
    layout.say(*levels(comparison.finished), *remarks(comparison))


def _four_figures(phases: pd.DataFrame) -> list[tuple[str, str, bool]]:
    """Estimated, actual, difference, and of a finished work the main cause; of an open one what is not used
    yet: actual = estimated + difference − not used yet.
    """
    sums = as_shown(totals(phases))
    over = sums["difference_hours"] >= 0.05
    difference = f"{signed_hours(sums['difference_hours'])} h"
    if phases["open_lines"].sum():
        return [
            ("estimated", f"{hours(sums['estimated_hours'])} h", False),
            ("actual so far", f"{hours(sums['actual_hours'])} h", False),
            ("difference, on lines finished or over already", difference, over),
            ("not used yet on open lines", f"{hours(sums['unused_hours'])} h", False),
        ]
    words, part = main_cause(sums)
    last = (f"what {'added' if part > 0 else 'saved'} most: {words}", f"{signed_hours(part)} h", over)
    return [
        ("estimated", f"{hours(sums['estimated_hours'])} h", False),
        ("actual", f"{hours(sums['actual_hours'])} h", False),
        ("difference", difference, over),
        *([last] if abs(part) >= 0.05 else []),
    ]
