"""Calibration on studios of which the truth is known, and what must hold of any."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.analysis.data.lines import Lines
from dashboard.analysis.models import calibration, scoring_rules
from dashboard.analysis.models import rate_table as rate_tables
from dashboard.analysis.models.calibration import LEVELS, SCORED, Calibration
from dashboard.analysis.simulation import totals
from tests.benchmarks.known_truth import one_studio, pooled
from tests.invented_truth import NOW, Floats, asked, draw

HALF = np.array([0.5])


def foretold(known: Calibration, lines: Lines, levels: Floats = SCORED) -> Floats:
    """(n, levels) log hours, each work by itself."""
    found = np.empty((len(lines), len(levels)))
    for name in np.unique(lines.object):
        of = lines.object == name
        found[of] = np.log(calibration.predict(known, lines.take(of)).quantiles(levels))
    return found


@pytest.mark.parametrize("echo", [0.0, 1 / 3])
def test_ranges_hold_what_they_promise_on_studios_of_known_truth(echo: float) -> None:
    """Three studios only, so that bounds are wide; the campaign of dozens is tests/benchmarks/known_truth.py,
    its figures are in tests/benchmarks/README.md.
    """
    found = pooled([one_studio(seed, 40, echo) for seed in (500, 501, 502)])
    assert 0.72 < found["inside 80"] < 0.88 and 0.84 < found["inside 90"] < 0.95
    # lines of one work run over together
    assert 0.62 < found["totals 80"] < 0.95 and found["as if apart"] < found["totals 80"] - 0.05
    assert 0.6 < found["rates 80"] < 0.95 and 0.9 < found["bias"] < 1.1
    assert found["to oracle"] < 1.12
    assert (
        found["to MixedLM on estimates"] < 0.95
        and found["to MixedLM on quantities"] < 1.0
        and found["to one factor"] < 0.95
    )


def test_a_line_that_ends_on_the_edge_of_its_range_counts_by_its_span() -> None:
    table = np.array([[0.0, 1.0, 1.0, 1.0, 2.0]])
    levels = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    low, high = scoring_rules.span(np.array([1.0]), table, levels)
    assert (low[0], high[0]) == (0.3, 0.7)
    assert scoring_rules.inside((low, high), 0.4, 0.9) == pytest.approx([0.75])
    assert scoring_rules.inside(scoring_rules.span(np.array([0.5]), table, levels), 0.1, 0.9) == [1.0]
    assert scoring_rules.inside(scoring_rules.span(np.array([5.0]), table, levels), 0.1, 0.9) == [0.0]


def test_a_record_where_hours_repeat_figures_foretells_that_they_do() -> None:
    studio = draw(7, 40, echo=0.4)
    known = calibration.learn(studio.history, NOW)
    lines = asked(studio.to_come)
    lines = lines.take(lines.figure > 0)
    table = np.stack([calibration.predict(known, lines.take(np.array([n]))).table[0] for n in range(60)])
    spans = scoring_rules.span(np.log(lines.figure[:60]), table, LEVELS)
    # the chance of repeating it, but for what the ratios share of it
    assert 0.25 < float((spans[1] - spans[0]).mean()) < 0.5


def _opened(lines: Lines, rng: np.random.Generator) -> Lines:
    """So far, each line was given some hours, whatever it needs: what needs more is still open, so short jobs
    are finished first.
    """
    given_so_far = np.exp(rng.normal(1.6, 0.8, len(lines)))
    return replace(lines, hours=np.minimum(lines.hours, given_so_far), is_open=lines.hours > given_so_far)


def test_open_lines_are_more_than_so_far_and_leaving_them_out_would_make_rates_low() -> None:
    found: dict[str, list[float]] = {"as they are": [], "left out": [], "as if finished": [], "all known": []}
    shares = []
    for seed in (100, 101, 102, 103):
        studio = draw(seed, 40, later=20)
        lines = _opened(studio.history, np.random.default_rng(seed))
        shares.append(lines.is_open.mean())
        for name, record in (
            ("as they are", lines),
            ("left out", lines.take(~lines.is_open)),
            ("as if finished", replace(lines, is_open=np.zeros(len(lines), dtype=bool))),
            ("all known", studio.history),
        ):
            middle = foretold(calibration.learn(record, NOW), asked(studio.to_come), HALF)[:, 0]
            found[name].append(float((studio.oracle[:, 5] - middle).mean()))
    factor = {name: float(np.exp(np.mean(values))) for name, values in found.items()}
    assert 0.25 < np.mean(shares) < 0.4
    assert (
        factor["left out"] > factor["all known"] * 1.08
        and factor["as if finished"] > factor["all known"] * 1.18
    ), factor
    remains = np.log(factor["as they are"] / factor["all known"])
    assert abs(remains) < 0.06 and abs(remains) < 0.4 * np.log(factor["left out"] / factor["all known"]), (
        factor
    )


def test_a_technique_never_seen_takes_what_its_phase_takes_and_a_phase_never_seen_what_the_studio_takes() -> (
    None
):
    studio = draw(11, 40)
    known = calibration.learn(studio.history, NOW)
    lines = asked(studio.to_come).take(np.arange(2))
    lines = replace(
        lines,
        figure=np.full(2, np.nan),
        quoted=np.full(2, np.nan),
        unit=np.full(2, ""),
        condition=np.full(2, np.nan),
        person=np.full(2, ""),
        shares=np.zeros((2, 3)),
    )
    new_technique = replace(
        lines,
        phase=np.full(2, "phase 03"),
        technique=np.array(["never seen", "nor this"]),
        object=np.full(2, "new"),
    )
    one, other = foretold(known, new_technique)
    assert one == pytest.approx(other)
    joint = known.joint
    expected = joint.effects("level")[0] + joint.effects("phase")[joint.levels.phases.index("phase 03")]
    in_new_phase = foretold(known, replace(new_technique, phase=np.full(2, "never seen")))[0]
    # their middles differ by what is known of the phase alone; where nothing is known the range is wider
    assert one[5] - in_new_phase[5] == pytest.approx(expected - joint.effects("level")[0], abs=0.02)
    assert in_new_phase[9] - in_new_phase[1] > one[9] - one[1]


def test_somebody_new_begins_at_the_studio_s_rate() -> None:
    studio = draw(12, 40)
    known = calibration.learn(studio.history, NOW)
    line = asked(studio.to_come).take(np.arange(1))
    nobody, new = (
        replace(line, person=np.array([who]), shares=np.zeros_like(line.shares)) for who in ("", "Dot")
    )
    assert foretold(known, nobody)[0, 5] == pytest.approx(foretold(known, new)[0, 5], abs=0.02)


@settings(max_examples=6)
@given(seed=st.integers(0, 50))
def test_the_order_of_lines_and_the_names_of_things_change_nothing(seed: int) -> None:
    studio = draw(seed, 12)
    lines, rng = studio.history, np.random.default_rng(seed)
    expected = foretold(calibration.learn(lines, NOW), asked(studio.to_come))
    shuffled = lines.take(rng.permutation(len(lines)))
    assert foretold(calibration.learn(shuffled, NOW), asked(studio.to_come)) == pytest.approx(
        expected, abs=1e-8
    )

    def renamed(item: Lines) -> Lines:
        turned = {
            name: f"{99 - int(name.split()[1]):02d} {name}"
            for name in np.unique(np.concatenate([lines.technique, studio.to_come.technique]))
        }
        return replace(
            item,
            technique=np.array([turned[name] for name in item.technique]),
            people=("Zoe", "Yve", "Xan"),
            person=np.array([{"Ada": "Zoe", "Bo": "Yve", "Cy": "Xan"}[name] for name in item.person]),
        )

    assert foretold(calibration.learn(renamed(lines), NOW), renamed(asked(studio.to_come))) == pytest.approx(
        expected, abs=1e-6
    )


def test_hours_of_another_scale_scale_all_rates() -> None:
    """As far as the record outweighs what is believed of a line before there is one."""
    studio = draw(13, 40)
    known, thrice = (
        calibration.learn(
            replace(studio.history, hours=studio.history.hours * by, figure=studio.history.figure * by), NOW
        )
        for by in (1, 3)
    )
    one, three = rate_tables.person_paces(known), rate_tables.person_paces(thrice)
    assert three.middle - one.middle == pytest.approx(np.full(len(one.middle), np.log(3)), abs=0.02)
    assert three.high - three.low == pytest.approx(one.high - one.low, abs=0.01)


def test_quantiles_rise_and_what_is_left_of_a_line_under_way_rises_with_what_it_took() -> None:
    studio = draw(14, 30, echo=0.3)
    known = calibration.learn(studio.history, NOW)
    lines = asked(studio.to_come).take(np.arange(8))
    told = calibration.predict(known, replace(lines, object=np.full(8, "new")))
    assert (np.diff(told.table, axis=1) >= 0).all()
    before = told.table
    for spent in (0.1, 1.0, 4.0, 20.0, 500.0):
        left = told.beyond(np.full(8, spent)).table
        assert (
            (np.diff(left, axis=1) >= -1e-12).all()
            and (left >= np.log(spent) - 1e-9).all()
            and (left >= before - 1e-9).all()
        )
        before = left


def test_a_total_is_wider_than_lines_apart_and_its_middle_less_than_the_sum_of_its_percentiles() -> None:
    studio = draw(15, 40)
    known = calibration.learn(studio.history, NOW)
    lines = asked(studio.to_come)
    told = calibration.predict(known, lines.take(lines.object == lines.object[0]))
    together = np.sort(totals.simulate(told, np.zeros(len(told.table))))
    apart = np.sort(
        totals.simulate(replace(told, correlation=np.eye(len(told.table))), np.zeros(len(told.table)))
    )
    assert (
        len(together) >= 20_000
        and (together == np.sort(totals.simulate(told, np.zeros(len(told.table))))).all()
    )
    p10, p90 = (int(len(together) * level) for level in (0.1, 0.9))
    assert together[p90] / together[p10] > 1.2 * apart[p90] / apart[p10]
    assert together[p90] < told.quantiles(np.array([0.9])).sum()
    assert totals.simulate(told, np.full(len(told.table), 0.5)).mean() == pytest.approx(
        together.mean() / 2, rel=0.05
    )


def test_a_studio_without_a_record_says_what_is_believed_of_any_and_that_widely() -> None:
    nothing = draw(1, 5).history.take(np.zeros(0, dtype=np.int64))
    known = calibration.learn(nothing, NOW)
    line = replace(asked(draw(1, 5).to_come).take(np.arange(1)), figure=np.array([4.0]))
    with_figure = np.exp(foretold(known, line)[0])
    assert 3 < with_figure[5] < 8 and with_figure[9] / with_figure[1] > 2
    assert np.isfinite(with_figure).all()


def test_more_was_there_than_was_quoted_where_that_was_so_before() -> None:
    studio = draw(16, 60)
    grew = studio.history.phase == "phase 02"
    history = replace(
        studio.history, quantity=np.where(grew, studio.history.quoted * 1.5, studio.history.quantity)
    )
    known = calibration.learn(history, NOW)
    mean, variance = known.joint.growth.of(
        np.array(["phase 02", "phase 05"]), np.array(["never seen", "never seen"])
    )
    assert np.exp(mean) == pytest.approx([1.5, 1.0], abs=0.08) and (variance > 0).all()
