"""A short letter of change: what was agreed, what was found, what it takes now, and the approval that this needs.

Approval again for significant deviations: the American Institute for Conservation, Commentaries to the Guidelines for Practice, no. 26.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from dashboard.letter import content
from dashboard.letter.blocks import Block, Letter, facts, says, small, subheading, table
from dashboard.quoting import Option, Quoted
from dashboard.words import CONFIDENCES, counted, day, hours, money, signed_hours
from ingest.cautions import usual_cautions
from ingest.errors import BenchHoursError
from ingest.quotes import Quote
from ingest.settings import Settings
from ingest.vocabulary import Vocabulary

FORM = "change"
_SHOWN = 0.5  # hours from which a change of a phase is named


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What was agreed before: the version, with the `hours` that it promised and the price agreed; `reckoned`: the price that it had as it was quoted, if it was.

    Attributes
    ----------
    lines : frame `phase`, `technique`, `part`, `hours`.
    """

    version: int
    made_on: date
    approved_on: date | None
    hours: float
    price: float | None
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
    whole = content.letter(quoted, quote, studio, words)
    (work,) = works
    blocks: list[Block] = [says(quote.letter["opening"])] if quote.letter.get("opening") else []
    blocks += [subheading("What was found"), *(says(line) for line in quote.letter["reason"].splitlines() if line.strip())]
    for option in work.options:
        if len(work.options) > 1:
            blocks.append(subheading(f"Option: {option.name}"))
        blocks += _old_and_new(quoted, option, before)
    blocks.append(says("What is done stays as it was worked. What goes beyond what was agreed we do only with your approval in writing."))
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
    """Hours and price as they were agreed, as they are now, and by how much they differ; and phase by phase where that changed."""
    agreed = quoted.commercial
    done = float(option.lines.loc[option.lines["done"], "worked_hours"].sum())
    so_far = float(option.lines["worked_hours"].sum())
    when = f"approved on {day(before.approved_on)}" if before.approved_on else f"of {day(before.made_on)}, not approved"
    rows = [["hours", hours(before.hours), hours(option.promised), signed_hours(round(option.promised, 1) - round(before.hours, 1))]]
    if option.price is not None:
        new, alike = float(option.price.amount), before.price is not None and (before.currency or agreed.currency) == agreed.currency
        old = money(before.price, before.currency or agreed.currency) if before.price is not None else "none was given"
        by = new - before.price if alike and before.price is not None else None
        rows.append(["price", old, money(new, agreed.currency), "" if by is None else f"{'+' if by >= 0 else '−'}{money(abs(by), agreed.currency)}"])
    blocks = [table("What was agreed and what it is now", ["", f"agreed ({when})", "now", "change"], rows, right=(1, 2, 3))]
    blocks.append(
        says(
            f"Of the {hours(option.promised)} hours, {hours(so_far)} have been worked{f', {hours(done)} of them on what is done' if 0 < done < so_far else ''}. {_chance(option)}"
        )
    )
    phases = _by_phase(option, before)
    cells = [
        [str(row["phase"])[0].upper() + str(row["phase"])[1:], *(hours(row[name]) for name in ("old", "worked", "new")), signed_hours(row["by"])]
        for row in phases.to_dict("records")
    ]
    together = ["Together", hours(before.hours), hours(so_far), hours(option.promised), signed_hours(round(option.promised, 1) - round(before.hours, 1))]
    blocks.append(table("By phase", ["phase", "agreed, h", "worked so far, h", "now, h", "change, h"], [*cells, together], right=(1, 2, 3, 4), foot=1))
    others = option.lines[[(row["phase"], row["technique"], row["part"]) not in _agreed(before) for row in option.lines.to_dict("records")]]
    blocks.append(
        facts([("New", _named(others[others["worked_hours"] == 0])), ("Not agreed before, worked already", _named(others[others["worked_hours"] > 0]))])
    )
    return blocks


def _chance(option: Option) -> str:
    chance = CONFIDENCES.get(option.commercial.confidence, f"{option.commercial.confidence} in 100")
    words = f"at {chance}" if option.commercial.confidence == 50 else chance.replace(" in ", " times in ")
    return f"From {counted(option.behind, 'finished work')} of our own and from what this one has shown so far we expect to end within them {words}."


def _by_phase(option: Option, before: Before) -> pd.DataFrame:
    """`phase`, `old`, `worked`, `new`, `by` in the order of work: phases that change, what may turn up, and all others in one row."""
    # in the tenths that sum to the promise
    told = option.lines.assign(told=[float(one) for one in option.tenths[:-1]])
    now = told.groupby("phase", sort=False).agg(worked=("worked_hours", "sum"), new=("told", "sum"))
    allowance = float(option.tenths[-1])
    every = now.join(before.lines.groupby("phase", sort=False)["hours"].sum().rename("old"), how="outer", sort=False).fillna(0.0)
    every = every.loc[[*now.index, *(name for name in every.index if name not in now.index)]]
    unseen = max(round(before.hours, 1) - float(before.lines["hours"].sum()), 0.0)
    if max(allowance, unseen) > 0:
        every.loc["what cannot be seen yet"] = {"worked": 0.0, "new": allowance, "old": unseen}
    changes = (every["new"] - every["old"]).abs() >= _SHOWN
    named: pd.DataFrame = every.loc[changes.to_numpy()]
    if not changes.all():
        named = pd.concat([named, every[~changes].sum().to_frame("all others" if len(named) else "all phases").T])
    return named.assign(by=named["new"] - named["old"]).rename_axis("phase").reset_index()


def _agreed(before: Before) -> set[tuple[str, str, str]]:
    return set(zip(before.lines["phase"], before.lines["technique"], before.lines["part"], strict=True))


def _named(lines: pd.DataFrame) -> str:
    return "; ".join(content.line_in_words(row) for row in lines.to_dict("records"))
