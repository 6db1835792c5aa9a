"""Scores and ranks printed elsewhere, through those of the back-test."""

import numpy as np
import pytest
from scipy import special

from dashboard.analysis.models import scoring_rules
from dashboard.analysis.models.calibration import kaplan_meier
from dashboard.analysis.models.ratio_model import works_needed

LEVELS = (np.arange(200_000) + 0.5) / 200_000


@pytest.mark.parametrize(
    "level, forecast, loss",
    [
        (0.1, (0, 2, 3), 0.1 / 3),
        (0.1, (1, 2, 4), 0.9 / 3),
        (0.9, (0, 2, 3), 0.9 / 3),
        (0.9, (1, 2, 4), 0.1 / 3),
    ],
)
def test_mean_pinball_loss(level: float, forecast: tuple[float, ...], loss: float) -> None:
    # documentation page of scikit-learn's mean_pinball_loss: 0.03…, 0.3…, 0.3…, 0.03…
    assert scoring_rules.pinball(
        np.array([1.0, 2.0, 3.0]), np.array(forecast, dtype=float), level
    ).mean() == pytest.approx(loss)


def test_the_score_of_one_quantile() -> None:
    # scoringrules.quantile_score: observation 0.3, forecast 0.5, level 0.2 gives 0.16
    assert scoring_rules.pinball(np.array([0.3]), np.array([0.5]), 0.2)[0] == pytest.approx(0.16)


@pytest.mark.parametrize(
    "draws, actual, score",
    [
        # documentation of scoringrules.crps_normal(0.0, 0.1, 0.4), and the closed form of Gneiting & Raftery
        # (2007)
        (0.1 + 0.4 * special.ndtri(LEVELS), 0.0, 0.10339992515976162),
        # a standard normal at its own mean: (√2 − 1)/√π (computed)
        (special.ndtri(LEVELS), 0.0, 0.2336949773),
        # documentation of scoringrules.crps_lognormal(0.1, 0.4, 0.0): observation, μ, σ
        (np.exp(np.full(1000, 0.4)), 0.1, 1.3918246976412703),
    ],
)
def test_continuous_ranked_probability_score(draws: np.ndarray, actual: float, score: float) -> None:
    assert scoring_rules.crps(draws, actual) == pytest.approx(score, abs=2e-5)


def test_the_score_of_draws_is_twice_the_pinball_loss_over_all_levels() -> None:
    # identity of Gneiting & Ranjan (2011), recalled from memory: the two scores of the back-test agree with
    # each other
    draws = np.exp(0.3 * special.ndtri(LEVELS))
    losses = scoring_rules.pinball(np.array([1.4]), draws[None, :], LEVELS)
    assert scoring_rules.crps(draws, 1.4) == pytest.approx(2 * losses.mean(), abs=1e-5)


@pytest.mark.parametrize("chance, needed", [(0.9, 9), (0.8, 4), (0.95, 19)])
def test_how_many_past_works_reach_a_chance(chance: float, needed: int) -> None:
    # the ⌈(n + 1)·chance⌉-th smallest of n exists from 9 works on for 9 in 10, from 4 for 4 in 5, from 19 for
    # 95 in 100 (Vovk et al. 2005; Angelopoulos & Bates 2021)
    assert works_needed(chance) == needed


def test_lines_that_are_not_finished_in_the_product_limit_estimate() -> None:
    # remission of 21 patients on 6-mercaptopurine (Freireich et al. 1963), + still in remission; the estimate
    # as in textbooks, data and values recalled from memory
    weeks = np.array(
        [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35], dtype=float
    )
    still = np.array([0, 0, 0, 1, 0, 1, 0, 1, 1, 0, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1], dtype=bool)
    value, _ = kaplan_meier(weeks, still, np.ones(21))
    left = {week: 1.0 for week in (6, 7, 10, 13, 16, 22, 23)}
    # the middle of each step m = 1 − (S before + S after)/2, so S after follows step by step
    before, table = 1.0, kaplan_meier(weeks, still, np.ones(21))[1]
    for week, middle in zip(value, table, strict=True):
        before = 2 * (1 - middle) - before
        left[int(week)] = before
    assert [left[week] for week in (6, 7, 10, 13, 16, 22, 23)] == pytest.approx(
        [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=5e-4
    )
