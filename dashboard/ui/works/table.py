"""All works with where each stands, searched and filtered."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.analysis.report.overruns import by_object
from dashboard.formatting import counted, plain, text
from dashboard.text import html_blocks
from dashboard.text.works import are_finished, state_of_work
from dashboard.ui import layout, page_data
from ingest import autosave
from ingest.tables.audit_log import utc_now
from ingest.values.spelling import folded

SHOWN = 40


def show() -> None:
    as_of = page_data.today()
    works = page_data.works(as_of)
    if st.button(_way_to_new(), type="primary"):
        layout.show_at(add="work")
    if works.empty:
        st.write(
            "No work is here yet. Add the first one, bring in a file of objects under Bring in logs, or tell"
            " finished works of before from memory, below."
        )
        layout.invite_to_invented()
        return
    with st.container(horizontal=True, key="choices"):
        searched = st.text_input("Search code, title, maker, kind, commission", key="search", width=340)
        which = st.selectbox(
            "Which", ["on the bench", "finished", "all"], key="which", bind="query-params", width=160, index=2
        )
    sums = by_object(page_data.overruns(as_of))
    matches = _matching(
        works.assign(finished=are_finished(works, sums)).sort_values("finished", kind="stable"),
        searched,
        which,
    )
    layout.say(
        f"{counted(len(matches), 'work')} of {len(works):,}: those on the bench first, the latest first."
    )
    if matches.empty:
        st.write("No work fits. Search for less, or choose all.")
        return
    shown = matches
    if len(matches) > SHOWN and not st.toggle(f"Show all {len(matches):,}", key="show_all"):
        shown = matches.head(SHOWN)
    moment = utc_now()
    rows: list[list[html_blocks.Cell]] = [
        [
            page_data.work_link(work["object"]),
            state_of_work(
                work, sums.loc[work["object"]] if work["object"] in sums.index else None, as_of, moment
            ),
            text(work["title"]),
            html_blocks.Link("edit", page_data.address("works", object=work["object"])),
            html_blocks.Link(
                "draft kept" if work["has_draft"] else "estimate",
                page_data.address("estimate", object=work["object"]),
            ),
        ]
        for _, work in shown.iterrows()
    ]
    layout.table("Works", ["work", "where it stands", "title", "change", "estimate"], rows, words=range(5))


def _way_to_new() -> str:
    """Label of the button to a new work, which may be half written."""
    draft = autosave.read(page_data.store().cursor(), autosave.NEW_WORK)
    return (
        plain(
            f"Go on with the new work {draft.value.get('object') or draft.value.get('title') or ''}".strip()
        )
        if draft
        else "Add a work"
    )


def _matching(works: pd.DataFrame, searched: str, which: str) -> pd.DataFrame:
    """The works that fit what is searched: every word of it somewhere in code, title, maker, kind, support or
    commission.
    """
    matches = works if which == "all" else works[works["finished"] == (which == "finished")]
    haystack = (
        matches[["object", "title", "maker", "kind", "support", "commission"]]
        .fillna("")
        .agg(" ".join, axis=1)
        .map(folded)
    )
    for word in folded(searched).split():
        matches, haystack = (
            matches[haystack.str.contains(word, regex=False)],
            haystack[haystack.str.contains(word, regex=False)],
        )
    return matches
