"""Forecasts of works on the bench beside what was approved, and from day to day."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.charts.style import Chart, axis_with_head, dressed

ROW, AXIS, HEIGHT = 46, 44, 280


def ends(works: pd.DataFrame) -> Chart:
    """Each work as a line from its likeliest least to its likeliest most (8 in 10), with a dot at even
    chance; the tick is what was approved, the narrow bar the hours so far.

    Parameters
    ----------
    works : rows of `dashboard.services.forecast.Bench.works` with a forecast, in the order shown, and
        `label`.
    """
    data = works[
        ["object", "approved_hours", "actual_hours", "p10", "p50", "p90", "chance_over_approved", "label"]
    ].assign(
        over=works["chance_over_approved"] >= 0.5  # unknown is not over
    )
    longest = float(data[["p90", "approved_hours"]].max().max())
    scale = alt.Scale(domain=[0, longest * 1.04 or 1], nice=False)
    tooltip = [
        alt.Tooltip("object:N", title="work"),
        alt.Tooltip("actual_hours:Q", title="so far, h", format=",.1f"),
        alt.Tooltip("p50:Q", title="ends, even chance, h", format=",.1f"),
        alt.Tooltip("p10:Q", title="8 in 10 from, h", format=",.1f"),
        alt.Tooltip("p90:Q", title="to, h", format=",.1f"),
        alt.Tooltip("approved_hours:Q", title="approved, h", format=",.1f"),
    ]
    base = alt.Chart(data).encode(y=alt.Y("object:N", sort=list(data["object"]), axis=None))
    colour = alt.condition("datum.over", alt.value(theme.OVER), alt.value(theme.ACCENT))
    x = alt.X(
        "actual_hours:Q",
        scale=scale,
        axis=alt.Axis(title="hours", orient="top", tickCount=4, format=theme.NUMBER),
    )
    so_far = base.mark_bar(aria=False, height=6, yOffset=10, color=theme.SOFT_INK).encode(
        x=x, tooltip=tooltip
    )
    span = base.mark_rule(aria=False, strokeWidth=3, yOffset=10).encode(
        x=alt.X("p10:Q", scale=scale), x2="p90:Q", color=colour, tooltip=tooltip
    )
    dot = base.mark_circle(aria=False, size=110, opacity=1, yOffset=10).encode(
        x=alt.X("p50:Q", scale=scale), color=colour, tooltip=tooltip
    )
    words = base.mark_text(aria=False, align="left", dy=-10).encode(x=alt.value(0), text="label:N")
    layers = [so_far, span, dot, words]
    if data["approved_hours"].notna().any():
        layers.append(
            base.transform_filter("isValid(datum.approved_hours)")
            .mark_tick(aria=False, color=theme.INK, thickness=2, height=22, yOffset=10)
            .encode(x=alt.X("approved_hours:Q", scale=scale), tooltip=tooltip)
        )
    dots = base.mark_point(aria=False, size=600, opacity=0, filled=True, yOffset=10).encode(
        x=alt.X("p50:Q", scale=scale), tooltip=tooltip
    )
    return dressed(
        alt.layer(*layers, dots.add_params(alt.selection_point(name="chosen", fields=["object"]))),
        max(len(data), 1) * ROW + AXIS,
    )


# Over 60 lines: the layers of one chart, which share its scales.
def told_before(history: pd.DataFrame) -> Chart:
    """Forecasts of a work from day to day: band of 8 in 10, line at even chance, steps of what was approved,
    and the hours so far.

    Parameters
    ----------
    history : frame of `dashboard.services.forecast_history.history`.
    """
    data = history.assign(approved=history["approved_hours"])[
        ["day", "p10", "p50", "p90", "actual_hours", "approved"]
    ]
    highest = float(data[["p90", "approved"]].max().max()) * 1.06
    first, last = data["day"].min() - pd.Timedelta(days=1), data["day"].max() + pd.Timedelta(hours=12)
    x = alt.X(
        "day:T",
        scale=alt.Scale(domain=[first.isoformat(), last.isoformat()]),
        axis=alt.Axis(title=None, tickCount=5, format="%-d %b", labelOverlap=True),
    )
    scale = alt.Scale(domain=[0, highest], nice=False)
    axis = axis_with_head("hours in the end")
    tooltip = [
        alt.Tooltip("day:T", title="as told on", format="%-d %B %Y"),
        alt.Tooltip("p50:Q", title="even chance, h", format=",.1f"),
        alt.Tooltip("p10:Q", title="8 in 10 from, h", format=",.1f"),
        alt.Tooltip("p90:Q", title="to, h", format=",.1f"),
        alt.Tooltip("actual_hours:Q", title="so far, h", format=",.1f"),
    ]
    base = alt.Chart(data)
    band = base.mark_area(aria=False, color=theme.ESTIMATE, opacity=0.7, interpolate="step-after").encode(
        x=x, y=alt.Y("p10:Q", scale=scale, axis=axis), y2="p90:Q"
    )
    middle = base.mark_line(aria=False, color=theme.ACCENT, strokeWidth=2.5, interpolate="step-after").encode(
        x=x, y=alt.Y("p50:Q", scale=scale)
    )
    points = base.mark_circle(aria=False, color=theme.ACCENT, size=45, opacity=1).encode(
        x=x, y=alt.Y("p50:Q", scale=scale), tooltip=tooltip
    )
    so_far = base.mark_line(
        aria=False, color=theme.SOFT_INK, strokeWidth=1.5, strokeDash=[3, 3], interpolate="step-after"
    ).encode(x=x, y=alt.Y("actual_hours:Q", scale=scale))
    layers = [band, so_far, middle, points]
    if data["approved"].notna().any():
        approved = base.transform_filter("isValid(datum.approved)")
        layers.append(
            approved.mark_line(aria=False, color=theme.INK, strokeWidth=1.5, interpolate="step-after").encode(
                x=x, y=alt.Y("approved:Q", scale=scale)
            )
        )
        since = alt.Chart(data[data["approved"].notna()].head(1).assign(words="approved"))
        layers.append(
            since.mark_text(aria=False, align="left", dx=4, dy=9).encode(
                x=x, y=alt.Y("approved:Q", scale=scale), text="words:N"
            )
        )
    latest = alt.Chart(data.tail(1).assign(words="so far"))
    layers.append(
        latest.mark_text(aria=False, align="right", dy=10, color=theme.SOFT_INK).encode(
            x=alt.value("width"), y=alt.Y("actual_hours:Q", scale=scale), text="words:N"
        )
    )
    return dressed(alt.layer(*layers), HEIGHT)
