"""What every page has in common: its head, its sentences, and errors in words."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import streamlit as st

from dashboard import held, markup, prices, reading, tables
from dashboard.keeping import overdue
from dashboard.words import counted, day, plain
from ingest.errors import BenchHoursError
from ingest.phone import bench

Way = tuple[str, str, dict[str, str]]
"""Where to go next: the script of a page, the words of the link, what its address carries."""

_SEEN_S = 2.0


@dataclass(slots=True)
class _Done:
    """What was done, the ways on from there, and when a page first said so (seconds of the monotonic clock)."""

    sentence: str
    ways: Sequence[Way]
    first_seen: float | None = None


def show(title: str, body: Callable[[], None]) -> None:
    """A page: its title, where the invented studio is looked at a word of that, what was done just now, and the body.

    An error of ours is said in words, and what was typed stays where it is.
    """
    if st.session_state.get("whole") != title:
        st.session_state.pop("whole", None)
    st.title(title)
    if held.shows_invented():
        st.info("This is an invented studio, to look around in and to try things on. Nothing here is yours, and nothing of yours is here.")
        if st.button("Back to my studio"):
            held.look_at_invented(False)
            st.switch_page("pages/where_the_hours_went.py")
    place = st.empty()  # always there: what comes and goes at the head of a page would draw all below it anew, and take a press that is just being made
    if told := _just_done():
        with place.container(key="done"):  # stays in sight on a page that is scrolled down
            st.success(plain(told.sentence))
            if told.ways:
                with st.container(horizontal=True):
                    for page, label, query in told.ways:
                        st.page_link(page, label=label, query_params={**query, **held.same_studio()})
    try:
        body()
    except BenchHoursError as error:
        refuse(str(error))


def is_drawn_anew(title: str) -> bool:
    """The page stands in this window with all that it has: it need not show less until all is there again."""
    return bool(st.session_state.get("whole") == title)


def is_whole(title: str) -> None:
    """All that the page has is drawn; see `is_drawn_anew`."""
    st.session_state["whole"] = title


def done(sentence: str, *ways: Way) -> None:
    """Say what was done, at the head of the page as it is after it, and the ways that lead on from there."""
    st.session_state["done"] = _Done(sentence, ways)
    st.rerun()


def _just_done() -> _Done | None:
    """What was done; a page that is drawn again at once, by a late field, says it once more, or nobody would have read it."""
    told: _Done | None = st.session_state.get("done")
    now = time.monotonic()
    if told and now - (told.first_seen or now) > _SEEN_S:
        del st.session_state["done"]
        return None
    if told:
        told.first_seen = told.first_seen or now
    return told


def refuse(sentence: str) -> None:
    """Say what could not be done, why, and the mend."""
    st.error(plain(sentence))


def say(sentences: Sequence[str]) -> None:
    """Sentences beside the figures; empty ones, and none at all, are no error."""
    if told := [sentence for sentence in sentences if sentence]:  # Streamlit refuses to place nothing
        st.html(tables.beside(told))


def link_away(label: str, address: str) -> None:
    """The way to what is no page of these: the form to log hours, the door. They are the studio's own: the invented one has nobody at the bench."""
    if not held.shows_invented():
        st.html(markup.piece("link_away", label, address))


def sure(asked: str, what: str) -> bool:
    """Throw something away: one press asks, the next means it.

    Parameters
    ----------
    asked : under which name the session knows that it was asked. what : words of the first button, like "Throw the draft away".
    """
    if not st.session_state.get(asked):
        if st.button(what):
            st.session_state[asked] = True
            st.rerun()
        return False
    with st.container(horizontal=True):
        if st.button("Yes, throw it away"):
            return True
        if st.button("No, keep it"):
            del st.session_state[asked]
            st.rerun()
    return False


def meant(asked: str, pressed: bool, doubts: Callable[[], Sequence[str]], keep: str) -> bool:
    """Whether what was pressed is to be done: at once where nothing is doubtful; else the doubts are said, and one more press means it.

    Parameters
    ----------
    asked : under which name the session knows what it asked about. doubts : sentences, reckoned where they are needed. keep : words of the second button, like "Save it all the same".
    """
    if not pressed and asked not in st.session_state:
        return False
    told = " ".join(doubts())
    if pressed and told:
        st.session_state[asked] = told
    if not told or st.session_state.get(asked) != told:  # nothing to ask, or what was asked about is mended
        st.session_state.pop(asked, None)
        return pressed and not told
    st.warning(plain(f"Not saved yet: {told} Mend it, or say that it is meant so."))
    if st.button(keep, key=f"{asked} meant"):
        del st.session_state[asked]
        return True
    return False


def list_out(sentences: Sequence[str]) -> None:
    """Sentences that each want to be read for themselves."""
    st.html(markup.piece("points", sentences))


def invite_to_invented() -> None:
    """For a studio with nothing in it yet: another one to look at first."""
    if not held.shows_invented() and st.button("Look at an invented studio first"):
        held.look_at_invented(True)
        st.switch_page("pages/where_the_hours_went.py", query_params={"studio": held.INVENTED})


def ask_about_tax(number: int) -> None:
    """Prices wait for a word whether tax is in them; nothing where none do."""
    if number:
        st.warning(plain(prices.ask(number, held.settings())))
        st.page_link("pages/studio.py", label="Say it, for all of them", query_params={"part": "quotes", **held.same_studio()})


def as_of(on: date) -> None:
    """Of which studio and which day the figures are."""
    studio = held.settings().studio
    say([f"{f'{studio}, as' if studio else 'As'} of {day(on)}"])


def to_be_decided() -> None:
    """What waits for a word of the principal before it is in any figure."""
    con = held.store().cursor()
    held_back, refused = reading.holdings(con)["held_back"], len(bench.to_mend(con))
    if held_back:
        st.page_link("pages/bring_in_logs.py", label=f"{counted(held_back, 'row')} held back: correction or new? Decide here.")
    if refused:
        st.page_link("pages/bring_in_logs.py", label=f"{counted(refused, 'entry', 'entries')} from the form to log hours refused: see why.")


def remember_backup() -> None:
    """Said under the figures, where there is something to lose and no late copy of it."""
    if held.is_principal() and not held.shows_invented() and (said := overdue(held.store().cursor(), held.today())):
        with st.container(horizontal=True):
            say([said])
            st.page_link("pages/safe_keeping.py", label="Safe keeping")
