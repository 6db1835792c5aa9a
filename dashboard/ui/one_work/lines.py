"""Lines of a work: their hours, those found on the way, those apart."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import amount, day, hours
from dashboard.text import html_blocks
from dashboard.text.overruns import ROUNDED, forgotten_parts
from dashboard.ui import layout, page_data


def show(lines: pd.DataFrame) -> None:
    st.header("Its lines")
    shown = lines[
        (lines["yardstick"] == "none")
        | lines["estimated_hours"].notna()
        | (lines["actual_hours"] > 0)
        | lines["difference_hours"].isna()
    ]
    rows: list[list[str] | str] = []
    for phase, inside in shown.groupby("phase", sort=False):
        rows.append(str(phase))
        rows += [
            [
                joined(row["technique"], row["part"]),
                *html_blocks.sum_cells(row),
                _quantities(row),
                _how_far(row),
            ]
            for row in inside.to_dict("records")
        ]
    layout.table(
        "Lines of this work",
        ["line", *html_blocks.SUM_HEADS, "quantity, estimated → actual", "how far"],
        rows,
        words=(0, 9),
    )
    if lines["yardstick"].ne("none").any():
        layout.say(
            "The four parts of each difference sum to it. An open line is never shown as a saving.", ROUNDED
        )


def _how_far(row: queries.Row) -> str:
    if row["finished"]:
        return "finished"
    done = row["done"]
    return (
        f"{done:.0f} % done"
        if isinstance(done, float) and pd.notna(done)
        else "open"
        if row["entries"]
        else "not begun"
    )


def _quantities(row: queries.Row) -> str:
    quantities = [amount(row[name], row["unit"]) for name in ("estimated_quantity", "actual_quantity")]
    return (
        " → ".join(item or "?" for item in quantities)
        + (" (incomplete)" if row["quantity_incomplete"] else "")
        if any(quantities)
        else ""
    )


def show_unforeseen(lines: pd.DataFrame, entries: pd.DataFrame) -> None:
    st.header("Found on the way")
    unforeseen = lines[(lines["unforeseen_hours"] > 0) & (lines["yardstick"] != "none")]
    noted = entries[entries["discovery"].fillna(False).astype(bool)]
    if unforeseen.empty and noted.empty:
        never_estimated = lines["yardstick"].eq("none").all()
        st.write(
            "It has no estimate that could have foreseen anything."
            if never_estimated
            else "Nothing that the estimate did not foresee."
        )
        return
    rows = [
        [row["phase"], row["technique"], row["part"], hours(row["unforeseen_hours"])]
        for row in unforeseen.to_dict("records")
    ]
    if rows:
        layout.table(
            "Lines in no estimate",
            ["phase", "technique", "part", "hours in no estimate"],
            rows,
            words=range(3),
        )
    layout.say(*forgotten_parts(lines))
    columns = ["technique", "note"] if page_data.is_principal() else ["technique"]  # a note may name somebody
    layout.say(
        *(
            f"{day(row['day'])}: noted as found, {joined(*(row[name] for name in columns))}."
            for row in noted.to_dict("records")
        )
    )


def joined(*words: object) -> str:
    """Words joined by commas, without those that are missing."""
    return ", ".join(word for word in words if isinstance(word, str) and word)


def show_apart(lines: pd.DataFrame) -> None:
    apart = lines[(lines["extra_hours"] > 0) | (lines["own_cost_hours"] > 0)]
    if apart.empty:
        return
    st.header("Apart from all this")
    layout.table_of(
        "Hours apart",
        apart,
        {
            "phase": "phase",
            "technique": "technique",
            "part": "part",
            "extra, h": lambda row: hours(row["extra_hours"]),
            "own cost, h": lambda row: hours(row["own_cost_hours"]),
        },
        words=range(3),
    )
    layout.say("Extra was agreed and is charged on top; own cost is the studio's. Neither is an overrun.")
