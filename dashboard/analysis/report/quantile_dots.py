"""Chance as dots that can be counted."""

from __future__ import annotations

import numpy as np

from dashboard.analysis.arrays import Floats

_COLUMNS = 14


def stacked(values: Floats) -> tuple[list[float], list[int], float, float]:
    """Equally likely values as dots on columns of one width: the place of each (0 to 1), how many lie below
    it in its column, and where the scale begins and ends.
    """
    low, high = float(values.min()), float(values.max())
    if high <= low:
        return [0.5] * len(values), list(range(len(values))), low, high
    column = np.minimum(((values - low) / (high - low) * _COLUMNS).astype(int), _COLUMNS - 1)
    below: dict[int, int] = {}
    levels = []
    for item in column.tolist():
        levels.append(below.get(item, 0))
        below[item] = levels[-1] + 1
    return ((column + 0.5) / _COLUMNS).tolist(), levels, low, high
