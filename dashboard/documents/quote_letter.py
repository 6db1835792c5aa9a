"""What a quote says to the owner, in each of its three forms.

What such a letter must have: the American Institute for Conservation, Commentaries to the Guidelines for
Practice, no. 26 (a written plan with a time estimate, a cost estimate where a contract rests on it, the
owner's approval, and approval again for significant deviations), and no. 24 B for the identification of the
work. Nothing of another work or owner is in it: chances come from the record, its works are not named.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from dashboard.analysis.report.quantile_dots import stacked
from dashboard.documents.blocks import Block, Letter, heading, paragraph, small, subheading, table
from dashboard.documents.letter_price import bare_amount, payment_blocks, price_blocks, shared_travel
from dashboard.documents.letter_time import ReadyDates, time_blocks, time_of_all
from dashboard.documents.letter_treatment import lines_in_price, treatment_blocks
from dashboard.documents.work_identity import identification, mention, title
from dashboard.formatting import counted, day, hours, money, text
from dashboard.services.quote import Option, Quoted, WorkQuoted
from dashboard.services.quote_ready import Ready
from dashboard.services.quote_terms import QuoteTerms
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError
from ingest.studio.hazards import usual_cautions
from ingest.studio.settings import CLAUSES, NO_CLAUSE, Settings
from ingest.studio.vocabulary import Vocabulary
from ingest.values import calendar_days

FORMS = {"one": "one price", "phases": "by phase", "full": "full statement: hours × rate"}
USUAL_CLAUSES = {
    "clause_not_included": (
        "Not included, unless it is named above: transport, insurance on the way, analysis by others, and"
        " work on the frame."
    ),
    "clause_changes": (
        "Some damage shows only when an old lining, varnish or overpaint is off. If we find something that"
        " changes the treatment, the time or the price beyond what is allowed for here, we stop, write to you"
        " what was found and what it would take, and go on only with your approval in writing."
    ),
    "clause_validity": "This quote holds for 60 days from its date.",
    "clause_storage": (
        "The work may stay with us without charge until four weeks after we have told you that it is"
        " finished."
    ),
    "clause_insurance": (
        "Please keep the work insured while it is with us, and tell your insurer where it is."
    ),
}
CLAUSE_HEADS = {
    "clause_not_included": "Not included",
    "clause_changes": "What would change the price",
    "clause_validity": "How long this holds",
    "clause_storage": "Storage",
    "clause_insurance": "Insurance",
}


def letter(
    quoted: Quoted, quote: Quote, studio: Settings, words: Vocabulary, ready: Ready | None = None
) -> Letter:
    """The letter of a quote, in the form that it asks for; raises where its works are of different owners.

    Parameters
    ----------
    ready : when its works would be ready behind those on the bench; what is not in it is told from the day on
        which it is begun.
    """
    ready = ready or {}
    if len(quoted.owners) > 1:
        raise BenchHoursError(
            "the works of this quote are of different owners", "Quote them apart: a letter is for one owner."
        )
    form_fields, agreed = quote.letter, quoted.terms
    works = [work for work in quoted.works if work.options]
    made_on = dated(form_fields, studio) or quoted.as_of
    blocks: list[Block] = [paragraph(form_fields["opening"])] if form_fields.get("opening") else []
    for number, work in enumerate(works, 1):
        if len(works) > 1:
            blocks.append(heading(f"{number}. {title(work)}"))
        blocks += _work(
            work,
            form_fields,
            agreed,
            ReadyDates(quoted.as_of, {name: days for (of, name), days in ready.items() if of == number}),
        )
    if len(works) > 1:
        blocks += _all_together(quoted, works, with_others=bool(ready))
    blocks += payment_blocks(quoted, works)
    blocks += _clauses(studio, form_fields, agreed)
    if form_fields.get("closing"):
        blocks += [paragraph(line) for line in form_fields["closing"].splitlines()]
    if studio.letter_cautions and (
        caution := usual_cautions(
            words,
            dict.fromkeys(
                name
                for work in works
                for option in work.options
                for name in lines_in_price(option)["technique"]
            ),
        )
    ):
        blocks.append(small(caution))
    return Letter(
        studio=studio.studio,
        letterhead=[line for line in studio.letterhead.splitlines() if line],
        addressee=[line for line in form_fields.get("addressee", "").splitlines() if line.strip()]
        or usual_addressee(quoted),
        day=day(made_on),
        subject=_subject(works, agreed),
        number=f"Our quote {quote.number}" if quote.number else "",
        blocks=blocks,
        approvals=_approvals(quoted, works),
    )


def dated(form_fields: Mapping[str, str], studio: Settings) -> date | None:
    """The day that was said for the letter; None where none was, or none that can be read."""
    try:
        return (
            calendar_days.day(form_fields["made_on"], studio.day_order)
            if form_fields.get("made_on")
            else None
        )
    except BenchHoursError:
        return None


def usual_addressee(quoted: Quoted) -> list[str]:
    """The owner of the first work that has lines and an owner, as held."""
    work_row = next(
        (work.read.object_row for work in quoted.works if work.options and work.read.object_row.get("owner")),
        {},
    )
    owner, address = text(work_row.get("owner")), text(work_row.get("owner_address"))
    return [line for line in [owner, *address.replace(", ", "\n").splitlines()] if line.strip()]


def _subject(works: list[WorkQuoted], agreed: QuoteTerms) -> str:
    what = "A first stage: examination and tests" if agreed.first_stage else "Quote for the treatment"
    return f"{what} of {mention(works[0])}" if len(works) == 1 else f"{what} of {counted(len(works), 'work')}"


# --- one work


def _work(
    work: WorkQuoted, form_fields: Mapping[str, str], agreed: QuoteTerms, ready: ReadyDates
) -> list[Block]:
    blocks = [identification(work)]
    several = len(work.options) > 1
    for option in work.options:
        if several:
            blocks.append(subheading(f"Option: {option.name}"))
        blocks += treatment_blocks(option, form_fields, agreed)
        blocks += price_blocks(work, option, form_fields, agreed)
        if form_fields.get("dots") == "yes" and option.charged().max() > 0:
            blocks.append(_dots(option))
    return [*blocks, *time_blocks(work.options, agreed, ready)]


def _dots(option: Option) -> Block:
    values = option.dots()
    places, level, low, high = stacked(values)
    promised = min(max((option.promised - low) / (high - low), 0.0), 1.0) if high > low else 0.5
    within = int((values <= option.promised).sum())
    return Block(
        kind="dots",
        text=(
            f"Each of the {len(values)} dots is equally likely to be where the hours end: {within} of them"
            f" are within the {hours(option.promised)} hours of the promise."
        ),
        dots=list(zip(places, level, strict=True)),
        within=within,
        promise=promised,
        ends=(f"{hours(low)} h", f"{hours(high)} h", f"promise {hours(option.promised)} h"),
    )


# --- all works, payments, clauses, approval


def _all_together(quoted: Quoted, works: list[WorkQuoted], *, with_others: bool) -> list[Block]:
    """A price each, what they share, and all of it."""
    agreed = quoted.terms
    prices = [work.options[0].price for work in works]
    rows = [
        [
            title(work) + (f", option {name}" if (name := work.options[0].name) else ""),
            bare_amount(price.amount, agreed) if price else "",
        ]
        for work, price in zip(works, prices, strict=True)
    ]
    if shared := shared_travel(quoted, works):
        rows.append(
            [
                f"Travel, for all of them together{agreed.without_tax if quoted.amount is None else ''}",
                bare_amount(shared, agreed),
            ]
        )
    rows.append(["Together", bare_amount(quoted.amount, agreed) if quoted.amount is not None else ""])
    first = (
        [paragraph("Where a work has options, its first one is counted here and under Payment.")]
        if any(len(work.options) > 1 for work in works)
        else []
    )
    return [
        heading("All works together"),
        *first,
        table(
            "All works together",
            ["work", f"price, {agreed.currency}{agreed.tax_included}"],
            rows,
            right=(1,),
            foot=1,
        ),
        *time_of_all(quoted, with_others=with_others),
    ]


def _clauses(studio: Settings, form_fields: Mapping[str, str], agreed: QuoteTerms) -> list[Block]:
    blocks: list[Block] = []
    for name in CLAUSES:
        clause = form_fields.get(name) or getattr(studio, name) or USUAL_CLAUSES[name]
        if clause.strip().casefold() != NO_CLAUSE:
            blocks += [subheading(CLAUSE_HEADS[name]), *(paragraph(line) for line in clause.splitlines())]
    return blocks


def _approvals(quoted: Quoted, works: list[WorkQuoted]) -> list[str]:
    """Lines to sign: each option of each work, and shared travel."""
    agreed, approvals = quoted.terms, []
    for work in works:
        for option in work.options:
            price = option.price
            parts = (
                title(work) if len(works) > 1 else "",
                f"option {option.name}" if option.name else "",
                f"{money(price.amount, agreed.currency)}{agreed.tax_included}" if price else "",
            )
            approvals.append(", ".join(filter(None, parts)))
    if shared := shared_travel(quoted, works):
        tax = agreed.without_tax if quoted.amount is None else agreed.tax_included
        approvals.append(f"Travel, for all of them together, {money(shared, agreed.currency)}{tax}")
    return approvals
