"""How good ranges were, once it is known what things took."""

from __future__ import annotations

import numpy as np

from dashboard.analysis.arrays import Floats

_SAME = 1e-9  # of log hours


def pinball(actual: Floats, forecast: Floats, levels: Floats | float) -> Floats:
    """Loss of quantile forecasts: `level` a unit too low, `1 - level` a unit too high (R. Koenker, G.
    Bassett, Econometrica 46 (1978) 33-50).

    Parameters
    ----------
    actual : (…,) forecast : (…, levels), or of the shape of `actual` for one level.
    """
    short = (actual[..., None] if np.ndim(forecast) > np.ndim(actual) else actual) - forecast
    values: Floats = np.maximum(levels * short, (np.asarray(levels) - 1) * short)
    return values


def span(actual: Floats, forecast: Floats, levels: Floats) -> tuple[Floats, Floats]:
    """(n,) from which level to which each actual lies in its forecast; wider than a point only where several
    quantiles are equal to it.

    A place drawn evenly from the span is the randomised probability integral transform (C. Czado, T.
    Gneiting, L. Held, "Predictive model assessment for count data", Biometrics 65 (2009) 1254-1261): what
    ends exactly on the edge of a range is neither always in nor always out.

    Parameters
    ----------
    forecast : (n, levels) rising.
    levels : (levels,) rising.
    """
    below, upto = (
        (forecast < actual[:, None] - _SAME).sum(axis=1),
        (forecast <= actual[:, None] + _SAME).sum(axis=1),
    )
    at = np.arange(len(actual))
    left, right = np.maximum(below - 1, 0), np.minimum(below, len(levels) - 1)
    low, high = forecast[at, left], forecast[at, right]
    part = np.divide(actual - low, high - low, out=np.zeros(len(actual)), where=high > low)
    between = levels[left] + np.clip(part, 0, 1) * (levels[right] - levels[left])
    # beyond the outermost quantiles
    between = np.where(below == 0, 0.0, np.where(below == len(levels), 1.0, between))
    equal = upto > below
    return np.where(equal, levels[right], between), np.where(equal, levels[np.maximum(upto - 1, 0)], between)


def inside(spans: tuple[Floats, Floats], low: float, high: float) -> Floats:
    """(n,) how much of each span lies between two levels: 0 or 1 for a point."""
    first, last = spans
    width = last - first
    values: Floats = np.where(
        width > 0,
        np.clip(np.minimum(last, high) - np.maximum(first, low), 0, None) / np.where(width > 0, width, 1.0),
        (first >= low) & (first <= high),
    )
    return values


def crps(draws: Floats, actual: float) -> float:
    """Continuous ranked probability score of equally likely draws, in their unit: mean distance to the
    actual, less half the mean distance between two draws.

    T. Gneiting, A. E. Raftery, "Strictly proper scoring rules, prediction, and estimation", Journal of the
    American Statistical Association 102 (2007) 359-378, eq. 21.
    """
    ordered = np.sort(draws)
    n = len(ordered)
    between = 2 * ((2 * np.arange(1, n + 1) - n - 1) @ ordered) / n**2
    return float(np.abs(ordered - actual).mean() - between / 2)
