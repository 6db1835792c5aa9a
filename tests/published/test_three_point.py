"""Least, likeliest and most hours by hand against published three-point estimates."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.analysis.simulation import three_point

# Means and variances as printed on the lecture sheet "PERT Networks"; the method is that of Malcolm,
# Roseboom, Clark, Fazar, Operations Research 7 (1959) 646-669.
PRINTED = [
    ((2, 5, 8), 5, 1),
    ((1, 4, 7), 4, 1),
    ((2, 4, 6), 4, 0.44),
    ((5, 7, 12), 7.5, 1.36),
    ((3, 5, 10), 5.5, 1.36),
    ((3, 6, 9), 6, 1),
    ((4, 6, 10), 6.33, 1),
]
# Means and standard deviations as printed on a page of worked answers.
WORKED = [
    ((4, 8, 13), 8.17, 1.50),
    ((1, 10, 17), 9.67, 2.67),
    ((2, 7, 10), 6.67, 1.33),
    ((6, 10, 13), 9.83, 1.17),
    ((2, 6, 6), 5.33, 0.67),
]
LEVELS = (np.arange(20_000) + 0.5) / 20_000


def moments(low: float, likeliest: float, high: float) -> tuple[float, float]:
    """Of the range that is reckoned with."""
    values = np.exp(three_point.table(np.array([low]), np.array([likeliest]), np.array([high]), LEVELS))[0]
    return float(values.mean()), float(values.std())


@pytest.mark.parametrize("three, mean, variance", PRINTED)
def test_means_and_variances_are_the_printed_ones(
    three: tuple[float, float, float], mean: float, variance: float
) -> None:
    low, likeliest, high = (np.array([float(item)]) for item in three)
    assert (
        round(float(three_point.mean(low, likeliest, high)[0]), 2) == mean
        and round(float(three_point.variance(low, high)[0]), 2) == variance
    )
    assert moments(*three) == pytest.approx(
        (
            float(three_point.mean(low, likeliest, high)[0]),
            float(np.sqrt(three_point.variance(low, high)[0])),
        ),
        rel=2e-3,
    )


@pytest.mark.parametrize("three, mean, sd", WORKED)
def test_worked_answers_hold_for_the_range_itself(
    three: tuple[float, float, float], mean: float, sd: float
) -> None:
    found = moments(*three)
    assert (round(found[0], 2), round(found[1], 2)) == (mean, sd)


@given(low=st.floats(0.0, 100), between=st.floats(0, 1), width=st.floats(0, 100))
def test_no_hours_lie_outside_what_was_said_and_they_rise(low: float, between: float, width: float) -> None:
    high = low + width + 0.1
    values = np.exp(
        three_point.table(
            np.array([low]),
            np.array([low + between * (high - low)]),
            np.array([high]),
            np.linspace(0.001, 0.999, 50),
        )
    )[0]
    assert (
        (values >= max(low, 1e-3) - 1e-9).all()
        and (values <= high * (1 + 1e-5)).all()
        and (np.diff(values) >= -1e-12).all()
    )
