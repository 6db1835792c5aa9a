"""The bench plan: when each work is ready, and the weeks ahead as on a wall calendar."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.analysis.report.treatment_days import WEEKDAYS
from dashboard.charts.style import Chart, dressed
from dashboard.charts.weeks import week_layers
from dashboard.formatting import hours

ROW, AXIS = 46, 44
WEEK, HEAD = 32, 40


def ready(works: pd.DataFrame, first_day: pd.Timestamp) -> Chart:
    """Each work as a line from the earliest to the latest likely day (8 in 10), with a dot at even chance;
    the tick is the day it is due.

    Parameters
    ----------
    works : rows of `dashboard.services.plan.Plan.works` in the order shown, and `label`.
    """
    data = works[
        ["object", "leaves_p10", "leaves_p50", "leaves_p80", "leaves_p90", "due_on", "label"]
    ].assign(late=works["chance_late"].fillna(0.0) >= 0.5)
    last = data[["leaves_p90", "due_on"]].max().max() + pd.Timedelta(days=4)
    scale = alt.Scale(domain=[first_day.isoformat(), last.isoformat()], nice=False)
    days = [
        ("even chance", "leaves_p50"),
        ("4 in 5", "leaves_p80"),
        ("8 in 10 from", "leaves_p10"),
        ("to", "leaves_p90"),
        ("due", "due_on"),
    ]
    tooltip = [
        alt.Tooltip("object:N", title="work"),
        *(alt.Tooltip(f"{name}:T", title=title, format="%-d %B %Y") for title, name in days),
    ]
    base = alt.Chart(data).encode(y=alt.Y("object:N", sort=list(data["object"]), axis=None))
    colour = alt.condition("datum.late", alt.value(theme.OVER), alt.value(theme.ACCENT))
    axis = alt.Axis(title=None, orient="top", tickCount=5, format="%-d %b", labelOverlap=True)
    span = base.mark_rule(aria=False, strokeWidth=3, yOffset=10).encode(
        x=alt.X("leaves_p10:T", scale=scale, axis=axis), x2="leaves_p90:T", color=colour, tooltip=tooltip
    )
    dot = base.mark_circle(aria=False, size=110, opacity=1, yOffset=10).encode(
        x=alt.X("leaves_p50:T", scale=scale), color=colour, tooltip=tooltip
    )
    words = base.mark_text(aria=False, align="left", dy=-10).encode(x=alt.value(0), text="label:N")
    layers = [span, dot, words]
    if data["due_on"].notna().any():
        due = base.transform_filter("isValid(datum.due_on)").mark_tick(
            aria=False, color=theme.INK, thickness=2, height=16, yOffset=11
        )
        layers.append(due.encode(x=alt.X("due_on:T", scale=scale), tooltip=tooltip))
    return dressed(alt.layer(*layers), max(len(data), 1) * ROW + AXIS)


def weeks_ahead(days: pd.DataFrame) -> Chart:
    """One row a week, Monday to Sunday; a darker day has more hours planned, a bar at its foot is waiting, a
    dot a work that is ready, a pale day with a stroke nobody is there.

    Parameters
    ----------
    days : frame of `dashboard.services.plan.Plan.days`, of whole weeks, with `ready` (codes of works that are
        ready then at even chance; empty: none).
    """
    week = days["day"] - pd.to_timedelta(days["day"].dt.day_of_week, "D")
    data = days.assign(
        row=[f"{item:%-d %b %Y}" for item in week],
        weekday=[WEEKDAYS[n] for n in days["day"].dt.day_of_week],
        date=[f"{day:%-d %B %Y}" for day in days["day"]],
        said=[
            hours(value) if value >= 0.05 else "–" if away else ""
            for value, away in zip(days["hours"], days["away"], strict=True)
        ],
        wait=days["waiting"] >= 0.5,
    ).drop(columns="day")
    tooltip = [
        alt.Tooltip("date:N", title="day"),
        alt.Tooltip("hours:Q", title="hours planned", format=".1f"),
        alt.Tooltip("bench_hours:Q", title="of bench hours", format=".1f"),
        alt.Tooltip("object:N", title="most on"),
        alt.Tooltip("waiting:Q", title="works that wait alone", format=".1f"),
        alt.Tooltip("ready:N", title="ready"),
        alt.Tooltip("away:N", title="away"),
    ]
    most = max(8.0, float(days["hours"].max()))
    base, cell, label = week_layers(data, tooltip, most, most / 2)
    layers = [cell, label]
    if data["wait"].any():  # an empty layer is an unnamed picture to those who hear the page
        layers.append(
            base.transform_filter("datum.wait").mark_rect(
                height=5, yOffset=11, color=theme.CAUSE_COLOURS["found on the way"]
            )
        )
    if (data["ready"] != "").any():
        layers.append(
            base.transform_filter("datum.ready != ''").mark_circle(
                size=60, opacity=1, xOffset=15, yOffset=-9, color=theme.CAUSE_COLOURS["more to treat"]
            )
        )
    return dressed(alt.layer(*layers), data["row"].nunique() * WEEK + HEAD)
