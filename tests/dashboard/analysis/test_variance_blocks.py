"""Long records: variances are learnt on blocks of works that are over, effects at those variances on all
lines.
"""

from dataclasses import replace

import numpy as np
import pytest

from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import calibration, hours_model, variance_blocks
from dashboard.analysis.models.hours_model import BivariateMixedModel
from dashboard.analysis.models.mixed_data import MixedModelFit
from dashboard.analysis.models.mixed_model import fit
from tests.invented_truth import NOW, draw

WORKS = 520  # some 6,200 lines


@pytest.fixture(scope="module")
def history() -> Lines:
    """Works that were finished one after the other, one every twelve days."""
    lines = draw(11, WORKS).history
    work = lines.coded("object")[1]
    return replace(lines, day=NOW - 12 * (WORKS - work))


def until(lines: Lines, day: int) -> Lines:
    return lines.take(lines.day < day)


def opened(lines: Lines, day: int = NOW - 1, seed: int = 3) -> Lines:
    """Works like these that are under way: half of the lines of each have half of their hours, the others are
    finished.
    """
    is_open = np.random.default_rng(seed).random(len(lines)) < 0.5
    return replace(
        lines,
        object=np.char.add(lines.object, " again"),
        hours=np.where(is_open, lines.hours / 2, lines.hours),
        is_open=is_open,
        day=np.full(len(lines), day),
    )


def learnt(lines: Lines, day: int) -> BivariateMixedModel:
    return calibration.learn(lines, day).joint


def variances(joint: BivariateMixedModel) -> list[np.ndarray]:
    return [
        joint.fitted.shared,
        joint.fitted.residual,
        np.array([joint.variance(name) for name in joint.layout.groups]),
    ]


def test_the_same_lines_are_taken_day_after_day_until_the_next_block_is_full(history: Lines) -> None:
    taken = []
    for day in range(NOW - 12 * 60, NOW, 12):
        lines = until(history, day)
        places = variance_blocks.lines_of_whole_works(lines, day)
        assert places is not None
        taken.append(tuple(np.unique(lines.object[places]).tolist()))
    changes = [number for number in range(1, len(taken)) if taken[number] != taken[number - 1]]
    assert len(taken) == 60 and 1 <= len(changes) <= 2  # some 720 lines were finished meanwhile


def test_whole_works_that_are_over_are_taken_and_none_that_is_under_way_or_was_finished_just_now(
    history: Lines,
) -> None:
    lines = join(history, opened(history.take(history.day > NOW - 12 * 30), NOW - 100))
    places = variance_blocks.lines_of_whole_works(lines, NOW)
    assert places is not None and variance_blocks.MOST_LINES <= len(places) < variance_blocks.MOST_LINES + 40
    taken = set(lines.object[places].tolist())
    assert np.array_equal(np.flatnonzero(np.isin(lines.object, list(taken))), places)
    assert not taken & set(lines.object[lines.is_open].tolist())
    # one a day: a block and more in the last two months
    fast = replace(history, day=NOW - (NOW - history.day) // 12)
    places = variance_blocks.lines_of_whole_works(fast, NOW)
    assert places is not None and NOW - 60 - 45 < fast.day[places].max() <= NOW - 60


def test_where_most_is_under_way_no_block_is_long_enough(history: Lines) -> None:
    assert variance_blocks.lines_of_whole_works(until(history, NOW - 12 * (WORKS - 150)), NOW) is None
    assert variance_blocks.lines_of_whole_works(opened(history), NOW) is None
    assert variance_blocks.lines_of_whole_works(history.take(np.zeros(0, dtype=np.int64)), NOW) is None
    known = learnt(opened(history), NOW)
    assert np.isfinite(known.fitted.effects).all() and (known.fitted.shared[0, 0] > 0).all()


def test_what_is_under_way_moves_no_variance_of_a_long_record(history: Lines) -> None:
    plain = learnt(history, NOW)
    beside = learnt(join(history, opened(history.take(history.day > NOW - 12 * 20))), NOW)
    assert len(plain.lines) > variance_blocks.MOST_LINES
    for one, other in zip(variances(plain), variances(beside), strict=True):
        assert np.array_equal(one, other)
    assert not np.array_equal(plain.fitted.effects[:1], beside.fitted.effects[:1])  # effects are of all lines


def test_what_a_day_gives_does_not_rest_on_the_days_that_were_reckoned_before(
    history: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = []
    for days in ((NOW - 600, NOW), (NOW,)):
        monkeypatch.setattr(hours_model, "_taught", variance_blocks.ContentCache(4))
        found.append([learnt(until(history, day), day) for day in days][-1].fitted)
    assert np.array_equal(found[0].effects, found[1].effects) and np.array_equal(
        found[0].covariance, found[1].covariance
    )


def test_variances_of_a_block_are_near_those_of_the_whole_record(
    history: Lines, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_block = learnt(history, NOW)
    monkeypatch.setattr(variance_blocks, "MOST_LINES", 10**6)
    whole = learnt(history, NOW)
    assert by_block.fitted.shared[0, 0] == pytest.approx(whole.fitted.shared[0, 0], rel=0.15)
    assert by_block.fitted.residual[0] == pytest.approx(whole.fitted.residual[0], rel=0.1, abs=0.005)
    assert not np.array_equal(by_block.fitted.residual, whole.fitted.residual)


def test_what_lines_taught_is_reckoned_once_and_anew_when_a_line_says_something_else(history: Lines) -> None:
    asked: list[int] = []

    def learn(lines: Lines) -> int:
        asked.append(len(lines))
        return len(asked)

    taught, some = variance_blocks.ContentCache[int](2), history.take(np.arange(300))
    again = history.take(history.object == history.object).take(np.arange(300))
    assert [taught.by(some, learn), taught.by(again, learn)] == [1, 1]
    for name in ("hours", "quantity", "day", "shares"):
        values = getattr(some, name).copy()
        values[-1] = values[-1] + 1
        assert taught.by(replace(some, **{name: values}), learn) == len(asked)
    other = some.technique.copy()
    other[0] = "technique 99"
    assert taught.by(replace(some, technique=other), learn) == len(asked) == 6
    assert taught.by(some, learn) == 7  # of so many only the latest are kept


@pytest.mark.parametrize("open_lines", [False, True])
def test_effects_in_one_sum_at_given_variances_are_those_of_the_sums_by_group(
    history: Lines, open_lines: bool
) -> None:
    lines = history.take(history.day > NOW - 12 * 40)
    if open_lines:
        lines = join(lines, opened(lines))
    lines = replace(
        lines,
        hours=np.where(np.arange(len(lines)) % 50 == 0, 40 * lines.hours, lines.hours),
        figure=np.where(np.arange(len(lines)) % 7, lines.figure, np.nan),
    )
    known = learnt(lines, NOW)
    rows, prior = known.rows, known.layout.prior
    one = fit(rows, prior, steps=2, learning=False)
    assert (one.weight < rows.weight).any() and (
        one.answers[rows.more_than, 0] > rows.answers[rows.more_than, 0]
    ).all()
    # the same lines, as they were weighed and filled in, through the sums of a fit that would go on to learn
    as_weighed = replace(
        rows,
        weight=one.weight,
        answers=np.where(np.isnan(rows.answers), np.nan, one.answers),
        more_than=np.zeros(len(lines), dtype=bool),
    )
    other = fit(as_weighed, prior, steps=1)
    for name in ("effects", "covariance", "of_work", "alone"):
        assert_alike(one, other, name)
    assert one.pulls(3) == pytest.approx(other.pulls(3), rel=1e-8, abs=1e-9)


def assert_alike(fitted: MixedModelFit, other: MixedModelFit, name: str) -> None:
    assert getattr(fitted, name) == pytest.approx(getattr(other, name), rel=1e-8, abs=1e-9), name
