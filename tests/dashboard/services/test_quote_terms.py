"""Terms of a quote: options, first stage, travel, ceiling, currency, and whose rate a line is charged at."""

from __future__ import annotations

import numpy as np
import pytest

from dashboard.text.quote import earns
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from ingest.studio.settings import write_settings
from ingest.values.named_amounts import decimal_of
from tests.dashboard.quoting import CANVAS, SHEET, of, quoted_of


def test_options_stand_side_by_side_and_lines_without_one_belong_to_all(demo: Store) -> None:
    found = quoted_of(
        demo,
        of(
            *SHEET,
            {"technique": "lining", "option": "full treatment"},
            {"technique": "tear bridging", "option": "stabilise only"},
        ),
    ).works[0]
    assert [option.name for option in found.options] == ["full treatment", "stabilise only"]
    assert [len(option.lines) for option in found.options] == [6, 6]
    assert found.options[0].at(0.5)[0] > found.options[1].at(0.5)[0]
    may = [
        set(option.discoveries.loc[~option.discoveries["another"], "technique"]) for option in found.options
    ]
    assert may[0].isdisjoint(found.options[0].lines["technique"]) and may[1].isdisjoint(
        found.options[1].lines["technique"]
    )


def test_works_of_a_commission_have_a_price_each_share_travel_and_do_not_all_run_over_at_once(
    demo: Store,
) -> None:
    quote = Quote(
        works=[QuotedWork(described=CANVAS, lines=SHEET), QuotedWork(object="25-041", lines=SHEET)],
        terms={"travel_hours": "3", "travel_cost": "40.50", "tax": "10"},
    )
    found = quoted_of(demo, quote)
    first, second = (work.options[0] for work in found.works)
    assert first.price is not None and second.price is not None
    assert found.amount == first.price.amount + second.price.amount + round(
        (3 * 68 + decimal_of("40.50")) * decimal_of("1.1"), 2
    )
    four = float(np.quantile(found.total, 0.8))
    assert four < first.at(0.8)[0] + second.at(0.8)[0] + 3
    even = float(np.median(found.total))
    assert even == pytest.approx(first.at(0.5)[0] + second.at(0.5)[0] + 3, rel=0.06)
    # what is not known of rates bears on both, so they are not as if apart
    together = found.together
    assert together is not None
    one, other = (together.hours[together.work == number].sum(axis=0) for number in (0, 1))
    assert np.corrcoef(one, other)[0, 1] > 0.01


def test_a_first_stage_is_priced_alone_and_the_rest_is_no_promise(demo: Store) -> None:
    everything, first = (
        quoted_of(demo, of()).works[0].options[0],
        quoted_of(demo, of(first_stage="yes")).works[0].options[0],
    )
    assert (
        first.price is not None
        and everything.price is not None
        and first.price.hours < everything.price.hours
    )
    assert (
        first.lines.loc[first.lines["promised"] > 0, "phase"].unique().tolist() == ["documentation"]
        and first.discoveries["promised"].sum() == 0
    )
    assert first.first_stage is not None and (first.total == everything.total).all()
    assert first.promised == pytest.approx(np.quantile(first.first_stage, 0.8))


def test_who_does_a_line_is_charged_at_her_own_rate(demo: Store) -> None:
    cheap, dear = (
        quoted_of(demo, of({"technique": "retouching", "quantity": "5", "person": name}))
        .works[0]
        .options[0]
        .price
        for name in ("Bram", "Ilse")
    )
    assert cheap is not None and dear is not None and cheap.parts[0].rate == 45 and dear.parts[0].rate == 68


def test_terms_that_cannot_be_read_are_said_and_the_studio_s_stand(demo: Store) -> None:
    found = quoted_of(
        demo, of(rate="much", ceiling="-3", currency="XQX", payments="a 70; b 60", begin_on="soon", tax="900")
    )
    assert [fault.split(" ")[0] for fault in found.terms.faults] == [
        "Currency",
        "Payments",
        "Begin",
        "Rate",
        "Ceiling",
        "Tax",
    ]
    assert found.terms.currency == "EUR"
    yen = quoted_of(demo, of(currency="JPY")).works[0].options[0]
    assert yen.price is None  # the studio's rate is in another currency
    yen = quoted_of(demo, of(currency="JPY", rate="9875")).works[0].options[0]
    assert yen.price is not None and yen.price.amount == yen.price.amount.to_integral_value()


def test_travel_of_one_work_is_one_of_its_costs_and_payments_sum_to_what_is_approved(demo: Store) -> None:
    found = quoted_of(demo, of(travel_hours="4", travel_cost="50"))
    price = found.works[0].options[0].price
    assert price is not None and price.costs == 4 * 68 + 50 and found.amount == price.amount


def test_a_ceiling_below_the_minimum_charge_holds_and_that_is_said(demo: Store) -> None:
    found = quoted_of(demo, of(minimum="2000", ceiling="1000"))
    price = found.works[0].options[0].price
    assert (
        price is not None
        and price.net == 1000
        and price.limited == "ceiling"
        and "the ceiling holds" in found.terms.faults[0]
    )
    nothing = of(ceiling="500")
    nothing.works[0].costs = [{"what": "X-ray", "amount": "900"}]
    one = quoted_of(demo, nothing).works[0].options[0]
    assert (
        earns(one) == "The ceiling does not even pay the outside costs and materials: not an hour is paid."
        and one.nothing_from() is None
    )


def test_a_first_stage_leaves_out_what_comes_after_treatment_and_costs_that_are_not_its_own(
    demo: Store,
) -> None:
    quote = of(
        {"technique": "condition report"},
        {"technique": "final report"},
        {"technique": "retouching"},
        first_stage="yes",
    )
    quote.works[0].costs = [
        {"what": "framer", "amount": "300"},
        {"what": "X-ray", "amount": "90", "first_stage": "yes"},
    ]
    one = quoted_of(demo, quote).works[0].options[0]
    assert (
        one.lines.loc[one.lines["in_price"], "technique"].tolist() == ["condition report"]
        and one.price is not None
        and one.price.costs == 90
    )
    assert (one.dots() <= one.promised).sum() == 16 and one.weeks(0.8) < 1
    none = quoted_of(demo, of({"technique": "retouching"}, first_stage="yes")).works[0]
    assert none.options[0].price is None and "no line of it is on the sheet" in none.faults[0]


def test_options_stand_in_the_order_of_the_sheet(demo: Store) -> None:
    found = quoted_of(
        demo,
        of(
            {"technique": "retouching", "option": "stabilise only", "hours": "5"},
            {"technique": "facing", "option": "full treatment", "hours": "20"},
        ),
    ).works[0]
    assert [option.name for option in found.options] == ["stabilise only", "full treatment"]
    views = [option.outside for option in found.options]
    assert (
        views[0] is not None
        and views[1] is not None
        and views[1].hours[0] == pytest.approx(4 * views[0].hours[0])
    )


def test_an_unread_currency_waits_with_the_price_and_odd_terms_break_nothing(demo: Store) -> None:
    found = quoted_of(demo, of(currency="ZZZ", confidence="abc"))
    assert (
        found.amount is None
        and found.terms.confidence == 80
        and "Until then there is no price" in found.terms.faults[0]
    )
    assert quote_drafts.from_json({"works": [], "terms": None}).works[0].lines == []


def test_a_first_stage_is_one_whatever_is_chosen_then_and_its_payments_are_its_own(demo: Store) -> None:
    found = quoted_of(
        demo,
        of(
            {"technique": "condition report"},
            {"technique": "lining", "option": "A"},
            {"technique": "facing", "option": "B"},
            first_stage="yes",
        ),
    )
    assert len(found.works[0].options) == 1 and found.terms.payments == ()


def test_examination_of_any_option_is_in_the_first_stage(demo: Store) -> None:
    found = quoted_of(
        demo,
        of(
            {"technique": "retouching", "option": "A"},
            {"technique": "condition report", "option": "B"},
            {"technique": "lining", "option": "B"},
            first_stage="yes",
        ),
    ).works[0]
    one = found.options[0]
    assert (
        one.price is not None
        and one.lines.loc[one.lines["in_price"], "technique"].tolist() == ["condition report"]
        and found.faults == ()
    )


def test_whoever_has_a_rate_of_her_own_needs_no_other(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "hourly_rates": "Ilse 70", "minimum_charge": ""})
    found = (
        quoted_of(demo, of({"technique": "condition report", "person": "Ilse"}, first_stage="yes"))
        .works[0]
        .options[0]
    )
    assert found.price is not None and found.price.net == 70 * found.price.hours
