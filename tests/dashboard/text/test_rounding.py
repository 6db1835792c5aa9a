"""Figures that stand beside each other add up as they are read."""

import math
from collections.abc import Hashable
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.analysis.report.overruns import CAUSES
from dashboard.formatting import distinct_hours, exact_hours, tenths
from dashboard.text import html_blocks, rounding

FEW = st.integers(0, 400).map(lambda quarters: quarters / 4) | st.integers(0, 6000).map(
    lambda minutes: minutes / 60
)


def read(cell: str) -> float:
    return 0.0 if cell == "–" else float(cell.replace("−", "-").replace(",", ""))


@given(FEW, st.lists(st.integers(-240, 600).map(lambda minutes: minutes / 60), min_size=3, max_size=3))
def test_a_row_of_the_overruns_adds_up_as_it_is_read(estimated: float, three: list[float]) -> None:
    last = max(-sum(three) - estimated, 0.0)
    row: dict[Hashable, Any] = {
        "estimated_hours": estimated,
        "actual_hours": estimated + sum(three) + last,
        "difference_hours": sum(three) + last,
        "finished": True,
    }
    row |= dict(zip(CAUSES, [*three, last], strict=True))
    quoted, took, difference, *parts = map(read, html_blocks.sum_cells(row))
    assert round(quoted + difference - took, 9) == 0 and round(sum(parts) - difference, 9) == 0
    assert abs(difference - row["difference_hours"]) <= 0.1 + 1e-9
    assert all(abs(part - exact) <= 0.2 + 1e-9 for part, exact in zip(parts, [*three, last], strict=True))
    assert all(part == 0 for part, exact in zip(parts, [*three, last], strict=True) if exact == 0)


@given(st.integers(0, 400), st.integers(0, 400))
def test_of_quarter_hours_the_difference_that_is_shown_is_a_rounding_of_the_true_one(
    estimated: int, actual: int
) -> None:
    told = rounding.difference(actual / 4, estimated / 4)
    assert abs(told - (actual - estimated) / 4) <= 0.05 + 1e-9
    assert round(tenths(estimated / 4) + told - tenths(actual / 4), 9) == 0


@given(FEW, FEW, FEW, FEW)
def test_open_lines_add_up_with_what_is_not_used_yet(
    finished: float, over: float, begun: float, left: float
) -> None:
    """Estimated 10, 5 of it finished at 6, 5 of it begun with 2: 8 = 10 + 1 − 3."""
    row: dict[Hashable, Any] = {
        "estimated_hours": finished + begun + left,
        "actual_hours": finished + over + begun,
        "difference_hours": over,
        "unused_hours": left,
        "open_lines": 1,
    }
    told = rounding.as_shown({**row, **dict.fromkeys(CAUSES, 0.0), "slower_hours": over})
    assert (
        round(
            told["estimated_hours"] + told["difference_hours"] - told["unused_hours"] - told["actual_hours"],
            9,
        )
        == 0
    )
    assert abs(told["unused_hours"] - left) <= 0.15 + 1e-9 or left < 0.15


def test_what_is_not_known_stays_so_and_a_work_without_an_estimate_is_held_against_nothing() -> None:
    row: dict[Hashable, Any] = {
        "estimated_hours": math.nan,
        "actual_hours": 2.25,
        "difference_hours": math.nan,
        **dict.fromkeys(CAUSES, math.nan),
    }
    assert html_blocks.sum_cells(row) == ["–", "2.3", "–", "–", "–", "–", "–"]
    found: dict[Hashable, Any] = {
        "estimated_hours": math.nan,
        "actual_hours": 2.25,
        "difference_hours": 2.25,
        **dict.fromkeys(CAUSES, 0.0),
        "unforeseen_hours": 2.25,
        "finished": True,
    }
    assert html_blocks.sum_cells(pd.Series(found)) == ["–", "2.3", "+2.3", "0.0", "0.0", "+2.3", "0.0"]
    assert html_blocks.sum_cells({**found, "yardstick": "none"}) == ["–", "2.3", "–", "–", "–", "–", "–"]
    assert rounding.parts(-1.8, [0.0, -1.25, 0.0, -0.5]) == pytest.approx([0, -1.3, 0, -0.5])


def test_hours_of_an_entry_are_shown_as_they_were_logged() -> None:
    # minutes by sixtieths of an hour; 50 minutes are 0.8333… of it
    shown = {0: "0.0", 45: "0.75", 50: "0.833", 90: "1.5", 120: "2.0", 75_045: "1,250.75"}
    assert {minutes: exact_hours(minutes / 60) for minutes in shown} == shown
    assert exact_hours(math.nan) == "–"


@given(st.lists(st.integers(0, 100_000).map(lambda seconds: seconds / 3600) | FEW, min_size=2, max_size=4))
def test_hours_that_differ_never_look_alike_where_they_are_compared(values: list[float]) -> None:
    shown = distinct_hours(values)
    assert len(set(shown)) == len(set(values))
    assert all(abs(read(cell) - value) < 5 / 3600 for cell, value in zip(shown, values, strict=True))


def test_hours_a_second_apart_are_told_apart_and_equal_ones_are_not() -> None:
    assert distinct_hours([0.75, 0.75 + 1 / 3600]) == ["0.7500", "0.7503"]
    assert distinct_hours([0.75, 0.75, math.nan]) == ["0.75", "0.75", "–"]
