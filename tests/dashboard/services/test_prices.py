"""What a price of the record includes, in words; and what of money is absurd beside the record."""

from decimal import Decimal
from typing import Any

import pytest

from dashboard.services import prices, quote_terms
from dashboard.text import prices as prices_text
from ingest.studio.settings import Settings

VAT = Settings(currency="EUR", tax_per_cent=19.0, tax_name="VAT", hourly_rate=70.0)


@pytest.mark.parametrize(
    ("row", "studio", "words"),
    [
        ((1190.0, True, 19.0), VAT, "€1,190.00, VAT included"),
        ((1000.0, False, 19.0), VAT, "€1,000.00 without VAT"),
        ((1190.0, None, None), VAT, "€1,190.00, not said whether VAT is in it"),
        (
            (1190.0, None, None),
            Settings(tax_per_cent=19.0, prices_include_tax=False),
            "€1,190.00 without tax",
        ),
        ((1190.0, None, None), Settings(), "€1,190.00"),
        ((1190.0, None, None), Settings(tax_per_cent=0.0), "€1,190.00"),
        ((1190.0, True, 0.0), VAT, "€1,190.00"),  # a quote without tax, in a studio that charges it now
        ((1190.0, True, None), Settings(), "€1,190.00, tax included"),
        ((1190.0, None, None), Settings(prices_include_tax=True), "€1,190.00, tax included"),
        ((None, None, None), VAT, ""),
    ],
)
def test_a_price_says_what_it_includes_and_a_studio_without_tax_hears_nothing_of_it(
    row: tuple[Any, ...], studio: Settings, words: str
) -> None:
    assert (
        prices_text.price_words(
            {"price": row[0], "tax_in_price": row[1], "tax_per_cent": row[2], "currency": "EUR"}, studio
        )
        == words
    )


def test_of_a_price_with_a_tax_in_it_that_nobody_counted_the_net_is_not_guessed() -> None:
    for item in (
        prices.taxed(1190.0, True, None, Settings()),
        prices.taxed(1190.0, None, None, Settings(prices_include_tax=True)),
    ):
        assert (item.net, item.gross) == (None, Decimal(1190))
    item = prices.taxed(1190.0, None, None, Settings(prices_include_tax=True, prices_tax_per_cent=19.0))
    assert (item.net, item.gross) == (Decimal(1000), Decimal(1190))


def test_a_price_that_is_typed_is_read_back_both_ways() -> None:
    assert (
        prices_text.read_back(1190.0, "EUR", True, 19.0, VAT)
        == "Price: €1,190.00, VAT included. That is €1,000.00 without it."
    )
    assert (
        prices_text.read_back(1000.0, "EUR", False, 8.1, VAT)
        == "Price: €1,000.00 without VAT. That is €1,081.00 with it, at 8.1 %."
    )
    assert prices_text.read_back(1190.0, None, None, None, Settings()) == "Price: €1,190.00."


def test_an_hour_of_the_year_that_costs_fifty_times_the_rate_is_asked_about_and_what_is_plausible_is_not() -> (  # noqa: E501
    None
):
    assert prices_text.absurd_settings(
        Settings(hourly_rate=70.0, yearly_cost=62000.0, chargeable_hours=1.15), []
    ) == [
        "€62,000.00 a year by 1.15 h that can be charged is €53,913.04 an hour, 770 times more than the"
        " studio’s rate of €70.00."
    ]
    assert (
        prices_text.absurd_settings(
            Settings(
                hourly_rate=70.0,
                yearly_cost=62000.0,
                chargeable_hours=1150.0,
                minimum_charge=180.0,
                hourly_rates="Bram 45",
            ),
            [80.0],
        )
        == []
    )
    told = prices_text.absurd_settings(
        Settings(hourly_rate=7000.0, minimum_charge=3.0, hourly_rates="Bram 45"), [60.0, 70.0, 90.0]
    )
    assert [item.split(" is ")[0] for item in told] == [
        "A rate of €7,000.00 an hour",
        "A least charge of €3.00",
        "A rate of €45.00 an hour for Bram",
    ]
    assert "100 times more than what an hour of the approved estimates was sold for, €70.00." in told[0]
    # nothing stands beside it yet
    assert prices_text.absurd_settings(Settings(yearly_cost=62000.0, chargeable_hours=1.15), []) == []


@pytest.mark.parametrize(
    ("terms", "asked"),
    [
        ({"rate": "3500"}, 1),
        ({"rate": "3499"}, 0),
        ({"rate": "1.4"}, 1),
        ({"minimum": "3500"}, 1),
        ({"rate": "90", "minimum": "200"}, 0),
        ({}, 0),
    ],
)
def test_what_is_typed_for_one_quote_is_held_against_the_rate(terms: dict[str, str], asked: int) -> None:
    told = quote_terms.read_terms(terms, VAT, {})
    assert len(told.doubts) == asked and told.faults == ()
    # in another currency nothing is known
    assert quote_terms.read_terms(terms | {"currency": "JPY"}, VAT, {}).doubts == ()


def test_fifty_times_is_the_same_above_and_below() -> None:
    assert prices.far_off(50.0, 1.0) == prices.far_off(1.0, 50.0) == 50.0
    assert prices.far_off(49.9, 1.0) is prices.far_off(None, 1.0) is prices.far_off(0.0, 1.0) is None
    one = prices.taxed(238000.0, True, 19.0, VAT)
    assert one.net == Decimal(200000)
    assert prices_text.absurd_price(one, 20.0, "EUR", VAT).startswith(
        "€238,000.00, VAT included for 20.0 h is €10,000.00 an hour without VAT, 143 times more than the"
        " studio’s rate of €70.00."
    )
    assert (
        prices_text.absurd_price(one, 20.0, "USD", VAT)
        == prices_text.absurd_price(one, 2000.0, "EUR", VAT)
        == ""
    )
