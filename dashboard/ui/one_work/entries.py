"""Time entries of a work, as a calendar and as a table."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.report.treatment_days import days_of_treatment, stretches
from dashboard.charts import treatment_calendar
from dashboard.formatting import amount, counted, day, hours, text
from dashboard.ui import entry_form, layout, page_data
from ingest.values.calendar_days import day_in_words
from ingest.values.line_names import line_name, line_names

SHOWN_ENTRIES = 40
_TOTALS = {
    "day": "a total of several days",
    "month": "a total, dated to the month",
    "year": "a total, dated to the year",
}


def show_calendar(entries: pd.DataFrame) -> None:
    entries = entries[entries["total"].isna()]  # hours of several days are of none of them
    if entries.empty:
        return
    st.header("Its calendar")
    named = entries.assign(technique=line_names(entries[["phase", "technique"]]))
    days = days_of_treatment(named)
    waits = stretches(named)
    waiting = (
        "; a bar at the foot of a day is waiting"
        f" ({counted(len(waits), 'unattended stretch', 'unattended stretches')}: elapsed time, no hours)"
        if len(waits)
        else ""
    )
    layout.say(
        f"Hours of each day, {hours(days['hours'].sum())} h on"
        f" {counted(int((days['hours'] > 0).sum()), 'day')}{waiting}. Weeks with"
        f" {'neither' if len(waits) else 'none'} are left out."
    )
    first, last = days["day"].iloc[0], days["day"].iloc[-1]
    layout.chart(
        treatment_calendar.calendar(days),
        f"Calendar of the treatment from the week of {day(first)} to that of {day(last)}; the same days"
        " stand in the entries below.",
    )
    if len(waits):
        with st.expander("The unattended stretches"):
            layout.table_of(
                "Unattended stretches",
                waits,
                {
                    "from": lambda row: day(row["day"]),
                    "technique": "technique",
                    "part": "part",
                    "days elapsed": lambda row: f"{row['hours'] / 24:,.1f}",
                },
                words=range(3),
            )


def show(code: str, entries: pd.DataFrame) -> None:
    st.header("The entries it rests on")
    if entries.empty:
        st.write("No hours are logged on it yet.")
    else:
        shown = entries.iloc[::-1]
        if len(shown) > SHOWN_ENTRIES and not st.toggle(
            f"Show all {len(shown):,} entries", key="all_entries"
        ):
            shown = shown.head(SHOWN_ENTRIES)
        with_people = page_data.is_principal()
        heads = [
            "day",
            "technique",
            "hours",
            "quantity",
            "done, %",
            *(["person"] if with_people else []),
            "note",
        ]
        rows = [_entry_cells(row, with_people=with_people) for row in shown.to_dict("records")]
        layout.table("Time entries, the latest first", heads, rows, words=(0, 1, *range(5, len(heads))))
    if page_data.is_principal():
        entry_form.show(code, entries)


def _entry_cells(row: queries.Row, *, with_people: bool) -> list[str]:
    """The cells of an entry; without its person and what was noted, for who sees no people."""
    about = [
        "" if row["charge"] == "quoted" else str(row["charge"]).replace("_", " "),
        "" if row["mode"] == "hands_on" else str(row["mode"]),
        _TOTALS.get(row["total"], ""),
        "found on the way" if row["discovery"] is True else "",
        f"corrected {row['corrected']}×" if row["corrected"] else "",
        text(row["note"]) if with_people else "",
    ]
    spent = hours(row["counted_hours"]) if row["mode"] != "unattended" else f"({hours(row['hours'])} elapsed)"
    done: str = f"{row['done']:.0f}" if pd.notna(row["done"]) else ""
    quantity = amount(row["quantity"], row["unit"])
    person = [str(row["person"])] if with_people else []
    return [
        day_in_words(row["day"], "%b"),
        line_name(row["phase"], row["technique"], row["part"]),
        spent,
        quantity,
        done,
        *person,
        "; ".join(filter(None, about)),
    ]
