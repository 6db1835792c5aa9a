"""A linear mixed model of one or two answers a line, fitted by expectation and maximisation with weak priors on its variances.

Henderson's mixed-model equations (C. R. Henderson, "Best linear unbiased estimation and prediction under a selection model", Biometrics 31 (1975)
423-447) give effects and their covariance at given variances; the variances follow from them as in N. M. Laird and J. H. Ware, "Random-effects models
for longitudinal data", Biometrics 38 (1982) 963-974, which without priors is restricted maximum likelihood. Departures: pseudo-counts hold a
variance to its prior while little is known; an answer that only says "more than this" is given its expectation, and the spread that it leaves
open (J. Tobin, Econometrica 26 (1958) 24-36); a line far outside is weighed down (P. J. Huber, Annals of Mathematical Statistics 35 (1964) 73-101).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import linalg, sparse, special

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_PATTERNS = 3  # both answers, the first alone, the second alone
_LIMIT_SD = 3.0
_LIMIT_CORRELATION = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is believed of effects and variances before there is a record.

    Attributes
    ----------
    mean, variance : (p,) of each effect; the variance of a grouped effect is the start of its group's.
    group : (p,) number of the group whose variance an effect shares, -1 where its own variance stays as it is.
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
class Rows:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """What is believed after it.

    Attributes
    ----------
    effects, covariance : (p,) and (p, p).
    variance : (p,) prior variance of each effect as fitted.
    shared, residual : as in `Prior`, fitted.
    of_work : (works, 2) what the lines of each work have in common, with `work_covariance` (works, 2, 2) and `work_with_effects` (works, 2, p), its covariance
        with the effects.
    weight : (n,) of each line, in the end.
    answers : (n, 2) as they were taken in the end: of one that says only "more than this" its expectation.
    """

    effects: Floats
    covariance: Floats
    variance: Floats
    shared: Floats
    residual: Floats
    of_work: Floats
    work_covariance: Floats
    work_with_effects: Floats
    weight: Floats
    answers: Floats


def fit(rows: Rows, prior: Prior, *, steps: int, robust: bool = True, learning: bool = True) -> Fitted:
    """Fit effects and variances.

    Parameters
    ----------
    rows : the lines; their order changes nothing but rounding.
    steps : of expectation and maximisation. The last one solves for the effects at the variances reached.
    robust : lines more than 3 standard deviations out are weighed down.
    learning : variances are fitted; else they stay as the prior has them.
    """
    state = _State(rows, prior)
    for step in range(steps):
        solved = state.solve()
        if step == steps - 1:
            break
        if robust and (step % 3 == 2 or not learning):
            state.weigh(solved)
        if learning:
            state.learn(solved)
        if rows.more_than.any():
            state.fill_in(solved)
    return state.fitted(solved)


@dataclass(slots=True)
class _Solved:
    effects: Floats
    covariance: Floats
    of_work: Floats
    inverse: Floats  # (works, 2, 2) of the precision of each work's effect given the others
    with_effects: Floats  # (works, 2, p)
    work_covariance: Floats


class _State:
    """Sums that stay through the steps, and the variances that change."""

    def __init__(self, rows: Rows, prior: Prior) -> None:
        self.rows, self.prior = rows, prior
        self.variance = prior.variance.copy()
        self.shared, self.residual = prior.shared.copy(), prior.residual.copy()
        self.weight = rows.weight.copy()
        told = ~np.isnan(rows.answers)
        self.told = told
        self.answers = np.where(told, rows.answers, 0.0)
        self.left_open = np.zeros(len(rows.kind))
        self.bound = self.answers[:, 0].copy()
        pattern = np.where(told[:, 0] & told[:, 1], 0, np.where(told[:, 0], 1, 2))
        self.group = rows.kind * _PATTERNS + pattern
        self.groups = np.unique(self.group)
        self.works = int(rows.work.max()) + 1 if len(rows.work) and rows.work.max() >= 0 else 0
        self._sum()

    def _sum(self) -> None:
        """Products of the designs, by residual kind and which answers there are: (groups, p, p), and with each work (groups, works, p)."""
        rows, weight = self.rows, self.weight
        groups, p = len(self.groups), rows.first.shape[1]
        self.one, self.mixed, self.two = (np.zeros((groups, p, p)) for _ in range(3))
        self.sum_one, self.sum_two = (np.zeros((groups, self.works, p)) for _ in range(2))
        self.count = np.zeros((groups, self.works))
        side_by_side = sparse.hstack([rows.first, rows.second], format="csr")
        for g, number in enumerate(self.groups):
            at = np.flatnonzero(self.group == number)
            some = side_by_side[at]
            gram = (some.T @ (sparse.diags_array(weight[at]) @ some)).toarray()
            if number % _PATTERNS != 2:
                self.one[g] = gram[:p, :p]
            if number % _PATTERNS != 1:
                self.two[g] = gram[p:, p:]
            if number % _PATTERNS == 0:
                self.mixed[g] = gram[:p, p:]
            if self.works:
                of_work = np.where(rows.work[at] >= 0, weight[at], 0.0)
                work = np.maximum(rows.work[at], 0)
                gathered = (sparse.csr_matrix((of_work, (work, np.arange(len(at)))), shape=(self.works, len(at))) @ some).toarray()
                self.sum_one[g], self.sum_two[g] = gathered[:, :p], gathered[:, p:]
                self.count[g] = np.bincount(work, of_work, self.works)

    def _reweigh(self, weight: Floats) -> None:
        """Take lines whose weight changes out of the sums and put them in again; they are few."""
        changed = np.flatnonzero(weight != self.weight)
        for n, number in enumerate(self.groups):
            at = changed[self.group[changed] == number]
            if not len(at):
                continue
            by = (weight - self.weight)[at, None]
            first, second = self.rows.first[at].toarray(), self.rows.second[at].toarray()
            if number % _PATTERNS != 2:
                self.one[n] += first.T @ (by * first)
            if number % _PATTERNS == 0:
                self.mixed[n] += first.T @ (by * second)
            if number % _PATTERNS != 1:
                self.two[n] += second.T @ (by * second)
            if self.works:
                with_work = self.rows.work[at] >= 0
                work = self.rows.work[at][with_work]
                np.add.at(self.sum_one[n], work, (by * first)[with_work])
                np.add.at(self.sum_two[n], work, (by * second)[with_work])
                np.add.at(self.count[n], work, by[with_work, 0])
        self.weight = weight

    def _precisions(self) -> Floats:
        """(groups, 2, 2) inverse of the residual covariance of what was answered."""
        found = np.zeros((len(self.groups), 2, 2))
        for n, number in enumerate(self.groups):
            kind, pattern = divmod(int(number), _PATTERNS)
            if pattern == 0:
                found[n] = np.linalg.inv(self.residual[kind])
            else:
                found[n, pattern - 1, pattern - 1] = 1 / self.residual[kind, pattern - 1, pattern - 1]
        return found

    def solve(self) -> _Solved:
        rows, p = self.rows, len(self.variance)
        precision = self._precisions()
        both = _weighed(precision[:, 0, 1], self.mixed)
        left = np.diag(1 / self.variance) + _weighed(precision[:, 0, 0], self.one) + _weighed(precision[:, 1, 1], self.two) + both + both.T
        per_line = precision[np.searchsorted(self.groups, self.group)]
        scored = np.einsum("nij,nj->ni", per_line, self.answers) * self.weight[:, None]
        right = rows.first.T @ scored[:, 0] + rows.second.T @ scored[:, 1] + self.prior.mean / self.variance
        if not self.works:
            covariance = _inverse(left)
            return _Solved(covariance @ right, covariance, np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros((0, 2, p)), np.zeros((0, 2, 2)))
        at = np.empty((self.works, 2, p))
        for answer in (0, 1):
            at[:, answer] = _weighed(precision[:, 0, answer], self.sum_one) + _weighed(precision[:, 1, answer], self.sum_two)
        own = np.linalg.inv(self.shared) + np.einsum("gw,gij->wij", self.count, precision)
        inverse = _inverse_of_each(own)
        with_work = rows.work >= 0
        told = np.stack([np.bincount(rows.work[with_work], scored[with_work, answer], self.works) for answer in (0, 1)], axis=1)
        shrunk = np.einsum("wij,wjp->wip", inverse, at)
        left -= at.reshape(-1, p).T @ shrunk.reshape(-1, p)
        right = right - np.einsum("wip,wi->p", shrunk, told)
        covariance = _inverse(left)
        effects = covariance @ right
        of_work = np.einsum("wij,wj->wi", inverse, told - at @ effects)
        with_effects = -(shrunk.reshape(-1, p) @ covariance).reshape(self.works, 2, p)
        work_covariance = inverse - np.einsum("wip,wjp->wij", with_effects, shrunk)
        return _Solved(effects, covariance, of_work, inverse, with_effects, work_covariance)

    def misses(self, solved: _Solved) -> Floats:
        """(n, 2) answers less what is expected of them; of an answer that is not there, nought."""
        rows = self.rows
        found = self.answers - np.stack([rows.first @ solved.effects, rows.second @ solved.effects], axis=1)
        if self.works:
            found -= np.where((rows.work >= 0)[:, None], solved.of_work[rows.work], 0.0)
        missed: Floats = np.where(self.told, found, 0.0)
        return missed

    def learn(self, solved: _Solved) -> None:
        """New variances."""
        prior = self.prior
        second_moment = (solved.effects - prior.mean) ** 2 + np.diag(solved.covariance)
        for number, count in enumerate(prior.counts):
            of = prior.group == number
            if of.any():
                self.variance[of] = max((second_moment[of].sum() + count * prior.variance[of][0]) / (of.sum() + count), 1e-12)
        if self.works:
            gathered = np.einsum("wi,wj->ij", solved.of_work, solved.of_work) + solved.work_covariance.sum(axis=0)
            self.shared = (gathered + prior.shared_count * prior.shared) / (self.works + prior.shared_count)
        self._learn_residual(solved)

    def _learn_residual(self, solved: _Solved) -> None:
        missed = self.misses(solved)
        kinds = len(self.prior.residual)
        gathered, lines = np.zeros((kinds, 2, 2)), np.zeros(kinds)
        c = solved.covariance.ravel()
        spreads = np.empty((len(self.groups), 2, 2))
        spreads[:, 0, 0], spreads[:, 0, 1], spreads[:, 1, 1] = (gram.reshape(len(self.groups), len(c)) @ c for gram in (self.one, self.mixed, self.two))
        if self.works:
            flat = (len(self.groups), self.works * len(solved.effects))
            one_with, two_with = (np.ascontiguousarray(solved.with_effects[:, answer]).ravel() for answer in (0, 1))
            one, two = self.sum_one.reshape(flat), self.sum_two.reshape(flat)
            within = np.einsum("gw,wij->gij", self.count, solved.work_covariance)
            spreads[:, 0, 0] += 2 * (one @ one_with) + within[:, 0, 0]
            spreads[:, 0, 1] += one @ two_with + two @ one_with + within[:, 0, 1]
            spreads[:, 1, 1] += 2 * (two @ two_with) + within[:, 1, 1]
        spreads[:, 1, 0] = spreads[:, 0, 1]
        for n, number in enumerate(self.groups):
            kind, pattern = divmod(int(number), _PATTERNS)
            at = self.group == number
            r, w = missed[at], self.weight[at]
            moment = (r * w[:, None]).T @ r
            moment += spreads[n]
            moment[0, 0] += (self.left_open * self.weight)[at].sum()
            size = float(self.rows.weight[at].sum())  # what is weighed down as far out still is a line
            if pattern:  # the answer that is not there is as its regression on the other says
                has, lacks = pattern - 1, 2 - pattern
                r_kind = self.residual[kind]
                slope = r_kind[0, 1] / r_kind[has, has]
                moment[0, 1] = moment[1, 0] = slope * moment[has, has]
                moment[lacks, lacks] = size * (r_kind[lacks, lacks] - slope * r_kind[0, 1]) + slope**2 * moment[has, has]
            gathered[kind] += moment
            lines[kind] += size
        count = self.prior.residual_count
        fitted = (gathered + count * self.prior.residual) / (lines + count)[:, None, None] if count or (lines > 0).all() else gathered
        limit = _LIMIT_CORRELATION * np.sqrt(fitted[:, 0, 0] * fitted[:, 1, 1])
        fitted[:, 0, 1] = fitted[:, 1, 0] = np.clip(fitted[:, 0, 1], -limit, limit)
        self.residual = fitted

    def _expected(self, solved: _Solved) -> tuple[Floats, Floats]:
        """Of each line's first answer: how far it is from what is expected of it beside the second, and the standard deviation of that."""
        missed = self.misses(solved)
        r = self.residual[self.rows.kind]
        slope = np.where(self.told[:, 1], r[:, 0, 1] / r[:, 1, 1], 0.0)
        sd = np.sqrt(r[:, 0, 0] - slope * r[:, 0, 1])
        return missed[:, 0] - slope * missed[:, 1], sd

    def weigh(self, solved: _Solved) -> None:
        out, sd = self._expected(solved)
        far = np.abs(out) / sd
        self._reweigh(self.rows.weight * np.where(self.told[:, 0] & ~self.rows.more_than, _LIMIT_SD / np.maximum(far, _LIMIT_SD), 1.0))

    def fill_in(self, solved: _Solved) -> None:
        """Give answers that say only "more than this" their expectation, and keep the spread that is left open."""
        out, sd = self._expected(solved)
        at = self.rows.more_than
        expected = self.answers[at, 0] - out[at]
        short = (self.bound[at] - expected) / sd[at]
        hazard = np.exp(-(short**2) / 2 - special.log_ndtr(-short)) / np.sqrt(2 * np.pi)
        self.answers[at, 0] = expected + sd[at] * hazard
        self.left_open[at] = sd[at] ** 2 * np.clip(1 - hazard * (hazard - short), 0, 1)

    def fitted(self, solved: _Solved) -> Fitted:
        return Fitted(
            effects=solved.effects, covariance=solved.covariance, variance=self.variance, shared=self.shared, residual=self.residual,
            of_work=solved.of_work, work_covariance=solved.work_covariance, work_with_effects=solved.with_effects, weight=self.weight, answers=self.answers,
        )  # fmt: skip


def _weighed(weight: Floats, matrices: Floats) -> Floats:
    """Sum of matrices (groups, …), each times its weight."""
    found: Floats = np.tensordot(weight, matrices, axes=1)
    return found


def _inverse(matrix: Floats) -> Floats:
    """Of a symmetric positive definite matrix."""
    factor, failed = linalg.lapack.dpotrf(matrix, lower=0)
    inverse, failed_too = linalg.lapack.dpotri(factor, lower=0)
    if failed or failed_too:
        found: Floats = linalg.pinvh(matrix)
        return found
    upper: Floats = np.triu(inverse)
    whole: Floats = upper + np.triu(inverse, 1).T
    return whole


def _inverse_of_each(matrices: Floats) -> Floats:
    """Of (n, 2, 2) symmetric ones."""
    a, b, d = matrices[:, 0, 0], matrices[:, 0, 1], matrices[:, 1, 1]
    determinant = a * d - b * b
    found: Floats = np.stack([np.stack([d, -b], axis=-1), np.stack([-b, a], axis=-1)], axis=1) / determinant[:, None, None]
    return found


def given(fitted: Fitted, prior: Prior) -> Prior:
    """The prior with variances as they were fitted, to solve on other lines."""
    return replace(prior, variance=fitted.variance, shared=fitted.shared, residual=fitted.residual)
