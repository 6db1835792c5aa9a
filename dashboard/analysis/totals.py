"""What the lines of a work come to together."""

from __future__ import annotations

import numpy as np

from dashboard.analysis.calibration import Foretold, at_scores
from dashboard.analysis.mixed import Floats

DRAWS = 20_000
_SEED = 8_411


def simulate(foretold: Foretold, unneeded: Floats, draws: int = DRAWS) -> Floats:
    """(draws,) equally likely totals of the lines of a work, in hours; the same each time.

    Lines are drawn together by their common luck (a normal copula through the quantiles of each line), so that the total is as wide as works have been: never
    a sum of percentiles, never as if lines knew nothing of each other.

    Parameters
    ----------
    unneeded : (n,) chance that a line is not worked at all.
    """
    rng = np.random.default_rng(_SEED)
    n = len(foretold.table)
    values, vectors = np.linalg.eigh(foretold.correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    scores = rng.standard_normal((draws, n)) @ root.T
    hours = np.exp(at_scores(foretold.table, scores.T))
    total: Floats = (hours * (rng.random((n, draws)) >= unneeded[:, None])).sum(axis=0)
    return total
