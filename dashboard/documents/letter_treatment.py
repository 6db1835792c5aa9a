"""The proposed treatment in a letter: in words, by phase, or line by line."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import pandas as pd

from dashboard.documents.blocks import Block, facts, paragraph, subheading, table
from dashboard.documents.letter_price import NO_PRICE, bare_amount, bare_rate
from dashboard.formatting import CONFIDENCES, amount, hours
from dashboard.queries import Row
from dashboard.services.quote import Option
from dashboard.services.quote_terms import QuoteTerms
from dashboard.text.remembered import works_behind
from ingest.values.line_names import AS_A_WHOLE, line_name, line_names

_SEEN = 0.05  # chance from which what may turn up is named


_MOST_NAMED = 4


def treatment_blocks(option: Option, form_fields: Mapping[str, str], agreed: QuoteTerms) -> list[Block]:
    form = form_fields.get("form", "one")
    lines = lines_in_price(option)
    if form == "full" and option.price is not None:
        return [subheading("Proposed treatment"), *_full(option, lines, agreed)]
    if form == "phases":
        return [subheading("Proposed treatment"), *_by_phase(option, lines, agreed)]
    rows = [_phase_and_lines(str(phase), inside) for phase, inside in lines.groupby("phase", sort=False)]
    return [subheading("Proposed treatment"), Block(kind="facts", rows=rows), *_first_stage(option, agreed)]


def lines_in_price(option: Option) -> pd.DataFrame:
    """The lines that the price is for."""
    return option.lines[option.lines["in_price"]]


def line_in_words(line: Row) -> str:
    """A line as the owner reads it: in the words written for it, else by its name, and the part."""
    return line.get("wording") or _with_part(line_name(line["phase"], line["technique"]), line["part"])


def _with_part(name: str, part: str) -> str:
    return f"{name} ({part})" if part else name


def _in_its_phase(line: Row) -> str:
    """The same beside the name of its phase, which is not said again: of one part of it the part alone; empty
    of what is the phase as a whole, or is called like it.
    """
    phase, name = line["phase"], line_in_words(line)
    if not line["technique"] and not line.get("wording"):
        return str(line["part"])
    if name.casefold() == phase.casefold():
        return ""
    return name.removeprefix(f"{phase} (").removesuffix(")") if name.startswith(f"{phase} (") else name


def phase_in_words(phase: str) -> str:
    """The head of the lines of a phase, or of the work as a whole."""
    return f"{phase[0].upper()}{phase[1:]}" if phase else "The work"


def _done_in(lines: pd.DataFrame) -> tuple[str, bool]:
    """The treatments of a phase, and whether there are others beside the phase itself."""
    named = list(dict.fromkeys(_in_its_phase(row) for row in lines.to_dict("records")))
    others = [name for name in named if name]
    return "; ".join(others), bool(others) and len(others) < len(named)


def _phase_and_lines(phase: str, lines: pd.DataFrame) -> tuple[str, str]:
    done, beside = _done_in(lines)
    return phase_in_words(phase), f"{'also ' if beside else ''}{done}" or AS_A_WHOLE


def _in_a_cell(phase: str, lines: pd.DataFrame) -> str:
    """The same in one cell."""
    done, beside = _done_in(lines)
    if not phase and not done:
        return f"{phase_in_words(phase)} {AS_A_WHOLE}"
    return f"{phase_in_words(phase)}{', also ' if beside else ': ' if done else ''}{done}"


def _by_phase(option: Option, lines: pd.DataFrame, agreed: QuoteTerms) -> list[Block]:
    """Hours as they are in the price, the range of each phase, and what it costs; all of it sums."""
    price = option.price
    phases = option.phases[option.phases["phase"].isin(lines["phase"])]
    rows, of_phase = [], _amounts_of_phases(option, phases, agreed)
    for (phase_hours, cost), phase in zip(of_phase, phases.to_dict("records"), strict=True):
        inside = lines[lines["phase"] == phase["phase"]]
        rows.append(
            [
                _in_a_cell(phase["phase"], inside),
                phase_hours,
                f"{hours(phase['p10'])} to {hours(phase['p90'])}",
                cost,
            ]
        )
    allowance = _allowance_hours(option)
    if allowance:
        rows.append(
            ["Allowance for what cannot be seen yet", f"{allowance}", "", _allowance_amount(option, agreed)]
        )
    total = sum(option.tenths, Decimal(0))
    rows.append(["Together", f"{total}", "", bare_amount(price.work, agreed) if price else ""])
    heads = [
        "phase and what is done",
        "hours",
        "8 times in 10, h",
        f"price, {agreed.currency}{agreed.without_tax}" if price else "",
    ]
    if not price:
        heads, rows = heads[:3], [row[:3] for row in rows]
    basis = f"Hours are those that the price is for: {_how_sure(option, agreed)}" if price else NO_PRICE
    return [
        table("Proposed treatment by phase", heads, rows, right=(1, 2, 3), foot=1),
        paragraph(basis),
        *_allowance(option),
        *_first_stage(option, agreed),
    ]


def _how_sure(option: Option, agreed: QuoteTerms) -> str:
    words = CONFIDENCES.get(agreed.confidence, f"{agreed.confidence} in 100")
    chance = f"at {words}" if agreed.confidence == 50 else words.replace(" in ", " times in ")
    stands_on = (
        f"from our own record of {works_behind(option.behind, option.remembered, 'finished work')}"
        f"{',' if option.remembered else ''}"
        if option.behind
        else "as far as can be told before there is a record of finished works"
    )
    return f"{stands_on} we expect to end within {hours(option.promised)} hours {chance}."


def _amounts_of_phases(option: Option, phases: pd.DataFrame, agreed: QuoteTerms) -> list[tuple[str, str]]:
    """Hours and price of each phase, from its lines as they are reckoned."""
    amounts = []
    for phase in phases["phase"]:
        places = [
            place
            for place, (name, counts) in enumerate(
                zip(option.lines["phase"], option.lines["in_price"], strict=True)
            )
            if name == phase and counts
        ]
        phase_hours = sum((option.tenths[place] for place in places), Decimal(0))
        amounts.append(
            (
                f"{phase_hours}",
                (
                    bare_amount(
                        sum((option.price.parts[place].shown for place in places), Decimal(0)), agreed
                    )
                    if option.price
                    else ""
                ),
            )
        )
    return amounts


def _allowance_hours(option: Option) -> Decimal:
    return option.tenths[-1]


def _allowance_amount(option: Option, agreed: QuoteTerms) -> str:
    return "" if option.price is None else bare_amount(option.price.parts[-1].shown, agreed)


def _allowance(option: Option) -> list[Block]:
    likely = option.discoveries[
        (option.discoveries["chance"] >= _SEEN) & ~option.discoveries["another"]
    ].head(_MOST_NAMED)
    if likely.empty or not _allowance_hours(option):
        return []
    names = line_names(likely[["phase", "technique"]]).tolist()
    return [
        paragraph(
            "The allowance is for what shows only later on some works; as far as our record tells, most"
            f" likely {_listed(names)}. Beyond it we would write to you first."
        )
    ]


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _in_the_statement(line: Row) -> str:
    """A line beside its phase in a column of its own."""
    if line["technique"] or line.get("wording"):
        return line_in_words(line)
    return _with_part(AS_A_WHOLE, line["part"])


def _full(option: Option, lines: pd.DataFrame, agreed: QuoteTerms) -> list[Block]:
    """Every line with hours × rate, for insurers and institutions."""
    price = option.price
    assert price is not None
    places = [place for place, number in enumerate(option.lines.index) if number in set(lines.index)]
    rows = []
    for place in places:
        line, part = option.lines.iloc[place], price.parts[place]
        rows.append(
            [
                line["phase"] or "the work",
                _in_the_statement(line.to_dict()),
                amount(line["quantity"], line["unit"] or None),
                f"{part.hours}",
                bare_rate(part.rate, agreed),
                bare_amount(part.shown, agreed),
                line["mark"],
            ]
        )
    if allowance := _allowance_hours(option):
        words, rate = "allowance for what cannot be seen yet", bare_rate(price.parts[-1].rate, agreed)
        rows.append(["", words, "", f"{allowance}", rate, _allowance_amount(option, agreed), ""])
    rows.append(["", "together", "", f"{price.hours}", "", bare_amount(price.work, agreed), ""])
    currency = f"{agreed.currency}{agreed.without_tax}"
    heads = [
        "phase",
        "technique",
        "quantity",
        "hours",
        f"rate, {currency}",
        f"amount, {currency}",
        "belongs to",
    ]
    marks = [name for name in dict.fromkeys(lines["mark"]) if name]
    if not marks:
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    blocks = [
        table("Full statement", heads, rows, right=(2, 3, 4, 5), foot=1),
        paragraph(f"Hours are those that the price is for: {_how_sure(option, agreed)}"),
        *_allowance(option),
    ]
    sums = []
    for name in marks:
        of_mark = [price.parts[place].shown for place in places if option.lines.iloc[place]["mark"] == name]
        total = bare_amount(sum(of_mark, Decimal(0)), agreed)
        sums.append((f"Of the hours, {name}{agreed.without_tax}", total))
    if sums:
        blocks.append(facts(sums))
    return [*blocks, *_first_stage(option, agreed)]


def _first_stage(option: Option, agreed: QuoteTerms) -> list[Block]:
    if not agreed.first_stage:
        return []
    p50, p90 = option.at(0.5, 0.9)
    return [
        paragraph(
            "This is a first stage. What we find in it opens the next quote, which you approve anew. As far"
            f" as can be told today the whole treatment would take {hours(p50)} hours at even chance and"
            f" {hours(p90)} hours 9 times in 10; that is no promise yet."
        )
    ]
