"""Saving the quote as a version of its estimates."""

from __future__ import annotations

import streamlit as st

from dashboard import queries
from dashboard.services import saved_quote
from dashboard.services.quote import Quoted
from dashboard.services.quote_context import QuoteContext
from dashboard.ui import layout, line_sheet, page_data
from dashboard.ui.quote import download, draft
from dashboard.ui.quote import work as work_part
from ingest.editing import quote_drafts, saved_quotes
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError
from ingest.importing.estimate_versions import next_version
from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.values import spelling


def is_revision(quoted: Quoted) -> bool:
    """A work of it has a version that stands, so what is saved is a revision."""
    con = page_data.store().cursor()
    return any(
        queries.latest_standing(con, work.draft.object, quoted.as_of) is not None
        for work in quoted.works
        if work.draft.object
    )


def show(quote: Quote, quoted: Quoted, context: QuoteContext) -> None:
    """Save the quote as the next version of its estimates."""
    if not any(work.options for work in quoted.works):
        return
    st.subheader("Save it")
    for at, work in enumerate(quote.works):
        if not work.object:
            _give_code(quote, at)
            return
    con = page_data.store().cursor()
    numbers = {
        work.draft.object: next_version(con, work.draft.object) for work in quoted.works if work.options
    }
    versions = " and ".join(f"version {number} of {code}" for code, number in numbers.items())
    layout.say(
        f"It becomes {versions}, with all that it stood on: it says the same in years, whatever is logged"
        " or changed until then."
    )
    save = st.button(f"Save as {versions}", type="primary")
    if not layout.confirm_doubts(
        f"{draft.name_of(quote)} doubt", save, lambda: quoted.terms.doubts, "It is meant so: save it"
    ):
        return
    reason = quote.letter.get("reason", "").strip()
    if is_revision(quoted) and not reason:
        layout.refuse(
            "Not saved: write first what was found, above under The letter. It stands with the version."
        )
        return
    try:
        with st.spinner("Looking when it would be ready …"):
            letter = download.letter_later(quote, quoted)(True)
        saved = saved_quotes.save(
            page_data.store(),
            saved_quote.promised(context, quoted, quote, letter.as_dict()),
            quote.number,
            reason,
            page_data.change("quoted under Quote a work"),
        )
    except BenchHoursError as error:
        layout.refuse(f"Not saved: {error} What you typed is kept.")
        return
    line_sheet.forget(draft.name_of(quote))
    st.query_params.from_dict(page_data.studio_query())
    saved_versions = " and ".join(f"version {number} of {code}" for code, number in saved)
    layout.done(
        f"Saved as {saved_versions}. When the owner says yes, note the approval under Estimate; its letter"
        " is there too.",
        *(("estimate", f"Estimate of {code}", {"object": code}) for code, _ in saved),
    )


def _give_code(quote: Quote, at: int) -> None:
    """A described work becomes one of the works, and its quote goes on as that of a work here."""
    work = quote.works[at]
    with st.form(f"{draft.name_of(quote)} code {at}", border=False):
        layout.say(
            f"{work.display_name[0].upper()}{work.display_name[1:]} is not among the works yet. Give it its"
            " code, and it is added as it is described here; its version can be saved then."
        )
        code = st.text_input(
            "Its code", key=f"{draft.name_of(quote)} code of {at}", placeholder="26-014", width=200
        )
        if not st.form_submit_button("Add it to the works"):
            return
    code = " ".join(code.split())
    if not code:
        layout.refuse("Not added: write its code.")
        return
    if any(
        spelling.folded(work) == spelling.folded(code)
        for work in page_data.works(page_data.today())["object"]
    ):
        layout.refuse(
            f'Not added: "{code}" is the code of another work. If it is this one, begin its quote under its'
            " code."
        )
        return
    try:
        row = {
            name: text
            for name, text in work.described.items()
            if name in quote_drafts.DESCRIBED and text.strip()
        }
        if quote.letter.get("addressee", "").strip():
            owner, *address = [
                line.strip() for line in quote.letter["addressee"].splitlines() if line.strip()
            ]
            row = {"owner": owner, "owner_address": ", ".join(address)} | row
        store_rows(
            page_data.store(),
            OBJECTS,
            [{"object": code, **row}],
            page_data.change("added under Quote a work"),
            work_part.LABELS,
        )
    except BenchHoursError as error:
        layout.refuse(f"Not added: {error} What you typed is kept.")
        return
    work.object = code
    draft.open_anew(quote)
