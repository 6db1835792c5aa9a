"""Techniques that are usual and not on the sheet, and those that may turn up."""

from __future__ import annotations

import streamlit as st

from dashboard.analysis.data.levels import shown_technique
from dashboard.formatting import counted, hours, plain
from dashboard.services.quote import Option, WorkQuoted
from dashboard.services.quote_context import QuoteContext
from dashboard.text import quote as quote_text
from dashboard.ui import layout
from dashboard.ui.quote import draft
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.values.line_names import line_name, line_names

LEAST_CHANCE, MOST_SHOWN = 0.02, 8


def usually_done(quote: Quote, work: QuotedWork, quoted_work: WorkQuoted, item: Option) -> None:
    """Techniques that are nearly always done here and not on the sheet; one press adds one."""
    if not item.usual:
        return
    st.subheader("Nearly always done here, and not on this sheet")
    layout.list_out(quote_text.usual(item.usual))
    # of options, only the one that lacks it gets it
    elsewhere = {
        name for option in quoted_work.options for name in line_names(option.lines[["phase", "technique"]])
    }
    lines = {
        (name := shown_technique(usual.technique)): (
            {"technique": name} if name == usual.technique else {"phase": usual.phase}
        )
        | ({"option": item.name} if name in elsewhere else {})
        for usual in item.usual
    }
    names = list(lines)
    with st.container(horizontal=True, key="usual"):
        for name in names:
            if st.button(f"Add {name}", key=f"{draft.name_of(quote)} usual {item.name} {name}"):
                work.lines = [*work.filled.values(), lines[name]]
                draft.open_anew(quote)
        if len(names) > 1 and st.button("Add all of them", key=f"{draft.name_of(quote)} usual {item.name}"):
            work.lines = [*work.filled.values(), *lines.values()]
            draft.open_anew(quote)


def may_turn_up(
    quote: Quote, work: QuotedWork, quoted_work: WorkQuoted, option: Option, context: QuoteContext
) -> None:
    st.subheader("What may turn up")
    layout.say(
        quote_text.allowance(option, context, quoted_work.described),
        "A chance lies between what the works beside it say and what is usual in this studio: the"
        " nearer to them the more they are."
        if len(option.discoveries)
        else "",
    )
    _table(option)
    _left_out(quote, work, option, context)


def _table(option: Option) -> None:
    shown = option.discoveries[option.discoveries["chance"] >= LEAST_CHANCE].head(MOST_SHOWN)
    if shown.empty:
        return
    rows = [
        [
            line_name(row["phase"], row["technique"]) + (" on another part" if row["another"] else ""),
            quote_text.in_100(row["chance"]),
            hours(row["hours_if_found"]),
            hours(row["promised"]),
            f"{row['times']} of {row['of']} {quote_text.things_in_words(row['things'])}",
        ]
        for row in shown.to_dict("records")
    ]
    rest = len(option.discoveries) - len(shown)
    if rest:
        rows.append(
            [
                counted(rest, "other technique"),
                "each less",
                "",
                hours(float(option.discoveries["promised"].sum() - shown["promised"].sum())),
                "",
            ]
        )
    layout.table(
        "What may turn up",
        ["technique", "chance", "if so, h", "in the promise, h", "turned up unquoted on"],
        rows,
        words=(0, 4),
    )


def _left_out(quote: Quote, work: QuotedWork, option: Option, context: QuoteContext) -> None:
    """Techniques that the quote leaves out, and a form to leave out another."""
    for technique, reason in list(work.left_out.items()):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(plain(f"{technique} is left out: {reason}"))
            if st.button("Count it again", key=f"{draft.name_of(quote)} count {technique}"):
                del work.left_out[technique]
                draft.open_anew(quote)
    choices = [
        name
        for name in dict.fromkeys(
            [
                *line_names(option.discoveries[["phase", "technique"]]),
                *(shown_technique(usual.technique) for usual in option.usual),
            ]
        )
        if name not in context.left_out(work)
    ]
    if choices:
        with (
            st.expander("Leave one of them out"),
            st.form(f"{draft.name_of(quote)} leave out {len(work.left_out)}", border=False),
        ):
            technique = st.selectbox("Technique that will not turn up", choices)
            reason = st.text_input("Why", placeholder="the tacking edges were seen, and are whole")
            if st.form_submit_button("Leave it out"):
                if not reason.strip():
                    layout.refuse("Not left out: write why, it is kept with the quote.")
                else:
                    work.left_out[technique] = reason.strip()
                    draft.open_anew(quote)
