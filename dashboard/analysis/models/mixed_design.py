"""The two sparse designs of a mixed model, and their products."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from scipy import sparse

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.models.mixed_data import MixedModelData

_MANY = 0.05  # share of lines from which on an effect is a full column


class Design:
    """The two designs: effects that no line has left out; those that many lines have, the first `many` of the
    q others, as full columns; the rest as cells.
    """

    def __init__(self, rows: MixedModelData) -> None:
        designs = rows.first, rows.second
        n, p = rows.first.shape
        often = np.maximum(*(np.bincount(design.indices, minlength=p) for design in designs))
        self.many = int((often > n * _MANY).sum())
        # the column of each
        self.effects = np.argsort(-np.where(often > n * _MANY, 2, often > 0), kind="stable")[
            : int((often > 0).sum())
        ]
        self.few = len(self.effects) - self.many
        place = np.zeros(p, dtype=np.int64)
        place[self.effects] = np.arange(len(self.effects))
        self.full = np.zeros((n, 2 * self.many))  # side by side
        parts = []
        for answer, matrix in enumerate(designs):
            row, column = np.repeat(np.arange(n), np.diff(matrix.indptr)), place[matrix.indices]
            is_full = column < self.many
            self.full.reshape(-1)[row[is_full] * (2 * self.many) + column[is_full] + answer * self.many] = (
                matrix.data[is_full]
            )
            parts.append(
                (matrix.data[~is_full], row[~is_full], column[~is_full] - self.many + answer * self.few)
            )
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
        ones = sparse.csr_matrix(
            (np.ones(self.cells.nnz), self.cells.indices, self.cells.indptr), shape=self.cells.shape
        )
        meets = np.ones((q, q), dtype=bool)
        meets[many:, many:] = ((ones.T @ ones).toarray() > 0).reshape(2, few, 2, few).any(
            axis=(0, 2)
        ) | np.eye(few, dtype=bool)
        return np.flatnonzero(np.triu(meets))

    def _places(self) -> Integers:
        """(4, `upper`) where `products` finds the product of each two: in the first design, of the one in the
        first with the other in the second and the other way about, in the second.
        """
        many, few = self.many, self.few
        row, column = np.divmod(self.upper, max(len(self.effects), 1))
        places = []
        for first, second in ((0, 0), (0, 1), (1, 0), (1, 1)):
            both_full = (row + first * many) * 2 * many + column + second * many
            crossed = (column - many + second * few) * 2 * many + row + first * many
            both_few = (row - many + first * few) * 2 * few + column - many + second * few
            places.append(
                np.where(
                    column < many,
                    both_full,
                    4 * many * many + np.where(row < many, crossed, 4 * few * many + both_few),
                )
            )
        return np.stack(places)

    def products(self, some: Integers, weight: Floats) -> Floats:
        """(3, `upper`) weighted sums of products over some lines: of the first design, of both (either way
        about), of the second.
        """
        full, cells = self.full[some], self.cells[some]
        weighed = full * weight[:, None]
        scaled = sparse.csr_matrix(
            (cells.data * np.repeat(weight, np.diff(cells.indptr)), cells.indices, cells.indptr),
            shape=cells.shape,
        )
        turned = cells.T.tocsr()
        whole = np.concatenate(
            [(full.T @ weighed).ravel(), (turned @ weighed).ravel(), (turned @ scaled).toarray().ravel()]
        )
        first, crossed, turned_about, second = whole[self.places]
        return np.stack([first, crossed + turned_about, second])

    def times(self, effects: Floats) -> Floats:
        """(n, 2) what effects (q,) come to in either answer."""
        many, few = self.many, self.few
        apart = np.zeros((2 * few, 2))
        apart[:few, 0] = apart[few:, 1] = effects[many:]
        values: Floats = self.cells @ apart
        values[:, 0] += self.full[:, :many] @ effects[:many]
        values[:, 1] += self.full[:, many:] @ effects[:many]
        return values

    def gathered(self, value: Floats) -> Floats:
        """(q,) sums over lines of values (n, 2) by both designs."""
        many, few = self.many, self.few
        full, cells = self.full.T @ value, self.turned @ value
        values: Floats = np.concatenate([full[:many, 0] + full[many:, 1], cells[:few, 0] + cells[few:, 1]])
        return values
