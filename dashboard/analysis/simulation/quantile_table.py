"""Log hours of a line as a function of the normal score, and back; straight beyond the ends of the table."""

from __future__ import annotations

import numpy as np

from dashboard.analysis.arrays import Floats
from dashboard.analysis.models.calibration import NORMAL_SCORES

STEP = NORMAL_SCORES[1] - NORMAL_SCORES[0]
LEAST_SLOPE = 0.05  # of log hours by a step of the normal score, beyond the end of a table


def tail_slopes(table: Floats) -> tuple[float, float]:
    """By how much log hours change with a normal score of one beyond either end of a table."""
    reach = 10
    return max(float(table[reach] - table[0]) / (reach * STEP), LEAST_SLOPE), max(
        float(table[-1] - table[-1 - reach]) / (reach * STEP), LEAST_SLOPE
    )


def log_hours_at(table: Floats, scores: Floats) -> Floats:
    """(k,) log hours at normal scores; beyond the ends of the table as straight as it ends."""
    low, high = tail_slopes(table)
    inside = _at_normal_scores(table, scores)
    values: Floats = (
        inside
        + high * np.maximum(scores - NORMAL_SCORES[-1], 0.0)
        + low * np.minimum(scores - NORMAL_SCORES[0], 0.0)
    )
    return values


def _at_normal_scores(table: Floats, scores: Floats) -> Floats:
    """`np.interp(scores, NORMAL_SCORES, table)` to the digit: where a score lies among even ones need not be
    searched for.
    """
    last = len(NORMAL_SCORES) - 2
    within = np.clip(scores, NORMAL_SCORES[0], NORMAL_SCORES[-1])
    left = np.minimum(((within - NORMAL_SCORES[0]) / STEP).astype(np.int64), last)
    left -= within < NORMAL_SCORES[left]  # by a hair, as the steps are rounded
    left += (within >= NORMAL_SCORES[left + 1]) & (left < last)
    slope = np.diff(table) / np.diff(NORMAL_SCORES)
    values: Floats = slope[left] * (within - NORMAL_SCORES[left]) + table[left]
    return np.where(within < NORMAL_SCORES[-1], values, table[-1])


def score_of(table: Floats, log_hours: Floats | float) -> Floats:
    """(k,) normal scores at log hours; where many scores have the same hours the last of them."""
    low, high = tail_slopes(table)
    rising = np.maximum.accumulate(table) + 1e-9 * np.arange(len(table))
    values: Floats = (
        np.interp(log_hours, rising, NORMAL_SCORES)
        + np.maximum(log_hours - table[-1], 0.0) / high
        + np.minimum(log_hours - table[0], 0.0) / low
    )
    return values
