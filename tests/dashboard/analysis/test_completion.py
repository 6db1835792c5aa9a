"""Where works under way end: against invented studios of known truth, and its properties."""

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import special

from dashboard.analysis.models import calibration, percent_complete
from dashboard.analysis.models.calibration import NORMAL_SCORES, Calibration
from dashboard.analysis.simulation import (
    completion,
    effect_posterior,
    line_likelihood,
    quantile_table,
    quote_total,
)
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.completion import CompletionForecast, OpenWorks
from dashboard.analysis.simulation.discovery_model import DiscoveryModel
from dashboard.analysis.simulation.quote_snapshot import LEVELS, QuoteSnapshot
from dashboard.analysis.simulation.quote_total import QuoteRequest, StartedLines
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from tests.benchmarks.forecasts import calls, one_studio, pooled
from tests.invented_bench import Bench, draw_bench
from tests.invented_truth import NOW, Floats

_DRAWS = 2000
_ROUNDING = 1e-9
_OTHERS = 5e-3  # of hours: an entry that makes a line the longer may make the luck of its work the surer


@cache
def _bench(seed: int = 21) -> tuple[Bench, Calibration, DiscoveryModel]:
    bench = draw_bench(seed, works=25, later=4)
    known = calibration.learn(bench.quoted.studio.history, NOW + 1)
    return bench, known, bench.discoveries(known)


def _foretold(under_way: OpenWorks) -> CompletionForecast:
    _, known, discoveries = _bench()
    return completion.forecast(known, discoveries, under_way, _DRAWS)


def with_evidence(under_way: OpenWorks, **known: Any) -> OpenWorks:
    return replace(under_way, observations=replace(under_way.observations, **known))


def with_hours(under_way: OpenWorks, line: int, more: float) -> OpenWorks:
    """With so many hours more on one line."""
    so_far = under_way.observations.so_far.copy()
    so_far[line] += more
    return with_evidence(under_way, so_far=so_far)


def _total(forecast: CompletionForecast) -> Floats:
    return np.sort(forecast.together)


def test_forecasts_of_two_studios_hold_narrow_and_beat_three_plainer_ways() -> None:
    """Two studios say little of a share, so the bounds are wide; `tests/benchmarks/forecasts.py` pools
    twenty.
    """
    rows = pd.DataFrame([row for seed in (7300, 7301) for row in one_studio(seed, later=10, draws=_DRAWS)])
    by_share = pooled(rows)
    later = rows[rows["share"] > 0]
    assert 0.68 <= later["inside 80"].mean() <= 0.92
    assert by_share["width"].is_monotonic_decreasing and by_share["by_the_quote"].iloc[-1] < 0.5
    assert (by_share.loc[by_share.index > 0, ["to approved", "to earned", "to quote"]] < 1).all(axis=None)
    called, false, _ = calls(rows)
    assert called >= 0.7 and false <= 0.25


@given(work=st.integers(0, 3), share=st.floats(0.02, 0.98))
def test_nothing_is_foretold_below_the_hours_logged(work: int, share: float) -> None:
    bench, _, _ = _bench()
    course = bench.courses[work]
    so_far = course.so_far(share)
    asked = course.under_way(so_far, bench.saying)
    found = _foretold(asked)
    assert _total(found)[0] >= so_far.sum() - 1e-9
    assert (found.lines >= asked.observations.so_far[:, None] - 1e-9).all()


@given(
    work=st.integers(0, 3),
    share=st.floats(0.05, 0.9),
    which=st.integers(0, 50),
    more=st.floats(0.05, 30.0),
    goes_on=st.sampled_from([0.0, 0.2, 0.8, 1.0]),
)
def test_an_entry_more_on_an_open_line_never_lowers_its_end_nor_that_of_the_work(
    work: int, share: float, which: int, more: float, goes_on: float
) -> None:
    bench, _, _ = _bench()
    asked = bench.courses[work].under_way(bench.courses[work].so_far(share), bench.saying)
    asked = with_evidence(asked, goes_on=np.where(np.isnan(asked.observations.stated_share), goes_on, 1.0))
    assume(len(asked.lines) > 0)
    line = which % len(asked.lines)  # begun or not
    before, after = _foretold(asked), _foretold(with_hours(asked, line, more))
    assert (after.lines[line] >= before.lines[line] * (1 - _ROUNDING)).all()
    assert (np.quantile(_total(after), LEVELS) >= np.quantile(_total(before), LEVELS) * (1 - _OTHERS)).all()


def test_hours_more_on_one_line_move_the_others_up() -> None:
    """The luck of the work: a line that takes long says that the others will."""
    bench, _, _ = _bench()
    asked = bench.courses[0].under_way(bench.courses[0].so_far(0.3), bench.saying)
    line = int(np.flatnonzero(asked.observations.so_far > 0)[0])
    before, after = _foretold(asked), _foretold(with_hours(asked, line, 25.0))
    others = asked.observations.so_far == 0
    assert (after.lines[others, 1] >= before.lines[others, 1] * (1 - _ROUNDING)).all() and after.lines[
        others, 1
    ].sum() > 1.02 * before.lines[others, 1].sum()
    assert after.luck[str(asked.lines.object[0])] > before.luck[str(asked.lines.object[0])]


def test_a_work_of_which_everything_is_finished_ends_at_what_it_took() -> None:
    bench, _, _ = _bench()
    course = bench.courses[1]
    asked = course.under_way(course.so_far(1.0), bench.saying)
    # the page leaves out a work without open lines; this is its limit
    asked = replace(asked, agreed_in_part=frozenset(asked.works))
    assert len(asked.lines) == 0
    assert _total(_foretold(asked)) == pytest.approx(course.took)


def test_a_line_said_to_be_far_gone_ends_near_its_hours_and_one_half_done_at_about_twice_them() -> None:
    bench, known, discoveries = _bench()
    asked = bench.courses[0].under_way(bench.courses[0].so_far(0.3), bench.saying)
    line = int(np.flatnonzero(asked.observations.so_far > 0)[0])
    exact = percent_complete.LogitCalibration(lean=0.0, spread=0.2, lines=100)
    ends = []
    for part in (0.5, 0.9):
        share, sd = exact.passed(np.array([part]))
        at = np.arange(len(asked.observations.so_far)) == line
        told = with_evidence(
            asked,
            stated_share=np.where(at, share[0], asked.observations.stated_share),
            stated_sd=np.where(at, sd[0], asked.observations.stated_sd),
            stated_at_hours=np.where(at, asked.observations.so_far, asked.observations.stated_at_hours),
            goes_on=np.ones(len(at)),
        )
        ends.append(
            completion.forecast(known, discoveries, told, _DRAWS).lines[line, 1]
            / asked.observations.so_far[line]
        )
    assert ends[0] == pytest.approx(2, rel=0.2) and ends[1] == pytest.approx(1 / 0.9, rel=0.05)


def test_what_is_all_done_stays_as_it_is_and_may_turn_up_less_the_further_the_work_is() -> None:
    bench, _, _ = _bench()
    course = bench.courses[2]
    early, late = (_foretold(course.under_way(course.so_far(share), bench.saying)) for share in (0.05, 0.9))
    known_early, known_late = (
        {item.discovery.technique: item.discovery.chance for item in found.discoveries}
        for found in (early, late)
    )
    both = known_early.keys() & known_late.keys()
    assert both and all(known_late[name] < known_early[name] for name in both)
    asked = course.under_way(course.so_far(0.4), bench.saying)
    begun = asked.observations.so_far > 0
    done = _foretold(with_evidence(asked, all_done=begun))
    assert np.allclose(done.lines[begun], asked.observations.so_far[begun][:, None])


@pytest.mark.parametrize("seed", [21, 8601, 8602])
def test_a_revision_tells_the_total_of_the_bench_whatever_the_order_of_its_sheet(seed: int) -> None:
    """What nobody quoted among it, and what is finished."""
    bench, known, discoveries = _bench(seed)
    rng = np.random.default_rng(seed)
    with_finds = 0
    for course, share in zip(bench.courses, (0.1, 0.4, 0.6, 0.85), strict=True):
        so_far = course.so_far(share)
        asked = course.under_way(so_far, bench.saying)
        told = completion.forecast(known, discoveries, asked, _DRAWS).together
        on_sheet = rng.permutation(np.flatnonzero(~course.found | (so_far > 0)))
        finished = course.finished(so_far)
        on_bench = np.flatnonzero((~course.found | (so_far > 0)) & ~finished)
        order = np.array([int(np.flatnonzero(on_sheet == line)[0]) for line in on_bench], dtype=np.int64)
        stated = {
            name: np.full(len(on_sheet), np.nan) for name in ("stated_at_hours", "stated_share", "stated_sd")
        }
        for name, values in stated.items():
            values[order] = getattr(asked.observations, name)
        begun = replace(CensoredObservations.none(len(on_sheet)), so_far=so_far[on_sheet], **stated)
        n, nothing = len(on_sheet), np.full(len(on_sheet), np.nan)
        sheet = QuoteRequest(
            lines=replace(
                course.lines.take(on_sheet), hours=nothing, quantity=nothing, is_open=np.ones(n, dtype=bool)
            ),
            ranges=ThreePointEstimates(low=nothing, likeliest=nothing, high=nothing),
            pinned=np.zeros(n),
            works=asked.works,
            bears_on=asked.bears_on,
            bench=StartedLines(
                observations=begun,
                finished=finished[on_sheet],
                in_estimate=~course.found[on_sheet],
                order=order,
            ),
        )
        revised = quote_total.forecast(known, discoveries, sheet, _DRAWS)
        np.testing.assert_allclose(np.quantile(revised.total(), LEVELS), np.quantile(told, LEVELS), rtol=1e-9)
        kept = QuoteSnapshot.from_json(json.loads(json.dumps(revised.basis.to_json())))
        np.testing.assert_array_equal(kept.hours(), revised.hours)  # and it says so in years
        with_finds += int((course.found & (so_far > 0) & ~finished).any())
    assert with_finds or seed != 21


def test_shares_that_lean_are_learnt_and_few_of_them_hardly_count() -> None:
    rng = np.random.default_rng(5)
    passed = rng.uniform(0.15, 0.85, 400)
    odds = np.log(passed / (1 - passed))
    said = 1 / (1 + np.exp(-(odds + 0.6 + 0.4 * rng.standard_normal(400))))  # she says more than has passed
    found = percent_complete.learn(said, passed, np.arange(400))
    assert (
        found.lean == pytest.approx(-0.6, abs=0.08)
        and found.spread == pytest.approx(0.4, abs=0.05)
        and found.lines == 400
    )
    share, _ = found.passed(np.array([0.5]))
    assert share[0] < 0.4
    few = percent_complete.learn(said[:2], passed[:2], np.arange(2))
    assert (
        abs(few.lean) < 0.3
        and percent_complete.learn(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64)).lean == 0
    )
    often = percent_complete.learn(
        np.repeat(said[:2], 50), np.repeat(passed[:2], 50), np.repeat(np.arange(2), 50)
    )
    assert often.lean == pytest.approx(few.lean)  # however often a line is spoken of, it is one line


def test_the_quicker_ways_to_look_up_sort_and_add_give_what_the_plain_ones_give_to_the_digit() -> None:
    luck = np.random.default_rng(4)
    scores = np.concatenate(
        [
            luck.normal(0, 2, 4_000),
            NORMAL_SCORES,
            np.nextafter(NORMAL_SCORES, 9),
            np.nextafter(NORMAL_SCORES, -9),
            [-8.0, 8.0],
        ]
    )
    table = np.sort(luck.normal(1, 1, len(NORMAL_SCORES)))
    assert np.array_equal(
        quantile_table._at_normal_scores(table, scores), np.interp(scores, NORMAL_SCORES, table)
    )
    places, upto = luck.random(4_000), np.concatenate([[0.0, 0.0], np.sort(luck.random(138)), [1.0]])
    assert np.array_equal(
        effect_posterior.Ranks.of(places).interpolated(upto, NORMAL_SCORES),
        np.interp(places, upto, NORMAL_SCORES),
    )
    for values in (
        luck.normal(-50, 30, 141),
        np.full(7, -1e4),
        luck.normal(0, 300, (43, 60)),
        np.full(3, -np.inf),
        np.array([-np.inf, 0.0]),
    ):
        assert np.array_equal(line_likelihood._log_sum_exp(values), special.logsumexp(values, axis=0))
    for hours in (
        luck.gamma(2, 3, 3_000),
        np.maximum(luck.gamma(2, 3, 3_000), 5.0),
        np.round(luck.gamma(2, 3, 3_000), 1),
        np.full(40, 2.0),
    ):
        assert np.array_equal(completion._in_order(hours), np.argsort(hours, kind="stable"))
