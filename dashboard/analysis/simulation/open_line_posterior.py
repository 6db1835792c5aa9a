"""Lines that were begun, brought together with those that were not: what their hours so far say of them, of
the luck of their work, and so of all its other lines.

The luck of a work is what its lines share beyond all that is known of techniques, sizes, people and figures.
Its open lines say "more than so far", and where it was said how far they are, about how much more. That is
brought together exactly, on a grid of the luck and of each open line, and then drawn: so hours more on a
line, with all else as it was, never lower what is foretold of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.models.calibration import PredictiveQuantiles, at_scores
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.effect_posterior import LUCK, Ranks, posterior_luck
from dashboard.analysis.simulation.line_likelihood import LineLikelihood
from dashboard.analysis.simulation.totals import SEED

_MOST_LUCK = 0.98
_JITTER = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class PosteriorDraws:
    """Equally likely hours in the end of each line, if it is worked (n, draws), the luck of each work (works,
    draws), and even numbers (n, draws) from which nothing was drawn of lines that were not begun.
    """

    hours: Floats
    luck: Floats
    evenly: Floats


def draw_posterior(
    foretold: PredictiveQuantiles, observations: CensoredObservations, work: Integers, works: int, draws: int
) -> PosteriorDraws:
    """Draw lines that are told together, and behind the first n of which something is known by their hours so
    far others of which nothing is; `work`: the number of the work of each, of so many `works`.

    What a line says of the luck of its work moves the other lines. Its own end it does not move: that is
    drawn from what the others say, and from its hours.
    """
    loading = np.clip(foretold.with_luck, 0.0, _MOST_LUCK)
    own = np.sqrt(1 - loading**2)
    likelihoods = {
        line: LineLikelihood.of(foretold.table[line], float(loading[line]), observations, line)
        for line in np.flatnonzero((observations.so_far > 0) | observations.all_done).tolist()
    }
    luck_by, apart, even = (np.random.default_rng([SEED, stream]) for stream in (3, 4, 5))
    scores = luck_by.standard_normal((works, draws))
    shown = np.zeros((works, len(LUCK)))
    for line, likelihood in likelihoods.items():
        shown[work[line]] += likelihood.shows
    places = [Ranks.of(special.ndtr(of)) for of in scores]
    luck = np.stack([posterior_luck(of, own_places) for of, own_places in zip(shown, places, strict=True)])
    within = np.where(work[:, None] == work[None, :], np.outer(loading, loading), 0.0)
    rest = _root((foretold.correlation - within) / np.outer(own, own)) @ apart.standard_normal(
        (len(work), draws)
    )
    evenly = even.random((len(work), draws))
    hours = np.zeros((len(work), draws))
    for line in range(len(work)):
        its = work[line]
        if line in likelihoods:
            hours[line] = likelihoods[line].drawn(
                shown[its] - likelihoods[line].shows, places[its], rest[line], evenly[line]
            )
        else:
            hours[line] = np.exp(
                at_scores(
                    foretold.table[line : line + 1],
                    (loading[line] * luck[its] + own[line] * rest[line])[None, :],
                )
            )[0]
    return PosteriorDraws(hours=hours, luck=luck, evenly=evenly)


def fraction_complete(done_hours: float, part: Floats, usual: Floats) -> float:
    """How far a work is, 0 to 1, of the hours of its known lines: those done already, and (n,) lines that
    usually take so many hours and are so far. That a line takes long does not bring the end nearer.
    """
    end = done_hours + float(usual.sum())
    return (done_hours + float((part * usual).sum())) / end if end > 0 else 0.0


def _root(correlation: Floats) -> Floats:
    """A matrix that times its transpose is the correlation, or where that is none by a hair the nearest that
    is.
    """
    if not len(correlation):
        return correlation
    value, vector = np.linalg.eigh(correlation + _JITTER * np.eye(len(correlation)))
    root = vector * np.sqrt(np.maximum(value, 0.0))
    values: Floats = root / np.sqrt(np.maximum((root**2).sum(axis=1, keepdims=True), 1e-12))
    return values
