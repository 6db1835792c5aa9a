"""A mixed model at given variances: one sum over all lines."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.models.mixed_em import EmFit

_AT_ONCE = 1024  # lines whose rows stay near the processor


class FixedVarianceFit(EmFit):
    """Variances stay as they are: one sum over all lines does, where a fit that learns them needs one for
    each group.

    The two answers of a line are turned into two that know nothing of each other, by the Cholesky factor of
    their precision.
    """

    def _sum(self) -> None:
        q, works = len(self.design.effects), self.works
        precision = self._precisions()
        first = np.sqrt(precision[:, 0, 0])
        below = np.divide(precision[:, 0, 1], first, out=np.zeros_like(first), where=first > 0)
        # (3, groups)
        self.factor = np.stack([first, below, np.sqrt(np.maximum(precision[:, 1, 1] - below**2, 0.0))])
        self.left, self.at, self.informed = np.zeros((q, q)), np.zeros((2, works, q)), np.zeros((works, 2, 2))
        self._add(np.arange(len(self.group)), self.weight)

    def _add(self, some: Integers, weight: Floats, sign: float = 1.0) -> None:
        """Add some lines to the sums, or with a sign below nought take them out; each has a weight above
        nought.
        """
        n, many, design = len(some), self.design.many, self.design
        full, cells = (
            (design.full, design.cells) if n == len(self.group) else (design.full[some], design.cells[some])
        )
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
        row, column = (
            np.concatenate([work, self.works + work, self.works + work]),
            np.concatenate([of, of, n + of]),
        )
        gather = sparse.csr_matrix((factor.ravel(), (row, column)), shape=(2 * self.works, 2 * n))
        flat = self.at.reshape(2 * self.works, -1)
        flat[:, :many] += gather @ dense
        flat[:, many:] += (gather @ few).toarray()
        precision = self._precisions()[self.group[some[of]]] * sign * weight[of][:, None, None]
        for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
            self.informed[:, i, j] += np.bincount(work, precision[:, i, j], self.works)

    def _dense(self, full: Floats, factor: Floats) -> Floats:
        """(2 n, many) full columns of the two answers that know nothing of each other, all of the one before
        all of the other.
        """
        n, many = len(full), self.design.many
        dense = np.empty((2 * n, many))
        for begin in range(0, n, _AT_ONCE):
            part = slice(begin, min(begin + _AT_ONCE, n))
            first, below, second = factor[:, part, None]
            other = full[part, many:]
            np.multiply(other, below, out=dense[part])
            dense[part] += full[part, :many] * first
            np.multiply(other, second, out=dense[n + part.start : n + part.stop])
        return dense

    def _few(self, cells: sparse.csr_matrix, factor: Floats) -> sparse.csr_matrix:
        """(2 n, few) likewise the rest; a cell may be there twice, and counts as the sum."""
        first, below, second = factor
        n, few = cells.shape[0], self.design.few
        row = np.repeat(np.arange(n), np.diff(cells.indptr))
        other = cells.indices >= few
        column = np.where(other, cells.indices - few, cells.indices)
        starts = np.concatenate(
            [cells.indptr, cells.indptr[-1] + np.cumsum(np.bincount(row[other], minlength=n))]
        )
        value = np.concatenate(
            [cells.data * np.where(other, below[row], first[row]), cells.data[other] * second[row[other]]]
        )
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
        first, second = np.ascontiguousarray(scored.T)
        # one vector at a time: a matrix of two columns takes five times as long
        dense = (design.full.T @ first)[:many] + (design.full.T @ second)[many:]
        cells = design.turned @ scored
        return np.concatenate([dense, cells[: design.few, 0] + cells[design.few :, 1]])
