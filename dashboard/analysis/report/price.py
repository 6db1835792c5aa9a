"""From hours to money: decimal, and rounded once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal

TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceTerms:
    """What a price is reckoned by.

    Attributes
    ----------
    rate : per hour at the studio, without tax; None until said.
    rates : per hour of people who have one of their own.
    step : the smallest amount of the currency, like 0.01.
    minimum, ceiling : of the net amount of one work; None: there is none.
    tax : per cent on top; None: no line for it.
    """

    rate: Decimal | None
    rates: dict[str, Decimal]
    step: Decimal
    minimum: Decimal | None = None
    ceiling: Decimal | None = None
    tax: Decimal | None = None

    def rate_of(self, person: str) -> Decimal | None:
        return self.rates.get(person, self.rate)


@dataclass(frozen=True, slots=True, kw_only=True)
class PricePart:
    """Hours of one part of a work at a rate: `amount` is exactly `hours` × `rate`; `shown` is what stands on
    paper, so that all that is shown sums to the net amount.
    """

    hours: Decimal
    rate: Decimal
    amount: Decimal
    shown: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """The price of one work.

    Attributes
    ----------
    parts : in the order in which they were given.
    hours : their sum.
    work : for the hours, as it stands on paper.
    costs : outside costs and materials.
    adjusted : what the minimum charge adds, or the ceiling takes off.
    net, tax, amount : as they stand on paper; `amount` is rounded once, from all before it unrounded.
    limited : "minimum" or "ceiling" where one of them holds.
    """

    parts: tuple[PricePart, ...]
    hours: Decimal
    work: Decimal
    costs: Decimal
    adjusted: Decimal
    net: Decimal
    tax: Decimal
    amount: Decimal
    limited: str

    @property
    def for_hours(self) -> Decimal:
        """What is left for the hours once outside costs and materials are paid."""
        return self.net - self.costs


def shared_out(total: Decimal, weights: Sequence[Decimal], step: Decimal) -> list[Decimal]:
    """A total in parts by weights, each a whole number of steps, that sum exactly to it (largest remainders
    first, the earlier of two equal).
    """
    whole = sum(weights, Decimal(0))
    if not weights:
        return []
    steps = total / step
    exact = [steps * weight / whole if whole else steps / len(weights) for weight in weights]
    floor = [item.to_integral_value(ROUND_FLOOR) for item in exact]
    left = int((steps - sum(floor, Decimal(0))).to_integral_value(ROUND_HALF_UP))
    first = sorted(range(len(weights)), key=lambda n: (floor[n] - exact[n], n))[:left]
    return [(whole_steps + (n in first)) * step for n, whole_steps in enumerate(floor)]


def rounded(value: Decimal, step: Decimal) -> Decimal:
    """To whole steps, a half away from nought, as amounts of money are."""
    return (value / step).to_integral_value(ROUND_HALF_UP) * step


def price(hours: Sequence[float], people: Sequence[str], costs: Decimal, terms: PriceTerms) -> Price | None:
    """The price of a work; None where nobody has said what an hour costs.

    Parameters
    ----------
    hours : of its parts (lines, what may turn up), as they stand in the promise. Their sum is brought to
        tenths, and each part so that they still sum to it: what stands on paper is what is reckoned with.
    people : who is to do each; nobody in particular is the empty name.
    costs : outside costs and materials, in whole steps of the currency.
    """
    parts_hours = tenths(hours)
    rates_of_people = [terms.rate_of(person) for person in people]
    if any(
        rate is None and part_hours for part_hours, rate in zip(parts_hours, rates_of_people, strict=True)
    ) or (not rates_of_people and terms.rate is None):
        return None
    rates = [rate or Decimal(0) for rate in rates_of_people]  # a part of no hours needs none
    amounts = [part_hours * rate for part_hours, rate in zip(parts_hours, rates, strict=True)]
    work = sum(amounts, Decimal(0))
    exact = work + costs
    bounded = max(exact, terms.minimum or exact)
    if terms.ceiling is not None:  # below the minimum charge too it holds: it was agreed for this work
        bounded = min(bounded, (terms.ceiling / terms.step).to_integral_value(ROUND_FLOOR) * terms.step)
    net = rounded(bounded, terms.step)
    amount = with_tax(bounded, terms)
    shown = shared_out(rounded(work, terms.step), amounts, terms.step)
    parts = tuple(
        PricePart(hours=part_hours, rate=rate, amount=whole, shown=part)
        for part_hours, rate, whole, part in zip(parts_hours, rates, amounts, shown, strict=True)
    )
    return Price(
        parts=parts,
        hours=sum(parts_hours, Decimal(0)),
        work=rounded(work, terms.step),
        costs=costs,
        adjusted=net - rounded(work, terms.step) - costs,
        net=net,
        tax=amount - net,
        amount=amount,
        limited="minimum" if bounded > exact else "ceiling" if bounded < exact else "",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedPrice:
    """What was approved: hours in tenths, and the price agreed; not known are `net`, `tax` and `amount`
    together.
    costs : outside costs and materials in it; None where they are not known.
    """

    hours: Decimal
    net: Decimal | None
    tax: Decimal | None
    amount: Decimal | None
    costs: Decimal | None

    @classmethod
    def of(
        cls, hours: Decimal, net: Decimal | None, gross: Decimal | None, costs: Decimal | None, step: Decimal
    ) -> AgreedPrice:
        """From the price without tax and with it, unrounded."""
        if net is None or gross is None:
            return cls(hours=hours, net=None, tax=None, amount=None, costs=costs)
        before_tax, amount = rounded(net, step), rounded(gross, step)
        return cls(hours=hours, net=before_tax, tax=amount - before_tax, amount=amount, costs=costs)


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceWithAdditions:
    """What was approved and stays, what was found and is added, and both together.

    Attributes
    ----------
    agreed : as it was approved.
    hours : what is added, in tenths;
    costs : outside costs and materials beyond those agreed.
    added : its price by itself; None where nobody said what an hour costs.
    """

    agreed: AgreedPrice
    hours: Decimal
    costs: Decimal
    added: Price | None

    @property
    def total_hours(self) -> Decimal:
        return self.agreed.hours + self.hours

    @property
    def price(self) -> Price | None:
        """Of both together: the price agreed as it was agreed, and what is added, rounded once by itself;
        None where one of them is not known.
        """
        agreed, added = self.agreed, self.added
        if added is None or agreed.net is None or agreed.tax is None or agreed.amount is None:
            return None
        costs, net = (agreed.costs or Decimal(0)) + self.costs, agreed.net + added.net
        return Price(
            parts=(),
            hours=self.total_hours,
            work=net - costs,
            costs=costs,
            adjusted=Decimal(0),
            net=net,
            tax=agreed.tax + added.tax,
            amount=agreed.amount + added.amount,
            limited=added.limited,
        )


def with_added(
    agreed: AgreedPrice, hours: Sequence[Decimal], people: Sequence[str], costs: Decimal, terms: PriceTerms
) -> PriceWithAdditions:
    """Add what was found to what was approved.

    The minimum charge is of a whole work and is not asked for again; a ceiling holds for both together, but
    takes nothing off what was approved.

    Parameters
    ----------
    hours : of each line that is added, its part in the promise of the whole, in tenths.
    people : who is to do it.
    costs : all outside costs and materials as they are now; those agreed are not added again.
    """
    more = max(costs - (agreed.costs or Decimal(0)), Decimal(0))
    ceiling = (
        None if terms.ceiling is None or agreed.net is None else max(terms.ceiling - agreed.net, Decimal(0))
    )
    nothing = Price(
        parts=(),
        hours=Decimal(0),
        work=Decimal(0),
        costs=Decimal(0),
        adjusted=Decimal(0),
        net=Decimal(0),
        tax=Decimal(0),
        amount=Decimal(0),
        limited="",
    )
    total = sum(hours, Decimal(0))
    added = (
        price([float(hour) for hour in hours], people, more, replace(terms, minimum=None, ceiling=ceiling))
        if total or more
        else nothing
    )
    return PriceWithAdditions(agreed=agreed, hours=total, costs=more, added=added)


def tenths(hours: Sequence[float]) -> list[Decimal]:
    """Parts of a promise in tenths of hours that sum to it in tenths."""
    return shared_out(one_in_tenths(sum(hours)), [Decimal(repr(float(hour))) for hour in hours], TENTH)


def one_in_tenths(hours: float) -> Decimal:
    """Hours of a part by itself, in tenths."""
    return rounded(Decimal(repr(float(hours))), TENTH)


@dataclass(frozen=True, slots=True, kw_only=True)
class YearlyCost:
    """What a year costs the studio, and how many of its hours can be charged."""

    cost: Decimal
    chargeable_hours: Decimal

    @property
    def break_even_rate(self) -> Decimal:
        """What an hour must earn for the studio to pay its way."""
        return self.cost / self.chargeable_hours

    def works_for_nothing_from(self, earned: Decimal) -> Decimal:
        """Hours from which on a price earns less than they cost."""
        return earned / self.break_even_rate


def net_and_gross(
    amount: Decimal, included: bool | None, per_cent: Decimal | None
) -> tuple[Decimal | None, Decimal | None]:
    """A price without tax and with it, unrounded; None where that is not known.

    Parameters
    ----------
    included : tax is in the amount; None: nobody has said.
    per_cent : on top of the net; 0: none is charged; None: not known.
    """
    if per_cent == 0:
        return amount, amount
    if included is None:
        return None, None
    if per_cent is None:
        return (None, amount) if included else (amount, None)
    by = 1 + per_cent / 100
    return (amount / by, amount) if included else (amount, amount * by)


def with_tax(net: Decimal, terms: PriceTerms) -> Decimal:
    """A net amount with the tax of the terms on top, to whole steps of the currency."""
    return rounded(net * (1 + (terms.tax or Decimal(0)) / 100), terms.step)


def for_the_hours(net: float, costs: float) -> float:
    """What a net price leaves for the hours once outside costs are paid; not below nought, and not a number
    where it is not known.
    """
    return max(float(net) - float(costs), 0.0) if not math.isnan(net) else float("nan")


def payments(
    amount: Decimal, stages: Sequence[tuple[str, Decimal]], step: Decimal
) -> list[tuple[str, Decimal]]:
    """A deposit and stage payments by their per cents, which sum to the amount; what they leave of a hundred
    is the last.
    """
    left = 100 - sum((share for _, share in stages), Decimal(0))
    every = [*stages, *([("the rest", left)] if left > 0 else [])]
    return list(
        zip((name for name, _ in every), shared_out(amount, [share for _, share in every], step), strict=True)
    )
