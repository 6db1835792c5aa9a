"""The terms of a quote, read from text with the studio's settings as defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import babel.numbers

from dashboard.analysis.report import price
from dashboard.analysis.report.price import PriceTerms, YearlyCost
from dashboard.formatting import CONFIDENCES
from dashboard.services import prices
from ingest.editing.quote_drafts import COST_COLUMNS, QuotedWork
from ingest.errors import BenchHoursError
from ingest.studio.settings import Settings
from ingest.values import calendar_days, numbers, spelling
from ingest.values.named_amounts import decimal_of, exact, read_named

USUAL_CONFIDENCE = 80
WHOLE_ANEW = "whole"  # of the term `revision`
MOST_TERM = Decimal(1_000_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteTerms:
    """What the price rests on beside the hours, read from the terms of a quote and the settings of the
    studio; `faults` are sentences about what could not be read, `doubts` about what can hardly be meant.

    `whole_anew`: of a work under way all is priced anew. `studio`: by which prices are read that do not say
    whether tax is in them. `has_yearly_cost`: the studio has said what a year costs, be it in another
    currency.
    """

    confidence: int
    currency: str
    pricing: PriceTerms
    payments: tuple[tuple[str, Decimal], ...]
    tax_name: str
    yearly: YearlyCost | None
    travel_hours: Decimal
    travel_cost: Decimal
    first_stage: bool
    whole_anew: bool
    studio: Settings
    begin_on: date | None
    bench_hours_per_week: float
    has_yearly_cost: bool
    faults: tuple[str, ...]
    doubts: tuple[str, ...]

    @property
    def without_tax(self) -> str:
        """What stands behind a net amount: ` without VAT`; nothing where there is no tax."""
        return f" without {self.tax_name}" if self.pricing.tax else ""

    @property
    def tax_included(self) -> str:
        """Words behind an amount that the owner pays: `, VAT included`; empty where there is no tax."""
        return f", {self.tax_name} included" if self.pricing.tax else ""

    @property
    def travel(self) -> Decimal | None:
        """What travel for all works costs together, without tax; None where it has hours and nobody said what
        an hour costs.
        """
        if self.travel_hours and self.pricing.rate is None:
            return None
        return price.rounded(
            self.travel_hours * (self.pricing.rate or Decimal(0)) + self.travel_cost, self.pricing.step
        )


def confidence_of(texts: Mapping[str, str]) -> int:
    """The chance to end within the hours of the price, of `CONFIDENCES`."""
    return next(
        (confidence for confidence in CONFIDENCES if f"{confidence}" == texts.get("confidence")),
        USUAL_CONFIDENCE,
    )


# 94 lines: one term after the other
def read_terms(texts: Mapping[str, str], studio: Settings, known_people: Mapping[str, str]) -> QuoteTerms:
    """Read the terms of a quote; where one is not said the studio's stands, and what cannot be read is said
    and left out.
    """
    faults: list[str] = []

    def read(name: str, words: str, otherwise: float | None, most: Decimal = MOST_TERM) -> Decimal | None:
        text = texts.get(name, "").strip()
        if not text:
            return None if otherwise is None else exact(otherwise)
        try:
            value = decimal_of(text)
        except BenchHoursError as error:
            faults.append(f'{words} "{text}" {error}')
            return None
        if not 0 <= value <= most:
            faults.append(f'{words} "{text}" cannot be. Write a number from 0 to {most:,}.')
            return None
        return value

    currency, unread = studio.currency, False
    if text := texts.get("currency", "").strip():
        try:
            currency = numbers.currency(text)
        except BenchHoursError as error:
            faults.append(f'Currency "{text}" {error} Until then there is no price.')
            unread = True
    stages: list[tuple[str, Decimal]] = []
    try:
        usual = "" if texts.get("first_stage") == "yes" else studio.payments  # they are of a whole treatment
        stages = read_named(texts.get("payments", "") or usual, "Payments", "on approval 30; at handover 40")
        if sum(share for _, share in stages) > 100:
            faults.append("Payments come to more than 100 per cent. Write what each of them is of the whole.")
            stages = []
    except BenchHoursError as error:
        faults.append(str(error))
    begin_on = None
    if text := texts.get("begin_on", "").strip():
        try:
            begin_on = calendar_days.day(text, studio.day_order)
        except BenchHoursError as error:
            faults.append(f'Begin on "{text}" {error}')
    confidence = confidence_of(texts)
    rate = read("rate", "Rate per hour", studio.hourly_rate if currency == studio.currency else None)
    if unread:
        rate = None
    same = currency == studio.currency and not unread  # amounts of the studio are in its own currency
    rates = (
        {
            known_people.get(spelling.folded(name), name): amount
            for name, amount in read_named(studio.hourly_rates, "Rates per hour", "Ilse 70")
        }
        if same
        else {}
    )
    minimum, ceiling = (
        read("minimum", "Minimum charge", studio.minimum_charge if same else None),
        read("ceiling", "Ceiling", None),
    )
    if minimum and ceiling and minimum > ceiling:
        faults.append(
            f"The minimum charge, {minimum:,}, is above the ceiling, {ceiling:,}: the ceiling holds. Mend one"
            " of the two."
        )
    tax = read("tax", "Tax", studio.tax_per_cent, Decimal(100))
    terms = PriceTerms(
        rate=rate,
        rates={} if texts.get("rate", "").strip() else rates,
        step=Decimal(1).scaleb(-babel.numbers.get_currency_precision(currency)),
        minimum=minimum or None,
        ceiling=ceiling or None,
        tax=tax or None,
    )
    yearly = None
    if same and studio.yearly_cost and studio.chargeable_hours:
        yearly = YearlyCost(cost=exact(studio.yearly_cost), chargeable_hours=exact(studio.chargeable_hours))
    return QuoteTerms(
        confidence=confidence,
        currency=currency,
        pricing=terms,
        payments=tuple(stages),
        tax_name=prices.tax_of(studio),
        yearly=yearly,
        travel_hours=read("travel_hours", "Travel, hours", None, Decimal(1000)) or Decimal(0),
        travel_cost=read("travel_cost", "Travel, cost", None) or Decimal(0),
        first_stage=texts.get("first_stage") == "yes",
        whole_anew=texts.get("revision") == WHOLE_ANEW,
        studio=studio,
        begin_on=begin_on,
        bench_hours_per_week=studio.bench_hours_per_week,
        has_yearly_cost=bool(studio.yearly_cost and studio.chargeable_hours),
        faults=tuple(faults),
        doubts=tuple(prices.absurd_terms(texts, rate, minimum, studio if same else None, currency)),
    )


def read_costs(quoted_work: QuotedWork, agreed: QuoteTerms) -> tuple[list[tuple[str, Decimal]], list[str]]:
    """Outside costs and materials, rounded to the currency; of a first stage its own alone."""
    costs, faults = [], []
    for number, row in enumerate(quoted_work.costs, 1):
        what, amount, first = (row.get(name, "").strip() for name in COST_COLUMNS)
        if not what and not amount:
            continue
        try:
            value = decimal_of(amount) if amount else None
            belongs = spelling.yes_or_no(first) if first else False
        except BenchHoursError as error:
            faults.append(f'Cost {number}, "{amount}"{f", first stage {first!r}" if first else ""}: {error}')
            continue
        if value is None or not 0 <= value <= MOST_TERM:
            faults.append(
                f"Cost {number}, {what or 'without a word for it'}:"
                f" {'its amount cannot be' if amount else 'it has no amount'}. Write it like 120 or 120.50."
            )
        elif belongs or not agreed.first_stage:
            costs.append((what or "outside cost", price.rounded(value, agreed.pricing.step)))
    return costs, faults
