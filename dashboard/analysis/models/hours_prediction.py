"""Predictions from a fitted hours model: conditional normal distributions of log hours."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.data.lines import Lines, Names, codes
from dashboard.analysis.models.hours_design import (
    design_rows,
    known_shares,
    of_usual_size,
    sizes_alike,
    sizes_of,
)
from dashboard.analysis.models.hours_model import BivariateMixedModel


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionalNormal:
    """Conditional normal distribution of the log hours of n lines, their figures known.

    mean = m1 + S12 S22^-1 (figures - m2), covariance = S11 - S12 S22^-1 S21: T. W. Anderson, "An Introduction
    to Multivariate Statistical Analysis" (2003), section 2.5. Example: `np.exp(conditional(joint,
    lines).mean)` are hours at even chance.

    Attributes
    ----------
    mean : (n,) log hours.
    covariance : (n, n)
    of_figure : (n,) how far a line's own figure moves its hours; 1: as far as itself.
    with_luck : (n,) how much longer each takes where the effect of its work is one standard deviation higher.
    """

    mean: Floats
    covariance: Floats
    of_figure: Floats
    with_luck: Floats


# 69 lines: one covariance matrix put together from its parts
def conditional(joint: BivariateMixedModel, lines: Lines) -> ConditionalNormal:
    """What is expected of lines that are not in the record, given the figures of all of them and what of
    their works is in the record.

    Lines of one work share its luck; those of several works, quoted together, only what is not known of
    rates.
    """
    fitted, n = joint.fitted, len(lines)
    names, of = np.unique(lines.object, return_inverse=True)
    rows, strange = design_rows(
        lines, joint.levels, joint.layout, -1 - of, joint.growth, joint.variance, joint.mix
    )
    with_figure = np.flatnonzero(~np.isnan(rows.answers[:, 1]))
    design = np.vstack([rows.first.toarray(), rows.second.toarray()[with_figure]])
    p = len(fitted.effects)
    fixed = design[:, :p]
    covariance = fixed @ fitted.covariance @ fixed.T + (design[:, p:] * strange) @ design[:, p:].T
    mean = fixed @ fitted.effects
    which = np.concatenate([np.zeros(n, dtype=np.int64), np.ones(len(with_figure), dtype=np.int64)])
    of_work = np.concatenate([of, of[with_figure]])
    # of the hours of each work, beside the lines
    luck, luck_variance = (np.zeros((len(design), len(names))), np.zeros(len(names)))
    for number, work in enumerate(codes(names, joint.works)):
        its = np.flatnonzero(of_work == number)
        square = np.ix_(its, its)
        if work < 0:
            covariance[square] += fitted.shared[np.ix_(which[its], which[its])]
            luck[its, number], luck_variance[number] = fitted.shared[which[its], 0], fitted.shared[0, 0]
            continue
        mean[its] += fitted.of_work[work][which[its]]
        of_luck, with_effects = fitted.with_work(work)
        crossed = fixed @ with_effects.T[:, which[its]]
        covariance[:, its] += crossed
        covariance[its, :] += crossed.T
        covariance[square] += of_luck[np.ix_(which[its], which[its])]
        luck[:, number] = fixed @ with_effects.T[:, 0]
        luck[its, number] += of_luck[which[its], 0]
        luck_variance[number] = of_luck[0, 0]
    # a quoted quantity will be measured; until then it may grow
    own = fitted.residual[np.where(rows.kind == 3, 0, rows.kind)]
    at = np.arange(n)
    _, may_grow = joint.growth.of_lines(lines)
    covariance[at, at] += (
        own[:, 0, 0]
        + _of_somebody(joint, lines)
        + of_usual_size(joint.levels, lines, rows.kind)
        + np.where(rows.kind == 3, elasticity(joint, lines.technique) ** 2 * may_grow, 0.0)
    )
    behind = n + np.arange(len(with_figure))
    covariance[behind, behind] += own[with_figure, 1, 1]
    covariance[with_figure, behind] += own[with_figure, 0, 1]
    covariance[behind, with_figure] += own[with_figure, 0, 1]
    line = np.concatenate([at, with_figure])
    alike = sizes_alike(rows.kind)[line]
    covariance += np.where(
        (of_work[:, None] == of_work[None, :]) & (line[:, None] != line[None, :]), np.outer(alike, alike), 0.0
    )
    result = _conditional(mean, covariance, n, rows.answers[with_figure, 1], with_figure)
    if len(with_figure):
        weighed = np.linalg.solve(covariance[n:, n:], luck[n:])
        luck_variance = luck_variance - np.einsum("ij,ij->j", luck[n:], weighed)
        luck = luck[:n] - covariance[:n, n:] @ weighed
    sd = np.sqrt(np.maximum(luck_variance, 0.0))
    return replace(
        result, with_luck=np.where(sd[of] > 0, luck[:n][at, of] / np.where(sd[of] > 0, sd[of], 1.0), 0.0)
    )


def elasticity(joint: BivariateMixedModel, technique: Names) -> Floats:
    """How hours grow with size: 1 in proportion, less where a big one goes faster for its size."""
    own = np.append(joint.effects("size of technique"), 0.0)
    values: Floats = joint.effects("size")[0] + own[codes(technique, joint.levels.techniques)]
    return values


def _of_somebody(joint: BivariateMixedModel, lines: Lines) -> Floats:
    """Variance of not knowing who, or of somebody whose pace is not known."""
    share = known_shares(lines, joint.levels).sum(axis=1)
    values: Floats = np.where(
        share > 0, 0.0, np.where(lines.person == "", joint.between_people, joint.variance("person"))
    )
    return values


def _conditional(
    mean: Floats, covariance: Floats, n: int, figures: Floats, indices: Integers
) -> ConditionalNormal:
    """Of the first n, given the others."""
    of_figure = np.zeros(n)
    if not len(indices):
        return ConditionalNormal(
            mean=mean[:n], covariance=covariance[:n, :n], of_figure=of_figure, with_luck=of_figure
        )
    crossed = np.linalg.solve(covariance[n:, n:], covariance[n:, :n]).T
    of_figure[indices] = covariance[indices, n + np.arange(len(indices))] / np.diag(covariance)[n:]
    return ConditionalNormal(
        mean=mean[:n] + crossed @ (figures - mean[n:]),
        covariance=covariance[:n, :n] - crossed @ covariance[n:, :n],
        of_figure=of_figure,
        with_luck=of_figure,
    )


def level(joint: BivariateMixedModel, lines: Lines) -> tuple[Floats, Floats]:
    """(n,) expected log hours of lines but for their luck and that of their work, and how sure that is
    (standard deviation).
    """
    design, strange = _designs(joint, lines)[0]
    p = len(joint.fitted.effects)
    fixed = design[:, :p]
    variance = (
        np.einsum("ij,jk,ik->i", fixed, joint.fitted.covariance, fixed, optimize=True)
        + (design[:, p:] ** 2) @ strange
    )
    return fixed @ joint.fitted.effects, np.sqrt(variance)


def predict_alone(joint: BivariateMixedModel, lines: Lines) -> tuple[Floats, Floats]:
    """(n,) expected log hours of lines without a figure, each on a new work, and their standard deviation."""
    mean, sd = level(joint, lines)
    kind = sizes_of(lines, joint.levels, joint.growth)[-1]
    return mean, np.sqrt(
        sd**2
        + joint.fitted.shared[0, 0]
        + joint.fitted.residual[kind, 0, 0]
        + _of_somebody(joint, lines)
        + of_usual_size(joint.levels, lines, kind)
    )


def weight_of_figure(joint: BivariateMixedModel, lines: Lines) -> Floats:
    """(n,) how far a figure for this line alone would move its expected hours: 1 is as far as the figure
    itself.
    """
    (hours, strange), (figure, _) = _designs(joint, lines)
    p = len(joint.fitted.effects)
    half = figure[:, :p] @ joint.fitted.covariance
    fitted, kind = joint.fitted, sizes_of(lines, joint.levels, joint.growth)[-1]
    crossed = (
        (half * hours[:, :p]).sum(axis=1)
        + (hours[:, p:] * figure[:, p:]) @ strange
        + fitted.shared[0, 1]
        + fitted.residual[kind, 0, 1]
    )
    own = (
        (half * figure[:, :p]).sum(axis=1)
        + (figure[:, p:] ** 2) @ strange
        + fitted.shared[1, 1]
        + fitted.residual[kind, 1, 1]
    )
    values: Floats = np.clip(crossed / own, 0.0, 1.0)
    return values


def _designs(joint: BivariateMixedModel, lines: Lines) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    rows, strange = design_rows(
        lines, joint.levels, joint.layout, np.full(len(lines), -1), joint.growth, joint.variance, joint.mix
    )
    return (rows.first.toarray(), strange), (rows.second.toarray(), strange)
