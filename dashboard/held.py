"""What a page stands on: the store, the day, and frames kept until the next write."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from typing import TypeVar, cast
from urllib.parse import urlencode
from uuid import uuid4

import pandas as pd
import streamlit as st

from dashboard import background, calibrating, forecasting, planning, promising, quoting, reading, scoring, serving, yearly
from dashboard.analysis.backtest import Retried
from dashboard.analysis.calibration import Calibration
from dashboard.analysis.experience import Experience
from dashboard.forecasting import Bench, Ended
from dashboard.letter.content import Ready
from dashboard.planning import Plan
from dashboard.remembered import Memory
from dashboard.scoring import Scored, Taught
from dashboard.tables import Link
from ingest import integrity, quotes
from ingest.devices import HERE, TOLD, Device, Role
from ingest.errors import BenchHoursError
from ingest.history import Change, utc_now
from ingest.integrity import Fault
from ingest.quotes import Quote
from ingest.settings import Settings, read_settings
from ingest.store import Store

_T = TypeVar("_T")
INVENTED = "invented"
_PATIENCE_S = 600
_AT_ONCE_S = 1.5  # a page that is drawn anew keeps what it shows for so long


def store() -> Store:
    """The studio's store, or the invented studio where the address asks for it."""
    return serving.invented_store() if shows_invented() else serving.store()


def shows_invented() -> bool:
    return bool(st.query_params.get("studio") == INVENTED)


def stay_where_we_are() -> None:
    """Going from page to page leaves the address behind: who looks at the invented studio stays there."""
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


def same_studio() -> dict[str, str]:
    """What an address carries so that the next page is of the studio we are looking at."""
    return {"studio": INVENTED} if shows_invented() else {}


def today() -> date:
    """The present day of the studio's calendar."""
    return reading.today(store().cursor())


def settings() -> Settings:
    """What the studio has said of itself."""
    return read_settings(store().cursor())


def device() -> Device | None:
    """The device on which the page is seen, as the guard of the server says; None: whoever sits at this machine, where nobody else comes in."""
    told = st.context.headers.get(TOLD, "")
    if told == HERE:
        return None
    opened = serving.opened()
    known = opened.door.devices.of_name(told) if opened else None
    if known is None or not known.may_come_in(utc_now()):
        raise BenchHoursError("this device may not come in any more", "Load the page again: it says what to do.")
    return known


def role() -> Role:
    """What the one who looks may do; whoever sits at this machine is the principal."""
    found = device()
    return found.role if found else "principal"


def is_principal() -> bool:
    return role() == "principal"


def change(reason: str) -> Change:
    """A change made on a page, by the person of the device."""
    found = device()
    if found and found.role != "principal":
        raise BenchHoursError("this device is for looking only", "Change it on a device of the principal.")
    return Change(by=(found and found.person) or "principal", reason=reason)


def holdings() -> dict[str, int]:
    """How much is held; see `dashboard.reading.holdings`."""
    return reading.holdings(store().cursor())


def faults() -> list[Fault]:
    """What in the record does not hold together; looked at anew only after a write."""
    opened = store()
    return _faults(str(opened.path), opened.changes())


def visit() -> str:
    """A name for this window's visit, by which what is kept knows who wrote it last."""
    name: str = st.session_state.setdefault("visit", uuid4().hex)
    return name


def work_link(code: str) -> Link:
    """The way to one work's own page."""
    return Link(code, address("one-work", object=code))


def address(page: str, **query: str) -> str:
    """The address of one of our pages, in the studio we are looking at."""
    query |= same_studio()
    return f"/{page}?{urlencode(query)}" if query else f"/{page}"


def overruns(as_of: date) -> pd.DataFrame:
    """See `dashboard.reading.overruns`; read anew only after a write."""
    opened = store()
    return _overruns(str(opened.path), opened.changes(), as_of)


@dataclass(frozen=True, kw_only=True)
class Rates:
    """The record of a day, calibrated: the table of rates, how much stands behind it, and what can be asked of it."""

    calibration: Calibration
    table: pd.DataFrame
    lines: int
    works: int

    def past_lines(self, technique: str) -> pd.DataFrame:
        return calibrating.past_lines(self.calibration, technique)

    @property
    def drift(self) -> tuple[float, float, float]:
        """Change of hours with each year, as a share, and its range."""
        return calibrating.drift(self.calibration)

    @cached_property
    def experience(self) -> list[tuple[str, Experience]]:
        return yearly.with_experience(self.calibration)

    @property
    def people(self) -> pd.DataFrame:
        return calibrating.paces_of_people(self.calibration)


def _awaited(task: background.Task[_T], words: str, at_once_s: float = 0.3) -> _T:
    """What a task gives; where it is not there at once, `words` say meanwhile what is waited for."""
    if not task.wait(at_once_s):
        with st.spinner(words):
            task.wait(_PATIENCE_S)
    return task.result()


def rates(as_of: date) -> Rates:
    """See `dashboard.calibrating`; fitted anew only after a write, outside the run of the page."""
    opened = store()
    task = background.begun(("rates", str(opened.path), opened.changes(), as_of), lambda _: _rates(opened, as_of))
    return _awaited(task, "Calibrating …")


def _rates(opened: Store, as_of: date) -> Rates:
    con = opened.cursor()
    known = calibrating.calibrated(con, as_of)
    finished = known.joint.lines.take(~known.joint.lines.is_open)
    return Rates(calibration=known, table=calibrating.rate_table(con, as_of, known), lines=len(finished), works=len(set(finished.object)))


def quoting_known(as_of: date, without_open: tuple[str, ...] = ()) -> quoting.Known:
    """What quotes of a day stand on; gathered anew only after a write, outside the run of the page. See `dashboard.quoting.known`."""
    opened = store()
    calibrated = None if without_open else rates(as_of).calibration
    task = background.begun(
        ("quoting", str(opened.path), opened.changes(), as_of, without_open),
        lambda _: quoting.known(opened.cursor(), as_of, calibrated, without_open, _memory(str(opened.path))),
    )
    return _awaited(task, "Looking through the finished works …")


def quoting_of(quote: Quote) -> quoting.Known:
    """What a quote stands on today."""
    return quoting_known(today(), quoting.on_the_bench(overruns(today()), quote))


def quoted(quote: Quote, called: Mapping[str, str]) -> quoting.Quoted:
    """What a quote promises today; reckoned anew only where something of it, or of the record, was changed."""
    opened, on = store(), today()
    said = quote.said() | {"letter": {"form": quote.letter.get("form", "")}}  # no figure rests on the words of the letter, but on whether it is one of change
    return _quoted(str(opened.path), opened.changes(), on, json.dumps(said, sort_keys=True), json.dumps(dict(called)))


def scored(as_of: date) -> Scored:
    """Promises held against what works took; see `dashboard.scoring`. Reckoned anew only after a write."""
    opened = store()
    task = background.begun(("scored", str(opened.path), opened.changes(), as_of), lambda _: scoring.scored(opened.cursor(), as_of))
    return _awaited(task, "Holding promises against what works took …")


def taught(code: str, on: date) -> Taught:
    """What a finished work taught on a day; see `dashboard.scoring`."""
    opened = store()
    task = background.begun(("taught", str(opened.path), opened.changes(), code, on), lambda _: scoring.taught(opened.cursor(), code, on))
    return _awaited(task, "Calibrating without it and with it …")


def ready_later(quote: Quote, found: quoting.Quoted) -> Callable[[], Ready | None]:
    """When the works of a quote would be ready behind those on the bench: a function that may be called outside the run of a page, by a download, and then waits for the plan. None: that cannot be told."""
    opened, on = store(), today()
    said = json.dumps({name: value for name, value in quote.said().items() if name != "letter"}, sort_keys=True)
    wanted = promising.counts_the_bench(found, quote)

    def ready() -> Ready | None:
        if not wanted:
            return None
        try:
            ends = _bench_begun(opened, on).result()
            known = _plan_begun(opened, on, ends).result()
            return background.begun(("ready", str(opened.path), opened.changes(), on, said), lambda _: promising.ready_of(found, known)).result()
        except BenchHoursError:  # a plan that cannot be made keeps no letter back
            return None

    return ready


def bench() -> Bench:
    """Where the works on the bench will end, today, as soon as that is reckoned; see `bench_begun`."""
    return awaited_bench(bench_begun())


def awaited_bench(task: background.Task[Bench]) -> Bench:
    """The bench, as soon as it is reckoned: what a page shows stays meanwhile."""
    return _awaited(task, "Looking ahead …", _AT_ONCE_S)


def bench_begun() -> background.Task[Bench]:
    """Where the works on the bench will end, today; see `dashboard.forecasting`, and `ended_so_far`. Reckoned anew, only where something bears on it, after a write."""
    opened, on = store(), today()
    path, changes = str(opened.path), opened.changes()
    background.give_up(
        lambda key: isinstance(key, tuple) and key[:2] in (("bench history", path), ("bench since", path)) and key[2] != changes
    )  # it would keep this waiting
    return _bench_begun(opened, on)


def _bench_begun(opened: Store, on: date) -> background.Task[Bench]:
    def look_ahead(progress: background.Progress) -> Bench:
        ended: dict[str, Ended] = {}
        return forecasting.bench(
            opened.cursor(), on, _memory(str(opened.path)), progress_of=lambda done, of: progress(done, of, dict(ended)), ended_of=ended.__setitem__
        )

    return background.begun(("bench", str(opened.path), opened.changes(), on), look_ahead)


def ended_so_far(task: background.Task[Bench]) -> Mapping[str, Ended]:
    """Where works end, by object, of those of which it is known already."""
    return cast("dict[str, Ended] | None", task.so_far) or {}


def bench_so_far(on: date) -> pd.DataFrame:
    """What is known of the works on the bench before anything is foretold; see `dashboard.forecasting.so_far`. Read anew only after a write."""
    opened = store()
    return _bench_so_far(str(opened.path), opened.changes(), on)


def bench_history(code: str) -> background.Task[pd.DataFrame]:
    """What would have been told of a work from day to day, in the background; see `dashboard.forecasting.history`."""
    opened, on = store(), today()
    return background.begun(
        ("bench history", str(opened.path), opened.changes(), on, code),
        lambda progress: forecasting.history(opened.cursor(), on, code, _memory(str(opened.path)), progress),
        patient=True,
    )


def bench_since(code: str, chance: float) -> background.Task[date | None]:
    """Since when a work is foretold to end above what was approved, in the background; see `dashboard.forecasting.since`."""
    opened, on = store(), today()
    return background.begun(
        ("bench since", str(opened.path), opened.changes(), on, code),
        lambda progress: forecasting.since(opened.cursor(), on, code, _memory(str(opened.path)), chance, progress),
        patient=True,
    )


@cache
def _memory(path: str) -> Memory:
    """One for each database."""
    return Memory()


def plan() -> Plan:
    """When the works on the bench leave, as told today; see `dashboard.planning`. Reckoned anew only after a write."""
    opened, on, ends = store(), today(), bench()
    task = _plan_begun(opened, on, ends)
    return _awaited(task, "Looking when each work is ready …", _AT_ONCE_S)


def _plan_begun(opened: Store, on: date, ends: Bench) -> background.Task[Plan]:
    return background.begun(("plan", str(opened.path), opened.changes(), on), lambda _: planning.plan(opened.cursor(), on, _memory(str(opened.path)), ends))


def one_more(hours: float, waiting_days: float, *, first: bool) -> tuple[date, date, date, date]:
    """When a work more would be ready; see `dashboard.planning.with_one_more`."""
    opened, known = store(), plan()
    task = background.begun(
        ("one more", str(opened.path), opened.changes(), today(), hours, waiting_days, first),
        lambda _: planning.with_one_more(known, hours, waiting_days, first=first),
    )
    return _awaited(task, "Taking it in …", _AT_ONCE_S)


def anything_on_the_bench() -> bool:
    """See `dashboard.reading.anything_on_the_bench`."""
    opened = store()
    return _on_the_bench(str(opened.path), opened.changes(), today())


def promises(as_of: date) -> background.Task[Retried]:
    """Past promises tried again, in the background; begun anew only after a write."""
    opened = store()
    return background.begun(_promises_key(opened, as_of), lambda progress: calibrating.retried(opened.cursor(), as_of, progress))


def promises_begun(as_of: date) -> bool:
    """They are tried, or were, on the record as it is now."""
    return background.known(_promises_key(store(), as_of))


def _promises_key(opened: Store, as_of: date) -> tuple[object, ...]:
    return ("promises", str(opened.path), opened.changes(), as_of)


def works(as_of: date) -> pd.DataFrame:
    """See `dashboard.reading.works`; read anew only after a write."""
    opened = store()
    return _works(str(opened.path), opened.changes(), as_of)


# Kept as it is, not copied: its draws are large, and nobody changes them.
@st.cache_resource(max_entries=12, show_spinner=False)
def _quoted(path: str, changes: int, on: date, said: str, called: str) -> quoting.Quoted:
    quote = quotes.of_said(json.loads(said))
    opened, words = store(), json.loads(called)
    reads = [quotes.read_over(opened, work, on, words) for work in quote.works]
    return quoting.quoted(quoting_of(quote), quote, reads, settings())


# path and changes are the key; Streamlit would leave a name with an underscore in front out of it
@st.cache_data(max_entries=8, show_spinner="Adding up the hours …")
def _overruns(path: str, changes: int, as_of: date) -> pd.DataFrame:
    return reading.overruns(store().cursor(), as_of)


@st.cache_data(max_entries=2, show_spinner="Looking whether the record holds together …", ttl="1h")
def _faults(path: str, changes: int) -> list[Fault]:
    with store().reading() as con:
        return integrity.faults(con)


@st.cache_data(max_entries=8, show_spinner=False)
def _on_the_bench(path: str, changes: int, as_of: date) -> bool:
    return reading.anything_on_the_bench(store().cursor(), as_of)


@st.cache_data(max_entries=8, show_spinner=False)
def _bench_so_far(path: str, changes: int, as_of: date) -> pd.DataFrame:
    return forecasting.so_far(store().cursor(), as_of)


@st.cache_data(max_entries=8, show_spinner=False)
def _works(path: str, changes: int, as_of: date) -> pd.DataFrame:
    return reading.works(store().cursor(), as_of)
