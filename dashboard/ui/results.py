"""Results computed from the record, each once until the next write, outside the run of a page."""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from typing import TypeVar, cast

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.learning_curve import LearningCurve
from dashboard.analysis.simulation.narrowing import Narrowing
from dashboard.analysis.validation.backtest import BacktestResult
from dashboard.services import forecast as forecast_service
from dashboard.services import (
    forecast_history,
    forecast_works,
    jobs,
    plan_new_work,
    quote_build,
    quote_context,
    quote_narrowing,
    quote_ready,
)
from dashboard.services import plan as plan_service
from dashboard.services import promises as promises_service
from dashboard.services import quote as quote_service
from dashboard.services import rates as rates_service
from dashboard.services import year as year_service
from dashboard.services.forecast import Bench
from dashboard.services.forecast_works import WorkForecast
from dashboard.services.plan import Plan
from dashboard.services.promises import Scored, Taught
from dashboard.services.quote_ready import Ready
from dashboard.services.result_cache import ResultCache
from dashboard.ui import page_data
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError
from ingest.store import Store

_T = TypeVar("_T")
_LONGEST_WAIT_S = 600
_NO_SPINNER_S = 1.5  # a page that is drawn anew keeps what it shows for so long


@dataclass(frozen=True, kw_only=True)
class Rates:
    """The record of a day, calibrated: the table of rates, that of whole phases and works, how much stands
    behind it (`remembered`: of the works those told from memory), and what can be asked of it.
    """

    calibration: Calibration
    table: pd.DataFrame
    wholes: pd.DataFrame
    lines: int
    works: int
    remembered: int

    def past_lines(self, technique: str, phase: str) -> pd.DataFrame:
        return rates_service.past_lines(self.calibration, technique, phase)

    @property
    def drift(self) -> tuple[float, float, float]:
        """Change of hours with each year, as a share, and its range."""
        return rates_service.drift(self.calibration)

    @cached_property
    def experience(self) -> list[tuple[str, LearningCurve]]:
        return year_service.with_experience(self.calibration)

    @property
    def people(self) -> pd.DataFrame:
        return rates_service.paces_of_people(self.calibration)


def _start(
    run: Callable[[Store, jobs.Progress], _T],
    name: str,
    *key: Hashable,
    opened: Store | None = None,
    patient: bool = False,
) -> jobs.Task[_T]:
    """Start a computation on the record as it is now, or take up the one that was started on it.

    Parameters
    ----------
    run : computes the result of a store; may report its progress.
    name, key : tell the computation from others on the same record.
    opened : the store; None: that of the page, known only during its run.
    patient : waits until nobody else waits for anything.
    """
    opened = opened or page_data.store()
    return jobs.start(
        (name, str(opened.path), opened.changes(), *key),
        lambda progress: run(opened, progress),
        patient=patient,
    )


def _wait(task: jobs.Task[_T], words: str, at_once_s: float = 0.3) -> _T:
    """The result of a task; `words` beside a spinner say what is waited for, after `at_once_s` seconds."""
    if not task.wait(at_once_s):
        with st.spinner(words):
            task.wait(_LONGEST_WAIT_S)
    return task.result()


def rates(as_of: date) -> Rates:
    """Rates of a day; see `dashboard.services.rates`."""
    return _wait(_start(lambda opened, _: _rates(opened, as_of), "rates", as_of), "Calibrating …")


def _rates(opened: Store, as_of: date) -> Rates:
    con = opened.cursor()
    calibration = rates_service.calibrated(con, as_of)
    finished = calibration.joint.lines.take(~calibration.joint.lines.is_open)
    return Rates(
        calibration=calibration,
        table=rates_service.rate_table(con, as_of, calibration),
        wholes=rates_service.rates_of_wholes(con, as_of, calibration),
        lines=len(finished),
        works=len(set(finished.object)),
        remembered=len(queries.remembered(con).intersection(finished.object)),
    )


def _context_of_day(as_of: date, without_open: tuple[str, ...] = ()) -> quote_context.QuoteContext:
    """The data that quotes of a day rest on; see `dashboard.services.quote_context.load_context`."""
    calibrated = None if without_open else rates(as_of).calibration
    task = _start(
        lambda opened, _: quote_context.load_context(
            opened.cursor(), as_of, calibrated, without_open, _memory(str(opened.path))
        ),
        "quoting",
        as_of,
        without_open,
    )
    return _wait(task, "Looking through the finished works …")


def context_of_quote(quote: Quote) -> quote_context.QuoteContext:
    """The data that a quote rests on today."""
    today = page_data.today()
    return _context_of_day(today, quote_build.on_the_bench(page_data.overruns(today), quote))


def quoted(quote: Quote, labels: Mapping[str, str]) -> quote_service.Quoted:
    """Totals and prices of a quote today; computed again only after a change of it or of the record.

    Parameters
    ----------
    labels : what the page calls the columns of the form, for its errors.
    """
    # no figure rests on the words of the letter, but on whether it is one of change
    content = quote.to_json() | {"letter": {"form": quote.letter.get("form", "")}}
    opened = page_data.store()
    return _quoted(
        str(opened.path),
        opened.changes(),
        page_data.today(),
        json.dumps(content, sort_keys=True),
        json.dumps(dict(labels)),
    )


# Kept as it is, not copied: its draws are large, and nobody changes them.
@st.cache_resource(max_entries=12, show_spinner=False)
def _quoted(path: str, changes: int, on: date, content: str, labels: str) -> quote_service.Quoted:
    quote = quote_drafts.from_json(json.loads(content))
    opened = page_data.store()
    reads = [quote_drafts.read_over(opened, work, on, json.loads(labels)) for work in quote.works]
    return quote_build.quoted(context_of_quote(quote), quote, reads, page_data.settings())


def narrowed(
    quote: Quote, work: quote_service.WorkQuoted, context: quote_context.QuoteContext
) -> list[Narrowing]:
    """What would make the quote of a work surer; see `dashboard.services.quote_narrowing`."""
    if not quote_narrowing.is_asked(context, work):
        return []
    content = {name: value for name, value in quote.to_json().items() if name != "letter"}
    task = _start(
        lambda _opened, _: quote_narrowing.narrowed(context, work),
        *("narrowed", json.dumps(content, sort_keys=True), work.draft.display_name, context.as_of),
    )
    return _wait(task, "Looking for what would make it surer …")


def scored(as_of: date) -> Scored:
    """Promises against what works took; see `dashboard.services.promises`."""
    task = _start(lambda opened, _: promises_service.scored(opened.cursor(), as_of), "scored", as_of)
    return _wait(task, "Holding promises against what works took …")


def taught(code: str, on: date) -> Taught:
    """Rates without a finished work and with it; see `dashboard.services.promises`."""
    task = _start(lambda opened, _: promises_service.taught(opened.cursor(), code, on), "taught", code, on)
    return _wait(task, "Calibrating without it and with it …")


def ready_later(quote: Quote, quoted: quote_service.Quoted) -> Callable[[], Ready | None]:
    """A function that computes when the works of a quote would be ready behind those on the bench, or None.
    It may be called outside the run of a page, by a download, and waits for the plan.
    """
    opened, on = page_data.store(), page_data.today()
    content = {name: value for name, value in quote.to_json().items() if name != "letter"}
    key = json.dumps(content, sort_keys=True)
    counts = quote_ready.counts_the_bench(quoted, quote)

    def ready() -> Ready | None:
        if not counts:
            return None
        try:
            plan = _plan_task(opened, on, _bench_task(opened, on).result()).result()
            return _start(
                lambda *_: quote_ready.ready_of(quoted, plan), "ready", on, key, opened=opened
            ).result()
        except BenchHoursError:  # a plan that cannot be made keeps no letter back
            return None

    return ready


def bench() -> Bench:
    """Forecasts of the works on the bench, today."""
    return wait_for_bench(bench_task())


def wait_for_bench(task: jobs.Task[Bench]) -> Bench:
    """The result of `bench_task`; what a page shows stays meanwhile."""
    return _wait(task, "Looking ahead …", _NO_SPINNER_S)


def bench_task() -> jobs.Task[Bench]:
    """Forecasts of the works on the bench, today; see `dashboard.services.forecast` and `ended_so_far`."""
    opened = page_data.store()
    path, changes = str(opened.path), opened.changes()
    # what is gathered on an earlier record would keep this waiting
    jobs.give_up(
        lambda key: (
            isinstance(key, tuple)
            and key[:2] in (("bench history", path), ("bench since", path))
            and key[2] != changes
        )
    )
    return _bench_task(opened, page_data.today())


def _bench_task(opened: Store, on: date) -> jobs.Task[Bench]:
    def run(opened: Store, progress: jobs.Progress) -> Bench:
        ended: dict[str, WorkForecast] = {}
        return forecast_service.bench(
            opened.cursor(),
            on,
            _memory(str(opened.path)),
            progress_of=lambda done, of: progress(done, of, dict(ended)),
            ended_of=ended.__setitem__,
        )

    return _start(run, "bench", on, opened=opened)


def ended_so_far(task: jobs.Task[Bench]) -> Mapping[str, WorkForecast]:
    """Forecasts of works that are computed already, by object."""
    return cast("dict[str, WorkForecast] | None", task.so_far) or {}


def bench_so_far(on: date) -> pd.DataFrame:
    """Works on the bench before their forecast; see `dashboard.services.forecast_works.so_far`."""
    opened = page_data.store()
    return _bench_so_far(str(opened.path), opened.changes(), on)


@st.cache_data(max_entries=8, show_spinner=False)
def _bench_so_far(path: str, changes: int, as_of: date) -> pd.DataFrame:
    return forecast_works.so_far(page_data.store().cursor(), as_of)


def bench_history(code: str) -> jobs.Task[pd.DataFrame]:
    """The forecast of a work from day to day; see `dashboard.services.forecast_history.history`."""
    on = page_data.today()
    return _start(
        lambda opened, progress: forecast_history.history(
            opened.cursor(), on, code, _memory(str(opened.path)), progress
        ),
        "bench history",
        on,
        code,
        patient=True,
    )


def bench_since(code: str, chance: float) -> jobs.Task[date | None]:
    """The day since which a work is forecast to end above what was approved; see
    `dashboard.services.forecast_history.since`.
    """
    on = page_data.today()
    return _start(
        lambda opened, progress: forecast_history.since(
            opened.cursor(), on, code, _memory(str(opened.path)), chance, progress
        ),
        "bench since",
        on,
        code,
        patient=True,
    )


@cache
def _memory(path: str) -> ResultCache:
    """One for each database."""
    return ResultCache()


def plan() -> Plan:
    """Days on which the works on the bench are ready; see `dashboard.services.plan`."""
    task = _plan_task(page_data.store(), page_data.today(), bench())
    return _wait(task, "Looking when each work is ready …", _NO_SPINNER_S)


def _plan_task(opened: Store, on: date, ends: Bench) -> jobs.Task[Plan]:
    return _start(
        lambda opened, _: plan_service.plan(opened.cursor(), on, _memory(str(opened.path)), ends),
        "plan",
        on,
        opened=opened,
    )


def one_more(hours: float, waiting_days: float, *, first: bool) -> tuple[date, date, date, date]:
    """Days on which another work would be ready; see `dashboard.services.plan_new_work.with_one_more`."""
    planned = plan()
    task = _start(
        lambda *_: plan_new_work.with_one_more(planned, hours, waiting_days, first=first),
        "one more",
        page_data.today(),
        hours,
        waiting_days,
        first,
    )
    return _wait(task, "Taking it in …", _NO_SPINNER_S)


def backtest(as_of: date) -> jobs.Task[BacktestResult]:
    """Past lines forecast again from what was known before them; see `dashboard.services.rates.retried`."""
    return _start(
        lambda opened, progress: rates_service.retried(opened.cursor(), as_of, progress), "promises", as_of
    )


def has_backtest(as_of: date) -> bool:
    """It was started on the record as it is now."""
    opened = page_data.store()
    return jobs.has_result(("promises", str(opened.path), opened.changes(), as_of))
