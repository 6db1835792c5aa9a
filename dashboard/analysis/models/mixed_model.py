"""A linear mixed model of one or two answers a line, fitted by expectation and maximisation with weak priors
on its variances.

Henderson's mixed-model equations (C. R. Henderson, "Best linear unbiased estimation and prediction under a
selection model", Biometrics 31 (1975) 423-447) give effects and their covariance at given variances; the
variances follow from them as in N. M. Laird and J. H. Ware, "Random-effects models for longitudinal data",
Biometrics 38 (1982) 963-974, which without priors is restricted maximum likelihood. Departures: pseudo-counts
hold a variance to its prior while little is known; an answer that only says "more than this" is given its
expectation, and the spread that it leaves open (J. Tobin, Econometrica 26 (1958) 24-36); a line far outside
is weighed down (P. J. Huber, Annals of Mathematical Statistics 35 (1964) 73-101).
"""

from __future__ import annotations

from dataclasses import replace

from dashboard.analysis.models.mixed_data import MixedModelData, MixedModelFit, Prior
from dashboard.analysis.models.mixed_em import EmFit
from dashboard.analysis.models.mixed_fixed import FixedVarianceFit


def fit(
    rows: MixedModelData, prior: Prior, *, steps: int, robust: bool = True, learning: bool = True
) -> MixedModelFit:
    """Fit effects and variances.

    Parameters
    ----------
    rows : the lines; their order changes nothing but rounding.
    steps : of expectation and maximisation. The last one solves for the effects at the variances reached.
    robust : lines more than 3 standard deviations out are weighed down.
    learning : variances are fitted; else they stay as the prior has them.
    """
    state = EmFit(rows, prior) if learning else FixedVarianceFit(rows, prior)
    for step in range(steps):
        solved = state.solve()
        if step == steps - 1:
            break
        if robust and (step % 3 == 2 or not learning):
            state.weigh(solved)
        if learning:
            state.learn(solved)
        if rows.more_than.any():
            state.fill_in(solved)
    return state.fitted(solved)


def with_fitted_variances(fitted: MixedModelFit, prior: Prior) -> Prior:
    """The prior with variances as they were fitted, to solve on other lines."""
    return replace(prior, variance=fitted.variance, shared=fitted.shared, residual=fitted.residual)
