"""A range given by hand: least, likeliest and most hours of a line, as in three-point estimates.

D. G. Malcolm, J. H. Roseboom, C. E. Clark, W. Fazar, "Application of a technique for research and development program evaluation", Operations Research 7 (1959) 646-669.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from dashboard.analysis.mixed import Floats

_LEAST_SPREAD = 1e-6  # of the most
_LEAST_HOURS = 1e-3


def mean(low: Floats, likeliest: Floats, high: Floats) -> Floats:
    """(n,) (a + 4 m + b) / 6."""
    return (low + 4 * likeliest + high) / 6


def variance(low: Floats, high: Floats) -> Floats:
    """(n,) ((b - a) / 6)²."""
    return ((high - low) / 6) ** 2


def table(low: Floats, likeliest: Floats, high: Floats, levels: Floats) -> Floats:
    """(n, levels) log hours: quantiles of the beta distribution between low and high that has this mean and this variance."""
    width = high - low
    certain = width <= _LEAST_SPREAD * high  # what is said to be certain is reckoned as that
    width = np.where(certain, 1.0, width)
    middle = np.where(certain, 0.5, (mean(low, likeliest, high) - low) / width)
    both = middle * (1 - middle) * 36 - 1
    place = special.betaincinv((middle * both)[:, None], ((1 - middle) * both)[:, None], levels[None, :])
    hours = np.where(certain[:, None], high[:, None], low[:, None] + place * width[:, None])
    found: Floats = np.log(np.maximum(hours, _LEAST_HOURS))
    return found
