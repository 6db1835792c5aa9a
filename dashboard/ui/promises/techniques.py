"""Promises by phase, and techniques whose promises were worth least."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.analysis.validation import promise_scores
from dashboard.formatting import hours, per_unit, rate
from dashboard.services.promises import Scored
from dashboard.text import html_blocks
from dashboard.text import promises as promises_text
from dashboard.text.overruns import named
from dashboard.ui import layout, page_data, results

LEAST_WORTH = 6


def by_phase(scored: Scored) -> None:
    layout.section(
        "By phase",
        "Lines that were promised and worked: what the last version before each line's first entry said"
        " of it, summed by work. Where all together ran over by more than the usual work, a few works ran"
        " over by much.",
    )
    layout.table_of(
        "Promises by phase",
        promise_scores.by_phase(named(scored.lines)),
        {
            "phase": "phase",
            "works": "works",
            "promised, h": lambda row: hours(row["promised_hours"]),
            "took, h": lambda row: hours(row["actual_hours"]),
            "all together": lambda row: (
                f"{100 * (row['actual_hours'] / row['promised_hours'] - 1):+.0f} %".replace("-", "−")
            ),
            "the usual work took (range)": promises_text.bias_text,
        },
        words=(0, 5),
    )


def least_worth(scored: Scored) -> None:
    st.header("Which rates to trust least")
    worst = promise_scores.least_worth(named(scored.lines)).head(LEAST_WORTH)
    if worst.empty:
        st.write(f"Too early to say: it takes a technique on {promise_scores.FEW_WORKS} finished works.")
        return
    table = named(results.rates(page_data.today()).table).set_index("technique")
    rows: list[list[html_blocks.Cell]] = []
    for row in worst.to_dict("records"):
        current = table.loc[row["technique"]] if row["technique"] in table.index else None
        rate_in_words = (
            f"{rate(current['rate'])} h per {per_unit(current['unit'])}, {rate(current['rate_low'])} to"
            f" {rate(current['rate_high'])}"
            if current is not None and pd.notna(current["rate"])
            else "–"
        )
        rows.append(
            [
                row["technique"] if current is None else page_data.rate_link("", row["technique"]),
                f"{row['works']}",
                f"{row['lines']}",
                f"{100 * row['missed_by']:.0f} %",
                f"{100 * (row['factor'] - 1):+.0f} %".replace("-", "−"),
                rate_in_words,
            ]
        )
    layout.table(
        "Techniques whose promises were worth least",
        [
            *("technique", "works", "lines"),
            *("half missed by more than", "took, on average", "its rate now, and range"),
        ],
        rows,
        words=(0, 5),
    )
    layout.say(
        "Up or down, against what was promised of each line. Quote these with room, or with a first stage."
    )
