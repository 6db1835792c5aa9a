"""Hours at the bench on the days to come, as weeks have been."""

from __future__ import annotations

import numpy as np

from dashboard.analysis.arrays import Floats, Integers

DAYS_A_WEEK = 7
ENOUGH_WEEKS = 8  # logged, before they tell how weeks differ
_SPREAD = (
    0.25  # of the log of a week's hours by the usual ones, while there are fewer (common practice, no source)
)
_SEED = 8_413


def draw_days(
    weekly: float,
    logged: Floats,
    shares: Floats,
    present: Floats,
    first_weekday: int,
    draws: int,
    person: int = 0,
) -> Floats:
    """(draws, days) equally likely hours at the bench of one person on the days to come; the same each time.

    Parameters
    ----------
    weekly : hours in an ordinary week.
    logged : (weeks,) hours of past weeks in which something was logged; with `ENOUGH_WEEKS` of them weeks
        differ as those did, and what is usual is as sure as so many weeks make it.
    shares : (7,) of a week's hours on each day, Monday first.
    present : (days,) 0 to 1.
    first_weekday : of the first day, Monday 0.
    """
    rng = np.random.default_rng([_SEED, person])
    days: Integers = np.arange(len(present)) + first_weekday
    weeks = int(days[-1]) // DAYS_A_WEEK + 1 if len(days) else 0
    if len(logged) >= ENOUGH_WEEKS:
        mean = logged.mean()
        usual = rng.choice(logged, (draws, len(logged))).mean(axis=1, keepdims=True) / mean
        factor = rng.choice(logged, (draws, weeks)) / mean * usual
    else:
        factor = np.exp(_SPREAD * rng.standard_normal((draws, weeks)) - _SPREAD**2 / 2)
    values: Floats = weekly * factor[:, days // DAYS_A_WEEK] * shares[days % DAYS_A_WEEK] * present
    return values
