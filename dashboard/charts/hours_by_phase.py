"""Estimated against actual hours by phase, and the causes of the difference."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.words import hours, signed_hours

ROW_HEIGHT = 52


def estimated_against_actual(phases: pd.DataFrame) -> alt.LayerChart | alt.FacetChart:
    """A wide pale bar ending in a tick is the estimate, the narrow dark bar over it the actual; the difference stands at the end.

    Parameters
    ----------
    phases : frame of `dashboard.analysis.overruns.by_phase`.
    """
    data = phases.assign(
        reach=phases[["estimated_hours", "actual_hours"]].max(axis=1),
        said=[f"{signed_hours(value)} h" for value in phases["difference_hours"]],
        label=[
            f"{phase}: {hours(e)} h estimated, {hours(a)} h worked"
            for phase, e, a in zip(phases["phase"], phases["estimated_hours"], phases["actual_hours"], strict=True)
        ],
        over=phases["difference_hours"] >= 0.05,
    )
    longest = float(data["reach"].max()) if len(data) else 1.0
    tooltip = [
        alt.Tooltip("phase:N", title="phase"),
        alt.Tooltip("estimated_hours:Q", title="estimated, h", format=",.1f"),
        alt.Tooltip("actual_hours:Q", title="actual, h", format=",.1f"),
        alt.Tooltip("works:Q", title="works"),
    ]
    # Room on the right for the difference, so that it is never cut at a phone's width.
    x = alt.Scale(domain=[0, longest * 1.28 or 1], nice=False)
    base = alt.Chart(data).encode(y=alt.Y("phase:N", sort=list(data["phase"]), axis=None))
    estimate = base.mark_bar(color=look.ESTIMATE, height=20, yOffset=9).encode(
        x=alt.X("estimated_hours:Q", scale=x, axis=alt.Axis(title="hours", orient="top", tickCount=4, format=",.0f")), tooltip=tooltip
    )
    tick = base.mark_tick(color=look.SOFT_INK, thickness=2, height=26, yOffset=9).encode(x="estimated_hours:Q", tooltip=tooltip)
    actual = base.mark_bar(height=8, yOffset=9).encode(
        x="actual_hours:Q", color=alt.condition("datum.over", alt.value(look.OVER), alt.value(look.ACCENT)), tooltip=tooltip
    )
    difference = base.mark_text(align="left", dx=7, dy=9, fontWeight=600).encode(
        x="reach:Q", text="said:N", color=alt.condition("datum.over", alt.value(look.OVER), alt.value(look.ACCENT))
    )
    names = base.mark_text(align="left", dy=-13).encode(x=alt.value(0), text="label:N")
    return _dressed(alt.layer(estimate, tick, actual, difference, names), len(data) * ROW_HEIGHT, "Estimated and actual hours of each phase")


def causes(phases: pd.DataFrame, causes_by_column: dict[str, str]) -> alt.LayerChart | alt.FacetChart:
    """The parts of the difference by phase: what added hours to the right of nought, what saved them to the left.

    Parameters
    ----------
    phases : as above.
    causes_by_column : column of a part to its words.
    """
    long = phases.melt(id_vars=["phase", "position"], value_vars=list(causes_by_column), var_name="column", value_name="hours")
    long["cause"] = long["column"].map(causes_by_column)
    words = list(causes_by_column.values())
    order = list(phases["phase"])
    colour = alt.Color(
        "cause:N", scale=alt.Scale(domain=words, range=[look.CAUSE_COLOURS[word] for word in words]), legend=alt.Legend(title=None, orient="top", columns=2)
    )
    base = alt.Chart(long).encode(y=alt.Y("phase:N", sort=order, axis=None))
    bars = base.mark_bar(height=16, yOffset=8).encode(
        x=alt.X(
            "hours:Q",
            stack="zero",
            axis=alt.Axis(
                title="hours over (right) or under (left) the estimate", orient="top", tickCount=5, labelExpr="datum.value ? format(datum.value, '+,.0f') : '0'"
            ),
        ),
        color=colour,
        tooltip=[alt.Tooltip("phase:N", title="phase"), alt.Tooltip("cause:N", title="why"), alt.Tooltip("hours:Q", title="hours", format="+,.1f")],
    )
    zero = alt.Chart(pd.DataFrame({"nought": [0]})).mark_rule(color=look.SOFT_INK).encode(x="nought:Q")
    names = alt.Chart(phases).mark_text(align="left", dy=-13).encode(y=alt.Y("phase:N", sort=order, axis=None), x=alt.value(0), text="phase:N")
    return _dressed(alt.layer(bars, zero, names), len(phases) * (ROW_HEIGHT + 6), "Why actual and estimated hours differ, by phase")


def _dressed(chart: alt.LayerChart | alt.FacetChart, height: int, description: str) -> alt.LayerChart | alt.FacetChart:
    dressed: alt.LayerChart | alt.FacetChart = chart.properties(height=max(height, ROW_HEIGHT), width="container", description=description).configure(
        **look.chart_config()
    )
    return dressed
