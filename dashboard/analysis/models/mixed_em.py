"""Expectation and maximisation for a mixed model: effects at given variances, then variances."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import linalg, sparse, special

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.models.mixed_data import MixedModelData, MixedModelFit, Prior
from dashboard.analysis.models.mixed_design import Design

_PATTERNS = 3  # both answers, the first alone, the second alone
_LIMIT_SD = 3.0
_LIMIT_CORRELATION = 0.9


@dataclass(slots=True)
class Solution:
    """Effects are those that some line has; `root` (2, works, q) times its transpose is what the works take
    from their precision.
    """

    effects: Floats
    covariance: Floats
    of_work: Floats  # (works, 2)
    alone: Floats  # (works, 2, 2) covariance of each work's effect, were the others known
    lower: tuple[Floats, Floats, Floats]  # (works, 1) of its Cholesky factor: first, below it, second
    root: Floats


class EmFit:
    """Sums that stay through the steps, and the variances that change."""

    def __init__(self, rows: MixedModelData, prior: Prior) -> None:
        self.rows, self.prior = rows, prior
        self.design = Design(rows)
        self.variance = prior.variance.copy()
        self.shared, self.residual = prior.shared.copy(), prior.residual.copy()
        self.weight = rows.weight.copy()
        observed = ~np.isnan(rows.answers)
        self.observed = observed
        self.answers = np.where(observed, rows.answers, 0.0)
        self.left_open = np.zeros(len(rows.kind))
        self.bound = self.answers[:, 0].copy()
        pattern = np.where(observed[:, 0] & observed[:, 1], 0, np.where(observed[:, 0], 1, 2))
        self.groups, self.group = np.unique(rows.kind * _PATTERNS + pattern, return_inverse=True)
        self.has_first, self.has_second = self.groups % _PATTERNS != 2, self.groups % _PATTERNS != 1
        self.works = int(rows.work.max()) + 1 if len(rows.work) and rows.work.max() >= 0 else 0
        # what is weighed down as far out still is a line
        self.size = np.bincount(self.group, rows.weight, len(self.groups))
        self._sum()

    def _sum(self) -> None:
        """Products of the designs, by residual kind and which answers there are: `grams` (3, groups, cells of
        the upper triangle that are not nought), of the first, of both and of the second, and with each work
        `sums` (2, groups, works, q); `count` (groups, works).
        """
        q, groups = len(self.design.effects), len(self.groups)
        self.sums, self.count = np.zeros((2, groups, self.works, q)), np.zeros((groups, self.works))
        self.upper = self.design.upper
        self.twice = np.where(self.upper % (q + 1), 2.0, 1.0)  # what lies off the diagonal stands for two
        every = np.arange(len(self.group))
        self.grams = self._grams(every, self.weight)
        self._add_to_works(every, self.weight)

    def _grams(self, at: Integers, weight: Floats) -> Floats:
        """(3, groups, `upper`) products of the designs over some lines, as far as there are answers."""
        of = self.group[at]
        order = np.argsort(of, kind="stable")
        ends = np.searchsorted(of[order], np.arange(len(self.groups) + 1))
        grams = np.zeros((3, len(self.groups), len(self.design.upper)))
        for g, (begin, end) in enumerate(pairwise(ends.tolist())):
            some = order[begin:end]
            if len(some):
                grams[:, g] = self.design.products(at[some], weight[some])
        grams[0, ~self.has_first] = grams[1, ~(self.has_first & self.has_second)] = grams[
            2, ~self.has_second
        ] = 0.0
        return grams

    def _add_to_works(self, at: Integers, weight: Floats) -> None:
        """Add some lines to the sums of their works."""
        if not self.works:
            return
        of = self.rows.work[at] >= 0
        at, weight = at[of], weight[of]
        design, many, few = self.design, self.design.many, self.design.few
        place = self.group[at] * self.works + self.rows.work[at]
        size = len(self.groups) * self.works
        self.count += np.bincount(place, weight, size).reshape(self.count.shape)
        sums = self.sums.reshape(2, size, many + few)
        occupied, of = np.unique(place, return_inverse=True)
        gather = sparse.csr_matrix((weight, (of, np.arange(len(at)))), shape=(len(occupied), len(at)))
        full = gather @ design.full[at]
        sums[0, occupied, :many] += full[:, :many]
        sums[1, occupied, :many] += full[:, many:]
        cells = design.cells[at]
        row = np.repeat(np.arange(len(at)), np.diff(cells.indptr))
        answer, column = np.divmod(cells.indices, max(few, 1))
        np.add.at(
            self.sums.reshape(-1),
            (answer * size + place[row]) * (many + few) + many + column,
            cells.data * weight[row],
        )

    def _reweigh(self, weight: Floats) -> None:
        """Take lines whose weight changes out of the sums and put them in again; they are few."""
        changed = np.flatnonzero(weight != self.weight)
        if len(changed):
            by = (weight - self.weight)[changed]
            self.grams += self._grams(changed, by)
            self._add_to_works(changed, by)
        self.weight = weight

    def _precisions(self) -> Floats:
        """(groups, 2, 2) inverse of the residual covariance of what was answered."""
        precisions = np.zeros((len(self.groups), 2, 2))
        for n, number in enumerate(self.groups):
            kind, pattern = divmod(int(number), _PATTERNS)
            if pattern == 0:
                precisions[n] = np.linalg.inv(self.residual[kind])
            else:
                precisions[n, pattern - 1, pattern - 1] = 1 / self.residual[kind, pattern - 1, pattern - 1]
        return precisions

    def _equations(self, precision: Floats) -> tuple[Floats, Floats, Floats]:
        """What all lines say: (q, q) of effects, of which the upper triangle is looked at, with priors still
        to come; (2, works, q) of each work's effect with effects; (works, 2, 2) of works' effects.
        """
        q = len(self.design.effects)
        left = np.zeros((q, q))
        left.ravel()[self.upper] = precision[:, (0, 0, 1), (0, 1, 1)].T.ravel() @ self.grams.reshape(
            3 * len(self.groups), len(self.upper)
        )
        if not self.works:
            return left, np.zeros((2, 0, q)), np.zeros((0, 2, 2))
        by_answer = precision.transpose(1, 2, 0).reshape(2, -1)
        at = (by_answer @ self.sums.reshape(2 * len(self.groups), -1)).reshape(2, self.works, q)
        return left, at, np.einsum("gw,gij->wij", self.count, precision)

    def _gathered(self, scored: Floats) -> Floats:
        return self.design.gathered(scored)

    def solve(self) -> Solution:
        rows, design, q = self.rows, self.design, len(self.design.effects)
        precision = self._precisions()
        variance = self.variance[design.effects]
        left, at, informed = self._equations(precision)
        left[np.arange(q), np.arange(q)] += 1 / variance
        scored = np.einsum("nij,nj->ni", precision[self.group], self.answers) * self.weight[:, None]
        right = self._gathered(scored) + self.prior.mean[design.effects] / variance
        if not self.works:
            covariance = _inverse(left)
            nothing = np.zeros((0, 1))
            return Solution(
                covariance @ right,
                covariance,
                np.zeros((0, 2)),
                np.zeros((0, 2, 2)),
                (nothing, nothing, nothing),
                np.zeros((2, 0, q)),
            )
        alone = _inverse_of_each(np.linalg.inv(self.shared) + informed)
        with_work = rows.work >= 0
        score_of_work = np.stack(
            [np.bincount(rows.work[with_work], scored[with_work, answer], self.works) for answer in (0, 1)],
            axis=1,
        )
        believed = np.einsum("wij,wj->wi", alone, score_of_work)
        right -= believed[:, 0] @ at[0] + believed[:, 1] @ at[1]
        first = np.sqrt(alone[:, 0, 0])
        below = alone[:, 0, 1] / first
        lower = (first[:, None], below[:, None], np.sqrt(alone[:, 1, 1] - below**2)[:, None])
        root = np.empty_like(at)
        np.multiply(lower[0], at[0], out=root[0])
        root[0] += lower[1] * at[1]
        np.multiply(lower[2], at[1], out=root[1])
        flat = root.reshape(-1, q)
        # left is upper, so its transpose, as these routines have matrices, is lower
        covariance = _inverse(linalg.blas.dsyrk(-1.0, flat.T, beta=1.0, c=left.T, lower=1, overwrite_c=1).T)
        effects = covariance @ right
        of_work = believed - np.einsum("wij,jw->wi", alone, at @ effects)
        return Solution(effects, covariance, of_work, alone, lower, root)

    def misses(self, solved: Solution) -> Floats:
        """(n, 2) answers less what is expected of them; of an answer that is not there, nought."""
        rows = self.rows
        residuals = self.answers - self.design.times(solved.effects)
        if self.works:
            residuals -= np.where((rows.work >= 0)[:, None], solved.of_work[rows.work], 0.0)
        missed: Floats = np.where(self.observed, residuals, 0.0)
        return missed

    def learn(self, solved: Solution) -> None:
        """New variances."""
        prior, has = self.prior, self.design.effects
        second_moment = self.variance.copy()  # of what no line has
        second_moment[has] = (solved.effects - prior.mean[has]) ** 2 + np.diag(solved.covariance)
        for number, count in enumerate(prior.counts):
            of = prior.group == number
            if of.any():
                self.variance[of] = max(
                    (second_moment[of].sum() + count * prior.variance[of][0]) / (of.sum() + count), 1e-12
                )
        spreads = self._spreads(solved)
        self._learn_residual(solved, spreads)

    def _spreads(self, solved: Solution) -> Floats:
        """(groups, 2, 2) how much the misses of the lines of each group would spread by what is not known of
        effects and of what works have in common; and new variances of that.
        """
        spreads = np.empty((len(self.groups), 2, 2))
        gram_first, gram_crossed, gram_second = self.grams @ (
            self.twice * solved.covariance.ravel()[self.upper]
        )
        spreads[:, 0, 0], spreads[:, 0, 1], spreads[:, 1, 1] = gram_first, gram_crossed / 2, gram_second
        if self.works:
            first, below, second = solved.lower
            root = solved.root
            spread = (root.reshape(-1, root.shape[-1]) @ solved.covariance).reshape(root.shape)
            of_root = np.empty((self.works, 2, 2))
            for i, j in ((0, 0), (0, 1), (1, 1)):
                of_root[:, i, j] = of_root[:, j, i] = np.einsum("wp,wp->w", root[i], spread[j])
            triangle = np.zeros((self.works, 2, 2))
            triangle[:, 0, 0], triangle[:, 1, 0], triangle[:, 1, 1] = first[:, 0], below[:, 0], second[:, 0]
            work_covariance = solved.alone + triangle @ of_root @ triangle.transpose(0, 2, 1)
            # covariance of what works have in common with effects, less its sign
            with_effects = np.stack([first * spread[0], below * spread[0] + second * spread[1]])
            crossed = self.sums.reshape(2 * len(self.groups), -1) @ with_effects.reshape(2, -1).T
            crossed = crossed.reshape(2, len(self.groups), 2)
            within = np.einsum("gw,wij->gij", self.count, work_covariance)
            spreads[:, 0, 0] += within[:, 0, 0] - 2 * crossed[0, :, 0]
            spreads[:, 0, 1] += within[:, 0, 1] - crossed[0, :, 1] - crossed[1, :, 0]
            spreads[:, 1, 1] += within[:, 1, 1] - 2 * crossed[1, :, 1]
            prior = self.prior
            gathered = solved.of_work.T @ solved.of_work + work_covariance.sum(axis=0)
            self.shared = (gathered + prior.shared_count * prior.shared) / (self.works + prior.shared_count)
        spreads[:, 1, 0] = spreads[:, 0, 1]
        return spreads

    def _learn_residual(self, solved: Solution, spreads: Floats) -> None:
        missed = self.misses(solved)
        kinds = len(self.prior.residual)
        gathered, lines = np.zeros((kinds, 2, 2)), np.zeros(kinds)
        moments = spreads.copy()
        for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
            moments[:, i, j] += np.bincount(
                self.group, missed[:, i] * missed[:, j] * self.weight, len(self.groups)
            )
        moments[:, 0, 0] += np.bincount(self.group, self.left_open * self.weight, len(self.groups))
        for number, moment, size in zip(self.groups.tolist(), moments, self.size.tolist(), strict=True):
            kind, pattern = divmod(number, _PATTERNS)
            if pattern:  # the answer that is not there is as its regression on the other says
                has, lacks = pattern - 1, 2 - pattern
                r_kind = self.residual[kind]
                slope = r_kind[0, 1] / r_kind[has, has]
                moment[0, 1] = moment[1, 0] = slope * moment[has, has]
                moment[lacks, lacks] = (
                    size * (r_kind[lacks, lacks] - slope * r_kind[0, 1]) + slope**2 * moment[has, has]
                )
            gathered[kind] += moment
            lines[kind] += size
        count = self.prior.residual_count
        fitted = (
            (gathered + count * self.prior.residual) / (lines + count)[:, None, None]
            if count or (lines > 0).all()
            else gathered
        )
        limit = _LIMIT_CORRELATION * np.sqrt(fitted[:, 0, 0] * fitted[:, 1, 1])
        fitted[:, 0, 1] = fitted[:, 1, 0] = np.clip(fitted[:, 0, 1], -limit, limit)
        self.residual = fitted

    def _expected(self, solved: Solution) -> tuple[Floats, Floats]:
        """Of each line's first answer: how far it is from what is expected of it beside the second, and the
        standard deviation of that.
        """
        missed = self.misses(solved)
        r = self.residual[self.rows.kind]
        slope = np.where(self.observed[:, 1], r[:, 0, 1] / r[:, 1, 1], 0.0)
        sd = np.sqrt(r[:, 0, 0] - slope * r[:, 0, 1])
        return missed[:, 0] - slope * missed[:, 1], sd

    def weigh(self, solved: Solution) -> None:
        out, sd = self._expected(solved)
        far = np.abs(out) / sd
        self._reweigh(
            self.rows.weight
            * np.where(
                self.observed[:, 0] & ~self.rows.more_than, _LIMIT_SD / np.maximum(far, _LIMIT_SD), 1.0
            )
        )

    def fill_in(self, solved: Solution) -> None:
        """Give answers that say only "more than this" their expectation, and keep the spread that is left
        open.
        """
        out, sd = self._expected(solved)
        at = self.rows.more_than
        expected = self.answers[at, 0] - out[at]
        short = (self.bound[at] - expected) / sd[at]
        hazard = np.exp(-(short**2) / 2 - special.log_ndtr(-short)) / np.sqrt(2 * np.pi)
        self.answers[at, 0] = expected + sd[at] * hazard
        self.left_open[at] = sd[at] ** 2 * np.clip(1 - hazard * (hazard - short), 0, 1)

    def fitted(self, solved: Solution) -> MixedModelFit:
        """All effects again: what no line has is as it was believed."""
        has = self.design.effects
        effects, covariance = self.prior.mean.copy(), np.diag(self.variance)
        effects[has] = solved.effects
        covariance[np.ix_(has, has)] = solved.covariance
        return MixedModelFit(
            effects=effects,
            covariance=covariance,
            variance=self.variance,
            shared=self.shared,
            residual=self.residual,
            of_work=solved.of_work,
            alone=solved.alone,
            lower=solved.lower,
            root=solved.root,
            has=has,
            weight=self.weight,
            answers=self.answers,
        )


def _inverse(matrix: Floats) -> Floats:
    """Of a symmetric positive definite matrix, of which the upper triangle is looked at."""
    if not len(matrix):
        return matrix
    # as these routines have matrices, rows are columns
    factor, failed = linalg.lapack.dpotrf(matrix.T, lower=1, clean=1)
    inverse, failed_too = linalg.lapack.dpotri(factor, lower=1)
    if failed or failed_too:
        upper = np.triu(matrix)
        values: Floats = linalg.pinvh(upper + np.triu(upper, 1).T)
        return values
    whole: Floats = inverse + inverse.T
    at = np.arange(len(matrix))
    whole[at, at] /= 2
    return whole


def _inverse_of_each(matrices: Floats) -> Floats:
    """Of (n, 2, 2) symmetric ones."""
    a, b, d = matrices[:, 0, 0], matrices[:, 0, 1], matrices[:, 1, 1]
    determinant = a * d - b * b
    values: Floats = (
        np.stack([np.stack([d, -b], axis=-1), np.stack([-b, a], axis=-1)], axis=1)
        / determinant[:, None, None]
    )
    return values
