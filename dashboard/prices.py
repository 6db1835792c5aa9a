"""What a price of the record includes: its net and its gross, and how that is said wherever a price or a rate stands.

The studio's own rates, its least charge and what a year costs it are without tax. A price of an estimate is with it or without, as it was said with the version; where it was not, as the studio
says of such prices; where it does not say that either, neither net nor gross is known, and nothing is reckoned with them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pandas as pd

from dashboard.analysis.price import net_and_gross
from dashboard.tables import Row
from dashboard.words import counted, money, text
from ingest.amounts import exact, read_named
from ingest.records import FAR_OFF
from ingest.settings import Settings

_WHERE = "Studio, quotes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Taxed:
    """A price with what it includes.

    Attributes
    ----------
    amount : as it stands in the record. included : tax is in it; None: nobody has said. per_cent : on top of the net; 0: none is charged; None: not known.
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
        return f", {self.tax} included" if self.included else f", not said whether {self.tax} is in it" if self.included is None else f" without {self.tax}"


def tax_of(studio: Settings) -> str:
    """What the studio calls the tax."""
    return studio.tax_name or "tax"


def without_tax(studio: Settings) -> str:
    """What stands behind a net amount: ` without VAT`; nothing where the studio charges none."""
    return f" without {tax_of(studio)}" if studio.tax_per_cent else ""


def taxed(amount: float, tax_in_price: Any, tax_per_cent: Any, studio: Settings) -> Taxed:
    """A price of a version, by what it says of itself, else by what the studio says of prices that do not."""
    by_itself = None if tax_in_price is None or pd.isna(tax_in_price) else bool(tax_in_price)
    per_cent = next((one for one in (tax_per_cent, studio.prices_tax_per_cent, studio.tax_per_cent) if one is not None and not pd.isna(one)), None)
    included = studio.prices_include_tax if by_itself is None else by_itself
    if per_cent is None and not included:  # nobody speaks of a tax
        per_cent = 0.0
    return Taxed(amount=exact(float(amount)), included=included, per_cent=None if per_cent is None else exact(float(per_cent)), tax=tax_of(studio))


def of_row(row: Row, studio: Settings) -> Taxed | None:
    """The price of a row with `price`, `tax_in_price`, `tax_per_cent`; None where it has none."""
    return None if pd.isna(row["price"]) else taxed(row["price"], row["tax_in_price"], row["tax_per_cent"], studio)


def nets(frame: pd.DataFrame, studio: Settings) -> pd.Series:
    """The price of each row without tax, as a number; not a number where there is none or it is not known. Columns `price`, `tax_in_price`, `tax_per_cent`."""
    found = [of_row(row, studio) for row in frame.to_dict("records")]
    return pd.Series([math.nan if one is None or one.net is None else float(one.net) for one in found], index=frame.index, dtype=float)


def unsaid(frame: pd.DataFrame, studio: Settings) -> int:
    """How many rows of such a frame have a price in the studio's currency of which the net is not known."""
    return int((frame["price"].notna() & nets(frame, studio).isna() & in_own_currency(frame, studio)).sum())


def in_own_currency(frame: pd.DataFrame, studio: Settings) -> pd.Series:
    """Rows whose `currency` is the studio's own; a price without one is meant in it."""
    return frame["currency"].fillna(studio.currency) == studio.currency


def price_words(row: Row, studio: Settings) -> str:
    """The price of a version with its currency and what it includes; nothing where it has none."""
    one = of_row(row, studio)
    if one is None:
        return ""
    return (money(one.amount, row["currency"]) if text(row["currency"]) else f"{one.amount:,.2f}") + one.words


def read_back(amount: float, currency: str | None, tax_in_price: bool | None, tax_per_cent: float | None, studio: Settings) -> str:
    """A price that is being written, as it will stand."""
    one, called = taxed(amount, tax_in_price, tax_per_cent, studio), currency or studio.currency
    other = ""
    if one.per_cent and one.net is not None and one.gross is not None:
        other = f" That is {money(one.net, called)} without it." if one.included else f" That is {money(one.gross, called)} with it, at {one.per_cent:g} %."
    return f"Price: {money(one.amount, called)}{one.words}.{other}"


def of_versions(frame: pd.DataFrame, studio: Settings) -> list[str]:
    """The price of each version in words."""
    return [price_words(row, studio) for row in frame.to_dict("records")]


def ask(number: int, studio: Settings) -> str:
    """The question that is asked once, where figures wait for its answer; nothing where none do."""
    if not number:
        return ""
    which = f"{counted(number, 'price')} {'does' if number == 1 else 'do'} not say whether {tax_of(studio)} is in {'it' if number == 1 else 'them'}"
    return f"{which}, so no money is reckoned with {'it' if number == 1 else 'them'}. Say it once, under {_WHERE}; or of a single version under Estimate."


# --- what is absurd beside the record


def _times(value: float) -> str:
    return f"{value:,.0f} times"


def far_off(value: float | None, usual: float | None) -> float | None:
    """How many times one amount is the other, the greater by the smaller, where that is so much that a slip of the pen is likelier; None where it is not, or one is not known."""
    if not value or not usual or min(value, usual) <= 0:
        return None
    times = max(value, usual) / min(value, usual)
    return times if times >= FAR_OFF else None


def absurd_price(one: Taxed, hours: float, currency: str, studio: Settings) -> str:
    """A price beside the hours of its version at the studio's rate; nothing where it is plausible, or where one of them is not known."""
    if not hours > 0 or currency != studio.currency or not studio.hourly_rate:
        return ""
    an_hour = float(one.amount if one.net is None else one.net) / hours
    times = far_off(an_hour, studio.hourly_rate)
    if times is None:
        return ""
    return (
        f"{money(one.amount, currency)}{one.words} for {hours:,.1f} h is {money(an_hour, currency)} an hour{without_tax(studio)}, "
        f"{_times(times)} {_side(an_hour, studio.hourly_rate)} than the studio’s rate of {money(studio.hourly_rate, currency)}."
    )


def absurd_terms(said: Mapping[str, str], rate: Decimal | None, minimum: Decimal | None, studio: Settings | None, currency: str) -> list[str]:
    """What of the rate and the least charge that are typed for one quote is hardly meant beside the rate; `studio`: None where its amounts are in another currency."""
    usual, found = studio.hourly_rate if studio else None, []
    if said.get("rate", "").strip() and rate and usual and (times := far_off(float(rate), usual)):
        found.append(f"A rate of {money(rate, currency)} an hour is {_times(times)} {_side(float(rate), usual)} than the studio’s, {money(usual, currency)}.")
    beside = float(rate) if rate else usual
    if said.get("minimum", "").strip() and minimum and beside and (times := far_off(float(minimum), beside)):
        found.append(
            f"A minimum charge of {money(minimum, currency)} is {_times(times)} {_side(float(minimum), beside)} than an hour at {money(beside, currency)}."
        )
    return found


MONEY = ("hourly_rate", "hourly_rates", "yearly_cost", "chargeable_hours", "minimum_charge", "currency")


def sold_for(approved: pd.DataFrame, studio: Settings) -> list[float]:
    """What an hour of each approved estimate was sold for, without tax. Frame of `dashboard.reading.approved_promises`."""
    an_hour = nets(approved, studio) / approved["approved_hours"].astype(float)
    return [float(one) for one in an_hour[in_own_currency(approved, studio) & (an_hour > 0) & (approved["approved_hours"] > 0)]]


def absurd_settings(said: Settings, sold: Sequence[float]) -> list[str]:
    """What of the studio's rate, yearly cost and least charge is hardly meant, beside each other and beside `sold`: what hours of approved estimates were sold for, without tax."""
    usual = float(pd.Series(sold, dtype=float).median()) if len(sold) else None
    found: list[str] = []
    rate, currency = said.hourly_rate, said.currency
    if (times := far_off(rate, usual)) and rate and usual:
        found.append(
            f"A rate of {money(rate, currency)} an hour is {_times(times)} {_side(rate, usual)} than what an hour of the approved estimates was sold for, {money(usual, currency)}."
        )
    beside, called = (rate, "the studio’s rate of") if rate else (usual, "what an hour of the approved estimates was sold for,")
    needed = said.yearly_cost / said.chargeable_hours if said.yearly_cost and said.chargeable_hours else None
    if (times := far_off(needed, beside)) and needed and beside:
        found.append(
            f"{money(said.yearly_cost or 0, currency)} a year by {said.chargeable_hours:,.10g} h that can be charged is {money(needed, currency)} an hour, {_times(times)} {_side(needed, beside)} than {called} {money(beside, currency)}."
        )
    if (times := far_off(said.minimum_charge, beside)) and said.minimum_charge and beside:
        found.append(
            f"A least charge of {money(said.minimum_charge, currency)} is {_times(times)} {_side(said.minimum_charge, beside)} than {called} {money(beside, currency)} an hour."
        )
    if beside:
        for person, amount in read_named(said.hourly_rates, "Rates per hour", "Ilse 70"):
            if times := far_off(float(amount), beside):
                found.append(
                    f"A rate of {money(amount, currency)} an hour for {person} is {_times(times)} {_side(float(amount), beside)} than {called} {money(beside, currency)}."
                )
    return found


def _side(value: float, beside: float) -> str:
    return "more" if value > beside else "less"
