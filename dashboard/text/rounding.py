"""Hours as they are shown: to a tenth, and so that what stands beside each other adds up as it is read."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from dashboard.analysis.report.overruns import CAUSES
from dashboard.formatting import tenths

_DUST = 1e-9


def difference(actual: float, estimated: float) -> float:
    """The difference of two hours as they are shown: of 4.5 and 4.3 (4.25) it is 0.2, whatever the quarter
    hours behind would round to; unknown where one of them is.
    """
    if math.isnan(actual) or math.isnan(estimated):
        return math.nan
    return round(tenths(actual) - tenths(estimated), 1) + 0.0


def parts(whole: float, exact: Sequence[float]) -> list[float]:
    """Parts to a tenth that sum to a whole that is shown to a tenth.

    Each is rounded down, and the tenths that are missing go to those that lost most by it; a part of nothing
    stays nothing.
    """
    tenths_of = [math.floor(round(part * 10, 6)) for part in exact]
    lost = [part * 10 - whole_tenths for part, whole_tenths in zip(exact, tenths_of, strict=True)]
    able = sorted(
        (number for number, part in enumerate(exact) if abs(part) > _DUST), key=lambda number: -lost[number]
    )
    missing = round(whole * 10) - sum(tenths_of)
    for step in range(abs(missing) if able else 0):
        # a whole that was itself read off rounded figures may lie a tenth beyond its parts, on either side
        tenths_of[able[step % len(able)] if missing > 0 else able[-1 - step % len(able)]] += (
            1 if missing > 0 else -1
        )
    return [number / 10 + 0.0 for number in tenths_of]


def as_shown(row: pd.Series | Mapping[Any, Any]) -> pd.Series:
    """A row of hours beside their difference (a line, or lines summed: see
    `dashboard.analysis.report.overruns`) with its hours as they are shown.

    Actual = estimated + difference − not used yet, and the four parts sum to the difference, digit by digit.
    What a line without an estimate in hours differs by is not known.
    """
    shown = pd.Series(dict(row), dtype=object)
    estimated, actual = (
        0.0 if pd.isna(shown[name]) else tenths(shown[name]) for name in ("estimated_hours", "actual_hours")
    )
    exact = shown["difference_hours"]
    for name in ("estimated_hours", "actual_hours"):
        shown[name] = float("nan") if pd.isna(shown[name]) else tenths(shown[name])
    if pd.isna(exact):
        return shown
    opened = shown["open_lines"] > 0 if "open_lines" in shown else not shown.get("finished", True)
    unused = shown.get("unused_hours", max(0.0, estimated - actual) if opened else 0.0)
    if opened and unused > _DUST:
        shown["difference_hours"] = tenths(exact)
        shown["unused_hours"] = max(round(estimated + shown["difference_hours"] - actual, 1), 0.0) + 0.0
    else:
        shown["difference_hours"] = difference(actual, estimated)
        shown["unused_hours"] = 0.0
    shown[list(CAUSES)] = parts(shown["difference_hours"], [float(shown[name]) for name in CAUSES])
    return shown
