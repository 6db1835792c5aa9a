"""Pace with experience against a table in print, and against records of known truth."""

import numpy as np
import pytest

from dashboard.analysis.models import learning_curve


def test_the_curve_is_that_of_the_printed_table() -> None:
    """A study text's chapter 15, p. 324: first unit 100 h, 80 %: cumulative average 100, 80, 64, 51.2, 40.96
    at 1, 2, 4, 8, 16 units, totals 100, 160, 256, 409.6, 655.36, added batches 60, 96, 153.6 and, as
    recomputed, 245.76 (printed 254.76, a misprint: the totals say so). The form is Wright's: the cumulative
    average falls; by the later form of the last unit it would be 100, 80, 70.21, 64 at 1 to 4.
    """
    found = learning_curve.learn(np.array([100, 60, 96, 153.6, 245.76]), np.array([1.0, 1, 2, 4, 8]))
    assert (
        found is not None
        and found.share == pytest.approx(0.8, abs=0.0005)
        and found.first_hours == pytest.approx(100, abs=0.05)
    )
    units = np.array([1.0, 2, 4, 8, 16])
    averages = found.first_hours * units ** np.log2(found.share)
    assert averages == pytest.approx(
        [100, 80, 64, 51.2, 40.96], abs=0.005
    ) and averages * units == pytest.approx([100, 160, 256, 409.6, 655.36], abs=0.05)
    assert np.log2(0.8) == pytest.approx(-0.321928, abs=5e-7)
    misprinted = learning_curve.learn(np.array([100, 60, 96, 153.6, 254.76]), np.array([1.0, 1, 2, 4, 8]))
    assert misprinted is not None and misprinted.share != pytest.approx(0.8, abs=0.0005)


def test_a_change_of_pace_is_told_where_the_record_shows_it_and_seldom_where_there_is_none() -> None:
    rng = np.random.default_rng(3)

    def told(share: float, works: int, spread: float, times: int = 200) -> float:
        n = np.arange(1, works + 1)
        power = 1 + np.log2(share)
        plain = n**power - (n - 1) ** power
        found = [
            learning_curve.learn(10 * plain * np.exp(spread * rng.standard_normal(works)), np.ones(works))
            for _ in range(times)
        ]
        return float(np.mean([item is not None and item.surely for item in found]))

    assert told(1.0, 12, 0.4) <= 0.035 and told(1.0, 60, 0.4) <= 0.035
    # with fewer than ten works it is never enough to say
    assert told(0.8, 60, 0.4) >= 0.9 and told(1.0, 9, 0.01) == 0


def test_the_range_of_the_share_holds() -> None:
    rng = np.random.default_rng(4)
    n = np.arange(1, 26)
    power = 1 + np.log2(0.85)
    plain = n**power - (n - 1) ** power
    inside = []
    for _ in range(400):
        found = learning_curve.learn(plain * np.exp(0.35 * rng.standard_normal(25)), np.ones(25))
        assert found is not None
        inside.append(found.low <= 0.85 <= found.high)
    assert 0.74 <= np.mean(inside) <= 0.86


def test_two_times_tell_nothing() -> None:
    assert learning_curve.learn(np.array([10.0, 8.0]), np.ones(2)) is None
