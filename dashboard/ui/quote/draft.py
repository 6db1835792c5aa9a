"""The quote being written: its fields, and how each change of it is kept."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.formatting import day, plain
from dashboard.ui import fields, layout, line_sheet, page_data
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote


def when(utc: datetime | None) -> str:
    if utc is None:
        return ""
    there = utc.replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(page_data.settings().zone))
    return f"{day(there.date())}, {there:%H:%M}"


def changed_elsewhere(quote: Quote, turn: int) -> bool:
    """True, with a warning and a way on, if another window changed the quote since."""
    fresh = f"{name_of(quote)} shown {turn}" not in st.session_state
    st.session_state[f"{name_of(quote)} shown {turn}"] = True
    if not fields.changed_elsewhere(name_of(quote), quote.kept_at, quote.kept_by, fresh=fresh):
        return False
    st.warning(
        "This quote was changed from another window. What you type here is not kept until you take it up"
        " again."
    )
    if st.button("Show it as it is now, and go on here"):
        open_anew(quote)
    return True


def warn(sentences: Sequence[str]) -> None:
    for sentence in sentences:
        st.warning(plain(sentence))


def name_of(quote: Quote) -> str:
    return f"quote {quote.number}"


def keep(quote: Quote, before: str) -> None:
    """Keep what was changed; nothing is shown that is not kept."""
    if json.dumps(quote.to_json(), sort_keys=True) != before:
        quote_drafts.keep(page_data.store(), quote, page_data.visit())
        st.session_state[f"kept {name_of(quote)}"] = quote.kept_at
    layout.say(f"Kept on {when(quote.kept_at)}.")


def open_anew(quote: Quote) -> None:
    """Keep it, and show every field anew from what is kept."""
    quote_drafts.keep(page_data.store(), quote, page_data.visit())
    turn = st.session_state.get(f"turn of {name_of(quote)}", 0) + 1
    st.session_state.setdefault(
        f"shown in {name_of(quote)}", st.session_state.get(f"{name_of(quote)} which") or 0
    )
    line_sheet.forget(name_of(quote))
    st.session_state[f"turn of {name_of(quote)}"] = turn
    st.session_state[f"kept {name_of(quote)}"] = quote.kept_at
    st.rerun()


def put(into: dict[str, str], name: str, text: str) -> None:
    """Set a value, or remove it where the text is empty."""
    into.pop(name, None)
    if text:
        into[name] = text


def line_field(
    values: dict[str, str],
    name: str,
    label: str,
    key: str,
    placeholder: str,
    width: int | Literal["stretch"] = "stretch",
    explained: str | None = None,
) -> None:
    put(
        values,
        name,
        st.text_input(
            label, values.get(name, ""), key=key, placeholder=placeholder, width=width, help=explained
        ).strip(),
    )


def text_field(
    values: dict[str, str], name: str, label: str, key: str, turn: int, usual: str, *, rows: int
) -> None:
    put(
        values,
        name,
        st.text_area(
            label, values.get(name, ""), key=f"{key} {name} {turn}", placeholder=usual, height=rows
        ).strip(),
    )
