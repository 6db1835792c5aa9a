"""The fields of one work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from dashboard import queries
from dashboard.formatting import plain
from dashboard.ui import fields, layout, page_data
from dashboard.ui.works import new_work
from ingest.schema.csv_columns import SHAPES

MOST_WORDS = 5


# Free words of the trade to begin with (common practice, no source); the studio's own come first.
KINDS = ("easel painting", "panel painting", "work on paper", "frame", "polychrome object")


SUPPORTS = ("canvas", "wooden panel", "paper", "cardboard", "copper", "gilded wood")


GRADES = {"": "not said", "0": "0 none", "1": "1 slight", "2": "2 marked", "3": "3 severe"}


# Over 60 lines: one form, field by field.
def show(code: str | None, current: dict[str, str], key: str) -> dict[str, str]:
    con = page_data.store().cursor()
    typed: dict[str, str] = {}

    def left(name: str) -> dict[str, Any]:
        """Key of a field, and storing of a new work when the field is left."""
        return {"key": f"{name} {key}", **({"on_change": new_work.keep} if code is None else {})}

    def line(name: str, label: str, *, explained: str | None = None) -> None:
        typed[name] = st.text_input(label, current.get(name, ""), help=explained, **left(name))

    def day(name: str, label: str, *, explained: str | None = None) -> None:
        typed[name] = fields.day_field(label, current.get(name, ""), help=explained, **left(name))

    def free(name: str, label: str, suggested: Sequence[str]) -> None:
        """A free word: written, or one of those used before taken with one press."""
        field = f"{name} {key}"
        # in place of a value of its own: a word may be put into it
        st.session_state.setdefault(field, current.get(name, ""))
        typed[name] = st.text_input(label, **left(name))
        words = list(dict.fromkeys([*queries.said_before(con, name), *suggested]))[:MOST_WORDS]
        if words:
            taken = (field, code is None)
            st.pills(
                f"{label}: words used before",
                words,
                format_func=plain,
                key=f"words for {field}",
                on_change=_take_word,
                args=taken,
                label_visibility="collapsed",
            )

    columns = st.columns(2)
    with columns[0]:
        if code is None:
            line("object", "Code", explained="The studio's own, like 26-014")
        line("title", "Title")
        line("maker", "Maker")
        free("kind", "Kind", KINDS)
        free("support", "Support", SUPPORTS)
        free("commission", "Commission (works of one owner that share a letter)", ())
        day("received_on", "Received on")
        day("due_on", "Due on")
        day(
            "finished_on",
            "Finished on",
            explained="Finishes every line of the work. Leave it empty while it is on the bench.",
        )
    with columns[1]:
        typed["shape"] = fields.choose(
            "Shape", SHAPES, current.get("shape", ""), empty="not said (a rectangle)", **left("shape")
        )
        line("height_cm", "Height, cm", explained='A number is cm; inches as 24 in, 24 1/2 in or 24½"')
        line("width_cm", "Width, cm")
        line("area_dm2", "Area, dm² (if it is not as shape and size say)")
        for name in ("structure", "paint", "surface"):
            column = f"{name}_condition"
            typed[column] = st.selectbox(
                f"Condition: {name}",
                list(GRADES),
                index=list(GRADES).index(current.get(column, "")),
                format_func=GRADES.__getitem__,
                **left(column),
            )
        codes = [work for work in page_data.works(page_data.today())["object"] if work != code]
        typed["returned_from"] = fields.choose(
            "Returned: it was here before as",
            codes,
            current.get("returned_from", ""),
            empty="not here before",
            **left("returned_from"),
        )
        line("owner", "Owner (private: on no chart and in nothing that is shared)")
        line("owner_address", "Owner's address (private)")
    if current.get("remembered") == "yes":
        # it is said when the work is told; here it can only be taken back
        typed["remembered"] = (
            "yes"
            if st.checkbox("Told from memory: its hours were not logged", True, key=f"remembered {key}")
            else "no"
        )
    typed["note"] = st.text_area("Note", current.get("note", ""), **left("note"))
    layout.say(
        "Conditions are the studio's own scale (common practice, no source). With height and width the"
        " area follows; a round work needs its height only."
    )
    return typed


def _take_word(field: str, is_new: bool) -> None:
    if chosen := st.session_state[f"words for {field}"]:
        st.session_state[field] = chosen
        st.session_state[f"words for {field}"] = None
        if is_new:
            new_work.keep()
