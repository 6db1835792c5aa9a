"""Weeks as on a wall calendar: a row a week, Monday to Sunday, darker with more hours."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.analysis.report.treatment_days import WEEKDAYS
from dashboard.charts.style import Chart


def week_layers(
    data: pd.DataFrame, tooltip: list[alt.Tooltip], most: float, light_above: float
) -> tuple[Chart, Chart, Chart]:
    """The frame of the calendar, its days in the shade of their hours, and what is written on each.

    Parameters
    ----------
    data : a row a day, with `row` (its week), `weekday`, `hours` and `said` (what is written on it).
    most : hours of the darkest shade.
    light_above : hours above which the writing is light.
    """
    x = alt.X(
        "weekday:O",
        sort=list(WEEKDAYS),
        axis=alt.Axis(title=None, orient="top", labelAngle=0),
        scale=alt.Scale(paddingInner=0.06),
    )
    y = alt.Y(
        "row:O",
        sort=list(dict.fromkeys(data["row"])),
        axis=alt.Axis(title="week of", titleAngle=0, titleAlign="left", titleY=-14),
        scale=alt.Scale(paddingInner=0.1),
    )
    base = alt.Chart(data).encode(x=x, y=y, tooltip=tooltip)
    shade = alt.Scale(domain=[0, most], range=[theme.LINEN, theme.ACCENT])
    cell = base.mark_rect(cornerRadius=2).encode(color=alt.Color("hours:Q", scale=shade, legend=None))
    light = alt.condition(f"datum.hours > {light_above}", alt.value(theme.PAPER), alt.value(theme.INK))
    return base, cell, base.mark_text(dy=-2).encode(text="said:N", color=light)
