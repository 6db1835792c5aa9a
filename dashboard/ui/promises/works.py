"""Promises work by work and over time."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.analysis.validation import promise_scores
from dashboard.charts import promises as promises_chart
from dashboard.formatting import CONFIDENCES, counted, day, hours
from dashboard.services.promises import Scored
from dashboard.text import html_blocks
from dashboard.text import promises as promises_text
from dashboard.text.rounding import difference
from dashboard.ui import layout, page_data

SHOWN = 10


MOST_READ_OUT = 40


def over_time(scored: Scored) -> None:
    st.header("Over time")
    works = scored.works
    shares = "; ".join(
        f"{row['object']} {100 * row['actual_hours'] / row['even_hours']:.0f} %"
        for row in works.head(MOST_READ_OUT).to_dict("records")
    )
    layout.say(
        "Each finished work by what it took in per cent of what was said at even chance: a circle was"
        " kept, a triangle ran over the hours promised; the pale bar is the range that was promised."
        " Choose one to see what it taught."
    )
    code = layout.choosing_chart(
        promises_chart.over_time(works), f"What finished works took by what was promised: {shares}.", "points"
    )
    if code:
        layout.show_at(object=code)
    layout.table_of(
        "Promises by year",
        promise_scores.by_year(works),
        {
            "finished in": "year",
            "works": "works",
            "kept": "kept",
            "true share, in 100": lambda row: (
                f"{100 * row['share_low']:.0f} to {100 * row['share_high']:.0f}"
            ),
            "took, against even chance (range)": promises_text.bias_text,
        },
        words=(0, 4),
    )


def show(scored: Scored) -> None:
    st.header("Work by work")
    heads = ["work", "finished", "promised, h", "chance", "range, h", "took, h", "promise", "revised to, h"]
    rows: list[list[html_blocks.Cell]] = [
        [
            html_blocks.Link(row["object"], page_data.address("promised-and-kept", object=row["object"])),
            day(row["finished_on"]),
            hours(row["promised_hours"]),
            CONFIDENCES.get(int(row["confidence"]), "") if pd.notna(row["confidence"]) else "a figure",
            f"{hours(row['p10'])} to {hours(row['p90'])}" if pd.notna(row["p10"]) else "",
            hours(row["actual_hours"]),
            (
                "kept"
                if row["kept"]
                else f"over by {hours(difference(row['actual_hours'], row['promised_hours']))} h"
            ),
            hours(row["revised_hours"]) if pd.notna(row["revised_hours"]) else "",
        ]
        for row in scored.works.to_dict("records")
    ]
    layout.table("Promises, the latest finished first", heads, rows[:SHOWN], words=(0, 1, 3, 6))
    if len(rows) > SHOWN:
        with st.expander(f"The {counted(len(rows) - SHOWN, 'work')} before"):
            layout.table("Promises before", heads, rows[SHOWN:], words=(0, 1, 3, 6))
    layout.say(
        "The promise is the one with which a work began: the last version approved before that, else the"
        " last one made. A revision takes over hours that are worked already, so it is shown and not"
        " scored; One work and The year hold a work against the latest approved."
    )
    layout.download_frame("All of them as CSV", scored.works.drop(columns=["off", "quoted"]), "promises.csv")
