"""How promises have held, for a client to see: no work, no owner and no person is named, and no price."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.analysis.validation import promise_scores
from dashboard.documents.blocks import Block, Letter, paragraph, small, subheading, table
from dashboard.formatting import CONFIDENCES, counted, day
from dashboard.services.promises import Scored
from dashboard.text.promises import bias_text, since
from ingest.errors import BenchHoursError
from ingest.studio.settings import Settings

FEWEST = 5  # works in a row of a table, so that none of them can be told by its owner


def sheet(scored: Scored, studio: Settings, on: date) -> Letter:
    """One page on all finished works with a promise; raises where they are too few to be nobody's in
    particular.
    """
    works = scored.works
    if len(works) < FEWEST:
        raise BenchHoursError(
            f"{counted(len(works), 'finished work')} with a promise {'is' if len(works) == 1 else 'are'} too"
            " few to show without showing whose",
            f"From {FEWEST} on it can be had.",
        )
    share = scored.share_kept
    blocks: list[Block] = [
        paragraph(
            "Every estimate is a promise about something that nobody has seen whole. This is how ours have"
            f" held: of all {counted(len(works), 'treatment')} that we finished from {since(scored)} and had"
            f" promised hours for, {share.hits} ended within them. So far as so many can tell, the true share"
            f" lies between {100 * share.low:.0f} and {100 * share.high:.0f} in 100 (4 times in 5)."
        ),
        paragraph(f"Against what we expected at even chance they took {bias_text(scored.bias)}."),
    ]
    for chance, by_chance in scored.by_chance.items():
        # what is left over would be somebody's
        if by_chance.of >= FEWEST and not 0 < len(works) - by_chance.of < FEWEST:
            blocks.append(
                paragraph(
                    f"Of the {by_chance.of} promised at {CONFIDENCES.get(chance, f'{chance} in 100')},"
                    f" {by_chance.hits} were kept."
                )
            )
    blocks += _years(works)
    blocks.append(
        small(
            "Hours at the bench, of every finished treatment that had been promised in hours. Years with few"
            " treatments are in the total only."
        )
    )
    return Letter(
        studio=studio.studio,
        letterhead=[line for line in studio.letterhead.splitlines() if line],
        addressee=[],
        day=day(on),
        subject="How our promises have held",
        number="",
        blocks=blocks,
    )


def _years(works: pd.DataFrame) -> list[Block]:
    """A table by year, without years of few works, nor one that would leave few works in no year."""
    years = promise_scores.by_year(works)
    years = years[years["works"] >= FEWEST]
    while len(years) and 0 < len(works) - int(years["works"].sum()) < FEWEST:
        years = years.drop(years["works"].idxmin())
    if years.empty:
        return []
    heads = ["finished in", "treatments", "within the hours promised", "against even chance (range)"]
    rows = [
        [f"{row['year']}", f"{row['works']}", f"{row['kept']}", bias_text(row)]
        for row in years.to_dict("records")
    ]
    return [subheading("By year"), table("Promises by year", heads, rows, right=(1, 2))]
