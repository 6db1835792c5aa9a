"""What every page has in common: its head, its sentences, and errors in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

import streamlit as st

from dashboard import held, tables
from dashboard.words import plain
from ingest.errors import BenchHoursError

Way = tuple[str, str, dict[str, str]]
"""Where to go next: the script of a page, the words of the link, what its address carries."""


def show(title: str, body: Callable[[], None]) -> None:
    """A page: its title, where the invented studio is looked at a word of that, what was done just now, and the body.

    An error of ours is said in words, and what was typed stays where it is.
    """
    st.title(title)
    if held.shows_invented():
        st.info("This is an invented studio, to look around in and to try things on. Nothing here is yours, and nothing of yours is here.")
        if st.button("Back to my studio"):
            held.look_at_invented(False)
            st.switch_page("pages/where_the_hours_went.py")
    if told := st.session_state.pop("done", None):
        with st.container(key="done"):  # stays in sight on a page that is scrolled down
            sentence, ways = told
            st.success(plain(sentence))
            if ways:
                with st.container(horizontal=True):
                    for page, label, query in ways:
                        st.page_link(page, label=label, query_params={**query, **held.same_studio()})
    try:
        body()
    except BenchHoursError as error:
        refuse(str(error))


def done(sentence: str, *ways: Way) -> None:
    """Say what was done, at the head of the page as it is after it, and the ways that lead on from there."""
    st.session_state["done"] = (sentence, ways)
    st.rerun()


def refuse(sentence: str) -> None:
    """Say what could not be done, why, and the mend."""
    st.error(plain(sentence))


def say(sentences: Sequence[str]) -> None:
    """Sentences beside the figures; none is no error."""
    if sentences:  # Streamlit refuses to place nothing
        st.html(tables.beside(sentences))


def list_out(sentences: Sequence[str]) -> None:
    """Sentences that each want to be read for themselves."""
    st.html(f"<ul>{''.join(f'<li>{escape(sentence)}</li>' for sentence in sentences)}</ul>")


def invite_to_invented() -> None:
    """For a studio with nothing in it yet: another one to look at first."""
    if not held.shows_invented() and st.button("Look at an invented studio first"):
        held.look_at_invented(True)
        st.switch_page("pages/where_the_hours_went.py", query_params={"studio": held.INVENTED})
