"""From hours to money: parts that sum, rounded once."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from dashboard.analysis.report.price import (
    TENTH,
    PriceTerms,
    net_and_gross,
    payments,
    price,
    rounded,
    shared_out,
)

CENT = Decimal("0.01")
amounts = st.decimals(0, 100_000, places=2)
some_hours = st.lists(st.floats(0, 500), min_size=1, max_size=30)


def terms(rate: str | None = "68", **more: Decimal) -> PriceTerms:
    return PriceTerms(
        rate=None if rate is None else Decimal(rate), rates={"Bram": Decimal("45.5")}, step=CENT, **more
    )


@given(
    total=amounts,
    weights=st.lists(st.decimals(0, 1000, places=3), min_size=1, max_size=40),
    step=st.sampled_from([CENT, TENTH, Decimal(1)]),
)
def test_what_is_shared_out_sums_to_the_whole_and_no_part_is_off_by_a_step(
    total: Decimal, weights: list[Decimal], step: Decimal
) -> None:
    total = rounded(total, step)
    parts = shared_out(total, weights, step)
    assert sum(parts) == total
    whole = sum(weights)
    for part, weight in zip(parts, weights, strict=True):
        assert part % step == 0
        if whole:
            assert abs(part - total * weight / whole) < step


@given(hours=some_hours, rate=st.decimals("0.05", 500, places=2), costs=amounts)
def test_what_stands_on_paper_sums_and_is_hours_times_rate(
    hours: list[float], rate: Decimal, costs: Decimal
) -> None:
    found = price(hours, ["", "Bram"] * (len(hours) // 2) + [""] * (len(hours) % 2), costs, terms(f"{rate}"))
    assert found is not None
    assert (
        found.hours
        == sum((part.hours for part in found.parts), Decimal(0))
        == rounded(Decimal(repr(float(sum(hours)))), TENTH)
    )
    assert all(part.amount == part.hours * part.rate for part in found.parts)
    assert (
        sum((part.shown for part in found.parts), Decimal(0)) + costs + found.adjusted
        == found.net
        == found.amount - found.tax
    )
    # rounded once
    assert abs(found.net - sum((part.hours * part.rate for part in found.parts), costs)) <= CENT / 2


def test_tax_is_reckoned_from_what_is_not_rounded_yet() -> None:
    found = price([0.1], [""], Decimal("0.07"), terms("3.33", tax=Decimal(19)))
    # 0.403 × 1.19 = 0.47957; from 0.40 it would be 0.476
    assert found is not None and found.amount == Decimal("0.48")
    assert (found.net, found.tax) == (Decimal("0.40"), Decimal("0.08"))


def test_a_person_has_her_own_rate_and_minimum_and_ceiling_hold_of_the_net_amount() -> None:
    assert price([2.0, 1.0], ["", "Bram"], Decimal(0), terms()).net == Decimal("181.50")  # type: ignore[union-attr]
    least = price([1.0], [""], Decimal(0), terms(minimum=Decimal(180)))
    assert least is not None and (least.net, least.adjusted, least.limited) == (
        Decimal(180),
        Decimal(112),
        "minimum",
    )
    most = price([10.0], [""], Decimal(50), terms(ceiling=Decimal(600)))
    assert most is not None and (most.net, most.adjusted, most.limited, most.for_hours) == (
        Decimal(600),
        Decimal(-130),
        "ceiling",
        Decimal(550),
    )


def test_without_a_rate_there_is_no_price_and_a_yen_has_no_parts() -> None:
    assert price([1.0], [""], Decimal(0), terms(None)) is None
    yen = price([1.25], [""], Decimal(0), PriceTerms(rate=Decimal(9875), rates={}, step=Decimal(1)))
    assert yen is not None and yen.amount == Decimal(12_838)  # 1.3 h × 9,875 = 12,837.5


@given(amount=amounts, shares=st.lists(st.integers(1, 30), max_size=3))
def test_payments_sum_to_the_price(amount: Decimal, shares: list[int]) -> None:
    stages = payments(amount, [(f"stage {n}", Decimal(share)) for n, share in enumerate(shares)], CENT)
    assert sum((value for _, value in stages), Decimal(0)) == amount
    assert stages[-1][0] == "the rest"


@given(amount=amounts, per_cent=st.decimals(0, 100, places=1))
def test_a_net_price_and_its_gross_lead_to_each_other_to_the_cent(amount: Decimal, per_cent: Decimal) -> None:
    factor = 1 + per_cent / 100
    net, gross = net_and_gross(amount, False, per_cent)
    assert net == amount and gross is not None and rounded(gross, CENT) == rounded(amount * factor, CENT)
    back, same = net_and_gross(rounded(gross, CENT), True, per_cent)
    assert back is not None and rounded(back, CENT) == amount and same == rounded(gross, CENT)
    # not every gross price is that of a net one in whole cents: there the tax is what lies between, and the
    # two are off by a cent at most
    net, gross = net_and_gross(amount, True, per_cent)
    assert (
        gross == amount
        and net is not None
        and abs(rounded(rounded(net, CENT) * factor, CENT) - amount) <= CENT
    )


def test_what_a_price_includes_is_never_guessed() -> None:
    hundred, vat = Decimal(100), Decimal(19)
    assert net_and_gross(hundred, None, vat) == (None, None)
    assert net_and_gross(hundred, True, None) == (None, hundred) and net_and_gross(hundred, False, None) == (
        hundred,
        None,
    )
    assert net_and_gross(hundred, None, Decimal(0)) == (hundred, hundred)  # no tax: there is nothing to ask
