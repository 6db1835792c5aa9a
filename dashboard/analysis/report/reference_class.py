"""The view from outside: how far past works ended beyond their own first estimates, put on a new one.

Reference class forecasting: B. Flyvbjerg and COWI, "Procedures for Dealing with Optimism Bias in Transport
Planning", UK Department for Transport, June 2004. It knows nothing of the lines, and so stands beside what
they say, never on top of it.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Floats
from dashboard.analysis.models.ratio_model import works_needed


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceClassForecast:
    """Past works beside a new estimate: how many `works`, of these `remembered` told from memory, and the
    `hours` at even chance, 4 in 5 and 9 in 10 (not a number where there are too few to reach it).
    """

    works: int
    remembered: int
    hours: tuple[float, float, float]


def uplift(ratios: Floats, accepted: float) -> float:
    """What to add to an estimate, as a share of it, so that it is passed with no more than the accepted
    chance.

    Parameters
    ----------
    ratios : actual by estimated of each past work.
    """
    return float(np.quantile(ratios, 1 - accepted)) - 1


def first_hours(lines: pd.DataFrame) -> pd.Series:
    """(lines,) hours of each line by the first approved estimate of its work (else by the one it is held
    against): nought where it had none of it; null where it had a quantity only.
    """
    approved = lines["yardstick"] == "approved"
    by_quantity = lines["estimated_hours"].isna() & lines["unforeseen_hours"].isna()
    return (
        lines["first_approved_hours"]
        .where(approved, lines["estimated_hours"])
        .fillna(0.0)
        .where(~by_quantity)
    )


def of_works(lines: pd.DataFrame) -> pd.Series:
    """Actual by first estimated hours of each work of which all lines are finished, and none was estimated by
    quantity alone, by its code; `lines` of `dashboard.queries.overruns`.
    """
    estimated = lines[lines["yardstick"] != "none"]
    estimated = estimated.assign(first=first_hours(estimated))
    sums = estimated.groupby("object").agg(
        finished=("finished", "all"),
        known=("first", lambda first: first.notna().all()),
        actual=("actual_hours", "sum"),
        first=("first", "sum"),
    )
    sums = sums[
        sums["finished"].astype(bool)
        & sums["known"].astype(bool)
        & (sums["first"] > 0)
        & (sums["actual"] > 0)
    ]
    return sums["actual"] / sums["first"]


def beside(lines: pd.DataFrame, own_hours: float, remembered: Collection[str]) -> ReferenceClassForecast:
    """Own figures of a new work, as past works let expect them to end; `remembered`: codes of works told from
    memory.
    """
    works = of_works(lines)
    ratios = works.to_numpy(dtype=float)
    hours = tuple(
        (
            own_hours * (1 + uplift(ratios, 1 - level))
            if len(ratios) >= (works_needed(level) if level > 0.5 else 1)
            else float("nan")
        )
        for level in (0.5, 0.8, 0.9)
    )
    return ReferenceClassForecast(
        works=len(ratios),
        remembered=int(works.index.isin(list(remembered)).sum()),
        hours=hours,  # type: ignore[arg-type]  # there are three
    )
