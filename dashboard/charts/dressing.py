"""What all charts have in common: faces and colours, and being drawn as text that can be read out and selected."""

from __future__ import annotations

import altair as alt

from dashboard import look

Chart = alt.Chart | alt.LayerChart | alt.FacetChart


def dressed(chart: Chart, height: int) -> Chart:
    """The chart at the width of its place, with the look of the pages."""
    done: Chart = chart.properties(height=height, width="container", usermeta={"embedOptions": {"renderer": "svg"}}).configure(**look.chart_config())
    return done
