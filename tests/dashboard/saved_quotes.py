"""Quotes saved for tests: one of a work that is not in the invented studio, and what is done with it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np

from dashboard import queries
from dashboard.documents import assemble
from dashboard.services import quote_build, quote_recomputed, saved_quote
from ingest.editing import approvals, quote_drafts, saved_quotes
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.editing.saved_quotes import Saved
from ingest.importing.check import Checked
from ingest.importing.files import import_files
from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS, TIME_ENTRIES
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.studio.vocabulary import read_vocabulary
from ingest.tables.audit_log import Change
from tests.dashboard.quoting import SHEET, context_of

CHANGE = Change(by="Ilse", reason="a test")


NEW = {
    "object": "26-099",
    "title": "A mill at Marrowby",
    "kind": "easel painting",
    "support": "canvas",
    "height_cm": "61",
    "width_cm": "76",
    "owner": "Family Brandreth",
}


def saved(store: Store, quote: Quote, as_of: date | None = None, reason: str = "") -> list[tuple[str, int]]:
    """Quote it and save it, as the page does."""
    con = store.cursor()
    as_of = as_of or queries.today(con)
    now = context_of(con, as_of, quote)
    reads = [quote_drafts.read_over(store, work, as_of, {}) for work in quote.works]
    found = quote_build.quoted(now, quote, reads, read_settings(con))
    letter = assemble.letter_of(con, found, quote, read_settings(con), read_vocabulary(con))
    return saved_quotes.save(
        store,
        saved_quote.promised(now, found, quote, letter.as_dict()),
        quote.number,
        reason,
        replace(CHANGE, at=min(CHANGE.at, datetime.combine(as_of, datetime.min.time()))),
    )


def of(store: Store, code: str, version: int) -> Saved:
    found = saved_quotes.read(store.cursor(), code, version)
    assert found is not None
    return found


def bring_into(store: Store, folder: Path, name: str, text: str) -> Checked:
    """Import text as a file, today."""
    (folder / name).write_text(text, encoding="utf-8")
    return import_files(store, [folder / name])[0]


def approve(
    store: Store,
    code: str,
    version: int,
    on: date,
    option: str | None = None,
    price: tuple[float, str] | None = None,
) -> None:
    with store.writing() as con:
        approvals.approve(con, code, version, on, option, CHANGE, price)


def log(store: Store, *rows: dict[str, str], code: str = "26-099") -> None:
    store_rows(
        store, TIME_ENTRIES, [{"object": code, "person": "Ilse", "phase": "", **row} for row in rows], CHANGE
    )


def finish(store: Store, code: str, on: date) -> None:
    held = queries.work(store.cursor(), code)
    store_rows(
        store,
        OBJECTS,
        [
            {
                name: "" if held[name] is None else f"{held[name]}".removesuffix(" 00:00:00")
                for name in OBJECTS.names
            }
            | {"finished_on": f"{on}"}
        ],
        CHANGE,
    )


def sheet(*more: dict[str, str], **terms: str) -> Quote:
    return Quote(works=[QuotedWork(object="26-099", lines=[*map(dict, SHEET), *more])], terms=terms)


def again_is_the_same(store: Store, code: str = "26-099", version: int = 1) -> bool:
    found = of(store, code, version)
    lines = queries.quoted_lines(store.cursor(), code, version)
    estimate, keys = queries.estimate_lines(store.cursor(), code, version), ["phase", "technique", "part"]
    for option in found.options:
        again = quote_recomputed.recompute(option)
        told = lines[lines["option"].fillna("") == option.option]
        assert again.same_as(option)
        assert np.allclose(again.lines[:, 1:], told[["p50", "p80", "p90"]].to_numpy(dtype=float), rtol=1e-12)
        in_version = estimate[estimate["option"].fillna("") == option.option].groupby(keys)["hours"].sum()
        told_of = told.groupby(keys)["hours"].sum()
        assert np.allclose(told_of, in_version.reindex(told_of.index), rtol=1e-12)
    return True
