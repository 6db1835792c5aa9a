"""What is meant by "two thirds done": shares that were said along the way of lines now finished, held against
the share of their hours that had passed.

The last tenth takes longer than a tenth, and the first square is the slowest: how far shares lean, and how
far they lie apart, is told from the studio's own record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Floats, Integers

_SPREAD, _SPREAD_WORTH = 0.5, 8.0  # of log odds, before there is a record; and the lines that is worth
_LEAN_WORTH = 8.0  # lines that "shares are what was said" is worth
_WIDER = 1.12  # than the record shows, as no two lines are alike (tests/benchmarks/half_done.py)
_LEAST = 0.02  # of a line, beyond which what was said is taken for as good as nothing, or as all


@dataclass(frozen=True, slots=True, kw_only=True)
class LogitCalibration:
    """Logistic recalibration of stated progress: logit(true share) = logit(stated) + lean + N(0, spread²).

    D. R. Cox, "Two further applications of a model for binary regression", Biometrika 45 (1958), with slope
    1. Example: with lean 0 and spread 0.2 a stated half is a half, with log odds off by 0.2. How shares that
    were said stand to the shares of hours that had passed: lean and spread of log odds, from so many lines.
    """

    lean: float
    spread: float
    lines: int

    def passed(self, values: Floats) -> tuple[Floats, Floats]:
        """(n,) the share of its hours that has passed where a line is said to be so far, and the standard
        deviation of the log odds of that share; how far shares lean is itself the less sure the fewer lines
        there are.
        """
        share: Floats = special.expit(special.logit(np.clip(values, _LEAST, 1 - _LEAST)) + self.lean)
        return share, np.full(share.shape, _WIDER * self.spread * np.sqrt(1 + 1 / (self.lines + _LEAN_WORTH)))


def learn(values: Floats, passed: Floats, line: Integers) -> LogitCalibration:
    """From shares along the way of finished lines.

    Parameters
    ----------
    said, passed : (n,) shares between 0 and 1: of the line as it was said, and of its hours in the end.
    line : (n,) of which line; each line counts once, however often it was spoken of.
    """
    inside = (values > 0) & (values < 1) & (passed > 0) & (passed < 1)
    odds = [special.logit(np.clip(value[inside], _LEAST, 1 - _LEAST)) for value in (passed, values)]
    off = odds[0] - odds[1]
    names, of = np.unique(line[inside], return_inverse=True)
    n = len(names)
    weight = 1 / np.bincount(of, minlength=n)[of] if n else np.zeros(0)
    lean = float((weight * off).sum() / (n + _LEAN_WORTH))
    variance = float(((weight * (off - lean) ** 2).sum() + _SPREAD_WORTH * _SPREAD**2) / (n + _SPREAD_WORTH))
    return LogitCalibration(lean=lean, spread=float(np.sqrt(variance)), lines=n)
