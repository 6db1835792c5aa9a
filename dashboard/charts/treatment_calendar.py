"""The weeks of a treatment as on a wall calendar: hours in each day, and the stretches of waiting."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.charts.style import Chart, dressed
from dashboard.charts.weeks import week_layers
from dashboard.formatting import hours

WEEK_HEIGHT = 30
HEAD_HEIGHT = 40


def calendar(days: pd.DataFrame) -> Chart:
    """One row a week, Monday to Sunday; a darker day has more hours, a bar at its foot is waiting.

    Parameters
    ----------
    days : frame of `dashboard.analysis.report.treatment_days.days_of_treatment`.
    """
    data = days.assign(
        row=[f"{week:%-d %b %Y}" for week in days["week"]],
        date=[f"{day:%-d %B %Y}" for day in days["day"]],
        said=[hours(value) if value >= 0.05 else "" for value in days["hours"]],
        wait=days["waiting"].map({True: "waiting", False: ""}),
    ).drop(columns=["day", "week"])
    tooltip = [
        alt.Tooltip("date:N", title="day"),
        alt.Tooltip("hours:Q", title="hours", format=".1f"),
        alt.Tooltip("techniques:N", title="techniques"),
        alt.Tooltip("wait:N", title=" "),
    ]
    base, cell, label = week_layers(data, tooltip, max(8.0, float(days["hours"].max() or 0)), 4)
    waits = base.transform_filter("datum.waiting").mark_rect(
        height=5, yOffset=10, color=theme.CAUSE_COLOURS["found on the way"]
    )
    # an empty layer is an unnamed picture to those who hear the page
    layers = [cell, waits, label] if data["waiting"].any() else [cell, label]
    return dressed(alt.layer(*layers), data["row"].nunique() * WEEK_HEIGHT + HEAD_HEIGHT)
