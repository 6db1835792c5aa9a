"""What the record of a day teaches, at each level at which lines may be asked about."""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache

from dashboard.analysis.data.levels import is_whole
from dashboard.analysis.data.lines import Lines, with_hours
from dashboard.analysis.data.training_record import TrainingRecord
from dashboard.analysis.models import calibration
from dashboard.analysis.models.calibration import Calibration


def learn_record(
    record: TrainingRecord,
    before: int,
    *,
    without_open: Collection[str] = (),
    without: str | None = None,
    finished_only: bool = False,
) -> Calibration:
    """Calibrate on what was known before a day: rates of techniques at once, those of whole phases and works
    when they are first asked for.

    Parameters
    ----------
    before : days since 1970; nothing of that day or later counts.
    without_open : lines of these objects stay out while they are open.
    without : all lines of this one do.
    finished_only : no open line teaches.
    """

    @lru_cache(maxsize=2)
    def of_wholes(level: int) -> Calibration:
        whole = record.of_wholes(level)
        lines = taught(whole, before, without_open, without, finished_only=finished_only)
        return calibration.learn(lines, before, _but(without, whole.unneeded(before)), wholes=True)

    return calibration.learn(
        taught(record.teaching, before, without_open, without, finished_only=finished_only),
        before,
        _but(without, unneeded_techniques(record, before)),
        of_wholes=of_wholes,
    )


def taught(
    record: TrainingRecord,
    before: int,
    without_open: Collection[str] = (),
    without: str | None = None,
    *,
    finished_only: bool = False,
) -> Lines:
    """The lines of a record that teach; see `learn_record`."""
    lines = record.as_of(before, without_open=without_open, without=without)
    return with_hours(lines.take(~lines.is_open)) if finished_only else lines


def unneeded_techniques(record: TrainingRecord, before: int) -> Lines:
    """Lines of techniques that were quoted, and finished without an entry."""
    lines = record.compared.unneeded(before)
    return lines.take(~is_whole(lines.technique)) if record.frames.has_wholes else lines


def _but(without: str | None, lines: Lines) -> Lines:
    return lines if without is None else lines.take(lines.object != without)
