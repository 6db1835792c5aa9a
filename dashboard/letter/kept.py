"""How promises have held, for a client to see: no work, no owner and no person is named, and no price."""

from __future__ import annotations

from datetime import date

from dashboard.analysis import promises
from dashboard.letter.blocks import Block, Letter, says, small, subheading, table
from dashboard.promise_sentences import off_by, since
from dashboard.scoring import Scored
from dashboard.words import CONFIDENCES, counted, day
from ingest.errors import BenchHoursError
from ingest.settings import Settings

FEWEST = 5  # works in a row of a table, so that nobody finds a treatment of their own, or a neighbour's, in it


def sheet(scored: Scored, studio: Settings, on: date) -> Letter:
    """One page on all finished works with a promise; raises where they are too few to be nobody's in particular."""
    works = scored.works
    if len(works) < FEWEST:
        raise BenchHoursError(
            f"{counted(len(works), 'finished work')} with a promise {'is' if len(works) == 1 else 'are'} too few to show without showing whose",
            f"From {FEWEST} on it can be had.",
        )
    kept = scored.kept
    blocks: list[Block] = [
        says(
            f"Every estimate is a promise about something that nobody has seen whole. This is how ours have held: of all {counted(len(works), 'treatment')} that we finished from {since(scored)} and had promised "
            f"hours for, {kept.hits} ended within them. So far as so many can tell, the true share lies between {100 * kept.low:.0f} and {100 * kept.high:.0f} in 100 (4 times in 5)."
        ),
        says(f"Against what we expected at even chance they took {off_by(scored.bias)}."),
    ]
    for chance, told in scored.by_chance.items():
        if told.of >= FEWEST and not 0 < len(works) - told.of < FEWEST:  # what is left over would be somebody's
            blocks.append(says(f"Of the {told.of} promised at {CONFIDENCES.get(chance, f'{chance} in 100')}, {told.hits} were kept."))
    years = promises.by_year(works)
    years = years[years["works"] >= FEWEST]
    while len(years) and 0 < len(works) - int(years["works"].sum()) < FEWEST:  # what is left over would be somebody's
        years = years.drop(years["works"].idxmin())
    if len(years):
        rows = [[f"{row['year']}", f"{row['works']}", f"{row['kept']}", off_by(row)] for row in years.to_dict("records")]
        blocks += [
            subheading("By year"),
            table("Promises by year", ["finished in", "treatments", "within the hours promised", "against even chance (range)"], rows, right=(1, 2)),
        ]
    blocks.append(small("Hours at the bench, of every finished treatment that had been promised in hours. Years with few treatments are in the total only."))
    return Letter(
        studio=studio.studio,
        letterhead=[line for line in studio.letterhead.splitlines() if line],
        addressee=[],
        day=day(on),
        subject="How our promises have held",
        number="",
        blocks=blocks,
    )
