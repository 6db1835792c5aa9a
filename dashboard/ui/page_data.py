"""Data of the pages: the store, the day, the device, and frames cached until the next write."""

from __future__ import annotations

from datetime import date
from urllib.parse import urlencode
from uuid import uuid4
from weakref import WeakKeyDictionary

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.server import state as server_state
from dashboard.text.html_blocks import Cell, Link
from ingest.devices import DEVICE_HEADER, LOCAL_DEVICE, Device, Role
from ingest.errors import BenchHoursError
from ingest.safekeeping import integrity
from ingest.safekeeping.integrity import Fault
from ingest.store import Store
from ingest.studio.settings import Settings, read_settings, today_in
from ingest.studio.vocabulary import Vocabulary, read_vocabulary
from ingest.tables.audit_log import Change, utc_now
from ingest.values.line_names import line_name

INVENTED = "invented"


def store() -> Store:
    """The studio's store, or the invented studio where the address asks for it."""
    return server_state.demo_store() if shows_invented() else server_state.store()


def shows_invented() -> bool:
    return bool(st.query_params.get("studio") == INVENTED)


def keep_studio() -> None:
    """Going from page to page drops the address: who looks at the invented studio stays there."""
    if shows_invented():
        st.session_state["studio"] = INVENTED
    elif st.session_state.get("studio") == INVENTED:
        st.query_params["studio"] = INVENTED


def look_at_invented(yes: bool) -> None:
    """Go over to the invented studio, or come back from it."""
    st.query_params.clear()
    st.session_state.clear()
    if yes:
        st.query_params["studio"] = INVENTED


def studio_query() -> dict[str, str]:
    """The part of an address that names the studio we are looking at."""
    return {"studio": INVENTED} if shows_invented() else {}


def today() -> date:
    """The present day of the studio's calendar."""
    return today_in(settings().zone)


def settings() -> Settings:
    """Settings of the studio."""
    return _settings_and_words()[0]


def vocabulary() -> Vocabulary:
    """The studio's words as they are now; to look at only."""
    return _settings_and_words()[1]


_read_last: WeakKeyDictionary[Store, tuple[int, tuple[Settings, Vocabulary]]] = WeakKeyDictionary()
"""What each store was last asked for, and after how many writes."""


def _settings_and_words() -> tuple[Settings, Vocabulary]:
    """Read anew only after a write: a page asks twenty times while it is drawn."""
    opened = store()
    writes, known = opened.writes, _read_last.get(opened)
    if known is None or known[0] != writes:
        con = opened.cursor()
        known = _read_last[opened] = (writes, (read_settings(con), read_vocabulary(con)))
    return known[1]


def device() -> Device | None:
    """The device on which the page is seen, as the guard of the server says; None: whoever sits at this
    machine, where nobody else comes in.
    """
    name = st.context.headers.get(DEVICE_HEADER, "")
    if name == LOCAL_DEVICE:
        return None
    opened = server_state.running_server()
    paired = opened.access.devices.of_name(name) if opened else None
    if paired is None or not paired.is_admitted(utc_now()):
        raise BenchHoursError(
            "this device may not come in any more", "Load the page again: it says what to do."
        )
    return paired


def role() -> Role:
    """The role of the device; whoever sits at this machine is the principal."""
    paired = device()
    return paired.role if paired else "principal"


def is_principal() -> bool:
    return role() == "principal"


def change(reason: str) -> Change:
    """A change made on a page, by the person of the device."""
    paired = device()
    if paired and paired.role != "principal":
        raise BenchHoursError("this device is for looking only", "Change it on a device of the principal.")
    return Change(by=(paired and paired.person) or "principal", reason=reason)


def holdings() -> dict[str, int]:
    """See `dashboard.queries.holdings`."""
    return queries.holdings(store().cursor())


def faults() -> list[Fault]:
    """Faults of the record; looked for again only after a write."""
    opened = store()
    return _faults(str(opened.path), opened.changes())


def visit() -> str:
    """A name for this window's visit, stored with what it writes."""
    name: str = st.session_state.setdefault("visit", uuid4().hex)
    return name


def work_link(code: str) -> Link:
    """The way to one work's own page."""
    return Link(code, address("one-work", object=code))


def rate_link(phase: str, technique: str, words: str = "") -> Cell:
    """The way to the rate of a technique, or of a phase or work as a whole; in its own name or other
    words.
    """
    name = line_name(phase, technique)
    return Link(words or name, address("our-rates", technique=name))


def bench_link(code: str) -> Link:
    """The way to a work on the bench."""
    return Link(code, address("on-the-bench", object=code))


def address(page: str, **query: str) -> str:
    """The address of one of our pages, in the studio we are looking at."""
    query |= studio_query()
    return f"/{page}?{urlencode(query)}" if query else f"/{page}"


def overruns(as_of: date) -> pd.DataFrame:
    """See `dashboard.queries.overruns`; read anew only after a write."""
    opened = store()
    return _overruns(str(opened.path), opened.changes(), as_of)


def anything_on_the_bench() -> bool:
    """See `dashboard.queries.anything_on_the_bench`."""
    opened = store()
    return _on_the_bench(str(opened.path), opened.changes(), today())


def titles(frame: pd.DataFrame) -> dict[str, str]:
    """The title of each work of a frame of works, by its code; empty where it has none."""
    return dict(zip(frame["object"], frame["title"].fillna(""), strict=True)) if len(frame) else {}


def works(as_of: date) -> pd.DataFrame:
    """See `dashboard.queries.works`; read anew only after a write."""
    opened = store()
    return _works(str(opened.path), opened.changes(), as_of)


# path and changes are the key; Streamlit would leave a name with an underscore in front out of it
@st.cache_data(max_entries=8, show_spinner="Adding up the hours …")
def _overruns(path: str, changes: int, as_of: date) -> pd.DataFrame:
    return queries.overruns(store().cursor(), as_of)


@st.cache_data(max_entries=2, show_spinner="Looking whether the record holds together …", ttl="1h")
def _faults(path: str, changes: int) -> list[Fault]:
    with store().reading() as con:
        return integrity.faults(con)


@st.cache_data(max_entries=8, show_spinner=False)
def _on_the_bench(path: str, changes: int, as_of: date) -> bool:
    return queries.anything_on_the_bench(store().cursor(), as_of)


@st.cache_data(max_entries=8, show_spinner=False)
def _works(path: str, changes: int, as_of: date) -> pd.DataFrame:
    return queries.works(store().cursor(), as_of)
