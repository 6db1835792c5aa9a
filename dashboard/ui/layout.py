"""Parts shared by all pages: head, sentences, tables, charts, links, downloads, errors in words."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import guide, queries
from dashboard.charts.style import Chart
from dashboard.documents import letter_docx
from dashboard.documents.csv_export import as_csv_text
from dashboard.formatting import counted, day, plain
from dashboard.queries import Row
from dashboard.text import html_blocks, templating
from dashboard.text import prices as prices_text
from dashboard.text.backup import overdue
from dashboard.ui import page_data
from ingest.errors import BenchHoursError
from ingest.phone import form_state
from ingest.safekeeping import backup

Way = tuple[str, str, dict[str, str]]
"""Where to go next: the script of a page, the words of the link, what its address carries."""

Cells = Mapping[str, str | Callable[[Row], html_blocks.Cell]]
"""Of a table of a frame the head of each column, and its cell of a row, or the column that has it."""

_SHOWN_S = 2.0
_MEDIA_TYPES = {
    "csv": "text/csv",
    "docx": letter_docx.KIND,
    "duckdb": "application/octet-stream",
    "html": "text/html",
    "ics": "text/calendar",
    "pdf": "application/pdf",
    "zip": "application/zip",
}


@dataclass(slots=True)
class _Done:
    """A message on what was done.

    Attributes
    ----------
    ways : links to where it goes on.
    first_shown_s : when a page first showed it, in seconds of the monotonic clock.
    """

    sentence: str
    ways: Sequence[Way]
    first_shown_s: float | None = None


def show(title: str, body: Callable[[], None]) -> None:
    """A page: its title, a note on the invented studio, the message on what was done, and the body. A
    BenchHoursError is shown in words; fields keep what was typed.
    """
    if st.session_state.get("whole") != title:
        st.session_state.pop("whole", None)
    st.title(title)
    if title in guide.CHAPTER_OF:
        with st.container(key="about"):
            st.page_link(
                "pages/guide.py",
                label="How this page is read",
                query_params={"chapter": guide.CHAPTER_OF[title], **page_data.studio_query()},
            )
    if page_data.shows_invented():
        st.info(
            "This is an invented studio, to look around in and to try things on. Nothing here is yours, and"
            " nothing of yours is here."
        )
        if st.button("Back to my studio"):
            page_data.look_at_invented(False)
            st.switch_page("pages/where_the_hours_went.py")
    # always there: what comes and goes at the head of a page would draw all below it anew, and take a press
    # that is just being made
    place = st.empty()
    if message := _just_done():
        with place.container(key="done"):  # stays in sight on a page that is scrolled down
            st.success(plain(message.sentence))
            if message.ways:
                with st.container(horizontal=True):
                    for page, label, query in message.ways:
                        link(page, label, **query)
    try:
        body()
    except BenchHoursError as error:
        refuse(str(error))


def is_redrawn(title: str) -> bool:
    """The page is complete in this window: it need not show less until all is there again."""
    return bool(st.session_state.get("whole") == title)


def mark_complete(title: str) -> None:
    """All that the page has is drawn; see `is_redrawn`."""
    st.session_state["whole"] = title


def done(sentence: str, *ways: Way) -> None:
    """Say what was done, at the head of the page as it is after it, and the ways that lead on from there."""
    st.session_state["done"] = _Done(sentence, ways)
    st.rerun()


def _just_done() -> _Done | None:
    """The message on what was done. A page that runs again at once, by a late field, shows it once more, or
    nobody would have read it.
    """
    message: _Done | None = st.session_state.get("done")
    clock_s = time.monotonic()
    if message and clock_s - (message.first_shown_s or clock_s) > _SHOWN_S:
        del st.session_state["done"]
        return None
    if message:
        message.first_shown_s = message.first_shown_s or clock_s
    return message


def refuse(sentence: str) -> None:
    """Say what could not be done, why, and the mend."""
    st.error(plain(sentence))


def say(*sentences: str) -> None:
    """Sentences beside the figures; empty ones, and none at all, are no error."""
    if shown := [sentence for sentence in sentences if sentence]:  # Streamlit refuses to place nothing
        st.html(html_blocks.beside(shown))


def section(title: str, *sentences: str) -> None:
    """The head of a part of the page, and what is said below it."""
    st.header(title)
    say(*sentences)


def figures(*items: tuple[str, str] | tuple[str, str, bool]) -> None:
    """A few figures under their words; a third item that is true: it is over."""
    st.html(html_blocks.figures([(item[0], item[1], item[2] if len(item) > 2 else False) for item in items]))


def table(
    name: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[html_blocks.Cell] | str],
    *,
    words: Collection[int] = (0,),
    foot: bool = False,
) -> None:
    """See `dashboard.text.html_blocks.ledger`."""
    st.html(html_blocks.ledger(name, heads, rows, words=words, foot=foot))


def table_of(name: str, frame: pd.DataFrame, columns: Cells, *, words: Collection[int] = (0,)) -> None:
    """A table of a frame, a row each."""
    rows = [
        [f"{row[cell]}" if isinstance(cell, str) else cell(row) for cell in columns.values()]
        for row in frame.to_dict("records")
    ]
    table(name, list(columns), rows, words=words)


def chart(content: Chart, alt: str, **more: Any) -> Any:
    """A chart at the width of the page; `alt` is its content in words, `more` goes to Streamlit."""
    return st.altair_chart(content, width="stretch", theme=None, alt=alt, **more)


def choosing_chart(content: Chart, alt: str, key: str) -> str | None:
    """A chart whose marks can be chosen (selection `chosen`); the work of the mark chosen just now."""
    chart(content, alt, key=key, on_select=partial(_mark_chosen, key), selection_mode="chosen")
    code: str | None = st.session_state.pop(f"chosen in {key}", None)
    return code


def _mark_chosen(key: str) -> None:
    if marks := st.session_state[key]["selection"].get("chosen", []):
        st.session_state[f"chosen in {key}"] = marks[0]["object"]


def download(label: str, content: str | bytes | Callable[[], str | bytes], file: str, **more: Any) -> None:
    """A file to download, made when the button is pressed where `content` is a function; the page stays."""
    mime = _MEDIA_TYPES[file.rpartition(".")[2]]
    st.download_button(label, content, file, mime, on_click="ignore", **more)


def download_frame(label: str, frame: pd.DataFrame, file: str) -> None:
    """A frame to download as CSV, its days without a time of day."""
    download(label, partial(_as_csv, frame), file)


def _as_csv(frame: pd.DataFrame) -> str:
    days = {
        column: frame[column].dt.strftime("%Y-%m-%d") for column in frame.select_dtypes("datetime").columns
    }
    return as_csv_text(frame.assign(**days))


def link(page: str, label: str, **query: str) -> None:
    """A link to a page of this studio, by the name of its script."""
    st.page_link(f"pages/{page}.py", label=label, query_params={**query, **page_data.studio_query()})


def go_to(page: str, **query: str) -> None:
    """Open another page of this studio."""
    st.switch_page(f"pages/{page}.py", query_params={**query, **page_data.studio_query()})


def show_at(**query: str) -> None:
    """Show the same page at another address of it: a link to the page one is on would leave the address as it
    is.
    """
    st.query_params.from_dict({**query, **page_data.studio_query()})
    st.rerun()


def link_away(label: str, address: str) -> None:
    """The way to what is no page of these: the form to log hours, the door. They are the studio's own: the
    invented one has nobody at the bench.
    """
    if not page_data.shows_invented():
        st.html(templating.piece("link_away", label, address))


def confirm_discard(text: str, what: str) -> bool:
    """Throw something away: one press asks, the next means it.

    Parameters
    ----------
    text : under which name the session knows that it was asked.
    what : words of the first button, like "Throw the draft away".
    """
    if not st.session_state.get(text):
        if st.button(what):
            st.session_state[text] = True
            st.rerun()
        return False
    with st.container(horizontal=True):
        if st.button("Yes, throw it away"):
            return True
        if st.button("No, keep it"):
            del st.session_state[text]
            st.rerun()
    return False


def confirm_doubts(key: str, pressed: bool, doubts: Callable[[], Sequence[str]], keep: str) -> bool:
    """True if what was pressed is to be done: at once without doubts, else after a second press.

    Parameters
    ----------
    key : under which name the session knows what it asked about.
    doubts : sentences, reckoned where they are needed.
    keep : words of the second button, like "Save it all the same".
    """
    if not pressed and key not in st.session_state:
        return False
    question = " ".join(doubts())
    if pressed and question:
        st.session_state[key] = question
    # nothing to ask, or what was asked about is mended
    if not question or st.session_state.get(key) != question:
        st.session_state.pop(key, None)
        return pressed and not question
    st.warning(plain(f"Not saved yet: {question} Mend it, or say that it is meant so."))
    if st.button(keep, key=f"{key} meant"):
        del st.session_state[key]
        return True
    return False


def list_out(sentences: Sequence[str]) -> None:
    """Sentences that each want to be read for themselves."""
    st.html(templating.piece("points", sentences))


def begin_at(label: str, page: str, **query: str) -> None:
    """For a page with nothing to show yet: a button to the page where one begins, and the invented studio."""
    with st.container(horizontal=True):
        if st.button(label, type="primary"):
            go_to(page, **query)
        invite_to_invented()


def invite_to_invented() -> None:
    """For a studio with nothing in it yet: another one to look at first."""
    if not page_data.shows_invented() and st.button("Look at an invented studio first"):
        page_data.look_at_invented(True)
        st.switch_page("pages/where_the_hours_went.py", query_params={"studio": page_data.INVENTED})


def ask_about_tax(number: int) -> None:
    """Prices wait for a word whether tax is in them; nothing where none do."""
    if number:
        st.warning(plain(prices_text.ask(number, page_data.settings())))
        link("studio", "Say it, for all of them", part="quotes")


def as_of(on: date) -> None:
    """Of which studio and which day the figures are."""
    studio = page_data.settings().studio
    say(f"{f'{studio}, as' if studio else 'As'} of {day(on)}")


def link_to_decisions() -> None:
    """Links to what the principal decides before it is in any figure."""
    con = page_data.store().cursor()
    held_back, refused = queries.holdings(con)["held_back"], len(form_state.to_mend(con))
    if held_back:
        st.page_link(
            "pages/bring_in_logs.py",
            label=f"{counted(held_back, 'row')} held back: correction or new? Decide here.",
        )
    if refused:
        st.page_link(
            "pages/bring_in_logs.py",
            label=f"{counted(refused, 'entry', 'entries')} from the form to log hours refused: see why.",
        )


def remind_of_backup() -> None:
    """Said under the figures, where there is something to lose and no late copy of it."""
    if (
        page_data.is_principal()
        and not page_data.shows_invented()
        and (sentence := overdue(backup.last(page_data.store().cursor()), page_data.today()))
    ):
        with st.container(horizontal=True):
            say(sentence)
            st.page_link("pages/safe_keeping.py", label="Safe keeping")
