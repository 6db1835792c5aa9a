"""The sheet as it was read: lines, hours of phases, totals, price."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.formatting import amount, counted, hours, money, plain, text
from dashboard.services import prices
from dashboard.text import prices as prices_text
from dashboard.ui import layout, page_data
from ingest.editing.estimate_drafts import Reading
from ingest.studio.hazards import usual_cautions
from ingest.values.line_names import line_name, phase_name


def show(reading: Reading) -> None:
    for problem in reading.problems:
        st.warning(plain(problem))
    layout.say(*reading.notes, *reading.doubts)
    if reading.lines.empty:
        return
    st.subheader("How it reads")
    rows: list[list[str] | str] = []
    for phase, inside in reading.lines.groupby("phase", sort=False):
        rows.append(f"{phase_name(str(phase))}: {_hours_of_phase(inside)}")
        rows += [
            [
                ", ".join(
                    filter(
                        None,
                        (
                            line_name(row["phase"], row["technique"], row["part"]),
                            f"option {row['option']}" if row["option"] else "",
                        ),
                    )
                ),
                amount(row["quantity"], text(row["unit"]) or None),
                hours(row["hours"]) if pd.isna(row["quantity"]) or pd.notna(row["hours"]) else "by quantity",
            ]
            for row in inside.to_dict("records")
        ]
    layout.table("Lines of the sheet", ["line", "quantity", "hours"], rows)
    waits = float(reading.lines["unattended_hours"].sum())
    unpriced = int(reading.lines["hours"].isna().sum())
    sentences = [
        counted(len(reading.lines), "line")
        + (f", {counted(unpriced, 'of them has', 'of them have')} no hours" if unpriced else "")
        + (f", {hours(waits)} h elapsed unattended." if waits else ".")
    ]
    for option in [item for item in reading.lines["option"].unique() if item] or [""]:
        sentences.append(_total(reading.lines, option))
    if reading.price is not None:
        sentences.append(
            prices_text.read_back(
                reading.price,
                reading.currency,
                reading.tax_in_price,
                reading.tax_per_cent,
                page_data.settings(),
            )
        )
    layout.say(
        *sentences, *filter(None, [usual_cautions(page_data.vocabulary(), reading.lines["technique"])])
    )


def _hours_of_phase(lines: pd.DataFrame) -> str:
    """The hours of one phase of the sheet: of options, which exclude each other, each apart."""
    parts = []
    for option in sorted(set(lines["option"])):
        inside = lines[lines["option"] == option]
        amount_of_option = (
            "by quantity" if inside["hours"].isna().all() else f"{hours(inside['hours'].sum())} h"
        )
        parts.append(f"option {option} {amount_of_option}" if option else amount_of_option)
    return ", ".join(parts)


def _total(lines: pd.DataFrame, option: str) -> str:
    """The hours of a sheet, with one option of it, in weeks and at the studio's rate."""
    studio = page_data.settings()
    total = float(lines.loc[lines["option"].isin(["", option]), "hours"].sum())
    name = f"With option {option}" if option else "All phases"
    weeks = (
        f"{total / studio.bench_hours_per_week:.1f} weeks of one person at {studio.bench_hours_per_week:g} h"
        " at the bench a week"
    )
    rate = (
        f"; at {money(studio.hourly_rate, studio.currency)} an hour:"
        f" {money(total * studio.hourly_rate, studio.currency)}{prices.without_tax(studio)}"
        if studio.hourly_rate
        else ""
    )
    return f"{name}: {hours(total)} h, {weeks}{rate}."
