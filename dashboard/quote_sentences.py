"""What is said of a quote, alike on the page and in the command."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

import pandas as pd

from dashboard.analysis.discovery import ENOUGH_OF_A_KIND, FEW_WORKS, OF_A_KIND, Described, Thing, UsuallyDone
from dashboard.analysis.similar import Like
from dashboard.analysis.uplift import FromOutside, first_hours
from dashboard.quoting import Known, Option, WorkQuoted
from dashboard.tables import Row
from dashboard.words import CONFIDENCES, counted, hours, money, signed_hours, tenths

_LITTLE = 0.05
_RARE = 0.005
_NAMED = 3


def came_from(row: Row) -> str:
    """What moved a line: the record, a pinned rate, her own figure, her range, her figures for other lines."""
    if row["done"]:
        return "as worked"
    said = ["pinned rate" if row["pinned"] else "record" if row["works"] else "its phase and the studio"]
    moved = tenths(row["p50"]) - tenths(row["without_figure"])
    if row["by_hand"] > 0:
        said.append(f"own range, which counts {100 * row['by_hand']:.0f} %, moves it {signed_hours(moved)} h")
    elif row["hours"] > 0:
        said.append(f"own figure moves it {signed_hours(moved)} h" if abs(moved) >= _LITTLE else "own figure agrees")
    elif abs(moved) >= _LITTLE:
        said.append(f"figures for other lines move it {signed_hours(moved)} h")
    if row["worked_hours"] > 0:
        said.append(f"{'found on the way, ' if row['number'] < 0 else ''}{hours(row['worked_hours'])} h so far")
    return ", ".join(said)


def things_in_words(things: tuple[Thing, ...]) -> str:
    """Of which works something holds: `finished works with lining removal and of marked structure`."""
    words = []
    for name, word in things:
        match name:
            case "technique":
                words.append(f"with {word}")
            case "without":
                words.append(f"without {word}")
            case "support":
                words.append(f"on {word}")
            case "kind":
                words.append(f"of the kind {word}")
            case _:
                words.append(f"whose {name} is {'marked or severe' if word == 'marked' else 'slight at most'}")
    return " ".join(["finished works", " and ".join(words)]).strip()


def may_turn_up(row: Row) -> str:
    """One technique that may turn up: how likely, from which works, and what it takes then."""
    what = f"{row['technique']} on another part" if row["another"] else f"{row['technique']}"
    said = f"{what[0].upper()}{what[1:]}: about {in_100(row['chance'])}"
    if row["times"]:
        said += f"; it turned up on {row['times']} of {row['of']} {things_in_words(row['things'])} that had {'it on one part only' if row['another'] else 'not been quoted with it'}"
    else:
        said += f"; it never turned up on {row['of']} {things_in_words(row['things'])}, and stands for what its phase says"
    return f"{said}. If so, {hours(row['hours_if_found'])} h at even chance, {hours(row['p80_if_found'])} h 4 in 5."


def in_100(chance: float) -> str:
    """A chance as it is said everywhere."""
    return "under 1 in 100" if chance < _RARE else f"{100 * chance:.0f} in 100"


def usual(those: Sequence[UsuallyDone], of_what: str = "on this sheet") -> list[str]:
    """What is nearly always done here and is not on a sheet: what on equally many works, in one sentence."""
    alike: dict[tuple[int, int, str], list[str]] = {}
    for one in those:
        alike.setdefault((one.works, one.of, one.kind), []).append(one.technique)
    return [
        f"{', '.join(names)[0].upper()}{', '.join(names)[1:]}: on {works} of {counted(of, 'finished work')}{f' of the kind {kind}' if kind else ''}, not {of_what} and in none of its figures: add {'it' if len(names) == 1 else 'them'} if {'it is' if len(names) == 1 else 'they are'} to be done."
        for (works, of, kind), names in alike.items()
    ]


def missing(work: WorkQuoted) -> list[str]:
    """The same of all options of a work: what each of them lacks, and under its name what one of them does."""
    every = [set(one.usual) for one in work.options]
    of_all = set.intersection(*every) if every else set()
    said = usual([one for one in work.options[0].usual if one in of_all]) if every else []
    return said + [
        f"Option {option.name}: {sentence[0].lower()}{sentence[1:]}"
        for option in work.options
        for sentence in usual([one for one in option.usual if one not in of_all])
    ]


def allowance(one: Option, now: Known, work: Described) -> str:
    """What may turn up adds to the promise, and how much stands behind it."""
    known = now.discoveries
    if not known.works:
        return "No finished work with an estimate stands in the record yet, so nothing can be said of what may turn up: there is no allowance for it."
    looked_at, of_kind = known.looked_at(work), sum(1 for one in known.described if one.kind == work.kind)
    events = int(looked_at.turned_up.sum() + looked_at.another.sum())
    works = len(looked_at.objects)
    kind = f" of the kind {work.kind}" if works < known.works else ""
    said = f"What may turn up is {hours(one.allowance)} h of the promise, from {counted(works, 'finished work')}{kind} with an estimate, on which {counted(events, 'such thing')} turned up in all."
    if not kind and work.kind and of_kind < ENOUGH_OF_A_KIND:
        left = ", and what was never done on them is left out" if of_kind >= OF_A_KIND else ""
        said += f" Only {counted(of_kind, 'of them is', 'of them are')} of the kind {work.kind}, so it is told from all kinds{left}."
    if works < FEW_WORKS:
        said += f" {counted(works, 'work')} {'is' if works == 1 else 'are'} little to tell from: the range is wider for it."
    return said


def promised(one: Option) -> str:
    """The total at its three chances."""
    p10, p50, p80, p90 = one.charged_at(0.1, 0.5, 0.8, 0.9)
    said = f"even chance {hours(p50)} h, 4 in 5 {hours(p80)} h, 9 in 10 {hours(p90)} h; 1 in 10 ends within {hours(p10)} h."
    if not one.commercial.first_stage:
        return f"Together: {said}"
    even, four = one.at(0.5, 0.8)
    return f"The first stage: {said} The whole treatment, as far as can be told today: even chance {hours(even)} h, 4 in 5 {hours(four)} h."


def stays(one: Option) -> str:
    """Of a revision what stays as it was approved, and what is added; nothing where the whole is priced."""
    if one.change is None:
        return ""
    agreed, added, currency = one.change.agreed, one.change.added, one.commercial.currency

    def both(hours_of: Decimal, amount: Decimal | None) -> str:
        return f"{hours(float(hours_of))} h, {money(amount, currency) if amount is not None else 'price not known'}"

    said = f"What was approved stays: {both(agreed.hours, agreed.amount)}. Found and added: {both(one.change.hours, added.amount if added else None)}"
    if agreed.amount is not None and (one.commercial.terms.tax or agreed.tax):
        said += f" ({one.commercial.tax_name} included in both)"
    if agreed.net is not None and one.commercial.terms.ceiling is not None and agreed.net > one.commercial.terms.ceiling:
        said += ". What was approved is above the ceiling already, so nothing is added"
    return f"{said}."


def price_words(one: Option) -> str:
    """The price and what it is for."""
    words = CONFIDENCES.get(one.commercial.confidence, f"{one.commercial.confidence} in 100")
    if one.change is not None:
        return (
            f"Price {money(one.price.amount, one.commercial.currency)}{f' with {one.commercial.tax_name}' if one.price.tax else ''} for {hours(one.promised)} h, of both together."
            if one.price
            else "No price of both together."
        )
    if one.price is None and one.promised <= 0:
        return "No price: no line of the first stage is on the sheet."
    if one.price is None:
        return f"No price: nobody has said what an hour costs in {one.commercial.currency}: write it here, or once under Studio, settings. It would be for {hours(one.promised)} h ({words})."
    price, agreed = one.price, one.commercial
    said = f"Price {money(price.amount, agreed.currency)}{f' with {agreed.tax_name}' if agreed.terms.tax else ''} for {hours(one.promised)} h ({words}{', first stage only' if agreed.first_stage else ''})"
    if agreed.terms.tax:
        said += f", {money(price.net, agreed.currency)}{agreed.without_tax}"
    if price.costs:
        said += f", {money(price.costs, agreed.currency)} of it outside costs, materials and travel{agreed.without_tax}"
    if price.limited == "ceiling":
        paid = one.promised * float(max(price.for_hours, Decimal(0)) / price.work) if price.work else 0.0
        said += f"; held at the ceiling, which pays for {hours(paid)} h: the chance of more is {in_100(one.chance_over(paid))}"
    elif price.limited == "minimum":
        said += "; the minimum charge"
    return f"{said}."


def earns(one: Option) -> str:
    """What an hour earns."""
    even, four = one.earned_per_hour(0.5), one.earned_per_hour(0.8)
    if even is None or four is None:
        return ""
    if one.price is not None and one.price.for_hours <= 0:
        return "The ceiling does not even pay the outside costs and materials: not an hour is paid."
    return f"An hour earns {money(round(even, 2), one.commercial.currency)}{one.commercial.without_tax} where it ends at even chance, {money(round(four, 2), one.commercial.currency)} where it takes as long as 4 in 5."


def break_even(one: Option) -> str:
    """From how many hours on the studio works for nothing."""
    nothing, yearly = one.nothing_from(), one.commercial.yearly
    if one.price is None or one.price.for_hours <= 0:
        return ""
    if yearly is None and one.commercial.said_yearly:
        return (
            f"From how many hours on the studio works for nothing cannot be told in {one.commercial.currency}: what a year costs is said in another currency."
        )
    if nothing is None or yearly is None:
        return "From how many hours on the studio works for nothing cannot be told: say under Studio, quotes, what a year costs and how many hours of it can be charged."
    return (
        f"An hour costs the studio {money(round(yearly.break_even_rate, 2), one.commercial.currency)}{one.commercial.without_tax}, so from {hours(nothing)} h on it works for nothing; the chance of that is {in_100(one.chance_over(nothing))}."
        if one.chance_over(nothing) > 0
        else f"An hour costs the studio {money(round(yearly.break_even_rate, 2), one.commercial.currency)}{one.commercial.without_tax}, so it would work for nothing only from {hours(nothing)} h on."
    )


def effect(before: float, now: float) -> str:
    """What a change did to the total at 4 in 5; nothing where it did nothing that shows."""
    moved = tenths(now) - tenths(before)
    return f"The last change moved it, 4 in 5, by {signed_hours(moved)} h: from {hours(before)} to {hours(now)} h." if abs(moved) >= _LITTLE else ""


def drivers(one: Option) -> pd.DataFrame:
    """What lies between even chance and 4 in 5, by line, the most first: `line`, `spread` (hours). What may turn up is one of them."""
    named = [f"{row['technique']}{f', {part}' if (part := row['part']) else ''}" for row in one.lines.to_dict("records")]
    found = pd.DataFrame({"line": [*named, "what may turn up"], "spread": [*one.lines["spread"], float(one.found["spread"].sum())]})
    return found[found["spread"] > 0].sort_values("spread", ascending=False, ignore_index=True)


def drives(one: Option) -> str:
    """The same in a sentence."""
    found, (even, four) = drivers(one), one.at(0.5, 0.8)
    if found.empty or four - even < _LITTLE:
        return ""
    told = [f"{row['line']} {hours(row['spread'])} h" for row in found.head(_NAMED).to_dict("records")]
    return f"Of the {hours(tenths(four) - tenths(even))} h between even chance and 4 in 5, most come from {', '.join(told)}."


def surprising(lines: pd.DataFrame, likes: Sequence[Like]) -> dict[str, str]:
    """Of each similar work what its first estimate said, what it took, and what surprised; by its code. `lines` of `dashboard.reading.overruns`."""
    found = {}
    of = lines["object"].isin([like.object for like in likes])
    for code, inside in lines[of & lines["finished"].astype(bool)].groupby("object"):
        took = f"took {hours(float(inside['actual_hours'].sum()))} h"
        if inside["yardstick"].eq("none").all():
            found[str(code)] = f"; {took}; it had no estimate to hold that against"
            continue
        first = first_hours(inside)
        by_quantity = int(first.isna().sum())
        more = f" and {counted(by_quantity, 'line')} by quantity" if by_quantity else ""
        said = f"; estimated {hours(float(first.sum()))} h{more}, {took}"
        unforeseen = inside[inside["unforeseen_hours"] >= _LITTLE].sort_values("unforeseen_hours", ascending=False).head(2)
        over = (
            inside[inside["slower_hours"] + inside["more_to_do_hours"] >= 1.0]
            .assign(by=lambda frame: frame["slower_hours"] + frame["more_to_do_hours"])
            .sort_values("by", ascending=False)
            .head(1)
        )
        told = [f"{row['technique']} turned up ({hours(row['unforeseen_hours'])} h)" for row in unforeseen.to_dict("records")]
        told += [f"{row['technique']} took {hours(row['by'])} h more than quoted" for row in over.to_dict("records")]
        found[str(code)] = said + (f"; {', '.join(told)}" if told else "; nothing surprised")
    return found


def outside(own_hours: float, view: FromOutside | None) -> str:
    """The view from outside beside the total of the lines."""
    if view is None or not view.works or math.isnan(view.hours[0]):
        return ""
    four = f", 4 in 5 {hours(view.hours[1])} h" if not math.isnan(view.hours[1]) else ""
    return f"Seen from outside: {counted(view.works, 'finished work')} ended beside their own first estimates so that your own {hours(own_hours)} h would become {hours(view.hours[0])} h at even chance{four}."
