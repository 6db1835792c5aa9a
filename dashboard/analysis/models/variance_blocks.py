"""Of a long record the part from which variances are learnt: works that are over, up to the end of the last
whole block of them, so that day after day the same part is taken and what it taught is used again.

Whole works and not the finished lines of works under way: what is finished first of a work is no fair sample
of it.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Generic, TypeVar

import numpy as np

from dashboard.analysis.arrays import Integers
from dashboard.analysis.data.lines import ROWS, Lines

# the latest so many; spreads of long ago say little of today's, and more lines would hardly move them
MOST_LINES = 4000
_BLOCK_LINES = 500
_OVER_DAYS = 60  # without a finished line, and no line is open: the work is over, not between two phases

_Value = TypeVar("_Value")


def lines_of_whole_works(lines: Lines, today: int) -> Integers | None:
    """The lines (places, rising) of the latest works that are over, by whole works not fewer than
    `MOST_LINES` where there are so many; None where works that are over have less than half as many.

    Works are taken in the order in which they were finished, up to the one that fills the last block of
    `_BLOCK_LINES` lines: until the next block is full the answer is the same lines.

    Parameters
    ----------
    lines : finished ones, and open ones with hours so far.
    today : the day for which it is asked (days since 1970).
    """
    names, work = lines.coded("object")
    last, count = np.full(len(names), -(2**40)), np.bincount(work, minlength=len(names))
    np.maximum.at(last, work, lines.day)
    over = (np.bincount(work[lines.is_open], minlength=len(names)) == 0) & (last <= today - _OVER_DAYS)
    in_order = np.flatnonzero(over)
    in_order = in_order[np.argsort(last[in_order], kind="stable")]
    upto = np.cumsum(count[in_order])
    full = int(upto[-1]) // _BLOCK_LINES * _BLOCK_LINES if len(upto) else 0
    if full < MOST_LINES / 2:
        return None
    end = int(np.searchsorted(upto, full)) + 1
    begin = int(np.searchsorted(upto, full - MOST_LINES, side="right"))
    chosen = np.zeros(len(names), dtype=bool)
    chosen[in_order[begin:end]] = True
    return np.flatnonzero(chosen[work])


class ContentCache(Generic[_Value]):
    """What lines taught, kept by their content: a pure function of them, reckoned once for all days and works
    that ask.
    """

    def __init__(self, most: int) -> None:
        self._most, self._known, self._lock = most, OrderedDict[bytes, _Value](), threading.Lock()

    def by(self, lines: Lines, learn: Callable[[Lines], _Value]) -> _Value:
        """What `learn` gives for lines. Who asks while it is reckoned waits: days that are tried beside each
        other come to a new block together.
        """
        key = _content(lines)
        with self._lock:
            if key not in self._known:
                self._known[key] = learn(lines)
                while len(self._known) > self._most:
                    self._known.popitem(last=False)
            self._known.move_to_end(key)
            return self._known[key]


def _content(lines: Lines) -> bytes:
    """A short name of all that lines say: equal lines have an equal one."""
    digest = hashlib.blake2b(repr(lines.people).encode(), digest_size=16)
    for name in ROWS:
        values = getattr(lines, name)
        if values.dtype.kind == "U":  # names are long, and few
            names, place = lines.coded(name)
            digest.update(repr(names.tolist()).encode())
            values = place
        digest.update(np.ascontiguousarray(values).tobytes())
    return digest.digest()
