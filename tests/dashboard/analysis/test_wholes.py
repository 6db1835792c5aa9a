"""What is known of whole phases and works teaches quotes by technique, and the other way round."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd
import pytest

from dashboard.analysis.data.levels import PHASE, WORK, whole_of
from dashboard.analysis.data.lines import REMEMBERED, Lines, join
from dashboard.analysis.models import calibration
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.simulation import totals
from tests.benchmarks.levels import coarse, one_studio, quoted_whole, told
from tests.invented_truth import NOW, asked, draw

HALF = np.array([0.5])


@lru_cache(maxsize=2)
def history(seed: int = 31, works: int = 30) -> Lines:
    lines = draw(seed, works, later=1).history
    return quoted_whole(lines, np.random.default_rng(seed))


def middle(known: Calibration, lines: Lines) -> np.ndarray:
    hours: np.ndarray = calibration.predict(known, lines).quantiles(HALF)[:, 0]
    return hours


def learn(lines: Lines) -> Calibration:
    """As the record of a studio teaches it: wholes by the sums of all works."""

    def of_wholes(level: int) -> Calibration:
        return calibration.learn(coarse(lines.take(~lines.is_whole), level), NOW, wholes=True)

    return calibration.learn(lines, NOW, of_wholes=of_wholes)


def test_a_record_of_techniques_alone_is_learnt_as_if_there_were_no_wholes() -> None:
    known = calibration.learn(history(), NOW)
    assert known.joint.levels.wholes is None
    assert not [name for name in known.joint.layout.sizes if "whole" in name]
    assert len(known.joint.fitted.residual) == 5


def test_a_past_kept_by_phase_or_by_work_teaches_quotes_by_technique() -> None:
    """Depth: `tests/benchmarks/levels.py`."""
    answers = pd.DataFrame([one_studio(seed, 0.0, False) for seed in (301, 302, 303)])
    rows = told(answers.to_dict("records")).set_index("way")  # type: ignore[arg-type]
    assert all(rows["loss: won back"][way] > 1 / 3 for way in ("by phase", "by phase, from memory"))
    assert (rows["loss"] < float(rows["loss"]["without"]) + 1e-3).all()


def test_a_whole_phase_is_told_as_the_sum_of_its_techniques_and_a_whole_work_as_that_of_its_phases() -> None:
    lines = history()
    known = learn(lines)
    for level in (PHASE, WORK):
        sums = coarse(lines, level)
        ratio = np.log(sums.hours) - np.log(
            middle(known, asked(replace(sums, figure=np.full(len(sums), np.nan))))
        )
        assert abs(ratio.mean()) < 0.15 and ratio.std() < np.log(sums.hours).std()


def test_a_larger_picture_takes_a_whole_phase_longer_as_far_as_the_record_bears_it_out() -> None:
    known = learn(history())
    some = asked(coarse(history(), PHASE)).take(np.arange(8))
    some = replace(some, figure=np.full(8, np.nan))
    larger = replace(some, area=some.area * 4)
    assert (middle(known, larger) > middle(known, some)).all()
    unknown = replace(some, area=np.full(8, np.nan))
    assert np.isfinite(middle(known, unknown)).all()


def test_lines_of_several_levels_are_told_together_with_the_luck_of_their_work() -> None:
    known = learn(history())
    of = asked(history().take(history().object == history().object[0]))
    whole = asked(coarse(history(), PHASE))
    mixed = join(of.take(np.arange(3)), replace(whole.take(np.arange(2)), object=np.full(2, of.object[0])))
    told_together = calibration.predict(known, mixed)
    assert np.linalg.eigvalsh(told_together.correlation).min() > -1e-6
    assert (told_together.correlation[:3, 3:] > 0).all()
    alone = calibration.predict(known, mixed.take(np.arange(3)))
    assert told_together.table[:3] == pytest.approx(alone.table)
    strangers = replace(mixed, object=np.array([*mixed.object[:3], "another", "another"]))
    assert (calibration.predict(known, strangers).correlation[:3, 3:] == 0).all()
    assert np.isfinite(totals.simulate(told_together, known.chance_unneeded(mixed), 500)).all()


def test_nothing_at_all_is_known_and_wholes_can_be_asked_about_all_the_same() -> None:
    none = history().take(np.zeros(0, dtype=np.int64))
    known = learn(none)
    asked_about = asked(coarse(history(), PHASE)).take(np.arange(3))
    nothing = replace(asked_about, figure=np.full(3, np.nan))
    quantiles = calibration.predict(known, nothing).quantiles(np.array([0.1, 0.5, 0.9]))
    assert (quantiles > 0).all() and (quantiles[:, 2] > 4 * quantiles[:, 0]).all()


def test_what_is_remembered_says_less_than_what_was_logged() -> None:
    lines = coarse(history(), WORK)
    remembered = replace(lines, unit=np.full(len(lines), REMEMBERED))
    new = replace(asked(lines.take(np.array([0]))), object=np.array(["new"]), figure=np.array([np.nan]))
    spread = []
    for record in (lines, remembered):
        few = record.take(np.arange(6))
        known = calibration.learn(few, NOW, wholes=True)
        spread.append(float(known.joint.fitted.covariance[known.joint.layout.starts["level"]].max()))
        # of a work to come nothing is remembered: the spread of memory is not in what is foretold of it
        low, high = calibration.predict(known, new).quantiles(np.array([0.1, 0.9]))[0]
        assert 1 < high / low < 40
    assert spread[1] > spread[0]
    assert set(lines.technique) == {whole_of("")}
