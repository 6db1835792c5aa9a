"""Sentences about a quote, the same on the page and in the command."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

import pandas as pd

from dashboard.analysis.data.levels import shown_technique
from dashboard.analysis.report.reference_class import ReferenceClassForecast, first_hours
from dashboard.analysis.report.similar_works import SimilarWork
from dashboard.analysis.simulation.discovery_model import ENOUGH_OF_A_KIND, OF_A_KIND, WorkFeatures
from dashboard.analysis.simulation.unforeseen import FEW_WORKS, Feature, UsualTechnique
from dashboard.formatting import CONFIDENCES, counted, hours, money, signed_hours, tenths
from dashboard.queries import Row
from dashboard.services.quote import Option, WorkQuoted
from dashboard.services.quote_context import QuoteContext
from dashboard.text.remembered import works_behind
from ingest.values.line_names import line_name, line_names

_LITTLE = 0.05
_RARE = 0.005
_NAMED = 3
_OF_A_SURPRISE = [
    *("object", "phase", "technique", "yardstick", "actual_hours", "estimated_hours", "first_approved_hours"),
    *("unforeseen_hours", "slower_hours", "more_to_do_hours"),
]


def line_sources(row: Row) -> str:
    """Sources of the hours of a line: the record, a pinned rate, own figures or ranges."""
    if row["done"]:
        return "as worked"
    sources = ["pinned rate" if row["pinned"] else "record" if row["works"] else "its phase and the studio"]
    moved = tenths(row["p50"]) - tenths(row["without_figure"])
    if row["by_hand"] > 0:
        sources.append(
            f"own range, which counts {100 * row['by_hand']:.0f} %, moves it {signed_hours(moved)} h"
        )
    elif row["hours"] > 0:
        sources.append(
            f"own figure moves it {signed_hours(moved)} h" if abs(moved) >= _LITTLE else "own figure agrees"
        )
    elif abs(moved) >= _LITTLE:
        sources.append(f"figures for other lines move it {signed_hours(moved)} h")
    if row["worked_hours"] > 0:
        sources.append(
            f"{'found on the way, ' if row['number'] < 0 else ''}{hours(row['worked_hours'])} h so far"
        )
    return ", ".join(sources)


def things_in_words(things: tuple[Feature, ...]) -> str:
    """Of which works something holds: `finished works with lining removal and of marked structure`."""
    words = []
    for name, word in things:
        match name:
            case "technique":
                words.append(f"with {shown_technique(word)}")
            case "without":
                words.append(f"without {shown_technique(word)}")
            case "support":
                words.append(f"on {word}")
            case "kind":
                words.append(f"of the kind {word}")
            case _:
                words.append(
                    f"whose {name} is {'marked or severe' if word == 'marked' else 'slight at most'}"
                )
    return " ".join(["finished works", " and ".join(words)]).strip()


def may_turn_up(row: Row) -> str:
    """One technique that may turn up: how likely, from which works, and what it takes then."""
    name = line_name(row["phase"], row["technique"])
    what = f"{name} on another part" if row["another"] else name
    sentence = f"{what[0].upper()}{what[1:]}: about {in_100(row['chance'])}"
    if row["times"]:
        sentence += (
            f"; it turned up on {row['times']} of {row['of']} {things_in_words(row['things'])} that had"
            f" {'it on one part only' if row['another'] else 'not been quoted with it'}"
        )
    else:
        sentence += (
            f"; it never turned up on {row['of']} {things_in_words(row['things'])}, and stands for what its"
            " phase says"
        )
    return (
        f"{sentence}. If so, {hours(row['hours_if_found'])} h at even chance, {hours(row['p80_if_found'])} h"
        " 4 in 5."
    )


def in_100(chance: float) -> str:
    """A chance as it is said everywhere."""
    return "under 1 in 100" if chance < _RARE else f"{100 * chance:.0f} in 100"


def usual(those: Sequence[UsualTechnique], of_what: str = "on this sheet") -> list[str]:
    """Techniques nearly always done and not on a sheet, those on equally many works in one sentence."""
    alike: dict[tuple[int, int, str], list[str]] = {}
    for item in those:
        alike.setdefault((item.works, item.of, item.kind), []).append(shown_technique(item.technique))
    return [
        f"{', '.join(names)[0].upper()}{', '.join(names)[1:]}: on {works} of"
        f" {counted(of, 'finished work')}{f' of the kind {kind}' if kind else ''}, not {of_what} and in none"
        f" of its figures: add {'it' if len(names) == 1 else 'them'} if"
        f" {'it is' if len(names) == 1 else 'they are'} to be done."
        for (works, of, kind), names in alike.items()
    ]


def missing(work: WorkQuoted) -> list[str]:
    """The same of all options of a work; what only some of them lack stands under their names."""
    every = [set(option.usual) for option in work.options]
    of_all = set.intersection(*every) if every else set()
    shared = usual([item for item in work.options[0].usual if item in of_all]) if every else []
    return shared + [
        f"Option {option.name}: {sentence[0].lower()}{sentence[1:]}"
        for option in work.options
        for sentence in usual([item for item in option.usual if item not in of_all])
    ]


def allowance(option: Option, context: QuoteContext, work: WorkFeatures) -> str:
    """The allowance for what may turn up, and the works behind it."""
    discoveries = context.discoveries
    if not discoveries.works:
        return (
            "No finished work with an estimate stands in the record yet, so nothing can be said of what may"
            " turn up: there is no allowance for it."
        )
    looked_at, of_kind = (
        discoveries.looked_at(work),
        sum(1 for item in discoveries.described if item.kind == work.kind),
    )
    events = int(looked_at.turned_up.sum() + looked_at.another.sum())
    works = len(looked_at.objects)
    kind = f" of the kind {work.kind}" if works < discoveries.works else ""
    sentence = (
        f"What may turn up is {hours(option.allowance)} h of the promise, from"
        f" {counted(works, 'finished work')}{kind} with an estimate, on which {counted(events, 'such thing')}"
        " turned up in all."
    )
    if not kind and work.kind and of_kind < ENOUGH_OF_A_KIND:
        left = ", and what was never done on them is left out" if of_kind >= OF_A_KIND else ""
        sentence += (
            f" Only {counted(of_kind, 'of them is', 'of them are')} of the kind {work.kind}, so it is told"
            f" from all kinds{left}."
        )
    if works < FEW_WORKS:
        sentence += (
            f" {counted(works, 'work')} {'is' if works == 1 else 'are'} little to tell from: the range is"
            " wider for it."
        )
    return sentence


def rests_on(context: QuoteContext) -> str:
    """The finished lines behind a quote and the works they are on: `3 finished lines on 2 finished works`, or
    where some of these still go on `3 finished lines on 2 works, 1 of them finished`.
    """
    works = context.works
    finished = sum(work.object in works for work in context.finished)
    remembered = len(context.remembered & works)
    on = (
        works_behind(len(works), remembered, "finished work")
        if finished == len(works)
        else f"{works_behind(len(works), remembered, 'work')}, {finished:,} of them finished"
    )
    return f"{counted(context.finished_lines, 'finished line')} on {on}"


def total_sentence(option: Option) -> str:
    """The total at its three chances."""
    p10, p50, p80, p90 = option.charged_at(0.1, 0.5, 0.8, 0.9)
    sentence = (
        f"even chance {hours(p50)} h, 4 in 5 {hours(p80)} h, 9 in 10 {hours(p90)} h; 1 in 10 ends within"
        f" {hours(p10)} h."
    )
    if not option.terms.first_stage:
        return f"Together: {sentence}"
    even, four = option.at(0.5, 0.8)
    return (
        f"The first stage: {sentence} The whole treatment, as far as can be told today: even chance"
        f" {hours(even)} h, 4 in 5 {hours(four)} h."
    )


def approved_part(option: Option) -> str:
    """Of a revision what stays as it was approved, and what is added; nothing where the whole is priced."""
    if option.change is None:
        return ""
    agreed, added, currency = option.change.agreed, option.change.added, option.terms.currency

    def both(hours_of: Decimal, amount: Decimal | None) -> str:
        return (
            f"{hours(float(hours_of))} h,"
            f" {money(amount, currency) if amount is not None else 'price not known'}"
        )

    sentence = (
        f"What was approved stays: {both(agreed.hours, agreed.amount)}. Found and added:"
        f" {both(option.change.hours, added.amount if added else None)}"
    )
    if agreed.amount is not None and (option.terms.pricing.tax or agreed.tax):
        sentence += f" ({option.terms.tax_name} included in both)"
    if (
        agreed.net is not None
        and option.terms.pricing.ceiling is not None
        and agreed.net > option.terms.pricing.ceiling
    ):
        sentence += ". What was approved is above the ceiling already, so nothing is added"
    return f"{sentence}."


def price_words(option: Option) -> str:
    """The price and what it is for."""
    words = CONFIDENCES.get(option.terms.confidence, f"{option.terms.confidence} in 100")
    if option.change is not None:
        if option.price is None:
            return "No price of both together."
        taxed = f" with {option.terms.tax_name}" if option.price.tax else ""
        amount = money(option.price.amount, option.terms.currency)
        return f"Price {amount}{taxed} for {hours(option.promised)} h, of both together."
    if option.price is None and option.promised <= 0:
        return "No price: no line of the first stage is on the sheet."
    if option.price is None:
        return (
            f"No price: nobody has said what an hour costs in {option.terms.currency}: write it here, or"
            f" once under Studio, settings. It would be for {hours(option.promised)} h ({words})."
        )
    price, agreed = option.price, option.terms
    sentence = (
        f"Price {money(price.amount, agreed.currency)}"
        f"{f' with {agreed.tax_name}' if agreed.pricing.tax else ''} for {hours(option.promised)} h"
        f" ({words}{', first stage only' if agreed.first_stage else ''})"
    )
    if agreed.pricing.tax:
        sentence += f", {money(price.net, agreed.currency)}{agreed.without_tax}"
    if price.costs:
        sentence += (
            f", {money(price.costs, agreed.currency)} of it outside costs, materials and"
            f" travel{agreed.without_tax}"
        )
    if price.limited == "ceiling":
        paid = option.promised * float(max(price.for_hours, Decimal(0)) / price.work) if price.work else 0.0
        sentence += (
            f"; held at the ceiling, which pays for {hours(paid)} h: the chance of more is"
            f" {in_100(option.chance_over(paid))}"
        )
    elif price.limited == "minimum":
        sentence += "; the minimum charge"
    return f"{sentence}."


def earns(option: Option) -> str:
    """Earnings an hour."""
    even, four = option.earned_per_hour(0.5), option.earned_per_hour(0.8)
    if even is None or four is None:
        return ""
    if option.price is not None and option.price.for_hours <= 0:
        return "The ceiling does not even pay the outside costs and materials: not an hour is paid."
    return (
        f"An hour earns {money(round(even, 2), option.terms.currency)}{option.terms.without_tax} where it"
        f" ends at even chance, {money(round(four, 2), option.terms.currency)} where it takes as long as 4"
        " in 5."
    )


def break_even(option: Option) -> str:
    """From how many hours on the studio works for nothing."""
    nothing, yearly = option.nothing_from(), option.terms.yearly
    if option.price is None or option.price.for_hours <= 0:
        return ""
    if yearly is None and option.terms.has_yearly_cost:
        return (
            "From how many hours on the studio works for nothing cannot be told in"
            f" {option.terms.currency}: what a year costs is said in another currency."
        )
    if nothing is None or yearly is None:
        return (
            "From how many hours on the studio works for nothing cannot be told: say under Studio, quotes,"
            " what a year costs and how many hours of it can be charged."
        )
    return (
        "An hour costs the studio"
        f" {money(round(yearly.break_even_rate, 2), option.terms.currency)}{option.terms.without_tax}, so"
        f" from {hours(nothing)} h on it works for nothing; the chance of that is"
        f" {in_100(option.chance_over(nothing))}."
        if option.chance_over(nothing) > 0
        else (
            "An hour costs the studio"
            f" {money(round(yearly.break_even_rate, 2), option.terms.currency)}{option.terms.without_tax},"
            f" so it would work for nothing only from {hours(nothing)} h on."
        )
    )


def effect(before: float, after: float) -> str:
    """The effect of a change on the total at 4 in 5; empty where none shows."""
    moved = tenths(after) - tenths(before)
    return (
        f"The last change moved it, 4 in 5, by {signed_hours(moved)} h: from {hours(before)} to"
        f" {hours(after)} h."
        if abs(moved) >= _LITTLE
        else ""
    )


def drivers(option: Option) -> pd.DataFrame:
    """Spread between even chance and 4 in 5 by line, the largest first: `line`, `spread` (hours); one of them
    is what may turn up.
    """
    named = line_names(option.lines[["phase", "technique", "part"]]).tolist()
    spreads = pd.DataFrame(
        {
            "line": [*named, "what may turn up"],
            "spread": [*option.lines["spread"], float(option.discoveries["spread"].sum())],
        }
    )
    return spreads[spreads["spread"] > 0].sort_values("spread", ascending=False, ignore_index=True)


def drives(option: Option) -> str:
    """The same in a sentence."""
    spreads, (even, four) = drivers(option), option.at(0.5, 0.8)
    if spreads.empty or four - even < _LITTLE:
        return ""
    parts = [f"{row['line']} {hours(row['spread'])} h" for row in spreads.head(_NAMED).to_dict("records")]
    return (
        f"Of the {hours(tenths(four) - tenths(even))} h between even chance and 4 in 5, most come from"
        f" {', '.join(parts)}."
    )


def surprises(lines: pd.DataFrame, likes: Sequence[SimilarWork]) -> dict[str, str]:
    """Of each similar work what its first estimate said, what it took, and what surprised; by its code.
    `lines` of `dashboard.queries.overruns`.
    """
    sentences = {}
    of = lines["object"].isin([like.object for like in likes])
    finished = lines.loc[of & lines["finished"].astype(bool), _OF_A_SURPRISE]
    for code, inside in finished.groupby("object"):
        took = f"took {hours(float(inside['actual_hours'].sum()))} h"
        if inside["yardstick"].eq("none").all():
            sentences[str(code)] = f"; {took}; it had no estimate to hold that against"
            continue
        first = first_hours(inside)
        by_quantity = int(first.isna().sum())
        more = f" and {counted(by_quantity, 'line')} without hours" if by_quantity else ""
        sentence = f"; estimated {hours(float(first.sum()))} h{more}, {took}"
        by_name = inside.set_index(line_names(inside[["phase", "technique"]]))
        unforeseen = by_name["unforeseen_hours"]
        over = by_name["slower_hours"] + by_name["more_to_do_hours"]
        surprises = [
            f"{name} turned up ({hours(spent)} h)"
            for name, spent in unforeseen[unforeseen >= _LITTLE].nlargest(2).items()
        ]
        surprises += [
            f"{name} took {hours(more_than_quoted)} h more than quoted"
            for name, more_than_quoted in over[over >= 1.0].nlargest(1).items()
        ]
        sentences[str(code)] = sentence + (
            f"; {', '.join(surprises)}" if surprises else "; nothing surprised"
        )
    return sentences


def outside(own_hours: float, view: ReferenceClassForecast | None) -> str:
    """The view from outside beside the total of the lines."""
    if view is None or not view.works or math.isnan(view.hours[0]):
        return ""
    four = f", 4 in 5 {hours(view.hours[1])} h" if not math.isnan(view.hours[1]) else ""
    return (
        f"Seen from outside: {works_behind(view.works, view.remembered, 'finished work')}"
        f"{',' if view.remembered else ''} ended beside their own first estimates so that your own"
        f" {hours(own_hours)} h would become {hours(view.hours[0])} h at even chance{four}."
    )
