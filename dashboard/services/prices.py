"""Prices of the record: net and gross by what tax they include, and amounts far from the usual ones.

The studio's own rates, its least charge and what a year costs it are without tax. A price of an estimate is
with it or without, as it was said with the version; where it was not, as the studio says of such prices;
where it does not say that either, neither net nor gross is known, and nothing is reckoned with them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pandas as pd

from dashboard.analysis.report.price import net_and_gross
from dashboard.formatting import money
from dashboard.queries import Row
from ingest.schema.csv_columns import FAR_OFF
from ingest.studio.settings import Settings
from ingest.values.named_amounts import exact


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxedPrice:
    """A price with what it includes.

    Attributes
    ----------
    amount : as it stands in the record.
    included : tax is in it; None: nobody has said.
    per_cent : on top of the net; 0: none is charged; None: not known.
    tax : what the studio calls it.
    """

    amount: Decimal
    included: bool | None
    per_cent: Decimal | None
    tax: str

    @property
    def net(self) -> Decimal | None:
        """Without tax, unrounded; None where that is not known."""
        return net_and_gross(self.amount, self.included, self.per_cent)[0]

    @property
    def gross(self) -> Decimal | None:
        """With tax, what the owner pays, unrounded; None where that is not known."""
        return net_and_gross(self.amount, self.included, self.per_cent)[1]

    @property
    def words(self) -> str:
        """`, VAT included`, ` without VAT`; nothing where no tax is charged."""
        if self.per_cent == 0:
            return ""
        return (
            f", {self.tax} included"
            if self.included
            else (
                f", not said whether {self.tax} is in it" if self.included is None else f" without {self.tax}"
            )
        )


def tax_of(studio: Settings) -> str:
    """What the studio calls the tax."""
    return studio.tax_name or "tax"


def without_tax(studio: Settings) -> str:
    """What stands behind a net amount: ` without VAT`; nothing where the studio charges none."""
    return f" without {tax_of(studio)}" if studio.tax_per_cent else ""


def taxed(amount: float, tax_in_price: Any, tax_per_cent: Any, studio: Settings) -> TaxedPrice:
    """A price of a version, by what it says of itself, else by what the studio says of prices that do not."""
    by_itself = None if tax_in_price is None or pd.isna(tax_in_price) else bool(tax_in_price)
    per_cent = next(
        (
            item
            for item in (tax_per_cent, studio.prices_tax_per_cent, studio.tax_per_cent)
            if item is not None and not pd.isna(item)
        ),
        None,
    )
    included = studio.prices_include_tax if by_itself is None else by_itself
    if per_cent is None and not included:  # nobody speaks of a tax
        per_cent = 0.0
    return TaxedPrice(
        amount=exact(float(amount)),
        included=included,
        per_cent=None if per_cent is None else exact(float(per_cent)),
        tax=tax_of(studio),
    )


def of_row(row: Row, studio: Settings) -> TaxedPrice | None:
    """The price of a row with `price`, `tax_in_price`, `tax_per_cent`; None where it has none."""
    return (
        None
        if pd.isna(row["price"])
        else taxed(row["price"], row["tax_in_price"], row["tax_per_cent"], studio)
    )


def nets(frame: pd.DataFrame, studio: Settings) -> pd.Series:
    """The price of each row without tax, as a number; not a number where there is none or it is not known.
    Columns `price`, `tax_in_price`, `tax_per_cent`.
    """
    taxed_prices = [of_row(row, studio) for row in frame.to_dict("records")]
    return pd.Series(
        [math.nan if item is None or item.net is None else float(item.net) for item in taxed_prices],
        index=frame.index,
        dtype=float,
    )


def unsaid(frame: pd.DataFrame, studio: Settings) -> int:
    """How many rows of such a frame have a price in the studio's currency of which the net is not known."""
    return int((frame["price"].notna() & nets(frame, studio).isna() & in_own_currency(frame, studio)).sum())


def in_own_currency(frame: pd.DataFrame, studio: Settings) -> pd.Series:
    """Rows whose `currency` is the studio's own; a price without one is meant in it."""
    return frame["currency"].fillna(studio.currency) == studio.currency


# --- what is absurd beside the record


def times_in_words(value: float) -> str:
    return f"{value:,.0f} times"


def far_off(value: float | None, usual: float | None) -> float | None:
    """How many times one amount is the other, the greater by the smaller, where that is so much that a slip
    of the pen is likelier; None where it is not, or one is not known.
    """
    if not value or not usual or min(value, usual) <= 0:
        return None
    times = max(value, usual) / min(value, usual)
    return times if times >= FAR_OFF else None


def absurd_terms(
    terms: Mapping[str, str],
    rate: Decimal | None,
    minimum: Decimal | None,
    studio: Settings | None,
    currency: str,
) -> list[str]:
    """What of the rate and the least charge that are typed for one quote is hardly meant beside the rate;
    `studio`: None where its amounts are in another currency.
    """
    usual, doubts = studio.hourly_rate if studio else None, []
    if terms.get("rate", "").strip() and rate and usual and (times := far_off(float(rate), usual)):
        doubts.append(
            f"A rate of {money(rate, currency)} an hour is"
            f" {times_in_words(times)} {more_or_less(float(rate), usual)} than"
            f" the studio’s, {money(usual, currency)}."
        )
    beside = float(rate) if rate else usual
    if terms.get("minimum", "").strip() and minimum and beside and (times := far_off(float(minimum), beside)):
        doubts.append(
            f"A minimum charge of {money(minimum, currency)} is {times_in_words(times)}"
            f" {more_or_less(float(minimum), beside)} than an hour at {money(beside, currency)}."
        )
    return doubts


MONEY = ("hourly_rate", "hourly_rates", "yearly_cost", "chargeable_hours", "minimum_charge", "currency")


def sold_for(approved: pd.DataFrame, studio: Settings) -> list[float]:
    """What an hour of each approved estimate was sold for, without tax. Frame of
    `dashboard.queries.approved_promises`.
    """
    an_hour = nets(approved, studio) / approved["approved_hours"].astype(float)
    return [
        float(item)
        for item in an_hour[
            in_own_currency(approved, studio) & (an_hour > 0) & (approved["approved_hours"] > 0)
        ]
    ]


def earned(works: pd.DataFrame, studio: Settings) -> pd.Series:
    """What an hour that each work took earned, without tax; not a number where that is not known. Frame with
    `hours`, `price`, `currency`, `tax_in_price`, `tax_per_cent`.
    """
    hours = works["hours"].astype(float)
    an_hour: pd.Series = nets(works, studio) / hours.where(hours > 0)
    return an_hour.where(in_own_currency(works, studio))


def more_or_less(value: float, beside: float) -> str:
    return "more" if value > beside else "less"
