"""Noting the owner's approval of a version, and taking it back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd
import streamlit as st

from dashboard.formatting import day, money, text
from dashboard.services import prices
from dashboard.text import html_blocks
from dashboard.text import prices as prices_text
from dashboard.ui import layout, page_data
from dashboard.ui.estimate import tax as tax_part
from dashboard.ui.fields import day_field, require_day
from ingest.editing import approvals
from ingest.errors import BenchHoursError
from ingest.values import named_amounts

_ON = "On"  # the label of the day


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fields:
    """The form of an approval as it was left."""

    version: int
    option: str | None
    day: str
    price: str
    tax: str
    pressed: bool


def note(code: str, waiting: pd.DataFrame) -> None:
    """Note that a version was approved, with its option, day and price.

    Parameters
    ----------
    waiting : versions without an answer of the owner; see `dashboard.queries.versions`.
    """
    fields, studio = _form(code, waiting), page_data.settings()
    rows = waiting[waiting["version"] == fields.version]
    if fields.pressed and fields.option is None and rows["option"].notna().any():
        layout.refuse("Not noted: say which option was taken.")
        return
    of_option = rows[rows["option"] == fields.option]
    row = (rows if of_option.empty else of_option).iloc[0]
    typed_price = fields.price.strip()
    has_tax_word = pd.notna(row["tax_in_price"])
    contradicts = has_tax_word and bool(row["tax_in_price"]) != (fields.tax == "yes")
    if fields.pressed and fields.tax and not typed_price and contradicts:
        layout.refuse(
            f"Not noted: the price of version {fields.version} says already whether {prices.tax_of(studio)}"
            " is in it. Write the price agreed, if it is another."
        )
        return
    try:
        day_approved = require_day(_ON, fields.day)
        price = _agreed(fields.price, row)
    except BenchHoursError as error:
        if fields.pressed:
            layout.refuse(f"Not noted: {error}")
        return
    tax = (
        (fields.tax == "yes", tax_part.per_cent_of(row))
        if fields.tax and (typed_price or not has_tax_word)
        else None
    )
    included, per_cent = tax or (row["tax_in_price"], row["tax_per_cent"])
    taxed = prices.taxed(price[0], included, per_cent, studio) if price else None
    if fields.pressed and typed_price and taxed and taxed.included is None and taxed.net is None:
        layout.refuse(
            f"Not noted: say whether {taxed.tax} is in the price agreed. What you typed is still here."
        )
        return

    def doubts() -> list[str]:
        if not (taxed and price and typed_price):
            return []
        promised_hours = row["promised_hours"] if pd.notna(row["promised_hours"]) else row["hours"]
        doubt = prices_text.absurd_price(taxed, promised_hours, price[1], studio)
        return [doubt] if doubt else []

    if layout.confirm_doubts(
        f"approve {code} doubt", fields.pressed, doubts, "It is meant so: note the approval"
    ):
        at = f" at {money(taxed.amount, price[1])}{taxed.words}" if price and taxed else ""
        _save(code, fields, day_approved, price, tax, at)


def _form(code: str, waiting: pd.DataFrame) -> _Fields:
    with st.form(f"approve {code}"):
        st.subheader("The owner has approved")
        versions = {
            version: _version_words(version, waiting[waiting["version"] == version])
            for version in waiting["version"].unique().tolist()
        }
        version = st.selectbox(
            "Version",
            list(versions),
            index=len(versions) - 1,
            format_func=versions.__getitem__,
            key=f"approve version {code}",
        )
        options = sorted(waiting["option"].dropna().unique())
        option = (
            st.selectbox(
                "Option",
                options,
                index=None,
                placeholder="Which one was taken?",
                key=f"approve option {code}",
            )
            if options
            else None
        )
        with st.container(horizontal=True):
            on = day_field(_ON, page_data.today(), key=f"approve day {code}", width=160)
            price = st.text_input(
                "Price agreed",
                "",
                key=f"approve price {code}",
                placeholder="as it was quoted",
                width=180,
                help="Empty: the price of the version, or of the option.",
            )
            tax = (
                tax_part.choose_tax("That price is", f"approve tax {code}", "as the version’s")
                if tax_part.tax_matters(waiting)
                else ""
            )
        pressed = st.form_submit_button("Note the approval")
    return _Fields(version=version, option=option, day=on, price=price, tax=tax, pressed=pressed)


def _save(
    code: str,
    fields: _Fields,
    on: date,
    price: tuple[float, str] | None,
    tax: tuple[bool, float | None] | None,
    at: str,
) -> None:
    try:
        change = page_data.change("approved under Estimate")
        with page_data.store().writing() as con:
            approvals.approve(con, code, fields.version, on, fields.option, change, price, tax)
    except BenchHoursError as error:
        layout.refuse(f"Not noted: {error}")
        return
    layout.done(
        f"Version {fields.version} of {code}{f', option {fields.option},' if fields.option else ''} is"
        f" approved on {day(on)}{at}. Overruns are held against it from now on.",
        ("one_work", "Where its hours went", {"object": code}),
    )


def _agreed(typed: str, row: pd.Series) -> tuple[float, str] | None:
    """The price agreed: as it is typed, or as it was quoted for the option; None: as the version has it."""
    currency = text(row["currency"]) or page_data.settings().currency
    if typed.strip():
        try:
            value = float(named_amounts.decimal_of(typed.strip()))
        except BenchHoursError as error:
            raise BenchHoursError(f'price agreed "{typed.strip()}" {error.what}', error.mend) from error
        if value <= 0:
            raise BenchHoursError(f"a price of {typed.strip()} cannot be", "Write it like 1200 or 1200.50.")
        return value, currency
    return (float(row["price"]), currency) if pd.notna(row["price"]) else None


def _version_words(version: int, rows: pd.DataFrame) -> str:
    """A version with its hours, those of each option where it has options, and its price."""
    parts = [
        f"{f'option {option} ' if (option := text(row['option'])) else ''}{html_blocks.hours_of(row, ' h')}"
        for row in rows.to_dict("records")
    ]
    price = prices_text.price_words(rows.iloc[0].to_dict(), page_data.settings())
    return f"{version}: {', '.join(filter(None, [*parts, price]))}"


def take_back(code: str, approved: pd.DataFrame) -> None:
    with st.expander("Take an approval back"):
        version = st.selectbox(
            "Version",
            approved["version"].unique().tolist(),
            index=approved["version"].nunique() - 1,
            key=f"take back {code}",
        )
        layout.say(
            "It was noted by mistake, or the owner has thought better of it: then note after that that it"
            " was declined. Taken back, it is no yardstick any more: overruns are held against the latest"
            " version still approved, or if none is, the latest made."
        )
        if st.button("Take the approval back"):
            with page_data.store().writing() as con:
                approvals.take_back_approval(
                    con, code, version, page_data.change("taken back under Estimate")
                )
            layout.done(f"Version {version} of {code} is not approved any more.")
