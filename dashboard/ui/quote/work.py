"""Works of the quote: which is shown, the fields that describe it, another one, or one less."""

from __future__ import annotations

import streamlit as st

from dashboard import queries
from dashboard.formatting import plain
from dashboard.services.quote import Quoted
from dashboard.ui import layout, line_sheet, page_data
from dashboard.ui.quote import draft
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.schema.csv_columns import SHAPES

SHEET = line_sheet.sheet(
    {"hours": "own hours", "mark": "belongs to", "wording": "in the letter"},
    **{"technique": 210, "quantity": 105, "hours": 115, "part": 90, "low_hours": 85, "high_hours": 90},
    **{"person": 90, "option": 110, "unattended_hours": 145, "phase": 150, "mark": 120, "wording": 200},
    note=160,
)
COSTS = {
    "what": ("outside cost or material", 260),
    "amount": ("amount without tax", 150),
    "first_stage": ("first stage? (yes)", 150),
}
LABELS = (
    line_sheet.LABELS
    | {"hours": "own hours", "height_cm": "height", "width_cm": "width", "area_dm2": "area"}
    | {f"{name}_condition": f"condition: {name}" for name in ("structure", "paint", "surface")}
)
ANOTHER, NOT_HERE = "", "A work that is not here yet: describe it"
GRADES = {"": "not said", "0": "0 none", "1": "1 slight", "2": "2 marked", "3": "3 severe"}


def choose_work(quote: Quote) -> int:
    if len(quote.works) == 1:
        return 0
    names = [f"{number}. {work.display_name}" for number, work in enumerate(quote.works, 1)]
    key = f"{draft.name_of(quote)} which"
    # in place of a value of its own, and before the field is there: a work that was added is shown, and the
    # one that was shown stays
    st.session_state[key] = min(
        st.session_state.pop(f"shown in {draft.name_of(quote)}", st.session_state.get(key) or 0),
        len(names) - 1,
    )
    chosen = st.segmented_control(
        "Which work", range(len(names)), format_func=lambda at: plain(names[at]), required=True, key=key
    )
    return min(chosen or 0, len(names) - 1)


def show_fields(work: QuotedWork, key: str, turn: int) -> None:
    def line(into: dict[str, str], name: str, label: str, placeholder: str = "") -> None:
        draft.line_field(into, name, label, f"{key} {name} {turn}", placeholder)

    if work.object:
        layout.say(
            "What it is, its size and its condition stand under Works; where it will end, if it is under"
            " way, On the bench."
        )
        with st.container(horizontal=True):
            layout.link("works", "Change what it is", object=work.object)
            layout.link("on_the_bench", "On the bench", object=work.object)
    with st.expander(
        "How the letter names it: medium and marks" if work.object else "What it is",
        expanded=not work.object,
        key=f"{key} what",
    ):
        left, right = st.columns(2)
        if not work.object:
            with left:
                line(work.described, "title", "Title")
                line(work.described, "maker", "Maker")
                line(work.described, "kind", "Kind", placeholder="easel painting")
                line(work.described, "support", "Support", placeholder="canvas")
                _chosen(
                    work.described,
                    "shape",
                    "Shape",
                    {"": "not said (a rectangle)"} | {shape: shape for shape in SHAPES},
                    key,
                    turn,
                )
            with right:
                line(work.described, "height_cm", "Height, cm", placeholder="60 or 24 in")
                line(work.described, "width_cm", "Width, cm")
                for name in ("structure", "paint", "surface"):
                    _chosen(work.described, f"{name}_condition", f"Condition: {name}", GRADES, key, turn)
        with left:
            line(work.identified, "medium", "Medium, as the letter says it", placeholder="oil on canvas")
        with right:
            line(work.identified, "marks", "Marks, labels, inscriptions")
        line(work.identified, "condition", "Condition found, as the letter says it (may stay empty)")


def _chosen(
    into: dict[str, str], name: str, label: str, choices: dict[str, str], key: str, turn: int
) -> None:
    options = list(choices)
    current = into.get(name, "")
    chosen = st.selectbox(
        label,
        options,
        index=options.index(current) if current in options else 0,
        format_func=choices.__getitem__,
        key=f"{key} {name} {turn}",
    )
    draft.put(into, name, chosen)


def show_works(quote: Quote, quoted: Quoted) -> None:
    with st.expander("The works in this letter: another one of the same owner, or one less"):
        works = page_data.works(page_data.today())
        fitting = set(
            queries.of_owner(page_data.store().cursor(), quoted.owners[0])
            if quoted.owners
            else works["object"]
        ) - {work.object for work in quote.works}
        codes = (
            [ANOTHER, *[code for code in works["object"].tolist() if code in fitting]]
            if len(works)
            else [ANOTHER]
        )
        titles = page_data.titles(works)
        code = st.selectbox(
            "Work",
            codes,
            format_func=lambda item: f"{item}  {titles[item]}".strip() if item else NOT_HERE,
            key=f"{draft.name_of(quote)} another {len(quote.works)}",
        )
        if st.button("Add it to the quote"):
            quote.works.append(QuotedWork(object=code))
            st.session_state[f"shown in {draft.name_of(quote)}"] = len(quote.works) - 1
            draft.open_anew(quote)
        if len(quote.works) > 1 and st.button("Take the work shown out of the quote"):
            del quote.works[
                min(st.session_state.get(f"{draft.name_of(quote)} which") or 0, len(quote.works) - 1)
            ]
            draft.open_anew(quote)
    if (
        layout.confirm_discard(f"{draft.name_of(quote)} sure", "Throw the quote away")
        and quote.number is not None
    ):
        quote_drafts.throw_away(page_data.store(), quote.number)
        line_sheet.forget(draft.name_of(quote))
        st.query_params.from_dict(page_data.studio_query())
        layout.done(f"Quote {quote.number} is thrown away.")
