"""One work: where its hours went line by line, why, on which entries it rests, and its calendar."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.report.overruns import by_object
from dashboard.analysis.report.phase_names import overdue_works
from dashboard.documents import statement
from dashboard.documents.csv_export import as_csv_text
from dashboard.formatting import counted, text
from dashboard.text import promises as promises_text
from dashboard.text import remembered as remembered_text
from dashboard.text.works import state_of_work
from dashboard.ui import fields, layout, page_data
from dashboard.ui.one_work import entries as entries_part
from dashboard.ui.one_work import lines as lines_part
from dashboard.ui.one_work import phases as phases_part
from dashboard.ui.one_work import versions as versions_part
from ingest.tables.audit_log import utc_now


def body() -> None:
    as_of = page_data.today()
    works = page_data.works(as_of)
    if works.empty and not page_data.is_principal():
        st.write(
            "There is no work yet. As soon as there are works with hours, this page shows where those went."
        )
        return
    if works.empty:
        st.write("There is no work yet. Add the first one by hand, or bring in a file of objects.")
        layout.begin_at("Add a work", "works", add="work")
        return
    code = fields.choose_work(
        works["object"].tolist(), (page_data.titles(works) if page_data.is_principal() else {})
    )
    if code is None:
        st.write(f"Choose one of {counted(len(works), 'work')}: those on the bench stand first.")
        return
    work = works[works["object"] == code].iloc[0]
    lines = page_data.overruns(as_of)
    lines = lines[lines["object"] == code].reset_index(drop=True)
    entries = queries.entries(page_data.store().cursor(), as_of, code)
    sums = by_object(lines)
    remembered = code in queries.remembered(page_data.store().cursor())
    layout.say(
        state_of_work(work, sums.iloc[0] if len(sums) else None, as_of, utc_now()),
        remembered_text.OF_ONE_WORK if remembered else "",
    )
    if page_data.is_principal():
        _ways_on(code, finished=len(lines) > 0 and bool(lines["finished"].all()), remembered=remembered)
    if lines.empty:
        st.write(_why_no_lines(bool(work["versions"]), text(work["outcome"])))
        return
    phases_part.show(lines)
    if page_data.is_principal():
        layout.say(*_other_difference(code, sums.iloc[0], as_of))
    lines_part.show(lines, queries.logged_under(page_data.store().cursor(), as_of, code))
    versions_part.show(code, lines)
    lines_part.show_unforeseen(lines, entries, overdue_works(works, as_of))
    lines_part.show_apart(lines)
    entries_part.show_calendar(entries)
    entries_part.show(code, entries)
    _statement(code, as_of)


def _other_difference(code: str, sums: pd.Series, as_of: date) -> list[str]:
    """Why another page shows another difference of this work, where it does."""
    con = page_data.store().cursor()
    approved, began = (
        item[item["object"] == code]
        for item in (queries.approved_promises(con, as_of), queries.promises(con, as_of))
    )
    return promises_text.other_yardsticks(
        sums,
        approved.iloc[0] if len(approved) else None,
        began.iloc[0] if len(began) else None,
        finished=pd.notna(sums["lines_finished_on"]),
    )


def _ways_on(code: str, *, finished: bool, remembered: bool) -> None:
    with st.container(horizontal=True):
        layout.link("estimate", "Its estimate", object=code)
        layout.link("works", "Edit the work, set a milestone", object=code)
        if not finished:
            layout.link("on_the_bench", "Where it will end", object=code)
        if finished and not remembered:
            layout.link("promised_and_kept", "What it taught", object=code)


def _why_no_lines(estimated: bool, outcome: str) -> str:
    if outcome:
        return (
            f"Its estimate was {outcome}, so nothing is held against"
            f" it{': quote it anew under Estimate' if page_data.is_principal() else ''}."
        )
    if not page_data.is_principal():
        return "No line of it is approved or logged yet; its lines stand here then."
    if estimated:
        return (
            "Its estimate has options, and none is approved yet: note under Estimate which one the owner"
            " took, and its lines stand here."
        )
    return (
        "Nothing is estimated or logged on it yet. Write its estimate, or bring in logs; its lines stand here"
        " then."
    )


def _statement(code: str, as_of: date) -> None:
    layout.section(
        "Treatment statement",
        "Its dated hours, for the treatment report: the work by its code, no person and no owner named.",
    )
    with_notes = page_data.is_principal() and st.checkbox(
        "With the notes of the entries", help="Read them first: a note may name somebody."
    )
    con = page_data.store().cursor()
    dated = queries.dated_hours(con, as_of, code)
    dated = dated if with_notes else dated.drop(columns="note")
    page = statement.as_page(
        code, page_data.settings().studio, as_of, queries.area_dm2(con, code), dated, with_notes=with_notes
    )
    with st.container(horizontal=True):
        layout.download("Statement to print", page, f"{code}-hours.html")
        layout.download("Statement as CSV", as_csv_text(dated.drop(columns="position")), f"{code}-hours.csv")


layout.show("One work", body)
