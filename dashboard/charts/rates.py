"""Past lines of a technique beside its rate."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard import theme
from dashboard.charts.style import Chart, axis_with_head, dressed

HEIGHT = 300
_PINNED = "pinned"


# Over 60 lines: the layers of one chart, which share its scales.
def past_lines(lines: pd.DataFrame, rate: pd.Series, usual: str) -> Chart:
    """Each finished line as a point at the day on which it was finished, its hours brought to the usual
    quantity; behind them the rate and what the next line will take.

    Parameters
    ----------
    lines : frame of `dashboard.services.rates.past_lines`.
    rate : a row of `dashboard.services.rates.rate_table`.
    usual : the usual quantity in words.
    """
    by = rate["reference_quantity"] if pd.notna(rate["reference_quantity"]) else 1.0
    first, last = lines["day"].min() - pd.Timedelta(days=20), lines["day"].max() + pd.Timedelta(days=20)
    band = pd.DataFrame(
        {
            "from": [first],
            "to": [last],
            "p10": [rate["p10"]],
            "p90": [rate["p90"]],
            "low": [rate["rate_low"] * by],
            "high": [rate["rate_high"] * by],
            "rate": [rate["rate"] * by],
        }
    )
    highest = max(float(lines["usual_hours"].max()), float(rate["p90"])) * 1.1
    y = alt.Scale(domain=[0, highest], nice=False)
    axis = axis_with_head(f"hours for {usual}")
    x = alt.X(
        "from:T",
        scale=alt.Scale(domain=[first.isoformat(), last.isoformat()]),
        axis=alt.Axis(title=None, tickCount=4, labelOverlap=True),
    )
    base = alt.Chart(band)
    wide = base.mark_rect(color=theme.ESTIMATE, opacity=0.55).encode(
        x=x, x2="to:T", y=alt.Y("p10:Q", scale=y, axis=axis), y2="p90:Q"
    )
    narrow = base.mark_rect(color=theme.ACCENT, opacity=0.25).encode(
        x=x, x2="to:T", y=alt.Y("low:Q", scale=y), y2="high:Q"
    )
    middle = base.mark_rule(color=theme.ACCENT, strokeWidth=2).encode(
        x=x, x2="to:T", y=alt.Y("rate:Q", scale=y)
    )
    shown = lines.assign(
        amount=lines["quantity"].map(lambda value: f"{value:,.1f}" if pd.notna(value) else "not measured"),
        how=lines["measured"].map({True: "measured", False: "not measured"}),
    )
    points = (
        alt.Chart(shown)
        .mark_point(size=75, strokeWidth=1.6)
        .encode(
            x="day:T",
            y=alt.Y("usual_hours:Q", scale=y),
            color=alt.value(theme.INK),
            fill=alt.condition("datum.measured", alt.value(theme.INK), alt.value(theme.PAPER)),
            tooltip=[
                alt.Tooltip("object:N", title="work"),
                alt.Tooltip("day:T", title="finished", format="%-d %B %Y"),
                alt.Tooltip("hours:Q", title="took, h", format=",.1f"),
                alt.Tooltip("amount:N", title="quantity"),
                alt.Tooltip("usual_hours:Q", title=f"for {usual}, h", format=",.1f"),
            ],
        )
        .add_params(alt.selection_point(name="chosen", fields=["object"]))
    )
    layers = [wide, narrow, middle, points]
    if pd.notna(rate["pinned_rate"]):
        pin = alt.Chart(band.assign(pinned=rate["pinned_rate"] * by, words=_PINNED))
        layers.append(
            pin.mark_rule(color=theme.OVER, strokeDash=[6, 4], strokeWidth=2).encode(
                x=x, x2="to:T", y=alt.Y("pinned:Q", scale=y)
            )
        )
        layers.append(
            pin.mark_text(align="left", dx=4, dy=-7, color=theme.OVER).encode(
                x=x, y=alt.Y("pinned:Q", scale=y), text="words:N"
            )
        )
    return dressed(alt.layer(*layers), HEIGHT)
