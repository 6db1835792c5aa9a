"""How much more there was to treat than was quoted: log(actual / quoted quantity), by technique within its
phase within the studio.

What lies under lining, varnish and overpaint is more than what was seen; a whole surface is as measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.lines import Lines, Names

_WORTH = 8.0  # lines that the wider level is worth
_PRIOR_MEAN, _PRIOR_VARIANCE = 0.03, 0.04  # of a studio that has measured nothing yet


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityGrowth:
    """Log-normal growth of quantities, log(actual / quoted) ~ N(mean, variance), shrunk level by level.

    Pseudo-counts as of a conjugate normal prior: A. Gelman et al., "Bayesian Data Analysis" (2013), section
    3.3 (from memory). Example: a mean of 0.1 is a tenth more than was quoted, at even chance.

    Attributes
    ----------
    studio : mean and variance of all lines.
    phases, techniques : likewise by name.
    """

    studio: tuple[float, float]
    phases: dict[str, tuple[float, float]]
    techniques: dict[str, tuple[float, float]]

    def of(self, phase: Names, technique: Names) -> tuple[Floats, Floats]:
        """(n,) mean and variance of the log growth of each line; of a technique that was never measured its
        phase's, of such a phase the studio's.
        """
        return self._of(np.unique(phase, return_inverse=True), np.unique(technique, return_inverse=True))

    def of_lines(self, lines: Lines) -> tuple[Floats, Floats]:
        """Likewise, of lines."""
        return self._of(lines.coded("phase"), lines.coded("technique"))

    def _of(self, phase: tuple[Names, Integers], technique: tuple[Names, Integers]) -> tuple[Floats, Floats]:
        unknown = (np.nan, np.nan)
        by_phase, by_technique = (
            np.array([by_name.get(name, default) for name in names.tolist()], dtype=float).reshape(-1, 2)[
                place
            ]
            for (names, place), by_name, default in (
                (phase, self.phases, self.studio),
                (technique, self.techniques, unknown),
            )
        )
        mean, variance = np.where(np.isnan(by_technique), by_phase, by_technique).T
        return mean, variance


def learn(lines: Lines) -> QuantityGrowth:
    """From finished lines whose quantity is known on both sides."""
    both = ~lines.is_open & (lines.quantity > 0) & (lines.quoted > 0)
    lines = lines.take(both)
    value = np.log(lines.quantity / lines.quoted)
    (phase_names, phase), (technique_names, technique) = lines.coded("phase"), lines.coded("technique")
    studio = _nearer(value, np.ones(len(value), dtype=bool), (_PRIOR_MEAN, _PRIOR_VARIANCE))
    phases = {name: _nearer(value, phase == place, studio) for place, name in enumerate(phase_names.tolist())}
    first = np.unique(technique, return_index=True)[1]  # a line of each, for its phase
    techniques = {
        name: _nearer(value, technique == place, phases[phase_names[phase[first[place]]]])
        for place, name in enumerate(technique_names.tolist())
    }
    return QuantityGrowth(studio=studio, phases=phases, techniques=techniques)


def _nearer(value: Floats, of: Flags, wider: tuple[float, float]) -> tuple[float, float]:
    """Mean and variance where so many lines of the wider level are added to those of the nearer."""
    n, own = float(of.sum()), value[of]
    mean = (own.sum() + _WORTH * wider[0]) / (n + _WORTH)
    variance = (((own - mean) ** 2).sum() + _WORTH * (wider[1] + (wider[0] - mean) ** 2)) / (n + _WORTH)
    return float(mean), float(variance)
