"""The total of a quote as dots that can be counted, and what drives its spread."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.analysis.arrays import Floats
from dashboard.analysis.report.quantile_dots import stacked
from dashboard.charts.style import Chart, dressed

_DOT, _ROW, _MOST = 260, 24, 8


def chance(values: Floats, promised: float) -> Chart:
    """Equally likely totals as dots, and where the promise stands among them.

    Parameters
    ----------
    values : hours, rising, each equally likely.
    """
    places, level, low, high = stacked(values)
    width = max(high - low, 1e-9)
    dots = pd.DataFrame(
        {
            "hours": low + np.array(places) * width,
            "level": np.array(level) + 0.5,
            "within": values <= promised,
            "exact": values,
        }
    )
    highest = int(max(level)) + 1
    x = alt.X(
        "hours:Q",
        scale=alt.Scale(domain=[low - 0.04 * width, max(high, promised) + 0.08 * width], nice=False),
        axis=alt.Axis(title="hours", format=theme.NUMBER, tickCount=6, grid=False),
    )
    y = alt.Scale(domain=[0, highest + 1], nice=False)
    points = (
        alt.Chart(dots)
        .mark_circle(size=_DOT, opacity=1)
        .encode(
            x=x,
            y=alt.Y("level:Q", scale=y, axis=None),
            color=alt.condition("datum.within", alt.value(theme.ACCENT), alt.value(theme.OVER)),
            tooltip=[alt.Tooltip("exact:Q", title="hours", format=",.1f")],
        )
    )
    mark = alt.Chart(
        pd.DataFrame({"hours": [promised], "words": [f"promise {promised:,.1f} h"], "top": [highest + 0.6]})
    )
    rule = mark.mark_rule(color=theme.INK, strokeWidth=2).encode(x=x)
    words = mark.mark_text(align="left", dx=6, baseline="bottom").encode(
        x=x, y=alt.Y("top:Q", scale=y), text="words:N"
    )
    return dressed(points + rule + words, 60 + 26 * (highest + 1))


def drivers(frame: pd.DataFrame) -> Chart:
    """Bars of the hours between even chance and 4 in 5, by line (`line`, `spread`), the most first."""
    shown = frame.head(_MOST)
    y = alt.Y("line:N", sort=None, axis=alt.Axis(title=None, labelLimit=200))
    bars = (
        alt.Chart(shown)
        .mark_bar(color=theme.ESTIMATE, size=14)
        .encode(
            x=alt.X(
                "spread:Q",
                axis=alt.Axis(title="hours between even chance and 4 in 5", tickCount=4, format=theme.NUMBER),
            ),
            y=y,
        )
    )
    words = (
        alt.Chart(shown)
        .mark_text(align="left", dx=4)
        .encode(x="spread:Q", y=y, text=alt.Text("spread:Q", format=",.1f"))
    )
    return dressed(bars + words, 60 + _ROW * len(shown))
