"""The weeks of a treatment as on a wall calendar: hours in each day, and the stretches of waiting."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.analysis.calendar import WEEKDAYS
from dashboard.charts.dressing import Chart, dressed
from dashboard.words import hours

WEEK_HEIGHT = 30
HEAD_HEIGHT = 40


def calendar(days: pd.DataFrame) -> Chart:
    """One row a week, Monday to Sunday; a darker day has more hours, a bar at its foot is waiting.

    Parameters
    ----------
    days : frame of `dashboard.analysis.calendar.days_of_treatment`.
    """
    data = days.assign(
        row=[f"{week:%-d %b %Y}" for week in days["week"]],
        date=[f"{day:%-d %B %Y}" for day in days["day"]],
        said=[hours(value) if value >= 0.05 else "" for value in days["hours"]],
        wait=days["waiting"].map({True: "waiting", False: ""}),
    ).drop(columns=["day", "week"])
    rows = list(dict.fromkeys(data["row"]))
    tooltip = [
        alt.Tooltip("date:N", title="day"),
        alt.Tooltip("hours:Q", title="hours", format=".1f"),
        alt.Tooltip("techniques:N", title="techniques"),
        alt.Tooltip("wait:N", title=" "),
    ]
    base = alt.Chart(data).encode(
        x=alt.X("weekday:O", sort=list(WEEKDAYS), axis=alt.Axis(title=None, orient="top", labelAngle=0), scale=alt.Scale(paddingInner=0.06)),
        y=alt.Y("row:O", sort=rows, axis=alt.Axis(title="week of", titleAngle=0, titleAlign="left", titleY=-14), scale=alt.Scale(paddingInner=0.1)),
        tooltip=tooltip,
    )
    cell = base.mark_rect(cornerRadius=2).encode(
        color=alt.Color("hours:Q", scale=alt.Scale(domain=[0, max(8.0, float(days["hours"].max() or 0))], range=[look.LINEN, look.ACCENT]), legend=None)
    )
    said = base.mark_text(dy=-2).encode(text="said:N", color=alt.condition("datum.hours > 4", alt.value(look.PAPER), alt.value(look.INK)))
    waits = base.transform_filter("datum.waiting").mark_rect(height=5, yOffset=10, color=look.CAUSE_COLOURS["found on the way"])
    layers = [cell, waits, said] if data["waiting"].any() else [cell, said]  # an empty layer is an unnamed picture to those who hear the page
    return dressed(alt.layer(*layers), len(rows) * WEEK_HEIGHT + HEAD_HEIGHT)
