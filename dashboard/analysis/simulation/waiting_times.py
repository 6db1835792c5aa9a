"""Waiting that is nobody's work: soaking, pressing, drying; elapsed hours of lines, from what finished ones
took.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Floats
from dashboard.analysis.data.lines import Names

_SEED = 8_412
# standard deviation of log hours before there is a record, and the lines that is worth
SPREAD, _SPREAD_WORTH = (0.5, 8.0)
HOURS_A_DAY = 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LognormalWaits:
    """What finished lines waited: by technique the mean of the log hours, how many lines and how many of them
    waited at all; `spread` of log hours about that.
    """

    middle: dict[str, float]
    waited: dict[str, tuple[int, int]]
    spread: float


def learn(lines: pd.DataFrame) -> LognormalWaits:
    """From finished lines with entries; `lines` of `dashboard.queries.overruns`."""
    worked = lines[
        lines["finished"].astype(bool) & ((lines["actual_hours"] > 0) | (lines["unattended_hours"] > 0))
    ]
    waits = worked[worked["unattended_hours"] > 0]
    log = np.log(waits["unattended_hours"].to_numpy(dtype=float))
    middle = pd.Series(log, index=waits["technique"].to_numpy()).groupby(level=0).mean()
    off = log - middle.reindex(waits["technique"]).to_numpy(dtype=float)
    free = max(len(log) - len(middle), 0)
    spread = float(np.sqrt(((off**2).sum() + _SPREAD_WORTH * SPREAD**2) / (free + _SPREAD_WORTH)))
    every = worked.groupby("technique").size()
    some = waits.groupby("technique").size()
    return LognormalWaits(
        middle={str(name): float(value) for name, value in middle.items()},
        waited={str(name): (int(some[name]), int(every[name])) for name in some.index},
        spread=spread,
    )


def draw_hours(waits: LognormalWaits, techniques: Names, values: Floats, draws: int) -> Floats:
    """(n, draws) equally likely hours that pass on each of some lines; the same each time.

    Parameters
    ----------
    values : (n,) hours elapsed as they were planned; not a number: as the record says, of a technique that
        never waited none.
    """
    rng = np.random.default_rng(_SEED)
    hours_drawn = np.zeros((len(techniques), draws))
    for line, (name, hours) in enumerate(zip(techniques.tolist(), values.tolist(), strict=True)):
        luck, evenly = rng.standard_normal(draws), rng.random(draws)
        if hours > 0:
            hours_drawn[line] = hours * np.exp(waits.spread * luck)
        elif np.isnan(hours) and name in waits.middle:
            some, every = waits.waited[name]
            hours_drawn[line] = np.where(
                evenly < some / every, np.exp(waits.middle[name] + waits.spread * luck), 0.0
            )
    return hours_drawn


def draw_days(waits: LognormalWaits, techniques: Names, values: Floats, draws: int) -> Floats:
    """(draws,) equally likely days of waiting of some lines, one after the other; see `draw_hours`."""
    total: Floats = draw_hours(waits, techniques, values, draws).sum(axis=0) / HOURS_A_DAY
    return total
