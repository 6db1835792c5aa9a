"""A linear mixed model of one or two answers a line, fitted by expectation and maximisation with weak priors on its variances.

Henderson's mixed-model equations (C. R. Henderson, "Best linear unbiased estimation and prediction under a selection model", Biometrics 31 (1975)
423-447) give effects and their covariance at given variances; the variances follow from them as in N. M. Laird and J. H. Ware, "Random-effects models
for longitudinal data", Biometrics 38 (1982) 963-974, which without priors is restricted maximum likelihood. Departures: pseudo-counts hold a
variance to its prior while little is known; an answer that only says "more than this" is given its expectation, and the spread that it leaves
open (J. Tobin, Econometrica 26 (1958) 24-36); a line far outside is weighed down (P. J. Huber, Annals of Mathematical Statistics 35 (1964) 73-101).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy import linalg, sparse, special

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_PATTERNS = 3  # both answers, the first alone, the second alone
_LIMIT_SD = 3.0
_LIMIT_CORRELATION = 0.9
_AT_ONCE = 1024  # lines whose rows stay near the processor
_MANY = 0.05  # share of lines from which on an effect is a full column


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

    def take(self, which: Integers) -> Rows:
        """Some of the lines, on their works alone."""
        work = self.work[which]
        has = np.bincount(work + 1, minlength=1) > 0
        return Rows(
            first=self.first[which], second=self.second[which], answers=self.answers[which], kind=self.kind[which],
            work=np.where(work < 0, -1, np.cumsum(has[1:])[work] - 1 if len(has) > 1 else -1), more_than=self.more_than[which], weight=self.weight[which],
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """What is believed after it.

    Attributes
    ----------
    effects, covariance : (p,) and (p, p).
    variance : (p,) prior variance of each effect as fitted.
    shared, residual : as in `Prior`, fitted.
    of_work : (works, 2) what the lines of each work have in common; its covariances are those of `with_work`.
    alone : (works, 2, 2) its covariance if the effects were known. lower, root : of which `pulls` are made, see `_Solved`; `has` (q,) the effects that some line has.
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
        """Covariance (2, 2) of what the lines of a work have in common, and that (2, p) with the effects; reckoned when it is asked for, as few works are."""
        pulls = self.pulls(work)
        with_effects: Floats = -pulls @ self.covariance
        return self.alone[work] - with_effects @ pulls.T, with_effects

    def pulls(self, work: int) -> Floats:
        """(2, p) by how much what the lines of a work have in common falls where an effect is larger."""
        first, below, second = (part[work] for part in self.lower)
        found = np.zeros((2, len(self.effects)))
        found[0, self.has], found[1, self.has] = first * self.root[0, work], below * self.root[0, work] + second * self.root[1, work]
        return found


def fit(rows: Rows, prior: Prior, *, steps: int, robust: bool = True, learning: bool = True) -> Fitted:
    """Fit effects and variances.

    Parameters
    ----------
    rows : the lines; their order changes nothing but rounding.
    steps : of expectation and maximisation. The last one solves for the effects at the variances reached.
    robust : lines more than 3 standard deviations out are weighed down.
    learning : variances are fitted; else they stay as the prior has them.
    """
    state = _State(rows, prior) if learning else _AtGiven(rows, prior)
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
    """Effects are those that some line has; `root` (2, works, q) times its transpose is what the works take from their precision."""

    effects: Floats
    covariance: Floats
    of_work: Floats  # (works, 2)
    alone: Floats  # (works, 2, 2) covariance of each work's effect, were the others known
    lower: tuple[Floats, Floats, Floats]  # (works, 1) of its Cholesky factor: first, below it, second
    root: Floats


class _Design:
    """The two designs: effects that no line has left out; those that many lines have, the first `many` of the q others, as full columns; the rest as cells."""

    def __init__(self, rows: Rows) -> None:
        designs = rows.first, rows.second
        n, p = rows.first.shape
        often = np.maximum(*(np.bincount(one.indices, minlength=p) for one in designs))
        self.many = int((often > n * _MANY).sum())
        self.effects = np.argsort(-np.where(often > n * _MANY, 2, often > 0), kind="stable")[: int((often > 0).sum())]  # the column of each
        self.few = len(self.effects) - self.many
        place = np.zeros(p, dtype=np.int64)
        place[self.effects] = np.arange(len(self.effects))
        self.full = np.zeros((n, 2 * self.many))  # side by side
        parts = []
        for answer, one in enumerate(designs):
            row, column = np.repeat(np.arange(n), np.diff(one.indptr)), place[one.indices]
            is_full = column < self.many
            self.full.reshape(-1)[row[is_full] * (2 * self.many) + column[is_full] + answer * self.many] = one.data[is_full]
            parts.append((one.data[~is_full], row[~is_full], column[~is_full] - self.many + answer * self.few))
        value, row, column = (np.concatenate(part) for part in zip(*parts, strict=True))
        self.cells = sparse.csr_matrix((value, (row, column)), shape=(n, 2 * self.few))  # side by side
        self.turned = self.cells.T.tocsr()

    @cached_property
    def upper(self) -> Integers:
        return self._meeting()

    @cached_property
    def places(self) -> Integers:
        return self._places()

    def _meeting(self) -> Integers:
        """Places in (q, q), on and above the diagonal, of effects that some line may have both of."""
        q, many, few = len(self.effects), self.many, self.few
        ones = sparse.csr_matrix((np.ones(self.cells.nnz), self.cells.indices, self.cells.indptr), shape=self.cells.shape)
        found = np.ones((q, q), dtype=bool)
        found[many:, many:] = ((ones.T @ ones).toarray() > 0).reshape(2, few, 2, few).any(axis=(0, 2)) | np.eye(few, dtype=bool)
        return np.flatnonzero(np.triu(found))

    def _places(self) -> Integers:
        """(4, `upper`) where `products` finds the product of each two: in the first design, of the one in the first with the other in the second and the other way about, in the second."""
        many, few = self.many, self.few
        row, column = np.divmod(self.upper, max(len(self.effects), 1))
        found = []
        for one, other in ((0, 0), (0, 1), (1, 0), (1, 1)):
            both_full = (row + one * many) * 2 * many + column + other * many
            crossed = (column - many + other * few) * 2 * many + row + one * many
            both_few = (row - many + one * few) * 2 * few + column - many + other * few
            found.append(np.where(column < many, both_full, 4 * many * many + np.where(row < many, crossed, 4 * few * many + both_few)))
        return np.stack(found)

    def products(self, some: Integers, weight: Floats) -> Floats:
        """(3, `upper`) weighted sums of products over some lines: of the first design, of both (either way about), of the second."""
        full, cells = self.full[some], self.cells[some]
        weighed = full * weight[:, None]
        scaled = sparse.csr_matrix((cells.data * np.repeat(weight, np.diff(cells.indptr)), cells.indices, cells.indptr), shape=cells.shape)
        turned = cells.T.tocsr()
        whole = np.concatenate([(full.T @ weighed).ravel(), (turned @ weighed).ravel(), (turned @ scaled).toarray().ravel()])
        one, mixed, turned_about, two = whole[self.places]
        return np.stack([one, mixed + turned_about, two])

    def times(self, effects: Floats) -> Floats:
        """(n, 2) what effects (q,) come to in either answer."""
        many, few = self.many, self.few
        apart = np.zeros((2 * few, 2))
        apart[:few, 0] = apart[few:, 1] = effects[many:]
        found: Floats = self.cells @ apart
        found[:, 0] += self.full[:, :many] @ effects[:many]
        found[:, 1] += self.full[:, many:] @ effects[:many]
        return found

    def gathered(self, value: Floats) -> Floats:
        """(q,) sums over lines of values (n, 2) by both designs."""
        many, few = self.many, self.few
        full, cells = self.full.T @ value, self.turned @ value
        found: Floats = np.concatenate([full[:many, 0] + full[many:, 1], cells[:few, 0] + cells[few:, 1]])
        return found


class _State:
    """Sums that stay through the steps, and the variances that change."""

    def __init__(self, rows: Rows, prior: Prior) -> None:
        self.rows, self.prior = rows, prior
        self.design = _Design(rows)
        self.variance = prior.variance.copy()
        self.shared, self.residual = prior.shared.copy(), prior.residual.copy()
        self.weight = rows.weight.copy()
        told = ~np.isnan(rows.answers)
        self.told = told
        self.answers = np.where(told, rows.answers, 0.0)
        self.left_open = np.zeros(len(rows.kind))
        self.bound = self.answers[:, 0].copy()
        pattern = np.where(told[:, 0] & told[:, 1], 0, np.where(told[:, 0], 1, 2))
        self.groups, self.group = np.unique(rows.kind * _PATTERNS + pattern, return_inverse=True)
        self.has_first, self.has_second = self.groups % _PATTERNS != 2, self.groups % _PATTERNS != 1
        self.works = int(rows.work.max()) + 1 if len(rows.work) and rows.work.max() >= 0 else 0
        self.size = np.bincount(self.group, rows.weight, len(self.groups))  # what is weighed down as far out still is a line
        self._sum()

    def _sum(self) -> None:
        """Products of the designs, by residual kind and which answers there are: `grams` (3, groups, cells of the upper triangle that are not nought), of the first, of both and of the second, and with each
        work `sums` (2, groups, works, q); `count` (groups, works)."""
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
        found = np.zeros((3, len(self.groups), len(self.design.upper)))
        for g, (begin, end) in enumerate(pairwise(ends.tolist())):
            some = order[begin:end]
            if len(some):
                found[:, g] = self.design.products(at[some], weight[some])
        found[0, ~self.has_first] = found[1, ~(self.has_first & self.has_second)] = found[2, ~self.has_second] = 0.0
        return found

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
        there, of = np.unique(place, return_inverse=True)
        gather = sparse.csr_matrix((weight, (of, np.arange(len(at)))), shape=(len(there), len(at)))
        full = gather @ design.full[at]
        sums[0, there, :many] += full[:, :many]
        sums[1, there, :many] += full[:, many:]
        cells = design.cells[at]
        row = np.repeat(np.arange(len(at)), np.diff(cells.indptr))
        answer, column = np.divmod(cells.indices, max(few, 1))
        np.add.at(self.sums.reshape(-1), (answer * size + place[row]) * (many + few) + many + column, cells.data * weight[row])

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
        found = np.zeros((len(self.groups), 2, 2))
        for n, number in enumerate(self.groups):
            kind, pattern = divmod(int(number), _PATTERNS)
            if pattern == 0:
                found[n] = np.linalg.inv(self.residual[kind])
            else:
                found[n, pattern - 1, pattern - 1] = 1 / self.residual[kind, pattern - 1, pattern - 1]
        return found

    def _equations(self, precision: Floats) -> tuple[Floats, Floats, Floats]:
        """What all lines say: (q, q) of effects, of which the upper triangle is looked at, with priors still to come; (2, works, q) of each work's effect with effects; (works, 2, 2) of works' effects."""
        q = len(self.design.effects)
        left = np.zeros((q, q))
        left.ravel()[self.upper] = precision[:, (0, 0, 1), (0, 1, 1)].T.ravel() @ self.grams.reshape(3 * len(self.groups), len(self.upper))
        if not self.works:
            return left, np.zeros((2, 0, q)), np.zeros((0, 2, 2))
        by_answer = precision.transpose(1, 2, 0).reshape(2, -1)
        at = (by_answer @ self.sums.reshape(2 * len(self.groups), -1)).reshape(2, self.works, q)
        return left, at, np.einsum("gw,gij->wij", self.count, precision)

    def _gathered(self, scored: Floats) -> Floats:
        return self.design.gathered(scored)

    def solve(self) -> _Solved:
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
            return _Solved(covariance @ right, covariance, np.zeros((0, 2)), np.zeros((0, 2, 2)), (nothing, nothing, nothing), np.zeros((2, 0, q)))
        alone = _inverse_of_each(np.linalg.inv(self.shared) + informed)
        with_work = rows.work >= 0
        told = np.stack([np.bincount(rows.work[with_work], scored[with_work, answer], self.works) for answer in (0, 1)], axis=1)
        believed = np.einsum("wij,wj->wi", alone, told)
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
        return _Solved(effects, covariance, of_work, alone, lower, root)

    def misses(self, solved: _Solved) -> Floats:
        """(n, 2) answers less what is expected of them; of an answer that is not there, nought."""
        rows = self.rows
        found = self.answers - self.design.times(solved.effects)
        if self.works:
            found -= np.where((rows.work >= 0)[:, None], solved.of_work[rows.work], 0.0)
        missed: Floats = np.where(self.told, found, 0.0)
        return missed

    def learn(self, solved: _Solved) -> None:
        """New variances."""
        prior, has = self.prior, self.design.effects
        second_moment = self.variance.copy()  # of what no line has
        second_moment[has] = (solved.effects - prior.mean[has]) ** 2 + np.diag(solved.covariance)
        for number, count in enumerate(prior.counts):
            of = prior.group == number
            if of.any():
                self.variance[of] = max((second_moment[of].sum() + count * prior.variance[of][0]) / (of.sum() + count), 1e-12)
        spreads = self._spreads(solved)
        self._learn_residual(solved, spreads)

    def _spreads(self, solved: _Solved) -> Floats:
        """(groups, 2, 2) how much the misses of the lines of each group would spread by what is not known of effects and of what works have in common; and new variances of that."""
        found = np.empty((len(self.groups), 2, 2))
        one, both, two = self.grams @ (self.twice * solved.covariance.ravel()[self.upper])
        found[:, 0, 0], found[:, 0, 1], found[:, 1, 1] = one, both / 2, two
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
            found[:, 0, 0] += within[:, 0, 0] - 2 * crossed[0, :, 0]
            found[:, 0, 1] += within[:, 0, 1] - crossed[0, :, 1] - crossed[1, :, 0]
            found[:, 1, 1] += within[:, 1, 1] - 2 * crossed[1, :, 1]
            prior = self.prior
            gathered = solved.of_work.T @ solved.of_work + work_covariance.sum(axis=0)
            self.shared = (gathered + prior.shared_count * prior.shared) / (self.works + prior.shared_count)
        found[:, 1, 0] = found[:, 0, 1]
        return found

    def _learn_residual(self, solved: _Solved, spreads: Floats) -> None:
        missed = self.misses(solved)
        kinds = len(self.prior.residual)
        gathered, lines = np.zeros((kinds, 2, 2)), np.zeros(kinds)
        moments = spreads.copy()
        for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
            moments[:, i, j] += np.bincount(self.group, missed[:, i] * missed[:, j] * self.weight, len(self.groups))
        moments[:, 0, 0] += np.bincount(self.group, self.left_open * self.weight, len(self.groups))
        for number, moment, size in zip(self.groups.tolist(), moments, self.size.tolist(), strict=True):
            kind, pattern = divmod(number, _PATTERNS)
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
        """All effects again: what no line has is as it was believed."""
        has = self.design.effects
        effects, covariance = self.prior.mean.copy(), np.diag(self.variance)
        effects[has] = solved.effects
        covariance[np.ix_(has, has)] = solved.covariance
        return Fitted(
            effects=effects, covariance=covariance, variance=self.variance, shared=self.shared, residual=self.residual,
            of_work=solved.of_work, alone=solved.alone, lower=solved.lower, root=solved.root, has=has, weight=self.weight, answers=self.answers,
        )  # fmt: skip


class _AtGiven(_State):
    """Variances stay as they are: one sum over all lines does, where a fit that learns them needs one for each group.

    The two answers of a line are turned into two that know nothing of each other, by the Cholesky factor of their precision.
    """

    def _sum(self) -> None:
        q, works = len(self.design.effects), self.works
        precision = self._precisions()
        first = np.sqrt(precision[:, 0, 0])
        below = np.divide(precision[:, 0, 1], first, out=np.zeros_like(first), where=first > 0)
        self.factor = np.stack([first, below, np.sqrt(np.maximum(precision[:, 1, 1] - below**2, 0.0))])  # (3, groups)
        self.left, self.at, self.informed = np.zeros((q, q)), np.zeros((2, works, q)), np.zeros((works, 2, 2))
        self._add(np.arange(len(self.group)), self.weight)

    def _add(self, some: Integers, weight: Floats, sign: float = 1.0) -> None:
        """Add some lines to the sums, or with a sign below nought take them out; each has a weight above nought."""
        n, many, design = len(some), self.design.many, self.design
        full, cells = (design.full, design.cells) if n == len(self.group) else (design.full[some], design.cells[some])
        factor = self.factor[:, self.group[some]] * np.sqrt(weight)
        dense, few = self._dense(full, factor), self._few(cells, factor)
        about = few.T.tocsr()
        self.left[:many, :many] += sign * (dense.T @ dense)
        self.left[:many, many:] += sign * (about @ dense).T
        self.left[many:, many:] += sign * (about @ few).toarray()
        work = self.rows.work[some]
        of = np.flatnonzero(work >= 0)
        if not len(of):
            return
        work, factor = work[of], sign * factor[:, of]
        # each work's two effects (rows) by its lines' two answers (columns)
        row, column = np.concatenate([work, self.works + work, self.works + work]), np.concatenate([of, of, n + of])
        gather = sparse.csr_matrix((factor.ravel(), (row, column)), shape=(2 * self.works, 2 * n))
        flat = self.at.reshape(2 * self.works, -1)
        flat[:, :many] += gather @ dense
        flat[:, many:] += (gather @ few).toarray()
        precision = self._precisions()[self.group[some[of]]] * sign * weight[of][:, None, None]
        for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
            self.informed[:, i, j] += np.bincount(work, precision[:, i, j], self.works)

    def _dense(self, full: Floats, factor: Floats) -> Floats:
        """(2 n, many) full columns of the two answers that know nothing of each other, all of the one before all of the other."""
        n, many = len(full), self.design.many
        found = np.empty((2 * n, many))
        for begin in range(0, n, _AT_ONCE):
            part = slice(begin, min(begin + _AT_ONCE, n))
            first, below, second = factor[:, part, None]
            other = full[part, many:]
            np.multiply(other, below, out=found[part])
            found[part] += full[part, :many] * first
            np.multiply(other, second, out=found[n + part.start : n + part.stop])
        return found

    def _few(self, cells: sparse.csr_matrix, factor: Floats) -> sparse.csr_matrix:
        """(2 n, few) likewise the rest; a cell may be there twice, and counts as the sum."""
        first, below, second = factor
        n, few = cells.shape[0], self.design.few
        row = np.repeat(np.arange(n), np.diff(cells.indptr))
        other = cells.indices >= few
        column = np.where(other, cells.indices - few, cells.indices)
        starts = np.concatenate([cells.indptr, cells.indptr[-1] + np.cumsum(np.bincount(row[other], minlength=n))])
        value = np.concatenate([cells.data * np.where(other, below[row], first[row]), cells.data[other] * second[row[other]]])
        return sparse.csr_matrix((value, np.concatenate([column, column[other]]), starts), shape=(2 * n, few))

    def _reweigh(self, weight: Floats) -> None:
        by = weight - self.weight
        for sign in (1.0, -1.0):
            changed = np.flatnonzero(sign * by > 0)
            if len(changed):
                self._add(changed, sign * by[changed], sign)
        self.weight = weight

    def _equations(self, precision: Floats) -> tuple[Floats, Floats, Floats]:
        return self.left.copy(), self.at, self.informed

    def _gathered(self, scored: Floats) -> Floats:
        many, design = self.design.many, self.design
        one, other = np.ascontiguousarray(scored.T)
        # one vector at a time: a matrix of two columns takes five times as long
        dense = (design.full.T @ one)[:many] + (design.full.T @ other)[many:]
        cells = design.turned @ scored
        return np.concatenate([dense, cells[: design.few, 0] + cells[design.few :, 1]])


def _inverse(matrix: Floats) -> Floats:
    """Of a symmetric positive definite matrix, of which the upper triangle is looked at."""
    if not len(matrix):
        return matrix
    # as these routines have matrices, rows are columns
    factor, failed = linalg.lapack.dpotrf(matrix.T, lower=1, clean=1)
    inverse, failed_too = linalg.lapack.dpotri(factor, lower=1)
    if failed or failed_too:
        upper = np.triu(matrix)
        found: Floats = linalg.pinvh(upper + np.triu(upper, 1).T)
        return found
    whole: Floats = inverse + inverse.T
    at = np.arange(len(matrix))
    whole[at, at] /= 2
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
