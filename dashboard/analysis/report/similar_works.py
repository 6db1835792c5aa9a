"""Finished works that are like a new one, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboard.analysis.data.levels import is_whole
from dashboard.analysis.simulation.discovery_model import WorkFeatures

_KIND, _SUPPORT, _SIZE, _GRADE, _TECHNIQUES = 2.0, 1.5, 1.5, 0.7, 3.0
_LIKE = 0.55  # share of what can be compared, from which a work is called similar
_LEAST = 3.0  # that must be comparable at all: no one thing says that two works are like each other
_NEAR_SIZE = 1.5  # times: up to that two sizes are called near


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedWork:
    """A finished work: its code, what it is (`techniques` are those of its first estimate and of what was
    worked), and its area in dm² (not a number: unknown).
    """

    object: str
    work: WorkFeatures
    area: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SimilarWork:
    """A similar work: `share` of what can be compared in which it is like the new one, 0 to 1, how much could
    be `compared`, and why, in words.
    """

    object: str
    share: float
    compared: float
    why: tuple[str, ...]


def similar(new: WorkFeatures, area: float, past: Sequence[FinishedWork], most: int = 5) -> list[SimilarWork]:
    """Finished works like a new one, the likest first; none where none is."""
    compared = [_compared(new, area, item) for item in past]
    return sorted(
        (item for item in compared if item is not None and item.share >= _LIKE),
        key=lambda item: (item.share, item.compared, item.object),
        reverse=True,
    )[:most]


def _lines_called(work: WorkFeatures) -> str:
    whole = is_whole(work.techniques)
    return "techniques" if not whole.any() else "phases" if whole.all() else "lines"


def _compared(new: WorkFeatures, area: float, past: FinishedWork) -> SimilarWork | None:
    """How like two works are, in what is known of both."""
    weights, likes, why = [], [], []

    def compare(weight: float, like: float, words: str) -> None:
        weights.append(weight)
        likes.append(like * weight)
        if words:
            why.append(words)

    if new.kind and past.work.kind:
        same = new.kind == past.work.kind
        compare(_KIND, float(same), f"{new.kind} too" if same else "")
    if new.support and past.work.support:
        same = new.support == past.work.support
        compare(_SUPPORT, float(same), f"on {new.support} too" if same else "")
    if area > 0 and past.area > 0:
        times = max(area / past.area, past.area / area)
        compare(
            _SIZE,
            float(np.exp(-(np.log(times) ** 2))),
            (
                f"{'about the same size' if times < 1.15 else 'near in size'} ({past.area:,.0f} dm²)"
                if times <= _NEAR_SIZE
                else ""
            ),
        )
    for name, grade, past_grade in zip(
        ("structure", "paint", "surface"), new.grades, past.work.grades, strict=True
    ):
        if not np.isnan(grade) and not np.isnan(past_grade):
            compare(
                _GRADE,
                1 - abs(grade - past_grade) / 3,
                f"{name} in the same condition" if grade == past_grade else "",
            )
    if new.techniques and past.work.techniques:
        both = new.techniques & past.work.techniques
        share = len(both) / len(new.techniques | past.work.techniques)
        compare(
            _TECHNIQUES,
            min(1.0, 1.5 * share),
            f"{len(both)} of {len(new.techniques)} {_lines_called(new)} the same" if both else "",
        )
    if sum(weights) < _LEAST:
        return None
    return SimilarWork(
        object=past.object, share=float(sum(likes) / sum(weights)), compared=sum(weights), why=tuple(why)
    )
