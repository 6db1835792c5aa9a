"""Promises beside what works took, over time."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.charts.style import Chart, axis_with_head, dressed

HEIGHT = 300


# Over 60 lines: the layers of one chart, which share its scales.
def over_time(frame: pd.DataFrame) -> Chart:
    """Hours of each finished work in per cent of the promise at even chance, by the day on which it was
    finished; a range where one was promised.

    Parameters
    ----------
    frame : frame of `dashboard.analysis.validation.promise_scores.scored_promises`.
    """
    shown = frame.assign(
        percent=100 * frame["actual_hours"] / frame["even_hours"],
        low=100 * frame["p10"] / frame["even_hours"],
        high=100 * frame["p90"] / frame["even_hours"],
        how=frame["kept"].map({True: "kept", False: "over"}),
    )[["object", "finished_on", "percent", "low", "high", "how", "promised_hours", "actual_hours"]]
    first, last = (
        shown["finished_on"].min() - pd.Timedelta(days=25),
        shown["finished_on"].max() + pd.Timedelta(days=25),
    )
    highest = max(float(shown[["percent", "high"]].max().max()), 110.0) * 1.08
    x = alt.X(
        "finished_on:T",
        scale=alt.Scale(domain=[first.isoformat(), last.isoformat()]),
        axis=alt.Axis(title=None, tickCount=4, labelOverlap=True),
    )
    axis = axis_with_head("took, in % of even chance")
    y = alt.Scale(domain=[0, highest], nice=False)
    level = alt.Chart(pd.DataFrame({"percent": [100.0], "words": ["as promised"]}))
    line = level.mark_rule(color=theme.ACCENT, strokeWidth=1.5).encode(
        y=alt.Y("percent:Q", scale=y, axis=axis)
    )
    words = level.mark_text(align="right", dy=-7, color=theme.ACCENT).encode(
        x=alt.value("width"), y=alt.Y("percent:Q", scale=y), text="words:N"
    )
    base = alt.Chart(shown)
    ranges = (
        base.transform_filter("isValid(datum.low)")
        .mark_rule(color=theme.ESTIMATE, strokeWidth=7)
        .encode(x=x, y=alt.Y("low:Q", scale=y), y2="high:Q")
    )
    points = (
        base.mark_point(size=75, strokeWidth=1.6, filled=True, opacity=1)
        .encode(
            x=x,
            y=alt.Y("percent:Q", scale=y),
            color=alt.Color(
                "how:N",
                scale=alt.Scale(domain=["kept", "over"], range=[theme.ACCENT, theme.OVER]),
                legend=None,
            ),
            shape=alt.Shape(
                "how:N",
                scale=alt.Scale(domain=["kept", "over"], range=["circle", "triangle-up"]),
                legend=None,
            ),
            tooltip=[
                alt.Tooltip("object:N", title="work"),
                alt.Tooltip("promised_hours:Q", title="promised, h", format=",.1f"),
                alt.Tooltip("actual_hours:Q", title="took, h", format=",.1f"),
                alt.Tooltip("how:N", title="promise"),
            ],
        )
        .add_params(alt.selection_point(name="chosen", fields=["object"]))
    )
    # a layer of nothing is a picture without a name to who hears it
    layers = [line, *([ranges] if shown["low"].notna().any() else []), points, words]
    return dressed(alt.layer(*layers), HEIGHT)
