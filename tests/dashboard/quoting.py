"""Quotes of the invented studio: the sheet of a described work, and what a quote of today says of it."""

from __future__ import annotations

import copy
from collections.abc import Collection
from datetime import date

import duckdb
import pytest

from dashboard import queries
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.simulation.totals import DRAWS
from dashboard.services import quote_build, quote_context
from dashboard.services.quote import Quoted
from dashboard.services.quote_context import QuoteContext
from dashboard.services.result_cache import ResultCache, content_digest
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.safekeeping.integrity import sums
from ingest.store import Store
from ingest.studio.settings import read_settings

LINES = """technique,quantity,hours,option
condition report,,,
lining removal dry,,,
varnish removal with free solvents,,5,
filling,,,
retouching,,8,
varnishing by spray,,,full treatment
"""


A_WORK = [
    "--kind",
    "easel painting",
    "--support",
    "canvas",
    "--height",
    "61",
    "--width",
    "76",
    "--structure",
    "2",
]


SHEET = [
    {"technique": name}
    for name in (
        "condition report",
        "lining removal dry",
        "varnish removal with free solvents",
        "filling",
        "retouching",
    )
]


CANVAS = {
    "kind": "easel painting",
    "support": "canvas",
    "height_cm": "61",
    "width_cm": "76",
    "structure_condition": "2",
}


_MOST_CONTEXTS, _MOST_QUOTED = 12, 60


_BESIDE_CONTEXTS = {
    "backups",
    "change_counter",
    "devices",
    "door_events",
    "drafts",
    "history",
    "imports",
    "pairing_codes",
    "settings",
    "unsaved",
}
"""Tables from which `load_context` reads nothing, of a day that it is given."""


_contexts: dict[str, QuoteContext] = {}


_quoted: dict[str, Quoted] = {}


_load_context = quote_context.load_context


def share(monkeypatch: pytest.MonkeyPatch) -> None:
    """Until the end of a test: what quotes stand on is read once of each content of a database, whoever asks
    for it.
    """
    monkeypatch.setattr(quote_context, "load_context", _shared_context)


def forget() -> None:
    """What comes next is read and computed anew."""
    _contexts.clear()
    _quoted.clear()


def _shared_context(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    calibrated: Calibration | None = None,
    without_open: Collection[str] = (),
    memory: ResultCache | None = None,
) -> QuoteContext:
    if calibrated is not None or memory is not None:
        return _load_context(con, as_of, calibrated, without_open, memory)
    content = {table: held for table, held in sums(con).items() if table not in _BESIDE_CONTEXTS}
    key = content_digest(as_of, tuple(without_open), content)
    context = _contexts.pop(key, None) or _load_context(con, as_of, without_open=without_open)
    _contexts[key] = context
    if len(_contexts) > _MOST_CONTEXTS:
        del _contexts[next(iter(_contexts))]
    return context


def context_of(con: duckdb.DuckDBPyConnection, as_of: date, quote: Quote) -> QuoteContext:
    """What a quote stands on as of a day."""
    # a work that is only described is not on the bench
    there = (
        quote_build.on_the_bench(queries.overruns(con, as_of), quote)
        if any(work.object for work in quote.works)
        else ()
    )
    return quote_context.load_context(con, as_of, without_open=there)


def quoted_of(store: Store, quote: Quote, context: QuoteContext | None = None, draws: int = DRAWS) -> Quoted:
    """What a quote of today says. The same quote of the same content of a database is made once: of the words
    of its letter only the form bears on it.
    """
    con = store.cursor()
    if context:
        return _made(store, quote, context, draws)
    today = queries.today(con)
    key = content_digest(today, sums(con), draws, quote.works, quote.terms, quote.letter.get("form"))
    if key not in _quoted:
        if len(_quoted) >= _MOST_QUOTED:
            del _quoted[next(iter(_quoted))]
        # it holds on to its works, and a test may go on writing in its own
        _quoted[key] = _made(store, copy.deepcopy(quote), context_of(con, today, quote), draws)
    return _quoted[key]


def _made(store: Store, quote: Quote, context: QuoteContext, draws: int) -> Quoted:
    reads = [quote_drafts.read_over(store, work, context.as_of, {}) for work in quote.works]
    return quote_build.quoted(context, quote, reads, read_settings(store.cursor()), draws)


def of(*lines: dict[str, str], described: dict[str, str] = CANVAS, **terms: str) -> Quote:
    return Quote(
        works=[QuotedWork(described=dict(described), lines=[dict(line) for line in lines or SHEET])],
        terms=terms,
    )
