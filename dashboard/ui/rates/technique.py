"""One technique, or a phase or the work as a whole: its rate, the lines behind it, open lines and quotes that
use it.
"""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.charts import rates as rates_chart
from dashboard.formatting import amount, counted, day, hours, rate, text
from dashboard.text import html_blocks
from dashboard.text.rates import chart_explained, per, pinned, rate_explained, rests_on, usual
from dashboard.text.remembered import works_behind
from dashboard.ui import layout, page_data, results
from ingest.values.line_names import line_name

SHOWN = 8


MOST_OPEN = 6


MOST_READ_OUT = 40


def show(row: pd.Series, lines: pd.DataFrame) -> None:
    is_pinned = pd.notna(row["pinned_rate"])
    of = per(row, row["counted_in"] if is_pinned else row["unit"])
    shown = row["pinned_rate"] if is_pinned else row["rate"]
    layout.figures(
        (f"hours per {of}{', pinned' if is_pinned else ''}", f"{rate(shown)} h"),
        (
            "the true rate, 4 times in 5 between"
            if not is_pinned or row["unit"] == row["counted_in"] or not text(row["counted_in"])
            else "by the record, a line takes 4 times in 5 between",
            f"{rate(row['rate_low'])} and {rate(row['rate_high'])} h",
        ),
        (f"the next line ({usual(row)}), even chance", f"{hours(row['p50'])} h"),
        ("4 in 5 such lines end within", f"{hours(row['p80'])} h"),
    )
    layout.say(
        *([pinned(row)] if pd.notna(row["pinned_rate"]) else []), *rests_on(row, lines), *rate_explained(row)
    )
    if len(lines):
        # of wholes nothing is counted: their hours stand as they were
        brought_to = usual(row) if row["technique"] else f"the whole {of}, as it was"
        layout.section("The lines behind it", chart_explained(row, usual(row)))
        points = "; ".join(
            f"{line['object']} {hours(line['usual_hours'])} h"
            for line in lines.head(MOST_READ_OUT).to_dict("records")
        )
        code = layout.choosing_chart(
            rates_chart.past_lines(lines, row, brought_to),
            f"Hours of {line_name(row['phase'], row['technique'])} for {brought_to}, each finished line by"
            f" its day: {points}",
            "points",
        )
        if code:
            layout.go_to("one_work", object=code)
        _table_of(lines, row)


def _table_of(lines: pd.DataFrame, row: pd.Series) -> None:
    of_unit = ["quantity", f"for {usual(row)}, h"] if row["technique"] else []
    heads = ["work", "finished", "took, h", *of_unit, "own figure, h"]
    rows: list[list[html_blocks.Cell]] = [
        [
            page_data.work_link(item["object"]),
            day(item["day"]),
            hours(item["hours"]),
            *(
                [
                    amount(item["quantity"], row["counted_in"])
                    or ("not measured" if text(row["counted_in"]) else ""),
                    hours(item["usual_hours"]),
                ]
                if of_unit
                else []
            ),
            hours(item["figure"]),
        ]
        for item in lines.to_dict("records")
    ]
    layout.table("Lines behind the rate, the latest", heads, rows[:SHOWN], words=(0, 1))
    if len(rows) > SHOWN:
        with st.expander(f"The {counted(len(rows) - SHOWN, 'line')} before"):
            layout.table("Lines behind the rate, those before", heads, rows[SHOWN:], words=(0, 1))


def show_quotes(rated: pd.Series) -> None:
    """Saved quotes that used the rate."""
    technique, phase = rated["technique"], "" if rated["technique"] else rated["phase"]
    quotes = queries.quotes_of_a_rate(page_data.store().cursor(), technique, phase)
    if quotes.empty:
        return
    st.header("Quotes that used it")
    rows: list[list[html_blocks.Cell]] = [
        [
            html_blocks.Link(
                f"{row['object']}, version"
                f" {row['version']}{f', option {option}' if (option := text(row['option'])) else ''}",
                page_data.address("estimate", object=row["object"]),
            ),
            row["part"],
            day(row["as_of"]),
            (
                f"{rate(row['rate'])} h per {per(rated, row['unit'])}{', pinned' if row['pinned'] else ''}"
                if pd.notna(row["rate"])
                else "its phase and the studio"
            ),
            works_behind(row["works"], row["remembered"], "work"),
            hours(row["hours"]),
            text(row["outcome"]) or ("approved" if pd.notna(row["approved_on"]) else "no word yet"),
        ]
        for row in quotes.to_dict("records")
    ]
    heads = ["quote", "part", "as of", "at the rate", "from", "in the version, h", "the owner"]
    layout.table("Quotes that used this rate", heads, rows[:SHOWN], words=(0, 1, 2, 3, 4, 6))
    if len(rows) > SHOWN:
        with st.expander(f"The {counted(len(rows) - SHOWN, 'quote')} before"):
            layout.table("Quotes before that used this rate", heads, rows[SHOWN:], words=(0, 1, 2, 3, 4, 6))


def show_open_lines(row: pd.Series, as_of: date, today: date) -> None:
    """Forecasts of its open lines, as on *On the bench*."""
    if as_of != today:
        return
    lines = results.bench().lines
    open_lines = lines[
        (lines["technique"] == row["technique"])
        & ((lines["phase"] == row["phase"]) | bool(row["technique"]))
        & ~lines["finished"].astype(bool)
        & lines["p50"].notna()
    ]
    if open_lines.empty:
        return
    st.header("On the bench now")
    layout.table_of(
        "Open lines",
        open_lines.head(MOST_OPEN),
        {
            "work": lambda row: page_data.bench_link(row["object"]),
            "part": "part",
            "so far, h": lambda row: hours(row["actual_hours"]),
            "ends, even chance, h": lambda row: hours(row["p50"]),
            "4 in 5, h": lambda row: hours(row["p80"]),
            "9 in 10, h": lambda row: hours(row["p90"]),
        },
        words=(0, 1),
    )
    layout.say(
        f"Of {counted(len(open_lines), 'open line')} {MOST_OPEN} are shown."
        if len(open_lines) > MOST_OPEN
        else ""
    )
