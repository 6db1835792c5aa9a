"""Finished works like the one that is quoted, and their lines to take over."""

from __future__ import annotations

import streamlit as st
from markupsafe import Markup

from dashboard.services import quote as quote_service
from dashboard.services import quote_lines
from dashboard.services.quote import WorkQuoted
from dashboard.services.quote_context import QuoteContext
from dashboard.text import html_blocks
from dashboard.text import quote as quote_text
from dashboard.ui import layout, page_data
from dashboard.ui.quote import draft
from ingest.editing.quote_drafts import Quote


def show(quote: Quote, at: int, quoted_work: WorkQuoted, context: QuoteContext) -> None:
    st.subheader("Finished works like it")
    likes = quote_service.similar_works(context, quoted_work)
    if not likes:
        layout.say(_none_like(quoted_work, context))
        return
    surprises = quote_text.surprises(context.lines, likes)
    for like in likes:
        about, take = st.columns([5, 1], vertical_alignment="center")
        why = ", ".join(like.why) + surprises.get(like.object, "")
        about.html(html_blocks.beside([Markup("{}: {}.").format(page_data.work_link(like.object), why)]))
        if take.button(
            "Take its lines",
            key=f"{draft.name_of(quote)} {at} take {like.object}",
            help=(
                "What was quoted and worked there, without hours, areas brought to this size; what turned up"
                " there is left to chance."
            ),
        ):
            work, taken = (
                quote.works[at],
                quote_lines.lines_like(context, like.object, quoted_work.area, page_data.store().cursor()),
            )
            if not taken:
                layout.refuse(
                    f"{like.object} has no line that was quoted and worked, so there is none to take."
                )
                return
            work.lines = [*work.filled.values(), *taken]
            draft.open_anew(quote)


def _none_like(work: WorkQuoted, context: QuoteContext) -> str:
    if not context.finished:
        return "No work is finished yet, so there is none to compare it with."
    about = work.described
    if not (about.kind or about.support or about.techniques):
        return (
            "Say what it is, and finished works like it stand here, with what they took and what surprised."
        )
    return "No finished work is like it, in kind, support, size, condition and techniques."
