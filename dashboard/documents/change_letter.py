"""A short letter of change: what was agreed, what was found, what it takes now, and the approval that this
needs.

Approval again for significant deviations: the American Institute for Conservation, Commentaries to the
Guidelines for Practice, no. 26.
"""

from __future__ import annotations

from decimal import Decimal

import pandas as pd

from dashboard.documents import letter_treatment, quote_letter, work_identity
from dashboard.documents.blocks import Block, Letter, facts, paragraph, small, subheading, table
from dashboard.formatting import CONFIDENCES, counted, day, hours, money, signed_hours
from dashboard.services.quote import Option, Quoted
from dashboard.services.quote_build import LETTER_OF_CHANGE as FORM
from dashboard.services.quote_continued import PreviousVersion
from dashboard.services.quote_terms import QuoteTerms
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError
from ingest.studio.hazards import usual_cautions
from ingest.studio.settings import Settings
from ingest.studio.vocabulary import Vocabulary

__all__ = ["FORM", "PreviousVersion", "letter"]
STAYS = "What was approved stays as it was approved, in hours and in price; what was found is added."
WHOLE = (
    "The whole is quoted anew, what is done with the hours that it took; this takes the place of what was"
    " agreed."
)
_SHOWN = 0.5  # hours from which a change of a phase is named


def letter(
    quoted: Quoted, quote: Quote, studio: Settings, words: Vocabulary, before: PreviousVersion
) -> Letter:
    """The letter of a revision; raises where it is about more than one work, or where nobody said why."""
    works = [work for work in quoted.works if work.options]
    if len(works) != 1:
        raise BenchHoursError("a letter of change is about one work", "Quote the works apart.")
    if not quote.letter.get("reason", "").strip():
        raise BenchHoursError(
            "the letter does not say yet what was found", "Write it: it is why the owner is asked again."
        )
    if before.taxed is not None and (before.taxed.net is None or before.taxed.gross is None):
        raise BenchHoursError(
            f"it is not known whether {before.taxed.tax} is in the price of version {before.version}, and so"
            " not what changes",
            "Say it under Studio, quotes, or of this version under Estimate.",
        )
    whole = quote_letter.letter(quoted, quote, studio, words)
    (work,) = works
    blocks: list[Block] = [paragraph(quote.letter["opening"])] if quote.letter.get("opening") else []
    blocks += [
        subheading("What was found"),
        *(paragraph(line) for line in quote.letter["reason"].splitlines() if line.strip()),
    ]
    for option in work.options:
        if len(work.options) > 1:
            blocks.append(subheading(f"Option: {option.name}"))
        blocks += _old_and_new(quoted, option, before)
    blocks.append(paragraph("What goes beyond what was agreed we do only with your approval in writing."))
    if quote.letter.get("closing"):
        blocks += [paragraph(line) for line in quote.letter["closing"].splitlines()]
    to_do = dict.fromkeys(
        name for option in work.options for name in option.lines.loc[~option.lines["done"], "technique"]
    )
    if studio.letter_cautions and (caution := usual_cautions(words, to_do)):
        blocks.append(small(caution))
    return Letter(
        studio=whole.studio,
        letterhead=whole.letterhead,
        addressee=whole.addressee,
        day=whole.day,
        subject=f"A change in the treatment of {work_identity.mention(work)}",
        number=whole.number,
        blocks=blocks,
        approvals=whole.approvals,
    )


def _old_and_new(quoted: Quoted, option: Option, before: PreviousVersion) -> list[Block]:
    """Hours and price as agreed and as they are now, with the same in both, then by phase."""
    terms = quoted.terms
    done = float(option.lines.loc[option.lines["done"], "worked_hours"].sum())
    so_far = float(option.lines["worked_hours"].sum())
    when = (
        f"approved on {day(before.approved_on)}"
        if before.approved_on
        else f"of {day(before.made_on)}, not approved"
    )
    by = round(option.promised, 1) - round(before.hours, 1)
    rows = [
        ["hours", hours(before.hours), hours(option.promised), signed_hours(by)],
        *_prices(terms, option, before),
    ]
    blocks: list[Block] = [paragraph(STAYS if option.change else WHOLE)]
    blocks.append(
        table(
            "What was agreed and what it is now",
            ["", f"agreed ({when})", "now", "added" if option.change else "change"],
            rows,
            right=(1, 2, 3),
        )
    )
    if option.change and option.change.added is not None and option.change.added.limited == "ceiling":
        blocks.append(paragraph("What was found is held at the ceiling agreed for the whole."))
    if option.change and option.price is None:
        blocks.append(paragraph(_no_sum(terms, option, before)))
    worked = (
        f"{hours(so_far)} hours have been worked so"
        f" far{f', {hours(done)} of them on what is done' if 0 < done < so_far else ''}."
    )
    blocks.append(paragraph(worked if option.change else f"{worked} {_chance(option)}"))
    blocks.append(_phase_table(option, before))
    others = option.lines[
        [
            (row["phase"], row["technique"], row["part"]) not in _agreed(before)
            for row in option.lines.to_dict("records")
        ]
    ]
    blocks.append(
        facts(
            [
                ("New", _named(others[others["worked_hours"] == 0])),
                ("Not agreed before, worked already", _named(others[others["worked_hours"] > 0])),
            ]
        )
    )
    return blocks


def _phase_table(option: Option, before: PreviousVersion) -> Block:
    cells = [
        [
            letter_treatment.phase_in_words(str(row["phase"])),
            *(hours(row[name]) for name in ("old", "worked", "new")),
            signed_hours(row["by"]),
        ]
        for row in _by_phase(option, before).to_dict("records")
    ]
    worked, by = option.lines["worked_hours"].sum(), round(option.promised, 1) - round(before.hours, 1)
    cells.append(["Together", hours(before.hours), hours(worked), hours(option.promised), signed_hours(by)])
    heads = ["phase", "agreed, h", "worked so far, h", "now, h", "added, h" if option.change else "change, h"]
    return table("By phase", heads, cells, right=(1, 2, 3, 4), foot=1)


def _prices(terms: QuoteTerms, option: Option, before: PreviousVersion) -> list[list[str]]:
    """Net beside net, tax beside tax, and what the owner pays; what the owner pays alone where no tax is on
    either side, or where net or tax of one of them are not known.
    """
    now, old, currency = option.price, option.agreed, terms.currency

    def row(name: str, old: Decimal | None, new: Decimal | None, unknown: str = "not known") -> list[str]:
        by = new - old if new is not None and old is not None else None
        shown = [unknown if item is None else money(item, currency) for item in (old, new)]
        return [name, *shown, "" if by is None else f"{'+' if by >= 0 else '−'}{money(abs(by), currency)}"]

    taxed = bool(terms.pricing.tax) or bool(old is not None and old.tax)
    name = f"price, {terms.tax_name} included" if taxed else "price"
    if now is None or old is None or old.amount is None:
        if now is None and before.price is None:
            return []
        same = (before.currency or currency) == currency
        if now is not None and before.price is not None and same:
            return [row(name, Decimal(repr(before.price)), now.amount)]
        shown_before = (
            money(before.price, before.currency or currency) if before.price is not None else "none was given"
        )
        return [[name, shown_before, money(now.amount, currency) if now is not None else "not known", ""]]
    rows = [row("net", old.net, now.net), row(terms.tax_name, old.tax, now.tax)] if taxed else []
    rows.append(row(name, old.amount, now.amount))
    if now.costs or old.costs:  # of what is without tax
        rows.insert(1, row("of it outside costs, materials, travel", old.costs, now.costs))
    return rows


def _no_sum(terms: QuoteTerms, option: Option, before: PreviousVersion) -> str:
    """Explain that there is no price of both together."""
    assert option.change is not None
    added = option.change.added
    sum_found = (
        f" What was found comes to {money(added.amount, terms.currency)}{terms.tax_included}."
        if added is not None
        else ""
    )
    if before.price is None:
        return (
            "No price stands with what was approved, so the hours stand here without a price of the"
            f" whole.{sum_found}"
        )
    if added is None:
        return "What an hour costs is not said, so what was found has no price yet."
    return f"The price approved is in {before.currency}, so no sum is made of both.{sum_found}"


def _chance(option: Option) -> str:
    chance = CONFIDENCES.get(option.terms.confidence, f"{option.terms.confidence} in 100")
    words = f"at {chance}" if option.terms.confidence == 50 else chance.replace(" in ", " times in ")
    remembered = f", {option.remembered:,} from memory," if option.remembered else ""
    ours = (
        f"{counted(option.behind, 'finished work')} of our own{remembered} and from " if option.behind else ""
    )
    return f"From {ours}what this one has shown so far we expect to end within them {words}."


def _by_phase(option: Option, before: PreviousVersion) -> pd.DataFrame:
    """`phase`, `old`, `worked`, `new`, `by` in the order of work: phases that change, what may turn up, and
    all others in one row.
    """
    # in the tenths that sum to the promise
    lines = option.lines.assign(told=[float(tenth) for tenth in option.tenths[:-1]])
    if option.change is not None:
        lines = lines.assign(told=[float(item or 0) for item in option.added])
    phases = lines.groupby("phase", sort=False).agg(worked=("worked_hours", "sum"), new=("told", "sum"))
    allowance = 0.0 if option.change is not None else float(option.tenths[-1])
    every = phases.join(
        before.lines.groupby("phase", sort=False)["hours"].sum().rename("old"), how="outer", sort=False
    ).fillna(0.0)
    every = every.loc[[*phases.index, *(name for name in every.index if name not in phases.index)]]
    if option.change is not None:
        every["new"] += every["old"]
    unseen = max(round(before.hours, 1) - float(before.lines["hours"].sum()), 0.0)
    if max(allowance, unseen) > 0:
        every.loc["what cannot be seen yet"] = {
            "worked": 0.0,
            "new": unseen if option.change is not None else allowance,
            "old": unseen,
        }
    changes = (every["new"] - every["old"]).abs() >= _SHOWN
    named: pd.DataFrame = every.loc[changes.to_numpy()]
    if not changes.all():
        named = pd.concat(
            [named, every[~changes].sum().to_frame("all others" if len(named) else "all phases").T]
        )
    return named.assign(by=named["new"] - named["old"]).rename_axis("phase").reset_index()


def _agreed(before: PreviousVersion) -> set[tuple[str, str, str]]:
    return set(zip(before.lines["phase"], before.lines["technique"], before.lines["part"], strict=True))


def _named(lines: pd.DataFrame) -> str:
    return "; ".join(letter_treatment.line_in_words(row) for row in lines.to_dict("records"))
