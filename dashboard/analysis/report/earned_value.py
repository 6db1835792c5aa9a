"""The plain reckoning beside the forecast: earned hours, as projects are followed elsewhere.

Earned value management, ANSI/EIA-748; the formulas in A. Darnall, J. M. Preston, "Project Management from
Simple to Complex", section 9.2, with hours in place of money.
"""

from __future__ import annotations

import numpy as np

from dashboard.analysis.arrays import Flags, Floats


def at_completion(budget: float, earned: float, actual: float) -> float:
    """Hours in the end, if what is left goes as what was done: actual + (budget - earned) / (earned /
    actual). Where nothing is earned yet that says nothing: budget, or the actual where that is more.
    """
    if earned <= 0 or actual <= 0:
        return max(budget, actual)
    return actual + (budget - earned) * actual / earned


def earned(estimated: Floats, actual: Floats, share: Floats, finished: Flags) -> float:
    """Estimated hours of what is done already.

    Parameters
    ----------
    estimated : (n,) hours of each line; not a number: in no estimate, and earns nothing.
    share : (n,) 0 to 1, how far it was said to be; not a number: as far as its hours are used up.
    """
    budget = np.nan_to_num(estimated)
    used = np.divide(actual, budget, out=np.zeros_like(budget), where=budget > 0)
    part = np.where(finished, 1.0, np.clip(np.where(np.isnan(share), used, share), 0, 1))
    return float((budget * part).sum())
