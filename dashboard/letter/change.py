"""A short letter of change: what was agreed, what was found, what it takes now, and the approval that this needs.

Approval again for significant deviations: the American Institute for Conservation, Commentaries to the Guidelines for Practice, no. 26.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pandas as pd

from dashboard.letter import content
from dashboard.letter.blocks import Block, Letter, facts, says, small, subheading, table
from dashboard.prices import Taxed
from dashboard.quoting import LETTER_OF_CHANGE as FORM
from dashboard.quoting import Commercial, Option, Quoted
from dashboard.words import CONFIDENCES, counted, day, hours, money, signed_hours
from ingest.cautions import usual_cautions
from ingest.errors import BenchHoursError
from ingest.quotes import Quote
from ingest.settings import Settings
from ingest.vocabulary import Vocabulary

__all__ = ["FORM", "Before", "letter"]
STAYS = "What was approved stays as it was approved, in hours and in price; what was found is added."
WHOLE = "The whole is quoted anew, what is done with the hours that it took; this takes the place of what was agreed."
_SHOWN = 0.5  # hours from which a change of a phase is named


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What was agreed before: the version, with the `hours` that it promised and the price agreed (as the owner pays it, tax included; None where that is not known); `reckoned`: the price that it had as it was quoted, if it was.

    Attributes
    ----------
    taxed : the price agreed as it stands in the record, with what it includes; None where there is none.
    lines : frame `phase`, `technique`, `part`, `hours`.
    """

    version: int
    made_on: date
    approved_on: date | None
    hours: float
    price: float | None
    taxed: Taxed | None
    reckoned: float | None
    currency: str | None
    lines: pd.DataFrame


def letter(quoted: Quoted, quote: Quote, studio: Settings, words: Vocabulary, before: Before) -> Letter:
    """The letter of a revision; raises where it is about more than one work, or where nobody said why."""
    works = [work for work in quoted.works if work.options]
    if len(works) != 1:
        raise BenchHoursError("a letter of change is about one work", "Quote the works apart.")
    if not quote.letter.get("reason", "").strip():
        raise BenchHoursError("the letter does not say yet what was found", "Write it: it is why the owner is asked again.")
    if before.taxed is not None and (before.taxed.net is None or before.taxed.gross is None):
        raise BenchHoursError(
            f"it is not known whether {before.taxed.tax} is in the price of version {before.version}, and so not what changes", "Say it under Studio, quotes, or of this version under Estimate."
        )  # fmt: skip
    whole = content.letter(quoted, quote, studio, words)
    (work,) = works
    blocks: list[Block] = [says(quote.letter["opening"])] if quote.letter.get("opening") else []
    blocks += [subheading("What was found"), *(says(line) for line in quote.letter["reason"].splitlines() if line.strip())]
    for option in work.options:
        if len(work.options) > 1:
            blocks.append(subheading(f"Option: {option.name}"))
        blocks += _old_and_new(quoted, option, before)
    blocks.append(says("What goes beyond what was agreed we do only with your approval in writing."))
    if quote.letter.get("closing"):
        blocks += [says(line) for line in quote.letter["closing"].splitlines()]
    to_do = dict.fromkeys(name for option in work.options for name in option.lines.loc[~option.lines["done"], "technique"])
    if studio.letter_cautions and (caution := usual_cautions(words, to_do)):
        blocks.append(small(caution))
    return Letter(
        studio=whole.studio, letterhead=whole.letterhead, addressee=whole.addressee, day=whole.day, subject=f"A change in the treatment of {content.called(work)}", number=whole.number,
        blocks=blocks, approvals=whole.approvals,
    )  # fmt: skip


def _old_and_new(quoted: Quoted, option: Option, before: Before) -> list[Block]:
    """Hours and price as they were agreed, as they are now, and by how much they differ, both sides with the same in them; and phase by phase where that changed."""
    terms = quoted.commercial
    done = float(option.lines.loc[option.lines["done"], "worked_hours"].sum())
    so_far = float(option.lines["worked_hours"].sum())
    when = f"approved on {day(before.approved_on)}" if before.approved_on else f"of {day(before.made_on)}, not approved"
    by = round(option.promised, 1) - round(before.hours, 1)
    rows = [["hours", hours(before.hours), hours(option.promised), signed_hours(by)], *_prices(terms, option, before)]
    blocks: list[Block] = [says(STAYS if option.change else WHOLE)]
    blocks.append(table("What was agreed and what it is now", ["", f"agreed ({when})", "now", "added" if option.change else "change"], rows, right=(1, 2, 3)))
    if option.change and option.change.added is not None and option.change.added.limited == "ceiling":
        blocks.append(says("What was found is held at the ceiling agreed for the whole."))
    if option.change and option.price is None:
        blocks.append(says(_no_sum(terms, option, before)))
    worked = f"{hours(so_far)} hours have been worked so far{f', {hours(done)} of them on what is done' if 0 < done < so_far else ''}."
    blocks.append(says(worked if option.change else f"{worked} {_chance(option)}"))
    phases = _by_phase(option, before)
    cells = [
        [str(row["phase"])[0].upper() + str(row["phase"])[1:], *(hours(row[name]) for name in ("old", "worked", "new")), signed_hours(row["by"])]
        for row in phases.to_dict("records")
    ]
    together = ["Together", hours(before.hours), hours(so_far), hours(option.promised), signed_hours(by)]
    heads = ["phase", "agreed, h", "worked so far, h", "now, h", "added, h" if option.change else "change, h"]
    blocks.append(table("By phase", heads, [*cells, together], right=(1, 2, 3, 4), foot=1))
    others = option.lines[[(row["phase"], row["technique"], row["part"]) not in _agreed(before) for row in option.lines.to_dict("records")]]
    blocks.append(
        facts([("New", _named(others[others["worked_hours"] == 0])), ("Not agreed before, worked already", _named(others[others["worked_hours"] > 0]))])
    )
    return blocks


def _prices(terms: Commercial, option: Option, before: Before) -> list[list[str]]:
    """Net beside net, tax beside tax, and what the owner pays; what the owner pays alone where no tax is on either side, or where net or tax of one of them are not known."""
    now, old, currency = option.price, option.agreed, terms.currency

    def row(name: str, old: Decimal | None, new: Decimal | None, unknown: str = "not known") -> list[str]:
        by = new - old if new is not None and old is not None else None
        shown = [unknown if one is None else money(one, currency) for one in (old, new)]
        return [name, *shown, "" if by is None else f"{'+' if by >= 0 else '−'}{money(abs(by), currency)}"]

    taxed = bool(terms.terms.tax) or bool(old is not None and old.tax)
    name = f"price, {terms.tax_name} included" if taxed else "price"
    if now is None or old is None or old.amount is None:
        if now is None and before.price is None:
            return []
        same = (before.currency or currency) == currency
        if now is not None and before.price is not None and same:
            return [row(name, Decimal(repr(before.price)), now.amount)]
        told = money(before.price, before.currency or currency) if before.price is not None else "none was given"
        return [[name, told, money(now.amount, currency) if now is not None else "not known", ""]]
    rows = [row("net", old.net, now.net), row(terms.tax_name, old.tax, now.tax)] if taxed else []
    rows.append(row(name, old.amount, now.amount))
    if now.costs or old.costs:  # of what is without tax
        rows.insert(1, row("of it outside costs, materials, travel", old.costs, now.costs))
    return rows


def _no_sum(terms: Commercial, option: Option, before: Before) -> str:
    """That there is no price of both together, and why."""
    assert option.change is not None
    added = option.change.added
    told = (
        f" What was found comes to {money(added.amount, terms.currency)}{f', {terms.tax_name} included' if terms.terms.tax else ''}."
        if added is not None
        else ""
    )
    if before.price is None:
        return f"No price stands with what was approved, so the hours stand here without a price of the whole.{told}"
    if added is None:
        return "What an hour costs is not said, so what was found has no price yet."
    return f"The price approved is in {before.currency}, so no sum is made of both.{told}"


def _chance(option: Option) -> str:
    chance = CONFIDENCES.get(option.commercial.confidence, f"{option.commercial.confidence} in 100")
    words = f"at {chance}" if option.commercial.confidence == 50 else chance.replace(" in ", " times in ")
    ours = f"{counted(option.behind, 'finished work')} of our own and from " if option.behind else ""
    return f"From {ours}what this one has shown so far we expect to end within them {words}."


def _by_phase(option: Option, before: Before) -> pd.DataFrame:
    """`phase`, `old`, `worked`, `new`, `by` in the order of work: phases that change, what may turn up, and all others in one row."""
    # in the tenths that sum to the promise
    told = option.lines.assign(told=[float(one) for one in option.tenths[:-1]])
    if option.change is not None:
        told = told.assign(told=[float(one or 0) for one in option.added])
    now = told.groupby("phase", sort=False).agg(worked=("worked_hours", "sum"), new=("told", "sum"))
    allowance = 0.0 if option.change is not None else float(option.tenths[-1])
    every = now.join(before.lines.groupby("phase", sort=False)["hours"].sum().rename("old"), how="outer", sort=False).fillna(0.0)
    every = every.loc[[*now.index, *(name for name in every.index if name not in now.index)]]
    if option.change is not None:
        every["new"] += every["old"]
    unseen = max(round(before.hours, 1) - float(before.lines["hours"].sum()), 0.0)
    if max(allowance, unseen) > 0:
        every.loc["what cannot be seen yet"] = {"worked": 0.0, "new": unseen if option.change is not None else allowance, "old": unseen}
    changes = (every["new"] - every["old"]).abs() >= _SHOWN
    named: pd.DataFrame = every.loc[changes.to_numpy()]
    if not changes.all():
        named = pd.concat([named, every[~changes].sum().to_frame("all others" if len(named) else "all phases").T])
    return named.assign(by=named["new"] - named["old"]).rename_axis("phase").reset_index()


def _agreed(before: Before) -> set[tuple[str, str, str]]:
    return set(zip(before.lines["phase"], before.lines["technique"], before.lines["part"], strict=True))


def _named(lines: pd.DataFrame) -> str:
    return "; ".join(content.line_in_words(row) for row in lines.to_dict("records"))
