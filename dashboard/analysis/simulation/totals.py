"""What lines come to together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.models.calibration import PredictiveQuantiles, at_scores

DRAWS = 20_000
SEED = 8_411
# a correlation of lines that are nearly one, in single precision, is kept from rounding below nought
_JITTER = 1e-5
_BESIDE = 0.025  # draws so near to a level, in shares of all, tell what it is made of


@dataclass(frozen=True, slots=True, kw_only=True)
class OccurrenceModel:
    """One-factor normal copula of which lines will be worked at all.

    Line i occurs where z_i < (q(chance_i) + sqrt(c) f) / sqrt(1 - c), f ~ N(0, 1) of its work, c `together`:
    O. Vasicek, "The distribution of loan portfolio value", Risk (2002; from memory). Example: with `together`
    0 things turn up independently of each other.

    Attributes
    ----------
    chance : (n,) of each line.
    is_discovery : (n,) it is nothing quoted, but what may turn up.
    together : 0 to 1, how far what turns up comes together on one work: the share of a common cause.
    work : (n,) number of the work of each line.
    """

    chance: Floats
    is_discovery: Flags
    together: float
    work: Integers

    @classmethod
    def quoted(cls, unneeded: Floats) -> OccurrenceModel:
        """Lines of one work of which none is to be found: each is worked but with its chance of not being
        needed.
        """
        none = np.zeros(len(unneeded), dtype=np.int64)
        return cls(chance=1 - unneeded, is_discovery=none.astype(bool), together=0.0, work=none)


def draw_hours(
    foretold: PredictiveQuantiles, occurring: OccurrenceModel, draws: int = DRAWS, seed: int = SEED
) -> Floats:
    """(n, draws) equally likely hours of the lines; the same each time.

    Lines are drawn together by their common luck (a normal copula through the quantiles of each line), so
    that their sum is as wide as works have been: never a sum of percentiles, never as if lines knew nothing
    of each other. The first lines are drawn alike whatever lines stand behind them, so that a total moves by
    what was changed and not by luck.
    """
    n = len(foretold.table)
    normal, even = (np.random.default_rng([seed, stream]) for stream in (0, 1))
    root = np.linalg.cholesky(foretold.correlation + _JITTER * np.eye(n)) if n else np.zeros((0, 0))
    scores = root @ normal.standard_normal((n, draws))
    hours = np.zeros((n, draws))
    luck = even.random((n, draws))
    cause = _of_works(occurring, draws, seed)
    for line in range(n):
        if occurring.is_discovery[line]:
            at = np.flatnonzero(
                occurs(
                    float(occurring.chance[line]), occurring.together, luck[line], cause[occurring.work[line]]
                )
            )
        else:
            at = np.flatnonzero(luck[line] < occurring.chance[line])
        hours[line, at] = np.exp(at_scores(foretold.table[line : line + 1], scores[line : line + 1, at]))[0]
    return hours


def occurs(chance: float, together: float, evenly: Floats, cause: Floats) -> Flags:
    """(draws,) whether something turns up that has a chance to, with the cause that it shares with all else
    that does on its work.
    """
    threshold = special.ndtri(np.clip(chance, 1e-12, 1 - 1e-12))
    mask: Flags = evenly < special.ndtr((threshold + np.sqrt(together) * cause) / np.sqrt(1 - together))
    return mask


def _of_works(occurring: OccurrenceModel, draws: int, seed: int) -> Floats:
    """(works, draws) the common cause of what turns up on each work."""
    works = int(occurring.work.max(initial=-1)) + 1
    return np.random.default_rng([seed, 2]).standard_normal((works, draws))


def simulate(foretold: PredictiveQuantiles, unneeded: Floats, draws: int = DRAWS) -> Floats:
    """(draws,) equally likely totals of the quoted lines of a work, in hours; the same each time.

    Parameters
    ----------
    unneeded : (n,) chance that a line is not worked at all.
    """
    total: Floats = draw_hours(foretold, OccurrenceModel.quoted(unneeded), draws).sum(axis=0)
    return total


def euler_contributions(hours: Floats, level: float) -> Floats:
    """(n,) hours of each line in the total at a level: what it takes on average where the total comes to
    about that, made to sum exactly to it.

    The contributions of the parts to a quantile of their sum: D. Tasche, "Risk contributions and performance
    measurement" (1999), with the draws beside the level in place of a density.
    """
    total = hours.sum(axis=0)
    at = np.quantile(total, level)
    beside = np.argsort(total, kind="stable")[
        max(int((level - _BESIDE) * len(total)), 0) : int(np.ceil((level + _BESIDE) * len(total)))
    ]
    mean = hours[:, beside].mean(axis=1)
    values: Floats = mean * (at / mean.sum()) if mean.sum() > 0 else mean
    return values
