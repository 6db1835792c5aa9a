"""Prices with tax in them, against the fraction by which tax is taken out of them."""

from decimal import Decimal

import pytest

from dashboard.analysis.report.price import net_and_gross


@pytest.mark.parametrize(("per_cent", "part", "of"), [("20", 1, 6), ("17.5", 7, 47), ("5", 1, 21)])
def test_the_tax_in_a_price_is_its_vat_fraction(per_cent: str, part: int, of: int) -> None:
    """HM Revenue & Customs, VAT guide (Notice 700), "VAT fraction": 1/6 of a price that includes VAT at 20 %,
    7/47 at 17.5 %, 1/21 at 5 %. From memory.
    """
    gross = Decimal(of) * 100
    net, same = net_and_gross(gross, True, Decimal(per_cent))
    assert net is not None and same == gross
    assert round(gross - net, 12) == Decimal(part) * 100
    assert round(net_and_gross(round(net, 12), False, Decimal(per_cent))[1] or 0, 9) == gross
