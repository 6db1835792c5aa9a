"""Promises beside what works took, over time."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.dressing import Chart, dressed

HEIGHT = 300


def over_time(held: pd.DataFrame) -> Chart:
    """What each finished work took, in per cent of what was said at even chance, by the day on which it was finished; a range where one was promised.

    Parameters
    ----------
    held : frame of `dashboard.analysis.promises.held_against`.
    """
    shown = held.assign(
        percent=100 * held["actual_hours"] / held["even_hours"], low=100 * held["p10"] / held["even_hours"], high=100 * held["p90"] / held["even_hours"],
        how=held["kept"].map({True: "kept", False: "over"}),
    )[["object", "finished_on", "percent", "low", "high", "how", "promised_hours", "actual_hours"]]  # fmt: skip
    first, last = shown["finished_on"].min() - pd.Timedelta(days=25), shown["finished_on"].max() + pd.Timedelta(days=25)
    highest = max(float(shown[["percent", "high"]].max().max()), 110.0) * 1.08
    x = alt.X("finished_on:T", scale=alt.Scale(domain=[first.isoformat(), last.isoformat()]), axis=alt.Axis(title=None, tickCount=4, labelOverlap=True))
    axis = alt.Axis(
        title="took, in % of even chance",
        tickCount=5,
        format=look.NUMBER,
        titleAlign="left",
        titleAnchor="start",
        titleAngle=0,
        titleX=0,
        titleY=-14,
        grid=True,
    )
    y = alt.Scale(domain=[0, highest], nice=False)
    level = alt.Chart(pd.DataFrame({"percent": [100.0], "words": ["as promised"]}))
    line = level.mark_rule(color=look.ACCENT, strokeWidth=1.5).encode(y=alt.Y("percent:Q", scale=y, axis=axis))
    words = level.mark_text(align="right", dy=-7, color=look.ACCENT).encode(x=alt.value("width"), y=alt.Y("percent:Q", scale=y), text="words:N")
    base = alt.Chart(shown)
    ranges = base.transform_filter("isValid(datum.low)").mark_rule(color=look.ESTIMATE, strokeWidth=7).encode(x=x, y=alt.Y("low:Q", scale=y), y2="high:Q")
    points = (
        base.mark_point(size=75, strokeWidth=1.6, filled=True, opacity=1)
        .encode(
            x=x, y=alt.Y("percent:Q", scale=y), color=alt.Color("how:N", scale=alt.Scale(domain=["kept", "over"], range=[look.ACCENT, look.OVER]), legend=None),
            shape=alt.Shape("how:N", scale=alt.Scale(domain=["kept", "over"], range=["circle", "triangle-up"]), legend=None),
            tooltip=[alt.Tooltip("object:N", title="work"), alt.Tooltip("promised_hours:Q", title="promised, h", format=",.1f"), alt.Tooltip("actual_hours:Q", title="took, h", format=",.1f"), alt.Tooltip("how:N", title="promise")],
        )
        .add_params(alt.selection_point(name="chosen", fields=["object"]))
    )  # fmt: skip
    layers = [line, *([ranges] if shown["low"].notna().any() else []), points, words]  # a layer of nothing is a picture without a name to who hears it
    return dressed(alt.layer(*layers), HEIGHT)
