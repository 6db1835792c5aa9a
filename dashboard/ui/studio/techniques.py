"""Techniques of the studio: add, change, rename, retire."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import UNITS, counted, day, text
from dashboard.ui import fields, layout, page_data
from dashboard.ui.studio import changes
from ingest.errors import BenchHoursError
from ingest.importing.form_rows import put_rows, store_rows
from ingest.schema.csv_columns import CAUTIONS, CONDITIONS, MODES, TECHNIQUES
from ingest.studio import vocabulary
from ingest.studio.hazards import DEFERRING, WORDS
from ingest.values.spelling import folded


def show() -> None:
    use = queries.vocabulary_use(page_data.store().cursor())
    names = use["technique"].tolist()
    chosen = changes.choose("Change a technique", names, f"Choose one of {len(names)}", "technique changed")
    if chosen:
        _technique(use[use["technique"] == chosen].iloc[0])
        return
    _add_technique()
    with st.expander("All techniques"):
        rows: list[list[str] | str] = []
        for phase, inside in use.groupby("phase", sort=False):
            rows.append(str(phase))
            rows += [
                [
                    row["technique"],
                    UNITS.get(text(row["unit"]), "not measured"),
                    row["mode"].replace("_", " "),
                    ", ".join(WORDS[part] for part in text(row["cautions"]).split("|") if part),
                    f"retired on {day(row['retired_on'])}" if pd.notna(row["retired_on"]) else "yes",
                    f"{row['works']}",
                    f"{row['entries']:,.0f}",
                ]
                for row in inside.to_dict("records")
            ]
        layout.table(
            "Techniques",
            ["technique", "unit", "mode", "usual cautions", "in use", "works", "entries"],
            rows,
            words=range(5),
        )
        layout.say(DEFERRING)
    changes.spellings_of_tables("technique")


def _technique_form(current: dict[str, str], key: str) -> dict[str, str]:
    words = page_data.vocabulary()
    typed = {"phase": fields.choose("Usual phase", list(words.phases), current["phase"], f"phase {key}")}
    typed["unit"] = fields.choose("Measured in", ["none", *UNITS], current["unit"] or "none", f"unit {key}")
    typed["mode"] = fields.choose("Usual mode", MODES, current["mode"] or "hands_on", f"mode {key}")
    typed["condition"] = fields.choose(
        "Condition that bears on it", CONDITIONS, current["condition"], f"condition {key}", empty="none"
    )
    chosen = st.multiselect(
        "Usual cautions",
        CAUTIONS,
        [part for part in current["cautions"].split("|") if part],
        format_func=WORDS.__getitem__,
        key=f"cautions {key}",
    )
    typed["cautions"] = "|".join(chosen)
    typed["note"] = st.text_input("Note", current["note"], key=f"note {key}")
    return typed


def _add_technique() -> None:
    with st.expander("Add a technique"), st.form("add technique"):
        name = st.text_input("Name")
        typed = _technique_form(
            dict.fromkeys(("unit", "mode", "condition", "cautions", "note"), "")
            | {"phase": next(iter(page_data.vocabulary().phases))},
            "new",
        )
        aliases = st.text_input("Other spellings, with | between")
        if not st.form_submit_button("Add", type="primary"):
            return
        words = page_data.vocabulary()
        try:
            # of another spelling the writer asks
            if (meant := words.technique_spellings.get(folded(name))) and folded(meant) == folded(name):
                raise BenchHoursError(f"there is {meant} already", "Choose another name, or change that one.")
            store_rows(
                page_data.store(),
                TECHNIQUES,
                [{"technique": name, **typed, "aliases": aliases}],
                page_data.change("added under Studio"),
            )
        except BenchHoursError as error:
            layout.refuse(f"Not added: {error} What you typed is still here.")
            return
        layout.done(f"{name.strip()} is among the techniques.")


def _technique(row: pd.Series) -> None:
    name = row["technique"]
    named = (
        f"{counted(int(row['entries']), 'entry', 'entries')} on {counted(int(row['works']), 'work')} and"
        f" {counted(int(row['estimates']), 'line')} of estimates"
    )
    layout.say(f"{named} name it." if row["entries"] or row["estimates"] else "Nothing names it yet.")
    current = row.drop(["works", "entries", "estimates", "retired_on"]).to_dict()
    shown_first = fields.remember_shown(f"technique {name}", f"spellings {name}", str(current))
    with st.form(f"technique {name}"):
        typed = _technique_form(
            {
                column: text(row[column])
                for column in ("phase", "unit", "mode", "condition", "cautions", "note")
            },
            name,
        )
        spellings = st.text_input(
            "Other spellings that are understood, with | between", row["spellings"], key=f"spellings {name}"
        )
        layout.say(
            "Phase, unit, mode and cautions are what is filled in from now on: lines and entries already"
            " here keep theirs. A unit in which entries are measured cannot change; a spelling left out"
            " is no longer understood in files, but for names it once had."
        )
        save = st.form_submit_button("Save", type="primary")
    if save and changes.unchanged_elsewhere(shown_first, current):
        change = page_data.change("changed under Studio")

        def both(con: object) -> None:
            put_rows(con, TECHNIQUES, [{"technique": name, **typed}], change)  # type: ignore[arg-type]
            vocabulary.set_spellings(con, "technique", name, spellings.split("|"), change)  # type: ignore[arg-type]

        changes.attempt(
            f"{name} is saved.", both, afterwards=lambda: fields.forget_shown(f"technique {name}")
        )
    changes.rename_or_retire("technique", name, row["retired_on"], f"{named} will name it so")
