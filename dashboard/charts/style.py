"""Parts shared by all charts: faces, colours, axes; drawn as text that can be read out and selected."""

from __future__ import annotations

from typing import Any

import altair as alt

from dashboard import theme

Chart = alt.Chart | alt.LayerChart | alt.FacetChart


def axis_with_head(title: str, **more: Any) -> alt.Axis:
    """An upright axis of numbers whose title stands above it, to be read without turning the head."""
    return alt.Axis(
        title=title,
        tickCount=5,
        format=theme.NUMBER,
        titleAlign="left",
        titleAnchor="start",
        titleAngle=0,
        titleX=0,
        titleY=-14,
        grid=True,
        **more,
    )


def dressed(chart: Chart, height: int) -> Chart:
    """The chart at the width of its place, with the look of the pages."""
    done: Chart = chart.properties(
        height=height, width="container", usermeta={"embedOptions": {"renderer": "svg"}}
    ).configure(**theme.chart_config())
    return done
