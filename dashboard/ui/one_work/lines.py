"""Lines of a work: their hours, those found on the way, those apart."""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.report.phase_names import promised_under_another
from dashboard.formatting import amount, day, hours
from dashboard.text import html_blocks
from dashboard.text.overruns import ROUNDED, forgotten_parts, two_names
from dashboard.ui import layout, page_data
from ingest.values.line_names import ALL_PHASES, line_cells, line_name

_SHOWN = 0.05  # hours below which nothing shows


def show(lines: pd.DataFrame, logged_under: pd.DataFrame) -> None:
    """The lines of a work; beneath one that is a whole what was logged or estimated more closely, without
    differences, as there are none.

    Parameters
    ----------
    lines, logged_under : see `dashboard.queries.overruns` and `dashboard.queries.logged_under`.
    """
    st.header("Its lines")
    shown = lines[
        (lines["yardstick"] == "none")
        | lines["estimated_hours"].notna()
        | (lines["actual_hours"] > 0)
        | lines["difference_hours"].isna()
    ]
    rows: list[list[str] | str] = []
    for phase, inside in shown.groupby("phase", sort=False):
        if phase:
            rows.append(str(phase))
        for row in inside.to_dict("records"):
            name = line_name(row["phase"], row["technique"], row["part"])
            rows.append([name, *html_blocks.sum_cells(row), _quantities(row), _how_far(row)])
            rows += _beneath(row, logged_under)
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


def _beneath(head: queries.Row, logged_under: pd.DataFrame) -> list[list[str]]:
    """The lines that are compared under another one, and what was logged on that one itself."""
    under = logged_under[
        (head["technique"] == "")
        & (logged_under["head_phase"] == head["phase"])
        & (logged_under["head_part"] == head["part"])
    ]
    if under.empty:
        return []
    no_differences = [""] * len(html_blocks.SUM_HEADS)  # their five heads, and the two behind
    of = [
        (f" {line_name(row['phase'], row['technique'], row['part'])}", row["estimated_hours"], row["hours"])
        for row in under.to_dict("records")
    ]
    left = float(head["actual_hours"]) - float(under["hours"].sum())
    if left >= _SHOWN:
        of.append((", not said on what", float("nan"), left))
    return [
        [f"of it{name}", "" if pd.isna(estimated) else hours(estimated), hours(spent), *no_differences]
        for name, estimated, spent in of
    ]


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


def show_unforeseen(lines: pd.DataFrame, entries: pd.DataFrame, overdue: Collection[str]) -> None:
    """What no estimate foresaw; `overdue`: see `dashboard.analysis.report.phase_names`."""
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
        [*line_cells(row["phase"], row["technique"], row["part"]), hours(row["unforeseen_hours"])]
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
    layout.say(*two_names(promised_under_another(lines, overdue)))
    with_notes = page_data.is_principal()  # a note may name somebody
    layout.say(
        *(
            f"{day(row['day'])}: noted as found,"
            f" {joined(line_name(row['phase'], row['technique']), row['note'] if with_notes else '')}."
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
            "phase": lambda row: row["phase"] or ALL_PHASES,
            "technique": lambda row: line_name(row["phase"], row["technique"]),
            "part": "part",
            "extra, h": lambda row: hours(row["extra_hours"]),
            "own cost, h": lambda row: hours(row["own_cost_hours"]),
        },
        words=range(3),
    )
    layout.say("Extra was agreed and is charged on top; own cost is the studio's. Neither is an overrun.")
