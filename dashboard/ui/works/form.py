"""The form of one work, and saving it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import plain
from dashboard.ui import fields, layout, page_data
from dashboard.ui.works import fields as work_fields
from dashboard.ui.works import milestones, new_work
from ingest.errors import BenchHoursError
from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.values.numbers import written
from ingest.values.spelling import folded, nearest

LABELS = {
    "object": "Code",
    "height_cm": "Height",
    "width_cm": "Width",
    "area_dm2": "Area",
    "received_on": "Received on",
    "due_on": "Due on",
    "finished_on": "Finished on",
    "structure_condition": "Condition: structure",
    "paint_condition": "Condition: paint",
    "surface_condition": "Condition: surface",
    "returned_from": "Returned",
}


def code_of(wanted: str) -> str | None:
    """The code of a work in the spelling of the record; None if there is none."""
    return {folded(code): code for code in page_data.works(page_data.today())["object"]}.get(folded(wanted))


def show(code: str | None) -> None:
    with st.container(horizontal=True):
        if st.button("Back to all works"):
            layout.show_at()
        # no link: one to the page it stands on leaves the address behind
        if code is not None and st.button("Add another work"):
            layout.show_at(add="work")
    con = page_data.store().cursor()
    current = (
        new_work.read()
        if code is None
        else {name: _as_typed(value) for name, value in queries.work(con, code).items()}
    )
    st.header("A new work" if code is None else plain(f"{code}  {current['title']}".strip()))
    if code is None:
        new_work.say_status()
    elif area := queries.area_dm2(con, code):
        layout.say(f"Area: {area:,.1f} dm², {'as said' if current['area_dm2'] else 'by its shape and size'}.")
    key = code or new_work.key()
    shown_first = fields.remember_shown(f"work {code}", f"title {key}", str(current))
    typed = work_fields.show(code, current, key)
    with st.container(horizontal=True):
        save = st.button("Save", type="primary")
        if code is None and any(typed.values()) and st.button("Empty the form"):
            new_work.forget()
            st.rerun()
    if save and shown_first != str(current) and code is not None:
        layout.refuse(
            f"Not saved: {code} was changed elsewhere since you opened it. Load the page again to see how it"
            " is now; until then what you typed is still here."
        )
    elif save:
        _save(code, typed)
    if code is not None:
        milestones.show(code)


def _as_typed(value: object) -> str:
    if value is None:
        return ""
    return (
        written(value)
        if isinstance(value, float)
        else value.strftime("%Y-%m-%d")
        if isinstance(value, pd.Timestamp)
        else ("yes" if value else "no")
        if pd.api.types.is_bool(value)
        else str(value)
    )


def _save(code: str | None, typed: dict[str, str]) -> None:
    if code is None and (existing := code_of(typed["object"])):
        layout.refuse(
            f'Not saved: "{existing}" is the code of another work. Give this one a code of its own; what'
            " you typed is still here."
        )
        return
    con = page_data.store().cursor()
    used = {
        "kind": [*queries.said_before(con, "kind"), *work_fields.KINDS],
        "support": [*queries.said_before(con, "support"), *work_fields.SUPPORTS],
    }
    try:
        report = store_rows(
            page_data.store(),
            OBJECTS,
            [{"object": code or "", **typed}],
            page_data.change("edited under Works" if code else "added under Works"),
            LABELS,
        )
    except BenchHoursError as error:
        layout.refuse(f"Not saved: {error} What you typed is still here.")
        return
    if not (report.outcome.stored or report.outcome.corrected):
        st.info("Nothing was changed.")
        return
    fields.forget_shown(f"work {code}")
    notes = [
        f"{LABELS.get(column, column)}: {reason}. {mend}"
        for column, reason, mend in report.warnings[["column", "reason", "mend"]].itertuples(index=False)
    ]
    notes += [note for name, words in used.items() if (note := _near_another(name, typed[name], words))]
    if code is None:
        new_work.forget()
        code = " ".join(typed["object"].split())
        st.query_params.from_dict({"object": code, **page_data.studio_query()})
        layout.done(
            " ".join(["The work is added.", *notes]),
            ("estimate", "Write its estimate", {"object": code}),
            ("bring_in_logs", "Bring in hours", {}),
        )
    ways: list[layout.Way] = [("one_work", "Where its hours went", {"object": code})]
    if typed.get("finished_on"):
        ways.append(("promised_and_kept", "What it taught", {"object": code}))
    layout.done(" ".join(["Saved; what was said before is kept in the history.", *notes]), *ways)


def _near_another(name: str, word: str, used: list[str]) -> str:
    """Said of a word that is new here and close to one used before: filters would tell the two apart."""
    near = nearest(word, {folded(item): item for item in used}) if word and word not in used else None
    return (
        f'{name.capitalize()} "{word}" is new here, and near to "{near}": if it is the same, say it alike.'
        if near
        else ""
    )
