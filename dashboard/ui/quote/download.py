"""The letter to download or to look at."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboard.documents import assemble, letter_pdf
from dashboard.documents.blocks import Letter
from dashboard.formatting import counted, plain
from dashboard.services.quote import Quoted
from dashboard.ui import layout, letters, page_data, results
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError


def show(quote: Quote, quoted: Quoted, key: str) -> None:
    """The letter to be taken along or looked at, or why there is none yet."""
    if not any(work.options for work in quoted.works):
        layout.say("The letter can be had once there is a line.")
        return
    if len(quoted.owners) > 1:
        st.warning(
            "The works of this quote are of different owners, and a letter is for one: take one of them out,"
            " below, and quote it by itself."
        )
        return
    aside = sum(work.read.left_aside for work in quoted.works)
    empty = [work.draft.display_name for work in quoted.works if not work.options]
    if aside or empty:
        missing = [counted(aside, "line that cannot be read", "lines that cannot be read")] if aside else []
        missing += [f"{name}, which has no lines" for name in empty]
        st.warning(
            plain(
                f"The letter is without {' and without '.join(missing)}. Mend that first, or it promises less"
                " than you mean."
            )
        )
    made = letter_later(quote, quoted)
    try:
        made(False)
    except BenchHoursError as error:
        st.warning(plain(f"No letter yet: {error}"))
        return
    letters.show_downloads(lambda: made(True), f"quote-{quote.number}", "The letter", primary=True)
    with st.expander("See it", key=f"{key} see", on_change="rerun") as opened:
        if opened.open:
            with st.spinner("Looking when it would be ready …"):
                pictures = letter_pdf.as_pictures(made(True))
            for number, picture in enumerate(pictures, 1):
                st.image(picture, caption=f"Page {number}", width="stretch")


def letter_later(quote: Quote, quoted: Quoted) -> Callable[[bool], Letter]:
    """The letter, made once it is wanted, be it outside the run of the page; with when the works are ready,
    which takes longest, or without.
    """
    opened, studio, words, ready = (
        page_data.store(),
        page_data.settings(),
        page_data.vocabulary(),
        results.ready_later(quote, quoted),
    )
    return lambda with_ready: assemble.letter_of(
        opened.cursor(), quoted, quote, studio, words, ready() if with_ready else None
    )
