"""Sums of lines against published sums of lognormals and of what hangs together."""

import numpy as np
import pytest

from dashboard.analysis.models.calibration import NORMAL_SCORES, PredictiveQuantiles
from dashboard.analysis.simulation.totals import OccurrenceModel, draw_hours, euler_contributions, simulate


def foretold(
    mu: list[float], sigma: list[float], correlation: np.ndarray | None = None
) -> PredictiveQuantiles:
    n = len(mu)
    table = np.array(mu)[:, None] + np.array(sigma)[:, None] * NORMAL_SCORES
    return PredictiveQuantiles.plain(table, np.eye(n) if correlation is None else correlation)


def test_the_sum_of_two_lognormals_has_the_mean_and_the_80_per_cent_point_of_fenton() -> None:
    """L. F. Fenton, "The sum of log-normal probability distributions in scatter transmission systems", IRE
    Transactions on Communications Systems 8 (1960) 57-67: moments of the sum matched by one lognormal; μ ln
    110 and ln 100, σ .25 and .15. Exact mean 214.62313, fitted μ 5.357472, σ .151077 (recomputed), 80 % point
    240.96. The same case by another method stands in the vignette lognormalSum of the R package lognorm: μ
    5.3576474, σ .1499077.
    """
    total = simulate(foretold([np.log(110), np.log(100)], [0.25, 0.15]), np.zeros(2), draws=400_000)
    assert total.mean() == pytest.approx(214.62313, rel=1e-3)
    # his sum is one lognormal, ours the sum itself
    assert np.quantile(total, 0.8) == pytest.approx(240.96, rel=3e-3)
    assert np.log(total).mean() == pytest.approx(5.3576, abs=1e-3) and np.log(total).std() == pytest.approx(
        0.1499, rel=0.01
    )


def test_one_lognormal_has_its_closed_moments() -> None:
    """Mean exp(μ + σ²/2), median exp μ; μ 0, σ 1: 1.648721 and 1 (closed form; the tail is cut at 3.5
    standard deviations, which takes 0.6 % of the mean).
    """
    total = simulate(foretold([0.0], [1.0]), np.zeros(1), draws=400_000)
    assert total.mean() == pytest.approx(1.648721, rel=0.012) and np.median(total) == pytest.approx(
        1.0, rel=0.01
    )


@pytest.mark.parametrize("lines, too_narrow", [(10, 0.402), (30, 0.617), (100, 0.781)])
def test_taking_lines_as_apart_makes_a_sum_too_narrow_by_as_much_as_is_published(
    lines: int, too_narrow: float
) -> None:
    """Equal standard deviations, correlation .2 taken as 0: the standard deviation of the sum is understated
    by 40.2 %, 61.7 %, 78.1 % (variance of a correlated sum; the point made by S. A. Book of cost estimates,
    from memory). Lines of 100 h with 1 % spread are nearly normal.
    """
    together = np.full((lines, lines), 0.2) + 0.8 * np.eye(lines)
    mu, sigma = [np.log(100.0)] * lines, [0.01] * lines
    wide = simulate(foretold(mu, sigma, together), np.zeros(lines)).std()
    narrow = simulate(foretold(mu, sigma), np.zeros(lines)).std()
    assert 1 - narrow / wide == pytest.approx(too_narrow, abs=0.012)


def test_a_sum_of_three_that_hang_together_unequally() -> None:
    """σ 1, 2, 2; ρ12 .5, ρ13 0, ρ23 .25: variance 13; independent 9 (arithmetic of variances, no published
    example).
    """
    together = np.array([[1, 0.5, 0], [0.5, 1, 0.25], [0, 0.25, 1]])
    mu, sigma = [np.log(1000.0)] * 3, [0.001, 0.002, 0.002]
    assert simulate(foretold(mu, sigma, together), np.zeros(3), draws=200_000).var() == pytest.approx(
        13, rel=0.03
    )
    assert simulate(foretold(mu, sigma), np.zeros(3), draws=200_000).var() == pytest.approx(9, rel=0.03)


def test_the_parts_of_a_quantile_of_a_normal_sum_are_those_of_its_closed_form() -> None:
    """D. Tasche, "Risk contributions and performance measurement" (1999): of a normal sum each part is mean +
    cov(part, sum) / sd(sum) × z; here σ 1, 2, 2 and ρ as above.
    """
    together = np.array([[1, 0.5, 0], [0.5, 1, 0.25], [0, 0.25, 1]])
    hours = draw_hours(
        foretold([np.log(1000.0)] * 3, [0.001, 0.002, 0.002], together),
        OccurrenceModel.quoted(np.zeros(3)),
        draws=200_000,
    )
    covariance = np.outer([1, 2, 2], [1, 2, 2]) * together
    expected = 1000 + covariance.sum(axis=1) / np.sqrt(13) * 0.8416212
    found = euler_contributions(hours, 0.8)
    assert found == pytest.approx(expected, abs=0.08)
    assert found.sum() == pytest.approx(np.quantile(hours.sum(axis=0), 0.8), rel=1e-12)
