"""Quote a work: from similar works, line by line, to a total with its chance, a price, and a letter."""

from __future__ import annotations

import json

import streamlit as st

from dashboard.formatting import plain
from dashboard.services import quote_continued
from dashboard.text import html_blocks
from dashboard.ui import layout, line_sheet, page_data, results
from dashboard.ui.quote import draft, save, similar_works, total, unforeseen
from dashboard.ui.quote import letter as letter_part
from dashboard.ui.quote import lines as lines_part
from dashboard.ui.quote import terms as terms_part
from dashboard.ui.quote import work as work_part
from ingest.editing import quote_drafts, saved_quotes
from ingest.editing.quote_drafts import Quote, QuotedWork


def body() -> None:
    number = st.query_params.get("quote", "")
    quote = (
        quote_drafts.read(page_data.store().cursor(), int(number))
        if number.isdecimal() and len(number) < 10
        else None
    )
    if quote is None:
        if number:
            _not_a_draft(number)
        _all()
    else:
        _quote(quote)


def _not_a_draft(number: str) -> None:
    """A quote that is not being written: it was saved, be it in another window, or thrown away."""
    versions = (
        saved_quotes.of_number(page_data.store().cursor(), int(number))
        if number.isdecimal() and len(number) < 10
        else []
    )
    if not versions:
        st.warning(
            plain(
                f"There is no quote {number} being written: it was thrown away, or never was. Those being"
                " written are below."
            )
        )
        return
    st.info(
        plain(
            f"Quote {number} was saved as"
            f" {' and '.join(f'version {version} of {code}' for code, version in versions)}, so it is not"
            " written on any more. What it says, and its letter, stand under Estimate."
        )
    )
    for code, _ in versions:
        layout.link("estimate", f"Estimate of {code}", object=code)


def _all() -> None:
    being_written = quote_drafts.read_all(page_data.store().cursor())
    works = page_data.works(page_data.today())
    st.write(
        "What will it take, how sure is that, and what to charge: told from your own finished works. Begin"
        " with a work, or describe one that is not here yet."
    )
    codes = [work_part.ANOTHER, *works["object"].tolist()] if len(works) else [work_part.ANOTHER]
    titles = page_data.titles(works)
    wanted = st.query_params.get("object", work_part.ANOTHER)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        code = st.selectbox(
            "What to quote",
            codes,
            index=codes.index(wanted) if wanted in codes else 0,
            format_func=lambda item: f"{item}  {titles[item]}".strip() if item else work_part.NOT_HERE,
            key="to quote",
        )
        if st.button("Begin a quote", type="primary"):
            fresh = (
                quote_continued.continued_quote(page_data.store().cursor(), code, page_data.today())
                if code
                else Quote(works=[QuotedWork()])
            )
            quote = quote_drafts.keep(page_data.store(), fresh, page_data.visit())
            layout.show_at(quote=f"{quote.number}")
    if works.empty:
        layout.say(
            "No work is here yet, so what is said of a quote is what is believed of any studio, and far"
            " from sure. It gets better with each finished work."
        )
        layout.invite_to_invented()
    if being_written:
        st.header("Being written")
        rows: list[list[html_blocks.Cell]] = [
            [
                html_blocks.Link(f"{item.number}", page_data.address("quote-a-work", quote=f"{item.number}")),
                ", ".join(work.display_name for work in item.works),
                f"{sum(len(work.filled) for work in item.works)}",
                draft.when(item.kept_at),
            ]
            for item in being_written
        ]
        layout.table("Quotes being written", ["quote", "of", "lines", "kept"], rows, words=(0, 1, 3))


def _quote(quote: Quote) -> None:
    turn = st.session_state.setdefault(f"turn of {draft.name_of(quote)}", 0)
    if draft.changed_elsewhere(quote, turn):
        return
    before = json.dumps(quote.to_json(), sort_keys=True)
    if st.button("Back to all quotes"):
        layout.show_at()
    at = work_part.choose_work(quote)
    work = quote.works[at]
    key = f"{draft.name_of(quote)} {at}"
    head = st.empty()  # says what the work is called once its fields are read
    work_part.show_fields(work, key, turn)
    about = st.container()
    head.header(plain(f"Quote {quote.number}: {work.display_name}"))
    context = results.context_of_quote(quote)
    likes = st.container()  # filled once the lines are read that are on the sheet now
    st.subheader("Its lines")
    layout.say(
        "A technique in each line is enough: what it takes here comes from the record. A phase alone is a"
        " line too, and so are hours alone, of the whole work. What is counted by area is filled in where its"
        " own lines were measured before. Own hours move a line as far as your figures were worth it before,"
        " and the other lines of the work with it, as far as one figure told of the whole work before. Low"
        " and high count where the record knows little. Options stand side by side, lines without one belong"
        ' to all. What stands under "in the letter" is how the owner reads that line. Every cell is kept as'
        " soon as you leave it."
    )
    work.lines = line_sheet.edit(f"{key} lines", work.lines, work_part.SHEET, turn, "The lines of the quote")
    added = line_sheet.line_by_choosing(f"adding {key}", f"{key} add {turn}", hours_or_quantity=False)
    if added:
        work.lines = [*work.filled.values(), added]
        draft.open_anew(quote)
    with st.expander("Outside costs and materials (framer, X-ray, transport)", expanded=bool(work.costs)):
        work.costs = line_sheet.edit(
            f"{key} costs", work.costs, work_part.COSTS, turn, "Outside costs and materials"
        )
    comes_to = st.container()
    st.subheader("Price")
    terms_part.show(quote, turn, context)
    of_terms = st.container()
    draft.keep(quote, before)
    quoted = results.quoted(quote, work_part.LABELS)
    quoted_work = quoted.works[at]
    with about:
        draft.warn(quoted_work.read.about)
    with of_terms:
        draft.warn([*quoted.terms.faults, *quoted.terms.doubts])
    with likes:
        similar_works.show(quote, at, quoted_work, context)
    with comes_to:
        option = total.show(quote, quoted_work, quoted, context)
    if option:
        lines_part.show(quoted_work)
        unforeseen.usually_done(quote, work, quoted_work, option)
        unforeseen.may_turn_up(quote, work, quoted_work, option, context)
    letter_part.show(quote, quoted, turn)
    save.show(quote, quoted, context)
    work_part.show_works(quote, quoted)


layout.show("Quote a work", body)
