"""Pace with experience: whether work that was done again went faster.

The form is that of T. P. Wright ("Factors affecting the cost of airplanes", Journal of the Aeronautical
Sciences 3, 1936): the average over all units so far falls by the same share each time their number doubles,
so that the first x units take a·x^(1+b) together, and the share is 2^b. The later form, in which the time of
the last unit falls so, is another curve with the same name.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Floats

ENOUGH = 10
_SURE = 0.99  # of a range that must leave out "no change", as many techniques are looked at
_SHOWN = 0.80
_GRID, _FINE = np.linspace(-0.9, 0.6, 601), 501


@dataclass(frozen=True, slots=True, kw_only=True)
class LearningCurve:
    """Wright's learning curve: the first x units take a x^(1 + b) together, share = 2^b (see the module).

    Example: a share of 0.9 means a tenth less of the average with each doubling. What of its average a thing
    takes each time the number of times it was done doubles: `share`, with its range of 4 in 5; `surely`: the
    record shows that there is a change at all. `first_hours` : of the first unit.
    """

    share: float
    low: float
    high: float
    first_hours: float
    surely: bool
    times: int


def learn(hours: Floats, units: Floats) -> LearningCurve | None:
    """The curve through hours of batches.

    Parameters
    ----------
    hours : (n,) of each batch, in the order in which they were done.
    units : (n,) how many each was of.

    Returns
    -------
    None for fewer than three: there is no telling. Least squares of the log of the hours; the range is that
    of exponents which fit not much worse (the likelihood of normal errors, by the F distribution).
    """
    n = len(hours)
    if n < 3:
        return None
    upto = np.cumsum(units)
    before = upto - units

    def off(exponents: Floats) -> Floats:
        power = 1 + exponents[:, None]
        values: Floats = np.log(hours)[None, :] - np.log(upto[None, :] ** power - before[None, :] ** power)
        return values

    def errors(exponents: Floats) -> Floats:
        values: Floats = n * off(exponents).var(axis=1)
        return values

    error = errors(_GRID)
    near = int(error.argmin())
    best = np.linspace(_GRID[max(near - 1, 0)], _GRID[min(near + 1, len(_GRID) - 1)], _FINE)
    best = best[[errors(best).argmin()]]
    least = float(errors(best)[0])

    def fits(level: float) -> Floats:
        allowed = least * (1 + special.fdtri(1, n - 2, level) / (n - 2)) + 1e-12
        values: Floats = np.concatenate([_GRID[error <= allowed], best])
        return np.sort(values)

    sure, shown = fits(_SURE), fits(_SHOWN)
    return LearningCurve(
        share=float(2 ** best[0]),
        low=float(2 ** shown[0]),
        high=float(2 ** shown[-1]),
        first_hours=float(np.exp(off(best).mean())),
        surely=bool(n >= ENOUGH and (sure[-1] < 0 or sure[0] > 0)),
        times=n,
    )
