"""Milestones of a work: set one, take one back."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import day, plain
from dashboard.ui import fields, layout, page_data
from dashboard.ui.works import form
from ingest.editing import corrections
from ingest.errors import BenchHoursError
from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import MILESTONES
from ingest.values.line_names import THE_WORK

_FINISHED_ON = "It was finished on"


def show(code: str) -> None:
    st.header("Milestones")
    lines = page_data.overruns(page_data.today())
    lines = lines[lines["object"] == code]
    _list(code, lines)
    if lines.empty:
        layout.say("It has no lines yet: estimate it or bring in its hours first.")
        return
    # by what is shown: a part may have a comma of its own, and one technique may stand in two phases
    named = [*lines[["phase", "technique", "part"]].itertuples(index=False, name=None)]
    if lines["technique"].eq("").any():
        named += queries.compared_within(page_data.store().cursor(), page_data.today(), code)
    choices = {_name(phase, "", ""): (phase, "", "") for phase, _, _ in named}
    for phase, technique, part in named:
        name = _name(phase, technique, part)
        choices[f"{phase}, {name}" if technique else name] = phase, technique, part
    with st.form("milestone"):
        chosen = fields.choose("What is finished", list(choices), next(iter(choices)), f"milestone {code}")
        finished_on = fields.day_field(_FINISHED_ON, page_data.today(), key=f"milestone day {code}")
        save = st.form_submit_button("Set the milestone")
    if save:
        _set(code, chosen, choices[chosen], finished_on)


def _list(code: str, lines: pd.DataFrame) -> None:
    """Milestones that are reached, each with a button to take it back."""
    reached = queries.milestones(page_data.store().cursor(), code)
    if not reached:
        st.write(
            "None yet. A milestone finishes a line or a whole phase, and only what is finished is compared in"
            " full."
        )
    for phase, technique, part, on in reached:
        name = _name(phase, technique, part)
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(plain(f"{day(on)}: {name} finished{_opened_again(lines, phase, technique, part, on)}"))
            if st.button(
                "Take back",
                key=f"back {phase} {technique} {part} {on}",
                help="Its lines are open again, unless something else finishes them.",
            ):
                change = page_data.change("taken back under Works")
                with page_data.store().writing() as con:
                    corrections.take_back_milestone(con, code, phase, technique, part, on, change)
                layout.done(
                    f"Taken back: {name}. Its lines are open again, unless something else finishes them."
                )


def _name(phase: str, technique: str, part: str) -> str:
    """What a milestone finishes; without a technique all of a phase, of its part, or of the work."""
    return ", ".join(filter(None, (technique or (f"all of {phase}" if phase else THE_WORK), part)))


def _set(code: str, name: str, line: tuple[str, str, str], finished_on: str) -> None:
    phase, technique, part = line
    try:
        on = fields.require_day(_FINISHED_ON, finished_on)
        row = {"object": code, "phase": phase, "technique": technique, "part": part, "finished_on": f"{on}"}
        report = store_rows(
            page_data.store(), MILESTONES, [row], page_data.change("set under Works"), form.LABELS
        )
    except BenchHoursError as error:
        layout.refuse(f"Not set: {error} What you typed is still here.")
        return
    notes = [
        f"But it {reason}. {mend}"
        for reason, mend in report.warnings[["reason", "mend"]].itertuples(index=False)
    ]
    layout.done(
        " ".join([f"Set: {name} finished on {day(on)}.", *notes])
        if report.outcome.stored
        else "That milestone is set already."
    )


def _opened_again(lines: pd.DataFrame, phase: str, technique: str, part: str, on: date) -> str:
    """Words on a milestone whose lines were worked on later and are open."""
    of_phase, of_part = lines["phase"].eq(phase), lines["part"].eq(part)
    meant = (
        of_phase & lines["technique"].eq(technique) & of_part
        if technique
        else (of_phase | (phase == "")) & (of_part | (part == ""))
    )
    later = lines[meant & ~lines["finished"].astype(bool) & (lines["last_day"] > pd.Timestamp(on))]
    if later.empty:
        return ""
    return (
        f", but {'it was' if len(later) == 1 else f'{len(later)} lines were'} worked on again until"
        f" {day(later['last_day'].max())} and {'is' if len(later) == 1 else 'are'} open"
    )
