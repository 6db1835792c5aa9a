"""Data, prior and fit of the bivariate linear mixed model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from dashboard.analysis.arrays import Flags, Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is believed of effects and variances before there is a record.

    Attributes
    ----------
    mean, variance : (p,) of each effect; the variance of a grouped effect is the start of its group's.
    group : (p,) number of the group whose variance an effect shares, -1 where its own variance stays as it
        is.
    counts : (groups,) how many effects the prior of each group's variance is worth.
    shared : (2, 2) covariance of what all lines of a work have in common, and `shared_count`.
    residual : (kinds, 2, 2) covariance of what a line has to itself, and `residual_count`.
    """

    mean: Floats
    variance: Floats
    group: Integers
    counts: Floats
    shared: Floats
    shared_count: float
    residual: Floats
    residual_count: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedModelData:
    """Lines as the model sees them; n lines, p effects.

    Attributes
    ----------
    first, second : (n, p) sparse designs of the two answers.
    answers : (n, 2); not a number where there is none.
    kind : (n,) which residual covariance.
    work : (n,) number of the work whose shared effect a line has, from 0; -1: none.
    more_than : (n,) the first answer says only "more than this".
    weight : (n,) how much a line counts; its residual covariance is divided by it.
    """

    first: sparse.csr_matrix
    second: sparse.csr_matrix
    answers: Floats
    kind: Integers
    work: Integers
    more_than: Flags
    weight: Floats

    def take(self, which: Integers) -> MixedModelData:
        """Some of the lines, on their works alone."""
        work = self.work[which]
        has = np.bincount(work + 1, minlength=1) > 0
        return MixedModelData(
            first=self.first[which],
            second=self.second[which],
            answers=self.answers[which],
            kind=self.kind[which],
            work=np.where(work < 0, -1, np.cumsum(has[1:])[work] - 1 if len(has) > 1 else -1),
            more_than=self.more_than[which],
            weight=self.weight[which],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedModelFit:
    """What is believed after it.

    Attributes
    ----------
    effects, covariance : (p,) and (p, p).
    variance : (p,) prior variance of each effect as fitted.
    shared, residual : as in `Prior`, fitted.
    of_work : (works, 2) what the lines of each work have in common; its covariances are those of `with_work`.
    alone : (works, 2, 2) its covariance if the effects were known.
    lower, root : of which `pulls` are made, see `_Solved`; `has` (q,) the effects that some line has.
    weight : (n,) of each line, in the end.
    answers : (n, 2) as they were taken in the end: of one that says only "more than this" its expectation.
    """

    effects: Floats
    covariance: Floats
    variance: Floats
    shared: Floats
    residual: Floats
    of_work: Floats
    alone: Floats
    lower: tuple[Floats, Floats, Floats]
    root: Floats
    has: Integers
    weight: Floats
    answers: Floats

    def with_work(self, work: int) -> tuple[Floats, Floats]:
        """Covariance (2, 2) of what the lines of a work have in common, and that (2, p) with the effects;
        reckoned when it is asked for, as few works are.
        """
        pulls = self.pulls(work)
        with_effects: Floats = -pulls @ self.covariance
        return self.alone[work] - with_effects @ pulls.T, with_effects

    def pulls(self, work: int) -> Floats:
        """(2, p) by how much what the lines of a work have in common falls where an effect is larger."""
        first, below, second = (part[work] for part in self.lower)
        result = np.zeros((2, len(self.effects)))
        result[0, self.has], result[1, self.has] = (
            first * self.root[0, work],
            below * self.root[0, work] + second * self.root[1, work],
        )
        return result
