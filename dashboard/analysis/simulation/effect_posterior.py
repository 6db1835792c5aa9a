"""The posterior of a work's random effect on a grid, and draws from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.analysis.arrays import Floats, Integers

LUCK = np.linspace(-7, 7, 141)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranks:
    """Even places (draws,) from 0 to 1 of the luck of a work: in rising order, in which a table is looked up
    ten times as fast, and where each stands.
    """

    rising: Floats
    order: Integers

    @classmethod
    def of(cls, places: Floats) -> Ranks:
        order = np.argsort(places)
        return cls(rising=places[order], order=order)

    def interpolated(self, at: Floats, values: Floats) -> Floats:
        """(draws,) `np.interp` at each."""
        result = np.empty_like(self.rising)
        result[self.order] = np.interp(self.rising, at, values)
        return result


def posterior_luck(shown: Floats, places: Ranks) -> Floats:
    """(draws,) the luck of a work at even places from 0 to 1, given the log chance of what its lines show by
    it; the same places with worse lines give worse luck, draw by draw.
    """
    log_density = -(LUCK**2) / 2 + shown
    density = np.exp(log_density - log_density.max())
    upto = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return places.interpolated(upto / upto[-1], LUCK)


def between(values: Floats, grid: Floats) -> tuple[Integers, Floats]:
    """(draws,) the point of an even grid before each value, and how far it is to the next one."""
    place = (np.clip(values, grid[0], grid[-1]) - grid[0]) / (grid[1] - grid[0])
    before = np.minimum(place.astype(np.int64), len(grid) - 2)
    return before, place - before
