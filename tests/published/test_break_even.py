"""What an hour must earn, against a worked case."""

from decimal import Decimal

from dashboard.analysis.report.price import YearlyCost


def test_the_break_even_rate_is_that_of_the_worked_case() -> None:
    """ "Der Honorarwitz", pons-asini.de, a conservator's page: cost 60,200 €; 2,035 − 475 = 1,560 h present,
    − 250 h of office = 1,310 h chargeable; at 35 €/h income 45,850 €. Recomputed: short by 14,350 €, 45.95
    €/h to break even.
    """
    yearly = YearlyCost(cost=Decimal(60_200), chargeable_hours=Decimal(2035 - 475 - 250))
    assert yearly.chargeable_hours == 1310 and round(yearly.break_even_rate, 2) == Decimal("45.95")
    income = 35 * yearly.chargeable_hours
    assert income == 45_850 and yearly.cost - income == 14_350
    # at that rate a year's chargeable hours are just not for nothing; at 35 €/h 24 % of them are
    assert yearly.works_for_nothing_from(yearly.break_even_rate * 1310) == 1310
    assert round(yearly.works_for_nothing_from(income)) == 998
