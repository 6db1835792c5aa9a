"""Sentences about prices: what they include, and what of them can hardly be meant."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from dashboard.formatting import counted, money, text
from dashboard.queries import Row
from dashboard.services.prices import (
    TaxedPrice,
    far_off,
    more_or_less,
    of_row,
    tax_of,
    taxed,
    times_in_words,
    without_tax,
)
from ingest.studio.settings import Settings
from ingest.values.named_amounts import read_named

_WHERE = "Studio, quotes"


def price_words(row: Row, studio: Settings) -> str:
    """The price of a version with its currency and what it includes; nothing where it has none."""
    price = of_row(row, studio)
    if price is None:
        return ""
    return (
        money(price.amount, row["currency"]) if text(row["currency"]) else f"{price.amount:,.2f}"
    ) + price.words


def read_back(
    amount: float,
    currency: str | None,
    tax_in_price: bool | None,
    tax_per_cent: float | None,
    studio: Settings,
) -> str:
    """A price that is being written, as it will stand."""
    price, currency_name = taxed(amount, tax_in_price, tax_per_cent, studio), currency or studio.currency
    other = ""
    if price.per_cent and price.net is not None and price.gross is not None:
        other = (
            f" That is {money(price.net, currency_name)} without it."
            if price.included
            else f" That is {money(price.gross, currency_name)} with it, at {price.per_cent:g} %."
        )
    return f"Price: {money(price.amount, currency_name)}{price.words}.{other}"


def prices_of_versions(frame: pd.DataFrame, studio: Settings) -> list[str]:
    """The price of each version in words."""
    return [price_words(row, studio) for row in frame.to_dict("records")]


def ask(number: int, studio: Settings) -> str:
    """The question that is asked once, where figures wait for its answer; nothing where none do."""
    if not number:
        return ""
    which = (
        f"{counted(number, 'price')} {'does' if number == 1 else 'do'} not say whether {tax_of(studio)} is in"
        f" {'it' if number == 1 else 'them'}"
    )
    return (
        f"{which}, so no money is reckoned with {'it' if number == 1 else 'them'}. Say it once, under"
        f" {_WHERE}; or of a single version under Estimate."
    )


def absurd_price(item: TaxedPrice, hours: float, currency: str, studio: Settings) -> str:
    """A price beside the hours of its version at the studio's rate; nothing where it is plausible, or where
    one of them is not known.
    """
    if not hours > 0 or currency != studio.currency or not studio.hourly_rate:
        return ""
    an_hour = float(item.amount if item.net is None else item.net) / hours
    times = far_off(an_hour, studio.hourly_rate)
    if times is None:
        return ""
    return (
        f"{money(item.amount, currency)}{item.words} for {hours:,.1f} h is {money(an_hour, currency)} an"
        f" hour{without_tax(studio)}, {times_in_words(times)} {more_or_less(an_hour, studio.hourly_rate)}"
        f" than the studio’s rate of {money(studio.hourly_rate, currency)}."
    )


def absurd_settings(settings: Settings, sold: Sequence[float]) -> list[str]:
    """What of the studio's rate, yearly cost and least charge is hardly meant, beside each other and beside
    `sold`: what hours of approved estimates were sold for, without tax.
    """
    usual = float(pd.Series(sold, dtype=float).median()) if len(sold) else None
    doubts: list[str] = []
    rate, currency = settings.hourly_rate, settings.currency
    if (times := far_off(rate, usual)) and rate and usual:
        doubts.append(
            f"A rate of {money(rate, currency)} an hour is {times_in_words(times)}"
            f" {more_or_less(rate, usual)} than what an hour of the approved estimates was"
            f" sold for, {money(usual, currency)}."
        )
    beside, yardstick = (
        (rate, "the studio’s rate of")
        if rate
        else (usual, "what an hour of the approved estimates was sold for,")
    )
    needed = (
        settings.yearly_cost / settings.chargeable_hours
        if settings.yearly_cost and settings.chargeable_hours
        else None
    )
    if (times := far_off(needed, beside)) and needed and beside:
        doubts.append(
            f"{money(settings.yearly_cost or 0, currency)} a year by {settings.chargeable_hours:,.10g} h"
            f" that can be charged is {money(needed, currency)} an hour, {times_in_words(times)}"
            f" {more_or_less(needed, beside)} than {yardstick} {money(beside, currency)}."
        )
    if (times := far_off(settings.minimum_charge, beside)) and settings.minimum_charge and beside:
        doubts.append(
            f"A least charge of {money(settings.minimum_charge, currency)} is {times_in_words(times)}"
            f" {more_or_less(settings.minimum_charge, beside)} than {yardstick} {money(beside, currency)} an"
            " hour."
        )
    if beside:
        for person, amount in read_named(settings.hourly_rates, "Rates per hour", "Ilse 70"):
            if times := far_off(float(amount), beside):
                doubts.append(
                    f"A rate of {money(amount, currency)} an hour for {person} is {times_in_words(times)}"
                    f" {more_or_less(float(amount), beside)} than {yardstick} {money(beside, currency)}."
                )
    return doubts
