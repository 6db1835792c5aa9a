"""Quotes of the invented studio: the sheet of a described work, and what a quote of today says of it."""

from __future__ import annotations

import duckdb

from dashboard import queries
from dashboard.services import quote_build, quote_context
from dashboard.services.quote import Quoted
from dashboard.services.quote_context import QuoteContext
from dashboard.services.result_cache import content_digest
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


_MOST_CONTEXTS = 8


_contexts: dict[str, QuoteContext] = {}


def _context(con: duckdb.DuckDBPyConnection, there: tuple[str, ...]) -> QuoteContext:
    """What quotes of today stand on, read once of each content of a database."""
    today = queries.today(con)
    key = content_digest(today, there, sums(con))
    context = _contexts.pop(key, None) or quote_context.load_context(con, today, without_open=there)
    _contexts[key] = context
    if len(_contexts) > _MOST_CONTEXTS:
        del _contexts[next(iter(_contexts))]
    return context


def quoted_of(store: Store, quote: Quote, context: QuoteContext | None = None) -> Quoted:
    con = store.cursor()
    there = quote_build.on_the_bench(queries.overruns(con, queries.today(con)), quote)
    context = context or _context(con, there)
    reads = [quote_drafts.read_over(store, work, context.as_of, {}) for work in quote.works]
    return quote_build.quoted(context, quote, reads, read_settings(con))


def of(*lines: dict[str, str], described: dict[str, str] = CANVAS, **terms: str) -> Quote:
    return Quote(
        works=[QuotedWork(described=dict(described), lines=[dict(line) for line in lines or SHEET])],
        terms=terms,
    )
