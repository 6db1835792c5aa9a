"""Estimate: lines written by hand, kept cell by cell, saved as a version, approved with its day."""

from __future__ import annotations

import streamlit as st

from dashboard import queries
from dashboard.services import quote_continued
from dashboard.ui import fields, layout, page_data
from dashboard.ui.estimate import begin, sheet
from dashboard.ui.estimate import versions as versions_part
from ingest.editing import estimate_drafts, quote_drafts


def body() -> None:
    works = page_data.works(page_data.today())
    if works.empty:
        st.write("An estimate is of a work, and there is none yet.")
        layout.begin_at("Add a work", "works", add="work")
        return
    code = fields.choose_work(works["object"].tolist(), page_data.titles(works))
    if code is None:
        st.write("Choose the work. Its versions stand here then, and a sheet to write the next one on.")
        drafted = works.loc[works["has_draft"], "object"].tolist()
        if drafted:
            layout.say(f"Drafts are kept for {', '.join(drafted)}.")
        return
    with st.container(horizontal=True):
        layout.link("one_work", "Where its hours went", object=code)
        _quote(code)
    versions = queries.versions(page_data.store().cursor(), code)
    if len(versions):
        versions_part.show(code, versions)
    draft = estimate_drafts.read(page_data.store().cursor(), code)
    if draft is None:
        begin.show(code, versions, works)
    else:
        sheet.write(code, draft, works, versions)


def _quote(code: str) -> None:
    """The way to its quote: the one being written, or a new one that goes on from the latest version."""
    con = page_data.store().cursor()
    written = quote_drafts.of_work(con, code)
    if written is not None:
        layout.link("quote_a_work", f"Go on with quote {written.number}", quote=f"{written.number}")
    elif st.button(
        _again(code),
        type="primary",
        help="From what finished works really took; a version can also be written by hand, below.",
    ):
        quote = quote_drafts.keep(
            page_data.store(),
            quote_continued.continued_quote(con, code, page_data.today()),
            page_data.visit(),
        )
        layout.go_to("quote_a_work", quote=f"{quote.number}")


def _again(code: str) -> str:
    lines = page_data.overruns(page_data.today())
    if (lines.loc[lines["object"] == code, "actual_hours"] > 0).any():
        return "Quote the rest anew"
    return (
        "Quote it anew"
        if len(queries.versions(page_data.store().cursor(), code))
        else "Quote it from finished works"
    )


layout.show("Estimate", body)
