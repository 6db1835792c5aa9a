"""Sentences about past estimates tried again."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import Any

from dashboard.analysis.validation.backtest import BacktestScores
from dashboard.formatting import counted

_WORKS_TO_JUDGE = 8  # before it is said whether ranges hold


_LEAN = 1.1  # what lines took against what was foretold, before that is said


def ranges_verdict(verdict: BacktestScores) -> str:
    """Of all lines, in one sentence."""
    if not verdict.lines:
        return (
            "No finished line has an estimate from before its first entry yet, so there is no promise to try"
            " again."
        )
    return (
        f"Of {counted(verdict.lines, 'line')}, {_in_100(verdict.coverage80)} in 100 ended inside their range"
        f" of 4 in 5, {_in_100(verdict.coverage90)} inside that of 9 in 10; {_off(verdict.bias_factor)}."
    )


def totals_verdict(verdict: BacktestScores) -> str:
    """Of the totals of works, in one sentence; nothing where there is none."""
    if not verdict.works:
        return ""
    return (
        f"Of the totals of {counted(verdict.works, 'work')}, {_in_100(verdict.total_coverage80)} in 100 were"
        " inside their range of 4 in 5."
    )


def trust(row: Mapping[Hashable, Any]) -> str:
    """A verdict on the ranges of a phase; `row` of `dashboard.analysis.validation.backtest.by_phase`."""
    lines, works, share = int(row["lines"]), int(row["works"]), float(row["inside80"])
    if works < _WORKS_TO_JUDGE:
        return f"too early to say: {counted(lines, 'line')} on {counted(works, 'work')}"
    # lines of one work share its luck, so works are what is counted
    tolerance = 1.64 * math.sqrt(0.8 * 0.2 / works)
    inside = f"{_in_100(share)} in 100 ended inside the range of 4 in 5"
    if share < 0.8 - tolerance:
        side = "mostly above it" if row["above"] > row["below"] else "mostly below it"
        return f"too narrow so far: only {inside}, the others {side}"
    lean = "" if 1 / _LEAN < row["bias_factor"] < _LEAN else f"; {_off(float(row['bias_factor']))}"
    return f"{'wider than need be' if share > 0.8 + tolerance else 'yes'}: {inside}{lean}"


def _in_100(share: float) -> str:
    return f"{100 * share:.0f}"


def _off(factor: float) -> str:
    """Actual against forecast hours of lines, at even chance."""
    percent = round(100 * (factor - 1))
    return (
        "lines took what was foretold at even chance"
        if not percent
        else (
            f"lines took {abs(percent)} % {'more' if percent > 0 else 'less'} than was foretold at even"
            " chance"
        )
    )
