"""A range given by hand: least, likeliest and most hours of a line, as in three-point estimates.

D. G. Malcolm, J. H. Roseboom, C. E. Clark, W. Fazar, "Application of a technique for research and development
program evaluation", Operations Research 7 (1959) 646-669.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Flags, Floats, Integers

_LEAST_SPREAD = 1e-6  # of the most
_LEAST_HOURS = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreePointEstimates:
    """PERT three-point estimates of n lines: mean (a + 4 m + b) / 6, variance ((b - a) / 6)²; see the module.

    Example: 2, 4 and 12 hours have a mean of 5.

    Attributes
    ----------
    low, likeliest, high : (n,) hours by hand; not a number where no range was given.
    """

    low: Floats
    likeliest: Floats
    high: Floats

    @classmethod
    def of(cls, low: Floats, hours: Floats, high: Floats) -> ThreePointEstimates:
        """From low and high as they were given, and own hours, which are the likeliest; where there are none
        it is the middle.
        """
        has_range = ~np.isnan(low) & (high > 0)
        likeliest = np.where(np.isnan(hours), (low + high) / 2, hours)
        return cls(
            low=np.where(has_range, low, np.nan),
            likeliest=np.where(has_range, likeliest, np.nan),
            high=np.where(has_range, high, np.nan),
        )

    @property
    def has_range(self) -> Flags:
        mask: Flags = ~np.isnan(self.low)
        return mask

    def take(self, which: Flags | Integers) -> ThreePointEstimates:
        return ThreePointEstimates(
            low=self.low[which], likeliest=self.likeliest[which], high=self.high[which]
        )

    def join(self, other: ThreePointEstimates) -> ThreePointEstimates:
        return ThreePointEstimates(
            **{
                name: np.concatenate([getattr(self, name), getattr(other, name)])
                for name in ("low", "likeliest", "high")
            }
        )

    def mixed_into(self, logs: Floats, levels: Floats, own_share: Floats) -> Floats:
        """Mix them into log hours at some levels (n, levels), in place: all of a range where the technique
        was never done (`own_share`, 0 to 1), little where the record knows it well. (n,) how far each counts.
        """
        counts = np.where(self.has_range, 1 - own_share, 0.0)
        at = np.flatnonzero(counts > 0)
        if len(at):
            hers = table(self.low[at], self.likeliest[at], self.high[at], levels)
            logs[at] += counts[at, None] * (hers - logs[at])
        return counts


def mean(low: Floats, likeliest: Floats, high: Floats) -> Floats:
    """(n,) (a + 4 m + b) / 6."""
    return (low + 4 * likeliest + high) / 6


def variance(low: Floats, high: Floats) -> Floats:
    """(n,) ((b - a) / 6)²."""
    return ((high - low) / 6) ** 2


def table(low: Floats, likeliest: Floats, high: Floats, levels: Floats) -> Floats:
    """(n, levels) log hours: quantiles of the beta distribution between low and high that has this mean and
    this variance.
    """
    width = high - low
    certain = width <= _LEAST_SPREAD * high  # what is said to be certain is reckoned as that
    width = np.where(certain, 1.0, width)
    middle = np.where(certain, 0.5, (mean(low, likeliest, high) - low) / width)
    both = middle * (1 - middle) * 36 - 1
    place = special.betaincinv((middle * both)[:, None], ((1 - middle) * both)[:, None], levels[None, :])
    hours = np.where(certain[:, None], high[:, None], low[:, None] + place * width[:, None])
    values: Floats = np.log(np.maximum(hours, _LEAST_HOURS))
    return values
