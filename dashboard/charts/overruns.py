"""Estimated against actual hours, row by row, and the causes of the difference."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.charts.style import Chart, dressed
from dashboard.formatting import signed_hours
from dashboard.text.overruns import not_used_yet, took
from dashboard.text.rounding import as_shown

ROW_HEIGHT = 52
# Taken by axis and legend out of the height of the whole, or a chart of one row would be squeezed into
# nothing.
AXIS_HEIGHT = 44
LEGEND_HEIGHT = 44


# Over 60 lines: the layers of one chart, which share its scales.
def estimated_against_actual(sums: pd.DataFrame, of: str, *, choosing: bool = False) -> Chart:
    """A wide pale bar ending in a tick is the estimate, the narrow dark bar over it the actual; the
    difference stands at the end, or in words where lines are open.

    Parameters
    ----------
    sums : frame of `dashboard.analysis.report.overruns.summed`, in the order shown.
    of : the column that names a row: `phase`, `technique`, `object`, `half_year`.
    choosing : a click on a row chooses it, as the selection `chosen`.
    """
    data = sums[[of, "estimated_hours", "actual_hours", "difference_hours", "works"]].assign(
        reach=sums[["estimated_hours", "actual_hours"]].max(axis=1),
        label=[f"{row[of]}: {took(row)}" for _, row in sums.iterrows()],
        detail=[not_used_yet(row) for _, row in sums.iterrows()],
        over=sums["difference_hours"] >= 0.05,
        beyond=sums["actual_hours"] - sums["estimated_hours"] >= 0.05,
    )
    # Where hours are not used yet a difference at the end of the bar would not be what the eye sees: it
    # stands in words instead.
    data["said"] = [
        f"{signed_hours(value)} h" if left < 0.05 else ""
        for value, left in zip(
            (as_shown(row)["difference_hours"] for row in sums.to_dict("records")),
            sums["unused_hours"],
            strict=True,
        )
    ]
    detailed = bool(data["detail"].any())
    up, down, down_to_bar = (17, -21, -5) if detailed else (9, -13, -13)
    longest = float(data["reach"].max()) if len(data) else 1.0
    tooltip = [
        alt.Tooltip(f"{of}:N", title=of.replace("_", " ")),
        alt.Tooltip("estimated_hours:Q", title="estimated, h", format=",.1f"),
        alt.Tooltip("actual_hours:Q", title="actual, h", format=",.1f"),
        alt.Tooltip("works:Q", title="works"),
    ]
    # Room on the right for the difference, so that it is never cut at a phone's width.
    x = alt.Scale(domain=[0, longest * 1.28 or 1], nice=False)
    base = alt.Chart(data).encode(y=alt.Y(f"{of}:N", sort=list(data[of]), axis=None))
    estimate = base.mark_bar(color=theme.ESTIMATE, height=20, yOffset=up).encode(
        x=alt.X(
            "estimated_hours:Q",
            scale=x,
            axis=alt.Axis(title="hours", orient="top", tickCount=4, format=theme.NUMBER),
        ),
        tooltip=tooltip,
    )
    if choosing:
        estimate = estimate.add_params(alt.selection_point(name="chosen", fields=[of]))
    tick = base.mark_tick(color=theme.SOFT_INK, thickness=2, height=26, yOffset=up).encode(
        x="estimated_hours:Q", tooltip=tooltip
    )
    actual = base.mark_bar(height=8, yOffset=up).encode(
        x="actual_hours:Q",
        color=alt.condition("datum.beyond", alt.value(theme.OVER), alt.value(theme.ACCENT)),
        tooltip=tooltip,
    )
    difference = base.mark_text(align="left", dx=7, dy=up, fontWeight=600).encode(
        x="reach:Q",
        text="said:N",
        color=alt.condition("datum.over", alt.value(theme.OVER), alt.value(theme.ACCENT)),
    )
    layers = [estimate, tick, actual, difference]
    # a name without a detail under it stands close to its bar
    for has_detail in data["detail"].ne("").unique():
        some = base.transform_filter(f"{'' if has_detail else '!'}datum.detail")
        layers.append(
            some.mark_text(align="left", dy=down if has_detail else down_to_bar).encode(
                x=alt.value(0), text="label:N"
            )
        )
        if has_detail:
            layers.append(
                some.mark_text(align="left", dy=-5, color=theme.SOFT_INK).encode(
                    x=alt.value(0), text="detail:N"
                )
            )
    return dressed(
        alt.layer(*layers), max(len(data), 1) * (ROW_HEIGHT + (22 if detailed else 0)) + AXIS_HEIGHT
    )


def causes(sums: pd.DataFrame, of: str, causes_by_column: dict[str, str]) -> Chart:
    """The parts of the difference: what added hours to the right of nought, what saved them to the left.

    Parameters
    ----------
    sums, of : as above.
    causes_by_column : column of a part to its words.
    """
    long = sums.melt(id_vars=[of], value_vars=list(causes_by_column), var_name="column", value_name="hours")
    long["cause"] = long["column"].map(causes_by_column)
    words = list(causes_by_column.values())
    order = list(sums[of])
    colour = alt.Color(
        "cause:N",
        scale=alt.Scale(domain=words, range=[theme.CAUSE_COLOURS[word] for word in words]),
        legend=alt.Legend(title=None, orient="top", columns=2),
    )
    base = alt.Chart(long).encode(y=alt.Y(f"{of}:N", sort=order, axis=None))
    bars = base.mark_bar(height=16, yOffset=8).encode(
        x=alt.X(
            "hours:Q",
            stack="zero",
            axis=alt.Axis(
                title="hours over (right) or under (left) the estimate",
                orient="top",
                tickCount=5,
                format=theme.SIGNED_NUMBER,
                labelExpr="datum.value ? datum.label : '0'",
            ),
        ),
        color=colour,
        tooltip=[
            alt.Tooltip(f"{of}:N", title=of),
            alt.Tooltip("cause:N", title="why"),
            alt.Tooltip("hours:Q", title="hours", format="+,.1f"),
        ],
    )
    zero = alt.Chart(pd.DataFrame({"nought": [0]})).mark_rule(color=theme.SOFT_INK).encode(x="nought:Q")
    names = (
        alt.Chart(sums[[of]])
        .mark_text(align="left", dy=-13)
        .encode(y=alt.Y(f"{of}:N", sort=order, axis=None), x=alt.value(0), text=f"{of}:N")
    )
    return dressed(alt.layer(bars, zero, names), max(len(sums), 1) * ROW_HEIGHT + AXIS_HEIGHT + LEGEND_HEIGHT)
