"""Notes beside a work on the bench: owner, due day, reasons, the way to its revision."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import ago
from dashboard.services import quote_continued
from dashboard.services.forecast import Bench
from dashboard.services.jobs import GivenUp, Task
from dashboard.text import forecast as forecast_text
from dashboard.ui import layout, page_data, results
from ingest.editing import quote_drafts


def above_approved(chance: float) -> str:
    return forecast_text.in_ten(chance) if pd.notna(chance) else "–"


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkNotes:
    """Titles, owners, days, quotes being written and versions without an answer, by the code of the work."""

    titles: dict[str, str]
    owners: dict[str, str]
    works: dict[str, dict[Hashable, Any]]
    written: dict[str, int]
    waiting: dict[str, int]

    @classmethod
    def load(cls) -> WorkNotes:
        con, today = page_data.store().cursor(), page_data.today()
        return cls(
            titles=titles(),
            owners=queries.owners(con),
            works={row["object"]: row for row in page_data.works(today).to_dict("records")},
            written={
                work.object: quote.number
                for quote in reversed(quote_drafts.read_all(con))
                for work in quote.works
                if quote.number is not None
            },
            waiting=queries.waiting_versions(con, today),
        )

    def of(self, code: str) -> str:
        """In a sentence."""
        work, today = self.works[code], page_data.today()
        parts = [f"for {self.owners[code]}" if code in self.owners else ""]
        if pd.notna(work["due_on"]):
            parts.append(
                f"{'due' if work['due_on'].date() >= today else 'was due'}"
                f" {ago(work['due_on'].date(), today)}"
            )
        if pd.notna(work["last_day"]):
            parts.append(f"last worked {ago(work['last_day'].date(), today)}")
        if code in self.waiting:
            parts.append(f"version {self.waiting[code]} of its estimate waits for the owner’s word")
        sentence = "; ".join(filter(None, parts))
        return f"{sentence[:1].upper()}{sentence[1:]}." if sentence else ""


def reasons(bench: Bench, work: pd.Series) -> None:
    if why := forecast_text.reasons(bench, work):
        layout.list_out([forecast_text.reason_sentence(item) for item in why])
    else:
        layout.say("No line stands out: it is all of them together.")


def since(code: str, pending: list[Task[Any]]) -> str:
    """The day since which it ends above what was approved; the page runs again when it is computed."""
    task = results.bench_since(code, forecast_text.WRITE)
    if not task.wait(0):
        pending.append(task)
        return ""
    try:
        return forecast_text.since(task.result(), page_data.today())
    except GivenUp:
        return ""


def titles() -> dict[str, str]:
    works = page_data.works(page_data.today())
    return page_data.titles(works)


def revise(code: str, number: int | None) -> None:
    """One tap to the revision: the quote being written, or one that goes on from the latest version."""
    if number is not None:
        layout.link("quote_a_work", f"Go on with quote {number} of {code}", quote=f"{number}")
    elif st.button(
        f"Quote the rest of {code} anew",
        key=f"revise {code}",
        help=(
            "A revision: what is done stays as worked, the rest is quoted, and the letter sets old beside"
            " new."
        ),
    ):
        page_data.change("quoted anew")  # only for whoever may change something
        quote = quote_drafts.keep(
            page_data.store(),
            quote_continued.continued_quote(page_data.store().cursor(), code, page_data.today()),
            page_data.visit(),
        )
        layout.go_to("quote_a_work", quote=f"{quote.number}")
