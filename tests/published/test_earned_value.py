"""Earned value, against printed examples.

A. Darnall, J. M. Preston, "Project Management from Simple to Complex" (Saylor open text, version 1.1),
section 9.2; the formulas are those of ANSI/EIA-748.
"""

import numpy as np
import pytest

from dashboard.analysis.report import earned_value


def test_johns_move_on_day_six_costs_what_was_earned_and_what_is_left() -> None:
    """Earned 162.10, actual 154.50, budget 1,534: the book prints a cost performance index of 1.05 and, for a
    cause that is not typical, 1,526.40 in the end. Where what is left goes as what was done (typical), the
    same inputs come to 1,462.08 (not printed, computed from the printed formula).
    """
    budget, done, actual = 1534.0, 162.10, 154.50
    assert round(done / actual, 2) == 1.05
    assert round(actual + budget - done, 2) == 1526.40
    assert round(earned_value.at_completion(budget, done, actual), 2) == 1462.08


def test_what_is_left_at_the_rate_of_what_was_done_is_not_rounded_on_the_way() -> None:
    """Earned 80,000, actual 85,000, budget 800,000: the book prints 766,000 to come, as it rounds the index
    to 0.94 first; exactly it is 765,000.
    """
    budget, done, actual = 800_000.0, 80_000.0, 85_000.0
    assert earned_value.at_completion(budget, done, actual) - actual == pytest.approx(765_000)
    assert round((budget - done) / 0.94, -3) == 766_000


def test_lines_earn_what_they_were_estimated_at_as_far_as_they_are_done() -> None:
    estimated, actual = np.array([10.0, 8.0, 6.0, np.nan, 4.0]), np.array([14.0, 6.0, 3.0, 5.0, 0.0])
    share, finished = (
        np.array([np.nan, 0.5, np.nan, np.nan, np.nan]),
        np.array([True, False, False, False, False]),
    )
    # finished earns all, half done half, nobody said: what is used up, in no estimate and not begun: nothing
    assert earned_value.earned(estimated, actual, share, finished) == 10 + 4 + 3 + 0 + 0
    assert (
        earned_value.at_completion(28.0, 0.0, 5.0) == 28.0
        and earned_value.at_completion(28.0, 0.0, 40.0) == 40.0
    )
