"""Held-back rows of files: a correction, or new hours."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import amount, counted, distinct_hours, plain, text
from dashboard.text.foreign_tables import place_word
from dashboard.ui import layout, page_data
from ingest.editing import corrections
from ingest.editing.corrections import Decision
from ingest.values.line_names import line_name

DECISIONS: dict[str, Decision | None] = {
    "not yet": None,
    "a correction": "correction",
    "new hours": "new",
    "leave it out": "left out",
}


EVERY_DECISION: tuple[Decision, ...] = ("correction", "new", "left out")


SHOWN_QUESTIONS = 30


def show() -> None:
    rows = queries.held_back(page_data.store().cursor())
    if rows.empty:
        return
    layout.section(
        f"Correction or new? {counted(len(rows), 'row')} held back",
        "Each has the person, day, work and technique of an entry that is held, but says otherwise. None"
        " of their hours are counted yet. A correction takes the place of the held entry, whose earlier"
        " version is kept; new hours stand beside it; left out, the row stays out even if its file comes"
        " again.",
    )
    with st.container(horizontal=True):
        if st.button("All are corrections"):
            _decide(rows, "correction")
        if st.button("All are new hours"):
            _decide(rows, "new")
        if st.button("Leave all out"):
            _decide(rows, "left out")
    shown = rows.head(SHOWN_QUESTIONS)
    with st.form("questions"):
        decisions = [_question(row) for row in shown.to_dict("records")]
        if len(rows) > len(shown):
            layout.say(f"The first {len(shown)} of {len(rows):,}; the next follow when these are decided.")
        decided = st.form_submit_button("Decide as chosen", type="primary")
    if decided:
        done = 0
        left: list[str] = []
        for decision in EVERY_DECISION:
            some = shown[[item == decision for item in decisions]]
            if len(some):
                number, undecided = corrections.decide(
                    page_data.store(), _keys(some), decision, page_data.change("decided under Bring in logs")
                )
                done, left = done + number, left + undecided
        _report(done, left)


def _question(row: queries.Row) -> Decision | None:
    what = ", ".join(
        filter(
            None,
            (
                text(row["object"]) or "studio time",
                line_name(text(row["phase"]), text(row["technique"])),
                text(row["person"]),
                text(row["day"]),
            ),
        )
    )
    then_hours, here_hours = distinct_hours([row["held_hours"], row["hours"]])
    here = _says(row, "", here_hours)
    then = _entry_says(row, then_hours) if row["is_held"] else "an entry that is not in the record any more"
    chosen = st.radio(
        plain(
            f"{row['file']}, {place_word(row['file'])} {row['line']}: {what}. Held: {then}. This row: {here}."
        ),
        list(DECISIONS),
        horizontal=True,
        key=f"question {row['content']} {row['rank']}",
    )
    return DECISIONS[chosen]


def _entry_says(row: queries.Row, spent: str) -> str:
    """What the entry says, with its work and technique where a word of its table was said otherwise since."""
    other = [text(row[f"held_{name}"]) != text(row[name]) for name in ("object", "phase", "technique")]
    where = f"{text(row['held_object']) or 'studio time'}, " if other[0] else ""
    line = line_name(text(row["held_phase"]), text(row["held_technique"]))
    return (
        f"{where}{line}, {_says(row, 'held_', spent)}" if other[0] or other[2] else _says(row, "held_", spent)
    )


def _says(row: queries.Row, which: str, spent: str) -> str:
    parts = [
        f"{spent} h",
        "" if row[f"{which}mode"] == "hands_on" else text(row[f"{which}mode"]),
        text(row[f"{which}part"]),
        amount(row[f"{which}quantity"], row["unit"] if isinstance(row["unit"], str) else None),
        text(row[f"{which}note"]),
    ]
    return ", ".join(filter(None, parts))


def _keys(rows: pd.DataFrame) -> list[tuple[str, int]]:
    return list(zip(rows["content"], rows["rank"].astype(int), strict=True))


def _decide(rows: pd.DataFrame, decision: Decision) -> None:
    _report(
        *corrections.decide(
            page_data.store(), _keys(rows), decision, page_data.change("decided under Bring in logs")
        )
    )


def _report(done: int, left: list[str]) -> None:
    sentence = (
        f"Decided: {counted(done, 'row')}."
        if done
        else "Nothing is decided yet: choose for each row what it is."
    )
    layout.done(" ".join([sentence, *(["Still open:", *left[:5]] if left else [])]))
