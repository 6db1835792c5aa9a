"""Rates of all techniques."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import amount, counted, hours, per_unit, rate
from dashboard.text import html_blocks
from dashboard.text.rates import usual
from dashboard.text.remembered import works_behind
from dashboard.ui import layout, page_data


def show(table: pd.DataFrame, drifted: str) -> None:
    layout.section(
        "All techniques",
        "Rates in hours, with the range that holds the true one 4 times in 5, and the next line of"
        " the usual quantity. * pinned: the record’s range stands beside it.",
        drifted,
    )
    heads = [
        *("technique", "works", "rate", "from", "to"),
        *("per", "usual line", "even chance, h", "4 in 5, h", "9 in 10, h"),
    ]
    with_rate = table[(table["lines"] > 0) | table["pinned_rate"].notna()]
    rows: list[list[html_blocks.Cell] | str] = []
    for phase, inside in with_rate.groupby("phase", sort=False):
        rows.append(str(phase))
        rows += [_rate_cells(row) for row in inside.to_dict("records")]
    layout.table("Rates of all techniques", heads, rows, words=(0, 5))
    without = table[(table["lines"] == 0) & table["pinned_rate"].isna()]
    if len(without):
        with st.expander(
            f"{counted(len(without), 'technique')} with too little record: no finished line yet"
        ):
            layout.say(
                "What is foretold of them rests on their phase, or where that has no finished line either"
                " on the whole studio; the range says how little that is."
            )
            layout.table_of(
                "Techniques with too little record",
                without,
                {
                    "technique": lambda row: page_data.rate_link(row["phase"], row["technique"]),
                    "rests on": lambda row: "its phase" if row["rests_on"] == "phase" else "the studio",
                    "usual line": usual,
                    "even chance, h": lambda row: hours(row["p50"]),
                    "4 in 5, h": lambda row: hours(row["p80"]),
                    "9 in 10, h": lambda row: hours(row["p90"]),
                },
                words=(0, 1, 2),
            )


def show_wholes(wholes: pd.DataFrame) -> None:
    """What whole phases and works take; nothing in a studio that names the technique of every line."""
    if wholes.empty:
        return
    layout.section(
        "Whole phases and works",
        "Hours of finished phases and works as a whole, whether they were kept so or by technique, on the"
        " picture that is usual for them and in middling condition: the rate with the range that holds the"
        " true one 4 times in 5, and what the next one takes."
        + (" * pinned: the record’s range stands beside it." if wholes["pinned_rate"].notna().any() else ""),
    )
    layout.table_of(
        "Rates of whole phases and works",
        wholes,
        {
            "line": lambda row: page_data.rate_link(row["phase"], row["technique"]),
            "works": lambda row: works_behind(row["works"], row["remembered"]),
            "usual picture": lambda row: amount(row["usual_area"], "dm2"),
            "rate, h": _shown,
            "from, h": lambda row: rate(row["rate_low"]),
            "to, h": lambda row: rate(row["rate_high"]),
            "even chance, h": lambda row: hours(row["p50"]),
            "4 in 5, h": lambda row: hours(row["p80"]),
            "9 in 10, h": lambda row: hours(row["p90"]),
        },
    )


def _rate_cells(row: queries.Row) -> list[html_blocks.Cell]:
    pinned_here = pd.notna(row["pinned_rate"])
    return [
        page_data.rate_link(row["phase"], row["technique"]),
        works_behind(row["works"], row["remembered"]),
        _shown(row),
        rate(row["rate_low"]),
        rate(row["rate_high"]),
        per_unit(row["counted_in"] if pinned_here else row["unit"]),
        usual(row),
        hours(row["p50"]),
        hours(row["p80"]),
        hours(row["p90"]),
    ]


def _shown(row: queries.Row) -> str:
    """The rate that is used, with a star where it is pinned."""
    return f"{rate(row['pinned_rate'])}*" if pd.notna(row["pinned_rate"]) else rate(row["rate"])
