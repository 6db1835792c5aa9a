"""The days by which the works of a quote are ready, by the plan of the bench."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pandas as pd

from dashboard.analysis.simulation.schedule import Work
from dashboard.services import plan_new_work
from dashboard.services.plan import Plan
from dashboard.services.quote import Quoted
from dashboard.services.quote_build import LETTER_OF_CHANGE
from ingest.editing.quote_drafts import Quote

ONCE_BEGUN = "once begun"


def counts_the_bench(quoted: Quoted, quote: Quote) -> bool:
    """The letter of a quote says when a work is ready by the plan of the bench: where no day is said on which
    it is begun, and nobody wants it otherwise.
    """
    return (
        quoted.terms.begin_on is None
        and quote.letter.get("ready") != ONCE_BEGUN
        and quote.letter.get("form") != LETTER_OF_CHANGE
    )


def ready_of(quoted_works: Quoted, plan: Plan) -> Ready:
    """When the works of a quote would be ready, each option with the first options of the works before it;
    what is too far off is left out.
    """
    ready: dict[tuple[int, str], tuple[date, date]] = {}
    before: list[tuple[str, Work]] = []
    for number, work in enumerate((work for work in quoted_works.works if work.options), 1):
        scheduled: list[tuple[str, Work]] = []
        there_on = work.read.object_row.get("received_on")
        for option in work.options:
            name = f"{number}. {work.draft.display_name}"
            quoted = plan_new_work.quoted_work(
                plan,
                name,
                option.charged() - option.worked,
                option.days,
                pd.Timestamp(there_on).date() if there_on is not None else None,
            )
            scheduled.append((work.draft.object, quoted))
            if days := plan_new_work.with_quoted(plan, [*before, scheduled[-1]]):
                ready[number, option.name] = (days[1], days[2])
        before += scheduled[:1]
    return ready


Ready = Mapping[tuple[int, str], tuple[date, date]]
