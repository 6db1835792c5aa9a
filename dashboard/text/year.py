"""The year in words."""

from __future__ import annotations

from collections.abc import Sequence

import babel.numbers
import numpy as np

from dashboard.analysis.models.learning_curve import ENOUGH, LearningCurve
from dashboard.analysis.report.year import ENOUGH_WORKS
from dashboard.formatting import counted, day, hours, money
from dashboard.services.prices import tax_of, without_tax
from dashboard.services.year import Year

FORM = (
    "Whether a technique goes faster the more often it was done here: each work counts once, at the hours of"
    " the usual quantity, in the order in which they were finished, from the first in the log and not from"
    " the first of a life. Told as what becomes of the average over all times so far whenever their number"
    f" doubles (the form of Wright, 1936). Fewer than {ENOUGH} works, or a range that does not leave out “no"
    " change” 99 times in 100: not enough to say."
)


def charged(year: Year) -> str:
    """Charged hours of the year, and their share of those that can be."""
    chargeable, own, studio = (year.hours(what) for what in ("chargeable", "own_cost", "studio"))
    present = chargeable + own + studio
    if not present:
        return "Nothing was logged in this year."
    sentences = (
        f"{hours(chargeable)} h were charged, {chargeable / present:.0%} of {hours(present)} h that were"
        f" logged; {hours(own)} h were at the studio’s own cost, {hours(studio)} h studio time."
    )
    of = year.studio.chargeable_hours
    if of is None:
        return sentences + " How many hours of a year can be charged nobody has said yet (Studio, quotes)."
    passed = ((year.last - year.first).days + 1) / 365
    share = (
        f" That is {chargeable / of:.0%} of the {hours(of)} h of a year that can be charged, as said under"
        " Studio"
    )
    return sentences + share + ("." if passed > 0.99 else f"; of the year {passed:.0%} has passed.")


def remembered(year: Year) -> str:
    """Hours told from memory, which stand apart; nothing where there are none."""
    of_memory, works = year.remembered
    return (
        f"{hours(of_memory)} h on {counted(works, 'work')} told from memory are dated in this year, and in"
        " none of these figures."
        if works
        else ""
    )


def earned(year: Year) -> str:
    """Earnings an hour over all works with a price."""
    priced = year.works[year.works["net"].notna() & (year.works["spent_hours"] > 0)]
    if priced.empty:
        return "No work that was finished in this year has a price" + (
            " of which it is said what it includes." if year.unsaid else "."
        )
    an_hour = priced["net"].sum() / priced["spent_hours"].sum()
    sentences = (
        f"An hour earned {money(an_hour, year.studio.currency)}{without_tax(year.studio)}, over"
        f" {counted(len(priced), 'finished work')} with a price: what the price left once"
        f" {f'{tax_of(year.studio)} and ' if year.studio.tax_per_cent else ''}costs were paid, by all hours"
        " held against it and the studio’s own."
    )
    if year.studio.hourly_rate is not None:
        sentences += (
            f" The studio’s rate is {_an_hour(year, year.studio.hourly_rate)}{without_tax(year.studio)}."
        )
    if year.unpriced:
        sentences += (
            f" {counted(year.unpriced, 'finished work')} without a price in {year.studio.currency}: not"
            " in it."
        )
    return sentences


def quotes(year: Year) -> list[str]:
    """Unneeded hours of padded quotes, and unpaid hours of thin ones."""
    of, currency = year.quotes, year.studio.currency
    if not of.padded_works and not of.thin_works:
        return []
    money_of = [
        f", worth {_about(value, currency)} at the rate of those quotes" if value else ""
        for value in (of.padded_money, of.thin_money)
    ]
    net = of.padded_money - of.thin_money
    return [
        (
            f"{counted(of.padded_works, 'work')} took less than was approved:"
            f" {'its quote' if of.padded_works == 1 else 'their quotes'} carried {hours(of.padded_hours)} h"
            f" that were not needed{money_of[0]}."
            if of.padded_works
            else "No work took less than was approved."
        ),
        (
            f"{counted(of.thin_works, 'work')} took more: {hours(of.thin_hours)} h that nobody"
            f" paid{money_of[1]}."
            if of.thin_works
            else "No work took more."
        ),
        (
            f"Together the quotes were {_about(abs(net), currency)} {'above' if net > 0 else 'short of'} what"
            " the works took."
            if of.padded_money or of.thin_money
            else ""
        ),
        *(_all_without_tax(year) if of.padded_money or of.thin_money else []),
    ]


def needed(year: Year) -> list[str]:
    """The rate and the least charge that would cover the yearly cost."""
    if year.studio.yearly_cost is None:
        return [
            "Nobody has said yet what a year costs the studio: say it under Studio, quotes, and this page"
            " tells what an hour, and the smallest work, would have to earn."
        ]
    if year.needed is None:
        since = f"the log begins on {day(year.logged_since)}" if year.logged_since else "nothing is logged"
        return [
            f"Not enough to say: that takes twelve months of hours, from {day(year.twelve_from)} on, and"
            f" {since}."
        ]
    of, currency, studio = year.needed, year.studio.currency, year.studio
    if of.hours != of.hours:
        return ["Not enough to say: no hours were charged in these twelve months."]
    sentences = [
        f"From {day(year.twelve_from)} to {day(year.last)}, with {money(studio.yearly_cost or 0, currency)}"
        f" that a year costs: an hour that is charged would have to earn {money(of.hours, currency)}; each"
        f" hour of presence costs {money(of.present, currency)}."
        + (
            f" The studio’s rate is {_an_hour(year, studio.hourly_rate)}."
            if studio.hourly_rate is not None
            else ""
        )
    ]
    if of.a_work != of.a_work:
        return [
            *sentences,
            (
                f"What the least charge would have to be: not enough to say, with fewer than {ENOUGH_WORKS}"
                " works finished in them."
            ),
            *_all_without_tax(year),
        ]
    sentences.append(
        f"With each work come {hours(of.studio_hours_a_work)} h of studio time that no work is charged,"
        f" {_about(of.a_work, currency)} at that cost, however small it is. The smallest works, one in ten,"
        f" took up to {hours(of.smallest_hours)} h: one of them costs {_about(of.smallest, currency)} in all,"
        " and to pay its way that would have to be the least charge."
        + (
            f" The least charge is {money(studio.minimum_charge, currency)} now."
            if studio.minimum_charge is not None
            else ""
        )
    )
    return [*sentences, *_all_without_tax(year)]


def _all_without_tax(year: Year) -> list[str]:
    return [f"All these amounts are without {tax_of(year.studio)}."] if year.studio.tax_per_cent else []


def experience(curves: Sequence[tuple[str, LearningCurve]]) -> list[str]:
    """Change of pace with experience."""
    enough = [pair for pair in curves if pair[1].times >= ENOUGH]
    if not enough:
        return [f"Not enough to say: no technique was done on {ENOUGH} finished works yet."]
    sure = [pair for pair in enough if pair[1].surely]
    if not sure:
        return [
            f"Not enough to say: of {counted(len(enough), 'technique')} done on {ENOUGH} works and more the"
            " record shows a change of pace for none."
        ]
    return [
        f"Of {counted(len(enough), 'technique')} done on {ENOUGH} works and more, the record shows a change"
        f" of pace for {len(sure)}; of the others it is not enough to say."
    ]


def _about(value: float, currency: str) -> str:
    """An amount to two figures that count, as nobody knows more of it."""
    step = 10 ** max(int(np.floor(np.log10(value))) - 1, 0) if value >= 1 else 1
    rounded = round(value / step) * step
    amount = babel.numbers.format_currency(rounded, currency, "¤#,##0", locale="en_GB", currency_digits=False)
    return f"about {amount}"


def _an_hour(year: Year, value: float) -> str:
    return f"{money(value, year.studio.currency)} an hour"
