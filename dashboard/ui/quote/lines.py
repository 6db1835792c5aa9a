"""Each line of the quote as it was read, with its figures."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.documents.csv_export import as_csv_text
from dashboard.formatting import UNITS, amount, hours
from dashboard.services.quote import WorkQuoted, as_frame
from dashboard.text import quote as quote_text
from dashboard.text.remembered import works_behind
from dashboard.ui import layout, page_data
from ingest.studio.hazards import usual_cautions
from ingest.values.line_names import line_name, phase_name


def show(work: WorkQuoted) -> None:
    st.subheader("How it reads")
    places = {
        phase: place
        for place, phase in enumerate(
            dict.fromkeys(phase for option in work.options for phase in option.lines["phase"])
        )
    }
    every = pd.concat([option.lines for option in work.options]).drop_duplicates("number")
    every = every.assign(place=every["phase"].map(places)).sort_values("place", kind="stable")
    rows: list[list[str] | str] = []
    for phase, inside in every.groupby("phase", sort=False):
        rows.append(phase_name(str(phase)))
        for row in inside.to_dict("records"):
            named = ", ".join(
                filter(
                    None,
                    (
                        line_name(row["phase"], row["technique"], row["part"]),
                        f"option {row['option']}" if row["option"] else "",
                    ),
                )
            )
            chances = [hours(row[level]) for level in ("p50", "p80", "p90")]
            rows.append(
                [
                    named,
                    *chances,
                    _quantity(row),
                    hours(row["hours"]),
                    works_behind(row["works"], row["remembered"]),
                    quote_text.line_sources(row),
                ]
            )
    heads = ["line", "even chance, h", "4 in 5, h", "9 in 10, h", "quantity", "own, h", "works", "said by"]
    layout.table("Lines of the quote", heads, rows, words=(0, 7))
    techniques = list(dict.fromkeys(name for option in work.options for name in option.lines["technique"]))
    with_first = (
        f"Lines that belong to every option stand here as they read with {work.options[0].name}."
        if len(work.options) > 1
        else ""
    )
    layout.say(
        "The parts do not sum to the total at 4 in 5: not everything goes slowly at once.",
        with_first,
        usual_cautions(page_data.vocabulary(), techniques),
    )
    layout.download("Lines as CSV", lambda: as_csv_text(as_frame(work.options)), "quote.csv")


def _quantity(row: queries.Row) -> str:
    if pd.isna(row["quantity"]):
        return "not known" if row["unit"] and not row["done"] else ""
    quantity = (
        amount(row["quantity"], row["unit"] or None) or f"{row['quantity']:g} {UNITS.get(row['unit'], '')}"
    )
    if pd.isna(row["filled_in"]):
        return quantity
    return (
        f"{quantity} (all of it, as measured before)"
        if row["filled_in"] >= 1
        else f"about {quantity} (usual here: {100 * row['filled_in']:.0f} % of it)"
    )
