"""Correcting the entries of one work on its page: each keeps its earlier versions."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, reading, tables
from dashboard.words import day, hours, plain, text
from ingest import corrections
from ingest.errors import BenchHoursError
from ingest.notation import day_in_words, written
from ingest.records import CHARGES, MODES

# What the form calls the columns.
CALLED = {"object": "Work", "started_at": "From", "ended_at": "To", "date": "Day", "hours": "Hours", "done": "Done, %", "quantity": "Quantity"}


def place(code: str, entries: pd.DataFrame) -> None:
    """The ways to correct an entry, to take one back, and to see what was said before."""
    if len(entries):
        with st.expander("Correct an entry, or take one back", key="correcting", on_change="rerun") as opened:
            if opened.open:
                _correct(entries)
    earlier = reading.earlier_entries(held.store().cursor(), code)
    if len(earlier):
        with st.expander(f"What was said before: {len(earlier)}"):
            _said_before(earlier)


def _correct(entries: pd.DataFrame) -> None:
    by_name = entries.set_index("entry", drop=False)
    names = by_name.index.tolist()[::-1]
    told = _told_apart(entries)
    chosen = st.selectbox("Entry", names, index=None, format_func=told.__getitem__, placeholder="Choose the entry", key="entry")
    if chosen is None:
        return
    row = by_name.loc[[chosen]].to_dict("records")[0]
    seen = fields.seen_first(f"entry {chosen}", f"part {chosen}", str(row["content"]))
    with st.form(f"correct {chosen}"):
        said = _form(row)
        reason = st.text_input("Why it is corrected or taken back (kept with the earlier version)", key=f"why {chosen}")
        with st.container(horizontal=True):
            save = st.form_submit_button("Save the correction", type="primary")
            take_back = st.form_submit_button("Take this entry back")
    if not (save or take_back):
        return
    if seen != str(row["content"]):
        frame.refuse(
            "Not saved: this entry was changed elsewhere since you opened it. Load the page again to see how it is now; until then what you typed is still here."
        )
        return
    notes: list[str] = []
    try:
        if take_back:
            corrections.take_back(held.store(), chosen, held.change(reason or "no reason given"))
        else:
            report = corrections.correct(held.store(), chosen, said, held.change(reason or "corrected on the page of the work"), CALLED)
            notes = [
                f"{CALLED.get(column, column.capitalize())}: {reason}. {mend}"
                for column, reason, mend in report.warnings[["column", "reason", "mend"]].itertuples(index=False)
            ]
    except BenchHoursError as error:
        frame.refuse(f"Not saved: {error} What you typed is still here.")
        return
    del st.session_state["entry"]
    fields.forget_seen(f"entry {chosen}")
    frame.done(
        "The entry is taken back. It can be put back below, under what was said before."
        if take_back
        else " ".join(["The entry is corrected; what it said before is kept below.", *notes])
    )


def _told_apart(entries: pd.DataFrame) -> dict[str, str]:
    """Each entry in words of its own: where two would read alike, they are numbered."""
    told: dict[str, str] = {}
    times: dict[str, int] = {}
    for row in entries.to_dict("records"):
        clock = f"{row['begins']:%H:%M} to {row['ends']:%H:%M}" if pd.notna(row["begins"]) else ""
        words = ", ".join(
            filter(None, (day(row["day"]), clock, row["technique"], row["part"], row["person"], f"{hours(row['hours'])} h", text(row["note"])[:40]))
        )
        times[words] = times.get(words, 0) + 1
        told[row["entry"]] = words if times[words] == 1 else f"{words} ({times[words]})"
    return told


def _form(row: tables.Row) -> dict[str, str]:
    """The whole entry as fields; the row as it should be."""
    words, key = fields.vocabulary(), row["entry"]
    clocked = pd.notna(row["begins"])
    now = corrections.as_row({str(name): value for name, value in row.items()})
    works = held.works(held.today())["object"].tolist()
    people = reading.people(held.store().cursor())["person"].tolist()
    said = {}
    left, right = st.columns(2)
    with left:
        said["object"] = fields.one_of("Work", works, now["object"], f"object {key}")
        said["technique"] = fields.one_of("Technique", fields.in_use(words), now["technique"], f"technique {key}")
        said["phase"] = fields.one_of("Phase", list(words.phases), now["phase"], f"phase {key}")
        said["part"] = st.text_input("Part", now["part"], key=f"part {key}")
        said["person"] = fields.one_of("Person", people, now["person"], f"person {key}")
        if clocked:
            said["started_at"] = st.text_input("From", _clock(row["begins"]), key=f"from {key}")
            said["ended_at"] = st.text_input("To", _clock(row["ends"]), key=f"to {key}")
        else:
            said["date"] = st.text_input("Day", now["date"], key=f"day {key}")
            said["hours"] = st.text_input("Hours", written(row["hours"]), key=f"hours {key}", help="As you write them: 1.5, 1:30, 1h30, 90 min")
    with right:
        said["mode"] = fields.one_of("Mode", MODES, now["mode"], f"mode {key}")
        said["charge"] = fields.one_of("Charge", CHARGES, now["charge"], f"charge {key}")
        unit = f", {row['unit']}" if isinstance(row["unit"], str) else ""
        said["quantity"] = st.text_input(f"Quantity{unit}", written(row["quantity"]) if pd.notna(row["quantity"]) else "", key=f"quantity {key}")
        said["done"] = st.text_input("Done, %", written(row["done"]) if pd.notna(row["done"]) else "", key=f"done {key}")
        said["discovery"] = "yes" if st.checkbox("Nobody foresaw this", row["discovery"] is True, key=f"discovery {key}") else now["discovery"] and "no"
        said["note"] = st.text_area("Note", now["note"], key=f"note {key}")
    # A clock time that was not touched is kept to the fraction of a second that the field does not show.
    shown = {"started_at": _clock(row["begins"]), "ended_at": _clock(row["ends"])} if clocked else {}
    return {name: now[name] if shown.get(name) == cell else cell for name, cell in said.items()}


def _clock(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d %H:%M:%S}".removesuffix(":00")


def _said_before(earlier: pd.DataFrame) -> None:
    rows = [
        [
            day_in_words(row["changed_at"], "%b"), row["event"], row["day"], row["technique"], text(row["part"]), row["person"],
            text(row["reason"]), hours(row["hours"]),
        ]
        for row in earlier.to_dict("records")
    ]  # fmt: skip
    st.html(
        tables.ledger(
            "What entries said before", ["changed", "how", "it said: day", "technique", "part", "person", "why it was changed", "hours"], rows, words=range(7)
        )
    )
    for row in earlier[earlier["taken_back"]].to_dict("records"):
        if st.button(plain(f"Put back: {row['day']}, {row['technique']}, {row['person']}, {hours(row['hours'])} h"), key=f"back {row['entry']}"):
            corrections.put_back(held.store(), row["entry"], held.change("put back on the page of the work"))
            frame.done("The entry is in the record again.")
