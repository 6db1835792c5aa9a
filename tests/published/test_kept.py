"""The share of promises kept, and how far works were off, with their ranges: against statsmodels and SciPy,
and against what the ranges claim.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

from dashboard.analysis.validation import promise_scores


@given(st.integers(1, 400).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_the_range_of_a_share_is_that_of_statsmodels(hits_of: tuple[int, int]) -> None:
    """Jeffreys interval as `statsmodels.stats.proportion.proportion_confint` gives it."""
    hits, of = hits_of
    found = promise_scores.jeffreys_interval(hits, of)
    low, high = proportion_confint(hits, of, alpha=0.2, method="jeffreys")
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9) and found.low <= (hits + 0.5) / (
        of + 1
    ) <= found.high


def test_a_share_of_a_printed_example() -> None:
    """Brown, Cai, DasGupta 2001, Statistical Science 16:101-133, give the Jeffreys interval as quantiles of
    Beta(x + 1/2, n − x + 1/2): here those of SciPy's beta distribution.
    """
    found = promise_scores.jeffreys_interval(16, 20)
    assert (found.low, found.high) == pytest.approx(tuple(stats.beta(16.5, 4.5).ppf([0.1, 0.9])), abs=1e-12)
    assert np.isnan(promise_scores.jeffreys_interval(0, 0).low)


@given(st.lists(st.floats(-2, 2), min_size=2, max_size=60))
def test_the_range_of_what_works_took_is_that_of_statsmodels(logs: list[float]) -> None:
    """Student's t interval of the mean of logs, as `statsmodels.stats.weightstats.DescrStatsW.tconfint_mean`
    gives it.
    """
    found = promise_scores.geometric_mean_ratio(np.array(logs))
    low, high = DescrStatsW(logs).tconfint_mean(alpha=0.2)
    if np.isfinite(low):
        assert (np.log(found.low), np.log(found.high)) == pytest.approx((low, high), abs=1e-7)
    assert found.factor == pytest.approx(stats.gmean(np.exp(logs)), rel=1e-9)


def test_the_ranges_hold_as_often_as_they_claim() -> None:
    """Known truth: 2,000 studios whose promises are kept 7 times in 10, and whose works take a quarter more;
    4 ranges in 5 hold it.
    """
    rng = np.random.default_rng(3)
    hits = rng.binomial(30, 0.7, 2000)
    shares = [promise_scores.jeffreys_interval(int(hit), 30) for hit in hits]
    assert np.mean([share.low <= 0.7 <= share.high for share in shares]) == pytest.approx(0.8, abs=0.04)
    factors = [
        promise_scores.geometric_mean_ratio(np.log(1.25) + rng.normal(0, 0.3, 12)) for _ in range(2000)
    ]
    assert np.mean([factor.low <= 1.25 <= factor.high for factor in factors]) == pytest.approx(0.8, abs=0.03)


def test_what_was_kept_and_what_was_inside_is_counted_as_it_was_said() -> None:
    """Promises are said to a tenth of an hour, so 10.04 h within 10.0 h are kept; a point has no range to be
    inside of.
    """
    day = pd.Timestamp("2026-01-05")
    told = pd.DataFrame(
        {
            "object": ["a", "b", "c", "d"],
            "p10": [5.0, 5.0, np.nan, 5.0],
            "p50": [8.0, 8.0, np.nan, 8.0],
            "p90": [12.0, 12.0, np.nan, 12.0],
            "confidence": [80.0, 80.0, np.nan, 80.0],
            "promised_hours": [10.0, 10.0, 10.0, 10.0],
        }
    )
    lines = pd.DataFrame(
        {
            "object": ["a", "b", "c", "d", "d"],
            "finished": [True, True, True, True, False],
            "actual_hours": [10.04, 13.0, 10.2, 3.0, 1.0],
            "finished_on": [day] * 5,
        }
    )
    held = promise_scores.scored_promises(told, lines).set_index("object")
    assert held["kept"].to_dict() == {"a": True, "b": False, "c": False} and held["inside"].fillna(
        -1
    ).to_dict() == {"a": 1.0, "b": 0.0, "c": -1.0}
    assert held["even_hours"].to_dict() == {"a": 8.0, "b": 8.0, "c": 10.0}
    found = held.reset_index()
    assert (
        promise_scores.share_kept(found).hits,
        promise_scores.share_kept(found).of,
        promise_scores.share_inside(found).of,
    ) == (1, 3, 2)
    assert promise_scores.by_year(found)[["year", "works", "kept"]].to_numpy().tolist() == [[2026, 3, 1]]


@given(st.data())
def test_by_phase_and_by_technique_nothing_is_lost_and_the_order_of_lines_does_not_matter(
    data: st.DataObject,
) -> None:
    n = data.draw(st.integers(1, 40))
    hours = st.floats(0.25, 200)
    lines = pd.DataFrame(
        {
            "object": [f"w{data.draw(st.integers(0, 5))}" for _ in range(n)],
            "phase": [f"p{data.draw(st.integers(0, 2))}" for _ in range(n)],
            "technique": [f"t{data.draw(st.integers(0, 3))}" for _ in range(n)],
            "promised_hours": [data.draw(hours) for _ in range(n)],
            "actual_hours": [data.draw(hours) for _ in range(n)],
        }
    )
    lines["position"] = lines["phase"].str[1:].astype(int)
    phases, mixed = (
        promise_scores.by_phase(lines),
        promise_scores.by_phase(lines.sample(frac=1, random_state=1)),
    )
    assert phases["actual_hours"].sum() == pytest.approx(lines["actual_hours"].sum()) and phases[
        "promised_hours"
    ].sum() == pytest.approx(lines["promised_hours"].sum())
    pd.testing.assert_frame_equal(phases, mixed)
    worst = promise_scores.least_worth(lines)
    assert (
        worst["missed_by"].is_monotonic_decreasing
        and (worst["works"] >= promise_scores.FEW_WORKS).all()
        and (worst["missed_by"] >= 0).all()
    )
