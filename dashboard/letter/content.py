"""What a quote says to the owner, in each of its three forms.

What such a letter must have: the American Institute for Conservation, Commentaries to the Guidelines for Practice, no. 26 (a written plan with a time estimate, a cost estimate
where a contract rests on it, the owner's approval, and approval again for significant deviations), and no. 24 B for the identification of the work.
Nothing of another work or owner is in it: chances come from the record, its works are not named.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import pandas as pd

from dashboard.analysis.dots import stacked
from dashboard.analysis.price import Price, payments
from dashboard.letter.blocks import Block, Letter, facts, heading, says, small, subheading, table
from dashboard.quoting import Commercial, Option, Quoted, WorkQuoted
from dashboard.tables import Row
from dashboard.words import CONFIDENCES, amount, counted, day, hours, money, text
from ingest import notation
from ingest.cautions import usual_cautions
from ingest.errors import BenchHoursError
from ingest.quotes import Quote
from ingest.settings import CLAUSES, NO_CLAUSE, Settings
from ingest.vocabulary import Vocabulary

Ready = Mapping[tuple[int, str], tuple[date, date]]
"""The number of a work, as the letter counts those with lines from 1 on, and an option of it, to the days by which it is ready, at even chance and 4 in 5."""

FORMS = {"one": "one price", "phases": "by phase", "full": "full statement: hours × rate"}
USUAL_CLAUSES = {
    "clause_not_included": "Not included, unless it is named above: transport, insurance on the way, analysis by others, and work on the frame.",
    "clause_changes": "Some damage shows only when an old lining, varnish or overpaint is off. If we find something that changes the treatment, the time or the price beyond what is allowed "
    "for here, we stop, write to you what was found and what it would take, and go on only with your approval in writing.",
    "clause_validity": "This quote holds for 60 days from its date.",
    "clause_storage": "The work may stay with us without charge until four weeks after we have told you that it is finished.",
    "clause_insurance": "Please keep the work insured while it is with us, and tell your insurer where it is.",
}
CLAUSE_HEADS = {
    "clause_not_included": "Not included", "clause_changes": "What would change the price", "clause_validity": "How long this holds", "clause_storage": "Storage", "clause_insurance": "Insurance",
}  # fmt: skip
_NO_PRICE = "This letter has no price yet: it waits for what an hour costs, and for lines that it is for."
_SEEN = 0.05  # chance from which what may turn up is named
_MOST_NAMED = 4
# How a maker is written who is not simply one (common practice, no source).
_ATTRIBUTED = re.compile(r"(attributed|ascribed) to\b", re.IGNORECASE)
_QUALIFIED = re.compile(
    r"(attributed|ascribed) to\b|(probably|possibly|perhaps|formerly|presumably|likely)\b|(in the )?((circle|workshop|studio|school|follower|followers|manner|style|pupil|assistant|imitator|entourage) of|after|copy after|copy of|"
    r"by|from the|signed|school|workshop)\b",
    re.IGNORECASE,
)
_UNKNOWN = re.compile(r"(unknown|anonymous|anon\.?|unidentified|not known|\?)( (artist|maker|painter|hand|master))?", re.IGNORECASE)
_NOBODY = re.compile(r"(unknown|anonymous|unidentified) \w", re.IGNORECASE)


def letter(quoted: Quoted, quote: Quote, studio: Settings, words: Vocabulary, ready: Ready | None = None) -> Letter:
    """The letter of a quote, in the form that it asks for; raises where its works are of different owners.

    Parameters
    ----------
    ready : when its works would be ready behind those on the bench; what is not in it is told from the day on which it is begun.
    """
    ready = ready or {}
    if len(quoted.owners) > 1:
        raise BenchHoursError("the works of this quote are of different owners", "Quote them apart: a letter is for one owner.")
    said, agreed = quote.letter, quoted.commercial
    works = [work for work in quoted.works if work.options]
    made_on = dated(said, studio) or quoted.as_of
    blocks: list[Block] = [says(said["opening"])] if said.get("opening") else []
    for number, work in enumerate(works, 1):
        if len(works) > 1:
            blocks.append(heading(f"{number}. {_title(work)}"))
        blocks += _work(work, said, agreed, _Ready(quoted.as_of, {name: days for (of, name), days in ready.items() if of == number}))
    if len(works) > 1:
        blocks += _all_together(quoted, works, with_others=bool(ready))
    blocks += _how_paid(quoted, works)
    blocks += _clauses(studio, said, agreed)
    if said.get("closing"):
        blocks += [says(line) for line in said["closing"].splitlines()]
    if studio.letter_cautions and (
        caution := usual_cautions(words, dict.fromkeys(name for work in works for option in work.options for name in _in_price(option)["technique"]))
    ):
        blocks.append(small(caution))
    return Letter(
        studio=studio.studio, letterhead=[line for line in studio.letterhead.splitlines() if line], addressee=[line for line in said.get("addressee", "").splitlines() if line.strip()] or usual_addressee(quoted), day=day(made_on),
        subject=_subject(works, agreed), number=f"Our quote {quote.number}" if quote.number else "", blocks=blocks, approvals=_approvals(quoted, works),
    )  # fmt: skip


def dated(said: Mapping[str, str], studio: Settings) -> date | None:
    """The day that was said for the letter; None where none was, or none that can be read."""
    try:
        return notation.day(said["made_on"], studio.day_order) if said.get("made_on") else None
    except BenchHoursError:
        return None


def usual_addressee(quoted: Quoted) -> list[str]:
    """The owner of the first work that has lines and an owner, as held."""
    held = next((work.read.held for work in quoted.works if work.options and work.read.held.get("owner")), {})
    owner, address = text(held.get("owner")), text(held.get("owner_address"))
    return [line for line in [owner, *address.replace(", ", "\n").splitlines()] if line.strip()]


def _title(work: WorkQuoted) -> str:
    """How a work is spoken of at the head of its part, and in tables."""
    held = work.read.held
    said = ", ".join(filter(None, (text(held.get("title")), text(held.get("maker"))))) or work.said.called
    return f"{said[0].upper()}{said[1:]}"


def called(work: WorkQuoted) -> str:
    """A work in the run of a sentence: its title, or what it is, and whose: by a maker, attributed to one, or by nobody known."""
    held = work.read.held
    title, maker = text(held.get("title")).strip(), text(held.get("maker")).strip()
    if title and not maker and (_ATTRIBUTED.match(title) or (title[0].islower() and _QUALIFIED.match(title))):  # what stands there is no title
        title, maker = "", title
    kind = text(held.get("kind")).strip()
    quoted = (
        f"“{title}”" if title[:1].islower() or _QUALIFIED.match(title) or _UNKNOWN.match(title) else title
    )  # “After the storm” is none that is after somebody
    what = quoted if title else f"{'an' if kind[0].lower() in 'aeiou' else 'a'} {kind}" if kind else "a work"
    code = f" (our number {work.said.object})" if work.said.object else ""
    if not maker:
        return what if title else work.said.called if not kind and code else f"{what}{code}"
    between = ", " if title else " "
    begins = f"{maker[0].lower()}{maker[1:]}"
    first, comma, rest = maker.partition(",")
    if _UNKNOWN.fullmatch(first.strip()):
        return f"{what}{', maker unknown' if title else ' by an unknown maker'}{comma}{rest}"
    if _NOBODY.match(maker):
        return f"{what} by an {begins}"
    if _QUALIFIED.match(maker):
        return f"{what}{between}{begins}"
    return f"{what} by {maker}"


def _subject(works: list[WorkQuoted], agreed: Commercial) -> str:
    what = "A first stage: examination and tests" if agreed.first_stage else "Quote for the treatment"
    return f"{what} of {called(works[0])}" if len(works) == 1 else f"{what} of {counted(len(works), 'work')}"


# --- one work


@dataclass(frozen=True, slots=True)
class _Ready:
    """When the options of a work are ready (even chance, 4 in 5), by their names, as the bench stands on a day."""

    as_of: date
    options: Mapping[str, tuple[date, date]]


def _work(work: WorkQuoted, said: Mapping[str, str], agreed: Commercial, ready: _Ready) -> list[Block]:
    blocks = [_identified(work)]
    several = len(work.options) > 1
    for option in work.options:
        if several:
            blocks.append(subheading(f"Option: {option.name}"))
        blocks += _proposed(option, said, agreed)
        blocks += _costs_and_price(work, option, said, agreed)
        if said.get("dots") == "yes" and option.charged().max() > 0:
            blocks.append(_dots(option))
    return [*blocks, *_time(work.options, agreed, ready)]


def _identified(work: WorkQuoted) -> Block:
    held = work.read.held
    sides = [float(side) for name in ("height_cm", "width_cm") if (side := held.get(name)) is not None]
    size = f"{' × '.join(f'{side:,.1f}'.removesuffix('.0') for side in sides)} cm{' (height × width)' if len(sides) == 2 else ''}" if sides else ""
    if not size and work.area > 0:
        size = f"{work.area:,.1f} dm²"
    kind, support, medium = text(held.get("kind")), text(held.get("support")), work.said.identified.get("medium", "")
    what = "" if medium else kind if support and support in kind else " on ".join(filter(None, (kind, support)))
    return facts([
        ("Maker", text(held.get("maker"))), ("Title", text(held.get("title"))), ("Kind", what), ("Medium", medium), ("Size", size or "to be measured"), ("Marks", work.said.identified.get("marks", "")),
        ("Condition found", work.said.identified.get("condition", "")), ("Our number", work.said.object),
    ])  # fmt: skip


def _proposed(option: Option, said: Mapping[str, str], agreed: Commercial) -> list[Block]:
    form = said.get("form", "one")
    lines = _in_price(option)
    if form == "full" and option.price is not None:
        return [subheading("Proposed treatment"), *_full(option, lines, agreed)]
    if form == "phases":
        return [subheading("Proposed treatment"), *_by_phase(option, lines, agreed)]
    rows = [_phase_and_lines(str(phase), inside) for phase, inside in lines.groupby("phase", sort=False)]
    return [subheading("Proposed treatment"), Block(kind="facts", rows=rows), *_first_stage(option, agreed)]


def _in_price(option: Option) -> pd.DataFrame:
    """The lines that the price is for."""
    return option.lines[option.lines["in_price"]]


def line_in_words(line: Row) -> str:
    """A line as the owner reads it: in the words written for it, else its technique, and the part."""
    return line.get("wording") or f"{line['technique']}{f' ({part})' if (part := line['part']) else ''}"


def _capital(phase: str) -> str:
    return f"{phase[0].upper()}{phase[1:]}"


def _done_in(phase: str, lines: pd.DataFrame) -> tuple[str, bool]:
    """What is done in a phase, and whether that is beside a technique that is called as its phase: it is said once."""
    named = list(dict.fromkeys(line_in_words(row) for row in lines.to_dict("records")))
    others = [
        name.removeprefix(f"{phase} (").removesuffix(")") if name.startswith(f"{phase} (") else name for name in named if name.casefold() != phase.casefold()
    ]
    return "; ".join(others), bool(others) and len(others) < len(named)


def _phase_and_lines(phase: str, lines: pd.DataFrame) -> tuple[str, str]:
    done, beside = _done_in(phase, lines)
    return _capital(phase), f"{'also ' if beside else ''}{done}"


def _in_a_cell(phase: str, lines: pd.DataFrame) -> str:
    """The same in one cell."""
    done, beside = _done_in(phase, lines)
    return f"{_capital(phase)}{', also ' if beside else ': ' if done else ''}{done}"


def _by_phase(option: Option, lines: pd.DataFrame, agreed: Commercial) -> list[Block]:
    """Hours as they are in the price, the range of each phase, and what it costs; all of it sums."""
    price = option.price
    phases = option.phases[option.phases["phase"].isin(lines["phase"])]
    rows, of_phase = [], _amounts_of_phases(option, phases, agreed)
    for (told, cost), phase in zip(of_phase, phases.to_dict("records"), strict=True):
        inside = lines[lines["phase"] == phase["phase"]]
        rows.append([_in_a_cell(phase["phase"], inside), told, f"{hours(phase['p10'])} to {hours(phase['p90'])}", cost])
    found = _allowance_hours(option)
    if found:
        rows.append(["Allowance for what cannot be seen yet", f"{found}", "", _allowance_amount(option, agreed)])
    total = sum(option.tenths, Decimal(0))
    rows.append(["Together", f"{total}", "", _money(price.work, agreed) if price else ""])
    heads = ["phase and what is done", "hours", "8 times in 10, h", f"price, {agreed.currency}{agreed.without_tax}" if price else ""]
    if not price:
        heads, rows = heads[:3], [row[:3] for row in rows]
    said = f"Hours are those that the price is for: {_how_sure(option, agreed)}" if price else _NO_PRICE
    return [table("Proposed treatment by phase", heads, rows, right=(1, 2, 3), foot=1), says(said), *_allowance(option), *_first_stage(option, agreed)]


def _how_sure(option: Option, agreed: Commercial) -> str:
    words = CONFIDENCES.get(agreed.confidence, f"{agreed.confidence} in 100")
    chance = f"at {words}" if agreed.confidence == 50 else words.replace(" in ", " times in ")
    stands_on = (
        f"from our own record of {counted(option.behind, 'finished work')}"
        if option.behind
        else "as far as can be told before there is a record of finished works"
    )
    return f"{stands_on} we expect to end within {hours(option.promised)} hours {chance}."


def _amounts_of_phases(option: Option, phases: pd.DataFrame, agreed: Commercial) -> list[tuple[str, str]]:
    """Hours and price of each phase, from its lines as they are reckoned."""
    found = []
    for phase in phases["phase"]:
        places = [place for place, (name, counts) in enumerate(zip(option.lines["phase"], option.lines["in_price"], strict=True)) if name == phase and counts]
        told = sum((option.tenths[place] for place in places), Decimal(0))
        found.append((f"{told}", _money(sum((option.price.parts[place].shown for place in places), Decimal(0)), agreed) if option.price else ""))
    return found


def _allowance_hours(option: Option) -> Decimal:
    return option.tenths[-1]


def _allowance_amount(option: Option, agreed: Commercial) -> str:
    return "" if option.price is None else _money(option.price.parts[-1].shown, agreed)


def _allowance(option: Option) -> list[Block]:
    likely = option.found[(option.found["chance"] >= _SEEN) & ~option.found["another"]].head(_MOST_NAMED)
    if likely.empty or not _allowance_hours(option):
        return []
    return [
        says(
            f"The allowance is for what shows only later on some works; as far as our record tells, most likely {_listed(likely['technique'].tolist())}. Beyond it we would write to you first."
        )
    ]


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _full(option: Option, lines: pd.DataFrame, agreed: Commercial) -> list[Block]:
    """Every line with hours × rate, for insurers and institutions."""
    price = option.price
    assert price is not None
    rows = []
    places = [place for place, number in enumerate(option.lines.index) if number in set(lines.index)]
    marked = bool((lines["mark"] != "").any())
    for place in places:
        line, part = option.lines.iloc[place], price.parts[place]
        what = line_in_words(line.to_dict())
        rows.append(
            [
                line["phase"],
                "" if what.casefold() == line["phase"].casefold() else what,
                amount(line["quantity"], line["unit"] or None),
                f"{part.hours}",
                _rate(part.rate, agreed),
                _money(part.shown, agreed),
                *([line["mark"]] if marked else []),
            ]
        )
    if found := _allowance_hours(option):
        rows.append(
            [
                "",
                "allowance for what cannot be seen yet",
                "",
                f"{found}",
                _rate(price.parts[-1].rate, agreed),
                _allowance_amount(option, agreed),
                *([""] if marked else []),
            ]
        )
    rows.append(["", "together", "", f"{price.hours}", "", _money(price.work, agreed), *([""] if marked else [])])
    heads = [
        "phase",
        "technique",
        "quantity",
        "hours",
        f"rate, {agreed.currency}{agreed.without_tax}",
        f"amount, {agreed.currency}{agreed.without_tax}",
        *(["belongs to"] if marked else []),
    ]
    blocks = [
        table("Full statement", heads, rows, right=(2, 3, 4, 5), foot=1),
        says(f"Hours are those that the price is for: {_how_sure(option, agreed)}"),
        *_allowance(option),
    ]
    if marked:
        sums = {
            name: sum((price.parts[place].shown for place in places if option.lines.iloc[place]["mark"] == name), Decimal(0))
            for name in dict.fromkeys(lines["mark"])
            if name
        }
        blocks.append(facts([(f"Of the hours, {name}{agreed.without_tax}", _money(value, agreed)) for name, value in sums.items()]))
    return [*blocks, *_first_stage(option, agreed)]


def _first_stage(option: Option, agreed: Commercial) -> list[Block]:
    if not agreed.first_stage:
        return []
    p50, p90 = option.at(0.5, 0.9)
    return [
        says(
            "This is a first stage. What we find in it opens the next quote, which you approve anew. As far as can be told today the whole treatment would take "
            f"{hours(p50)} hours at even chance and {hours(p90)} hours 9 times in 10; that is no promise yet."
        )
    ]


def _costs_and_price(work: WorkQuoted, option: Option, said: Mapping[str, str], agreed: Commercial) -> list[Block]:
    price = option.price
    if price is None:
        return [says(_NO_PRICE)] if said.get("form", "one") != "phases" else []
    rows = []
    if said.get("form", "one") != "one":
        rows.append(("For the hours", money(price.work, agreed.currency)))
    elif work.costs or price.adjusted:
        rows.append(("Treatment", money(price.work, agreed.currency)))
    rows += [(what[0].upper() + what[1:], money(value, agreed.currency)) for what, value in work.costs]
    if price.adjusted:
        rows.append(
            (
                {"minimum": "To the minimum charge", "ceiling": "Taken off, to the ceiling agreed"}.get(price.limited, "Rounded"),
                money(price.adjusted, agreed.currency),
            )
        )
    rows += _with_tax(price, agreed)
    blocks = [subheading("Price"), facts(rows)]
    if agreed.terms.ceiling is not None:
        blocks.append(
            says(f"Without your approval in writing the price does not go beyond {money(agreed.terms.ceiling, agreed.currency)}{agreed.without_tax}.")
        )
    return blocks


def _with_tax(price: Price, agreed: Commercial) -> list[tuple[str, str]]:
    if not agreed.terms.tax:
        return [("Price", money(price.amount, agreed.currency))]
    return [
        (f"Price{agreed.without_tax}", money(price.net, agreed.currency)),
        (f"{agreed.tax_name[0].upper()}{agreed.tax_name[1:]} {agreed.terms.tax:g} %", money(price.tax, agreed.currency)),
        (f"Price{agreed.tax_included}", money(price.amount, agreed.currency)),
    ]


def _money(value: Decimal, agreed: Commercial) -> str:
    """An amount in whole steps of the currency, without it: it stands at the head or with the price."""
    return f"{value:,.{_places(agreed)}f}".replace("-", "−")


def _rate(value: Decimal, agreed: Commercial) -> str:
    """A rate to its last digit, so that hours × rate is what stands beside it."""
    return f"{value:,.{max(_places(agreed), -int(value.as_tuple().exponent))}f}"


def _places(agreed: Commercial) -> int:
    return max(0, -int(agreed.terms.step.as_tuple().exponent))


def _dots(option: Option) -> Block:
    values = option.dots()
    places, level, low, high = stacked(values)
    promised = min(max((option.promised - low) / (high - low), 0.0), 1.0) if high > low else 0.5
    within = int((values <= option.promised).sum())
    return Block(
        kind="dots", text=f"Each of the {len(values)} dots is equally likely to be where the hours end: {within} of them are within the {hours(option.promised)} hours of the promise.",
        dots=list(zip(places, level, strict=True)), within=within, promise=promised, ends=(f"{hours(low)} h", f"{hours(high)} h", f"promise {hours(option.promised)} h"),
    )  # fmt: skip


def _time(options: tuple[Option, ...], agreed: Commercial, ready: _Ready) -> list[Block]:
    said = []
    for option in options:
        if option.promised <= 0:
            continue
        even, likely = option.weeks(0.5), option.weeks(0.8)
        waits = [float(value) for value in (pd.Series(option.days).quantile([0.5, 0.8]))]
        name = f"Option {option.name}: " if option.name else ""
        about, most = max(round(even), 1), max(round(likely + 0.4999), 1)
        days = None if agreed.begin_on else ready.options.get(option.name)
        weeks = f"about {counted(about, 'week')}"
        sentence = (
            f"{name}from now to end {weeks}"
            if option.worked
            else f"{name}from beginning to end {weeks}"
            if agreed.begin_on or days
            else f"{name}{weeks} once it is begun"
        )
        sentence += f", 4 times in 5 no more than {counted(most, 'week')}" if most > about else ""
        if waits[1] >= 0.5:
            sentence += f"; of that {waits[0]:,.0f} to {waits[1]:,.0f} days are waiting (soaking, pressing, drying), nobody's hours"
        if agreed.begin_on:
            by = day(agreed.begin_on + timedelta(weeks=most))
            sentence += f". Begun on {day(agreed.begin_on)}, it would be ready by {by}, 4 times in 5"
        elif days:
            sentence += f". If you approve it now, it would be ready, behind the works that come before it, by {day(days[0])} (even chance) or {day(days[1])} (4 times in 5), as our bench stands on {day(ready.as_of)}"
        said.append(f"{sentence[0].upper()}{sentence[1:]}.")
    return [subheading("Time of the first stage" if agreed.first_stage else "Time"), *map(says, said)] if said else []


# --- all works, payments, clauses, approval


def _all_together(quoted: Quoted, works: list[WorkQuoted], *, with_others: bool) -> list[Block]:
    """A price each, what they share, and all of it."""
    agreed = quoted.commercial
    prices = [work.options[0].price for work in works]
    rows = [
        [_title(work) + (f", option {name}" if (name := work.options[0].name) else ""), _money(one.amount, agreed) if one else ""]
        for work, one in zip(works, prices, strict=True)
    ]
    if shared := _shared_travel(quoted, works):
        rows.append(
            [
                f"Travel, for all of them together{agreed.without_tax if quoted.amount is None else ''}",
                _money(shared, agreed),
            ]
        )
    rows.append(["Together", _money(quoted.amount, agreed) if quoted.amount is not None else ""])
    first = [says("Where a work has options, its first one is counted here and under Payment.")] if any(len(work.options) > 1 for work in works) else []
    return [
        heading("All works together"),
        *first,
        table("All works together", ["work", f"price, {agreed.currency}{agreed.tax_included}"], rows, right=(1,), foot=1),
        *_time_of_all(quoted, with_others=with_others),
    ]


def _time_of_all(quoted: Quoted, *, with_others: bool) -> list[Block]:
    even, likely = (float(value) / quoted.commercial.bench_hours_per_week for value in pd.Series(quoted.total).quantile([0.5, 0.8]))
    about, most = max(round(even), 1), max(round(likely + 0.4999), 1)
    within = f", 4 times in 5 no more than {counted(most, 'week')}" if most > about else ""
    return [
        says(
            f"At the bench all of them together are about {counted(about, 'week')} of one person{within}; the weeks above are of each work by itself{', the days behind those before it in this letter too' if with_others else ''}."
        )
    ]


def _how_paid(quoted: Quoted, works: list[WorkQuoted]) -> list[Block]:
    agreed, amount = quoted.commercial, quoted.amount
    if not agreed.payments or amount is None:
        return []
    if len(works) == 1 and len(works[0].options) > 1:
        left = 100 - sum((share for _, share in agreed.payments), Decimal(0))
        shares = [*agreed.payments, *([("the rest", left)] if left else [])]
        return [
            subheading("Payment"),
            says(f"Of the price of the option you choose{agreed.tax_included}: {'; '.join(f'{name} {share:g} %' for name, share in shares)}."),
        ]
    stages = payments(amount, agreed.payments, agreed.terms.step)
    return [subheading(f"Payment{agreed.tax_included}"), facts([(f"{name[0].upper()}{name[1:]}", money(value, agreed.currency)) for name, value in stages])]


def _clauses(studio: Settings, said: Mapping[str, str], agreed: Commercial) -> list[Block]:
    blocks: list[Block] = []
    for name in CLAUSES:
        words = said.get(name) or getattr(studio, name) or USUAL_CLAUSES[name]
        if words.strip().casefold() != NO_CLAUSE:
            blocks += [subheading(CLAUSE_HEADS[name]), *(says(line) for line in words.splitlines())]
    return blocks


def _approvals(quoted: Quoted, works: list[WorkQuoted]) -> list[str]:
    """What may be approved: each option of each work, and what they share."""
    agreed, found = quoted.commercial, []
    for work in works:
        for option in work.options:
            price = f"{money(option.price.amount, agreed.currency)}{agreed.tax_included}" if option.price else ""
            found.append(", ".join(filter(None, (_title(work) if len(works) > 1 else "", f"option {option.name}" if option.name else "", price))))
    shared = _shared_travel(quoted, works)
    return [
        *found,
        *(
            [f"Travel, for all of them together, {money(shared, agreed.currency)}{agreed.without_tax if quoted.amount is None else agreed.tax_included}"]
            if shared
            else []
        ),
    ]


def _shared_travel(quoted: Quoted, works: list[WorkQuoted]) -> Decimal | None:
    """What travel for several works comes to, with tax where the price is known; None where there is none, or one work bears it."""
    if len(works) < 2 or not quoted.commercial.travel:
        return None
    prices = [work.options[0].price for work in works]
    return quoted.commercial.travel if quoted.amount is None else quoted.amount - sum((one.amount for one in prices if one), Decimal(0))
