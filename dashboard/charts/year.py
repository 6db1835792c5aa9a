"""The studio's year: its hours month by month."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.charts.style import Chart, dressed

HEIGHT = 260
WHAT = {"chargeable": "charged", "own_cost": "at the studio’s own cost", "studio": "studio time"}
_COLOURS = {
    "charged": theme.ACCENT,
    "at the studio’s own cost": theme.OVER,
    "studio time": theme.CAUSE_COLOURS["more to treat"],
}


def months(hours: pd.DataFrame) -> Chart:
    """A column a month, in parts by what its hours were.

    Parameters
    ----------
    hours : frame of `dashboard.queries.hours_of_months`.
    """
    data = hours.groupby(["month", "what"], as_index=False)["hours"].sum()
    data = data.assign(
        words=data["what"].map(WHAT),
        called=[f"{item:%b}" for item in data["month"]],
        order=data["what"].map({name: place for place, name in enumerate(WHAT)}),
        said=[f"{item:%B %Y}" for item in data["month"]],
    )
    there = [words for words in WHAT.values() if (data["words"] == words).any()]
    names = [f"{pd.Timestamp(2001, number, 1):%b}" for number in range(1, 13)]
    chart = (
        alt.Chart(data.drop(columns=["month", "what"]))
        .mark_bar(aria=False)
        .encode(
            x=alt.X(
                "called:O",
                sort=names,
                scale=alt.Scale(domain=names),
                axis=alt.Axis(title=None, labelAngle=0, labelOverlap=True),
            ),
            y=alt.Y(
                "hours:Q",
                axis=alt.Axis(
                    title="hours",
                    tickCount=5,
                    tickMinStep=1,
                    format=theme.NUMBER,
                    titleAngle=0,
                    titleAlign="left",
                    titleAnchor="start",
                    titleX=0,
                    titleY=-14,
                    grid=True,
                ),
            ),
            color=alt.Color(
                "words:N",
                scale=alt.Scale(domain=there, range=[_COLOURS[item] for item in there]),
                legend=alt.Legend(title=None, orient="bottom"),
            ),
            order=alt.Order("order:Q"),
            tooltip=[
                alt.Tooltip("said:N", title="month"),
                alt.Tooltip("words:N", title="hours"),
                alt.Tooltip("hours:Q", title="h", format=",.1f"),
            ],
        )
    )
    return dressed(chart, HEIGHT)
