"""Case deletion: what the model would have expected of works, had they not been in the record."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.models.hours_model import BivariateMixedModel


def leave_works_out(joint: BivariateMixedModel, works: Integers) -> tuple[Integers, Floats, Floats]:
    """What would have been expected of lines had their work not been in the record (variances as they are).

    Leaving a block of answers out of a linear mixed model: R. Christensen, L. M. Pearson, W. Johnson,
    "Case-deletion diagnostics for mixed models", Technometrics 34 (1992) 38-45, in the form of the marginal
    covariance.

    Parameters
    ----------
    works : numbers of works (places in `joint.works`).

    Returns
    -------
    The lines (places in `joint.lines`), the expected log hours of each given the figures of its work, and the
    standard deviation.
    """
    fitted, rows = joint.fitted, joint.rows
    number = np.full(len(joint.works), -1)
    number[works] = np.arange(len(works))
    of_work = number[rows.work]
    judged = np.flatnonzero(of_work >= 0)
    judged = judged[np.argsort(of_work[judged], kind="stable")]
    # their answers one behind the other, work by work, hours before figures
    which, at = np.nonzero(~np.isnan(rows.answers[judged].T))
    order = np.argsort(2 * of_work[judged[at]] + which, kind="stable")
    line, which = judged[at[order]], which[order]
    design = np.where((which == 0)[:, None], rows.first[line].toarray(), rows.second[line].toarray())
    answers = fitted.answers[line, which]
    missed, uncertain = answers - design @ fitted.effects, design @ fitted.covariance
    own = fitted.residual[rows.kind[line]] / fitted.weight[line][:, None, None]
    ends = np.searchsorted(of_work[line], np.arange(len(works) + 1))
    places, means, sds = [], [], []
    for begin, end in pairwise(ends.tolist()):
        of, n = slice(begin, end), int((which[begin:end] == 0).sum())
        if not n:
            continue
        same_line = line[of, None] == line[None, of]
        row = np.arange(end - begin)[:, None]
        within = fitted.shared[np.ix_(which[of], which[of])] + np.where(
            same_line, own[of][row, which[of, None], which[None, of]], 0.0
        )
        inverse = np.linalg.inv(within)
        certain = inverse - inverse @ (uncertain[of] @ design[of].T) @ inverse
        covariance = np.linalg.inv(certain)
        residual = _conditional_miss(covariance @ (inverse @ missed[of]), covariance, n)
        places.append(line[of][:n])
        means.append(answers[of][:n] - residual[0])
        sds.append(residual[1])
    if not places:
        return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0)
    return np.concatenate(places), np.concatenate(means), np.concatenate(sds)


def _conditional_miss(out: Floats, covariance: Floats, n: int) -> tuple[Floats, Floats]:
    """How far the first n answers lie from what the others let expect, and the standard deviation of each."""
    if len(out) == n:
        return out, np.sqrt(np.diag(covariance))
    crossed = np.linalg.solve(covariance[n:, n:], covariance[n:, :n]).T
    return out[:n] - crossed @ out[n:], np.sqrt(
        np.diag(covariance)[:n] - np.einsum("ij,ji->i", crossed, covariance[n:, :n])
    )
