"""Correcting the entries of one work on its page: each keeps its earlier versions."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import day, distinct_hours, exact_hours, plain, text
from dashboard.ui import fields, layout, page_data
from ingest.editing import corrections
from ingest.errors import BenchHoursError
from ingest.schema.csv_columns import CHARGES, MODES, TOTALS
from ingest.values.calendar_days import day_in_words
from ingest.values.line_names import line_name
from ingest.values.numbers import written

LABELS = {
    "object": "Work",
    "started_at": "From",
    "ended_at": "To",
    "date": "Day",
    "hours": "Hours",
    "done": "Done, %",
    "quantity": "Quantity",
}


def show(code: str, entries: pd.DataFrame) -> None:
    """Forms to correct an entry or take one back, and its earlier versions."""
    if len(entries):
        with st.expander("Correct an entry, or take one back", key="correcting", on_change="rerun") as opened:
            if opened.open:
                _correct(entries)
    earlier = queries.earlier_entries(page_data.store().cursor(), code)
    if len(earlier):
        with st.expander(f"What was said before: {len(earlier)}"):
            _earlier_versions(earlier)


def _correct(entries: pd.DataFrame) -> None:
    by_name = entries.set_index("entry", drop=False)
    names = by_name.index.tolist()[::-1]
    names_by_entry = _entry_names(entries)
    chosen = st.selectbox(
        "Entry",
        names,
        index=None,
        format_func=names_by_entry.__getitem__,
        placeholder="Choose the entry",
        key="entry",
    )
    if chosen is None:
        return
    row = by_name.loc[[chosen]].to_dict("records")[0]
    content_shown = fields.remember_shown(f"entry {chosen}", f"part {chosen}", str(row["content"]))
    with st.form(f"correct {chosen}"):
        row_typed = _form(row)
        reason = st.text_input(
            "Why it is corrected or taken back (kept with the earlier version)", key=f"why {chosen}"
        )
        with st.container(horizontal=True):
            save = st.form_submit_button("Save the correction", type="primary")
            take_back = st.form_submit_button("Take this entry back")
    if not (save or take_back):
        return
    if content_shown != str(row["content"]):
        layout.refuse(
            "Not saved: this entry was changed elsewhere since you opened it. Load the page again to see how"
            " it is now; until then what you typed is still here."
        )
        return
    notes: list[str] = []
    try:
        if take_back:
            corrections.take_back(page_data.store(), chosen, page_data.change(reason or "no reason given"))
        else:
            report = corrections.correct(
                page_data.store(),
                chosen,
                row_typed,
                page_data.change(reason or "corrected on the page of the work"),
                LABELS,
            )
            notes = [
                f"{LABELS.get(column, column.capitalize())}: {reason}. {mend}"
                for column, reason, mend in report.warnings[["column", "reason", "mend"]].itertuples(
                    index=False
                )
            ]
    except BenchHoursError as error:
        layout.refuse(f"Not saved: {error} What you typed is still here.")
        return
    del st.session_state["entry"]
    fields.forget_shown(f"entry {chosen}")
    layout.done(
        "The entry is taken back. It can be put back below, under what was said before."
        if take_back
        else " ".join(["The entry is corrected; what it said before is kept below.", *notes])
    )


def _entry_names(entries: pd.DataFrame) -> dict[str, str]:
    """Each entry in words of its own: where two would read alike, they are numbered."""
    names: dict[str, str] = {}
    times: dict[str, int] = {}
    for row in entries.to_dict("records"):
        clock = f"{row['begins']:%H:%M} to {row['ends']:%H:%M}" if pd.notna(row["begins"]) else ""
        words = ", ".join(
            filter(
                None,
                (
                    day(row["day"]),
                    clock,
                    line_name(row["phase"], row["technique"], row["part"]),
                    row["person"],
                    f"{exact_hours(row['hours'])} h",
                    text(row["note"])[:40],
                ),
            )
        )
        times[words] = times.get(words, 0) + 1
        names[row["entry"]] = words if times[words] == 1 else f"{words} ({times[words]})"
    return names


def _form(row: queries.Row) -> dict[str, str]:
    """The whole entry as fields; the row as it should be."""
    words, key = page_data.vocabulary(), row["entry"]
    clocked = pd.notna(row["begins"])
    current = corrections.as_row({str(name): value for name, value in row.items()})
    works = page_data.works(page_data.today())["object"].tolist()
    people = queries.people(page_data.store().cursor())["person"].tolist()
    typed = {}
    left, right = st.columns(2)
    with left:
        typed["object"] = fields.choose("Work", works, current["object"], f"object {key}")
        typed["technique"] = fields.choose(
            "Technique",
            fields.in_use(words),
            current["technique"],
            f"technique {key}",
            empty="no technique",
            help="Without a technique the hours are of the phase as a whole, and without a phase too of the"
            " work as a whole.",
        )
        typed["phase"] = fields.choose(
            "Phase", list(words.phases), current["phase"], f"phase {key}", empty="no phase"
        )
        typed["part"] = st.text_input("Part", current["part"], key=f"part {key}")
        typed["person"] = fields.choose("Person", people, current["person"], f"person {key}")
        if clocked:
            typed["started_at"] = st.text_input("From", _clock(row["begins"]), key=f"from {key}")
            typed["ended_at"] = st.text_input("To", _clock(row["ends"]), key=f"to {key}")
        else:
            typed["date"] = fields.day_field("Day", current["date"], key=f"day {key}")
            typed["hours"] = st.text_input(
                "Hours",
                written(row["hours"]),
                key=f"hours {key}",
                help="As you write them: 1.5, 1:30, 1h30, 90 min",
            )
            if current["total"]:
                typed["total"] = fields.choose(
                    "A total of several days, dated to the",
                    TOTALS,
                    current["total"],
                    f"total {key}",
                    empty="no, one spell",
                )
    with right:
        typed["mode"] = fields.choose("Mode", MODES, current["mode"], f"mode {key}")
        typed["charge"] = fields.choose("Charge", CHARGES, current["charge"], f"charge {key}")
        unit = f", {row['unit']}" if isinstance(row["unit"], str) else ""
        typed["quantity"] = st.text_input(
            f"Quantity{unit}",
            written(row["quantity"]) if pd.notna(row["quantity"]) else "",
            key=f"quantity {key}",
        )
        typed["done"] = st.text_input(
            "Done, %", written(row["done"]) if pd.notna(row["done"]) else "", key=f"done {key}"
        )
        typed["discovery"] = (
            "yes"
            if st.checkbox("Nobody foresaw this", row["discovery"] is True, key=f"discovery {key}")
            else current["discovery"] and "no"
        )
        typed["note"] = st.text_area("Note", current["note"], key=f"note {key}")
    # A clock time that was not touched is kept to the fraction of a second that the field does not show.
    shown = {"started_at": _clock(row["begins"]), "ended_at": _clock(row["ends"])} if clocked else {}
    return {name: current[name] if shown.get(name) == cell else cell for name, cell in typed.items()}


def _clock(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d %H:%M:%S}".removesuffix(":00")


def _earlier_versions(earlier: pd.DataFrame) -> None:
    layout.table_of(
        "What entries said before",
        earlier.assign(hours=distinct_hours(earlier["hours"].tolist())),
        {
            "changed": lambda row: day_in_words(row["changed_at"], "%b"),
            "how": "event",
            "it said: day": "day",
            "technique": lambda row: line_name(row["phase"], row["technique"]),
            "part": lambda row: text(row["part"]),
            "person": "person",
            "why it was changed": lambda row: text(row["reason"]),
            "hours": "hours",
        },
        words=range(7),
    )
    for row in earlier[earlier["taken_back"]].to_dict("records"):
        if st.button(
            plain(
                f"Put back: {row['day']}, {line_name(row['phase'], row['technique'])}, {row['person']},"
                f" {exact_hours(row['hours'])} h"
            ),
            key=f"back {row['entry']}",
        ):
            corrections.put_back(
                page_data.store(), row["entry"], page_data.change("put back on the page of the work")
            )
            layout.done("The entry is in the record again.")
