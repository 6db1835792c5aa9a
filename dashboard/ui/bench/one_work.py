"""One work on the bench: why it ends where it does, its lines, what may still turn up."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.data.levels import shown_technique
from dashboard.formatting import amount, hours, plain, tenths
from dashboard.services.forecast import Bench
from dashboard.services.jobs import Task
from dashboard.text import forecast as forecast_text
from dashboard.text import html_blocks
from dashboard.text import quote as quote_text
from dashboard.text.remembered import works_behind
from dashboard.ui import layout, page_data
from dashboard.ui.bench import forecast_history, work_notes
from ingest.values.line_names import line_name, phase_name

MOST_FINDS = 6


LIKELY = 0.02


_SHOWN_H = 0.05


def show(bench: Bench, work: pd.Series, pending: list[Task[Any]]) -> None:
    code, about = work["object"], work_notes.WorkNotes.load()
    st.html(
        html_blocks.beside([html_blocks.Link("All works on the bench", page_data.address("on-the-bench"))])
    )
    st.write(plain(forecast_text.ends(work)))
    layout.say(about.of(code))
    with st.container(horizontal=True):
        work_notes.revise(code, about.written.get(code))
        layout.link("one_work", "Where its hours went", object=code)
        layout.link("works", "Edit the work, set a milestone", object=code)
    if pd.isna(work["p50"]):
        return
    if forecast_text.standing(work) in ("write", "watch"):
        st.header("Why")
        work_notes.reasons(bench, work)
    layout.say(
        *(
            item
            for item in (
                forecast_text.costs_the_studio(work),
                forecast_text.beside_it(work),
                forecast_text.behind(bench),
            )
            if item
        )
    )
    forecast_history.show(code, work, pending)
    _lines(bench, code)
    _finds(bench, code)


def _lines(bench: Bench, code: str) -> None:
    st.header("Its lines")
    of = bench.lines[bench.lines["object"] == code]
    heads = [
        *("line", "how far", "so far, h", "estimated, h"),
        *("ends, even chance, h", "4 in 5, h", "9 in 10, h", "works behind"),
    ]
    rows: list[list[html_blocks.Cell] | str] = []
    for phase, inside in of.groupby("phase", sort=False):
        rows.append(phase_name(str(phase)))
        rows += [
            [
                line_name(row["phase"], row["technique"], row["part"]),
                _how_far(row),
                hours(row["actual_hours"]),
                hours(row["estimated_hours"]),
                hours(row["p50"]),
                hours(row["p80"]),
                hours(row["p90"]),
                works_behind(row["works"], row["remembered"]),
            ]
            for row in inside.to_dict("records")
        ]
    layout.table("Lines of this work, and where they end", heads, rows, words=(0, 1))
    layout.say(
        "Finished lines stay as they are. A line under way goes on from its hours by how far it was"
        " last said to be, and never ends below them; one not begun follows the studio’s rates and"
        " the luck this work has shown, and may after all not be needed; its quote says what it takes"
        " if it is. Lines do not add up to the whole: they are not all late at once.",
        "Taken as done: nobody has said that it is finished, and such lines seldom take more. A"
        " milestone settles it."
        if of.apply(_as_done, axis=1).any()
        else "",
    )


def _as_done(row: queries.Row | pd.Series) -> bool:
    return (
        bool(row["begun"])
        and not row["finished"]
        and not row["all_done"]
        and tenths(row["p50"]) <= tenths(row["actual_hours"])
    )


def _how_far(row: queries.Row) -> str:
    if row["finished"] or row["all_done"] or not row["begun"]:
        return "finished" if row["finished"] else "all done" if row["all_done"] else "not begun"
    if pd.notna(row["said_done"]):
        return f"{row['said_done']:.0f} % done"
    treated = f"{amount(row['treated'], row['unit'])} treated" if pd.notna(row["treated"]) else "begun"
    return f"{treated}, taken as done" if _as_done(row) else treated


def _finds(bench: Bench, code: str) -> None:
    if usual := bench.usual.get(code):
        st.header("Nearly always done here, and not in its estimate")
        layout.list_out(quote_text.usual(usual, "in its estimate"))
    every = bench.discoveries.get(code, ())
    likely = [item for item in every if item.discovery.chance >= LIKELY][:MOST_FINDS]
    if not likely:
        return
    st.header("What may still turn up")
    rows: list[list[html_blocks.Cell]] = [
        [
            shown_technique(item.discovery.technique)
            + (", on another part" if item.discovery.another else ""),
            forecast_text.in_ten(item.discovery.chance),
            hours(item.hours_if_found),
            hours(item.hours),
        ]
        for item in likely
    ]
    rest = sum(item.hours for item in every) - sum(item.hours for item in likely)
    if rest >= _SHOWN_H:
        rows.append(["others, less likely", "", "", hours(rest)])
    layout.table(
        "What may still turn up",
        ["technique", "chance", "if it does, h", "on average, h"],
        rows,
        words=(0, 1),
    )
