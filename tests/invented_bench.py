"""Invented works on the bench: their lines in the order of work, hours as they pass, and what was said of how
far lines were.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Flags, Integers
from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import percent_complete
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.percent_complete import LogitCalibration
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.completion import OpenWorks
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures
from tests.invented_quotes import Quoted, draw_quoted
from tests.invented_truth import Floats

_AT_ONCE = 3  # lines that may be under way together
_SPOKEN_OF = 0.6  # share of lines of which something is said along the way
_PAST_SAYINGS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A work to come, as it passes.

    Attributes
    ----------
    lines : all that it takes, in the order of work, with hours and quantity.
    found : which of them nobody quoted.
    spell_line, spell_hours : (spells,) in their order, on which line and how long.
    spoken : (n,) something is said of it along the way;
    off : (n,) how far off that is, in log odds.
    """

    lines: Lines
    found: Flags
    spell_line: Integers
    spell_hours: Floats
    spoken: Flags
    off: Floats

    @property
    def took(self) -> float:
        return float(self.lines.hours.sum())

    @property
    def approved(self) -> float:
        return float(np.nansum(self.lines.figure))

    def so_far(self, share: float) -> Floats:
        """(n,) hours of each line when a share of all hours has passed."""
        upto = np.cumsum(self.spell_hours)
        passed = np.clip(share * self.took - (upto - self.spell_hours), 0.0, self.spell_hours)
        return np.minimum(np.bincount(self.spell_line, passed, len(self.lines)), self.lines.hours)

    def finished(self, so_far: Floats) -> Flags:
        flags: Flags = so_far >= self.lines.hours * (1 - 1e-9)
        return flags

    def said(self, so_far: Floats) -> Floats:
        """(n,) how far lines under way are said to be, to a twentieth; not a number where nothing is."""
        part = np.clip(so_far / self.lines.hours, 1e-6, 1 - 1e-6)
        said = np.round(special.expit(special.logit(part) + self.off) * 20) / 20
        known = self.spoken & (so_far > 0) & ~self.finished(so_far) & (said > 0) & (said < 1)
        return np.where(known, said, np.nan)

    def under_way(self, so_far: Floats, saying: LogitCalibration) -> OpenWorks:
        """As it is asked about."""
        on_sheet_or_begun = (~self.found | (so_far > 0)) & ~self.finished(so_far)
        lines = self.lines.take(on_sheet_or_begun)
        n, nothing = len(lines), np.full(len(lines), np.nan)
        said = self.said(so_far)[on_sheet_or_begun]
        share, sd = saying.passed(np.where(np.isnan(said), 0.5, said))
        here = so_far[on_sheet_or_begun]
        techniques, name = self.lines.technique, str(self.lines.object[0])
        unknown = np.isnan(said)
        begun = replace(
            CensoredObservations.none(n),
            so_far=here,
            stated_at_hours=np.where(unknown, np.nan, here),
            stated_share=np.where(unknown, np.nan, share),
            stated_sd=np.where(unknown, np.nan, sd),
        )
        return OpenWorks(
            lines=replace(lines, hours=nothing, quantity=nothing, is_open=np.ones(n, dtype=bool)),
            observations=begun,
            in_estimate=~self.found[on_sheet_or_begun],
            pinned=np.zeros(n),
            finished_hours={name: float(so_far[self.finished(so_far)].sum())},
            bears_on=dict.fromkeys(np.unique(techniques).tolist(), 0),
            works={
                name: WorkFeatures(
                    kind="easel painting",
                    grades=(float(self.lines.condition[0]), np.nan, np.nan),
                    area=float(self.lines.area[0]),
                    techniques=frozenset(techniques[~self.found].tolist()),
                    worked=frozenset(techniques[so_far > 0].tolist()),
                )
            },
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A studio with works on the bench; `saying` and `when` as its history tells them."""

    quoted: Quoted
    courses: tuple[Course, ...]
    saying: LogitCalibration
    when: Floats

    def discoveries(self, calibration: Calibration) -> DiscoveryModel:
        return replace(self.quoted.discoveries(calibration), when=self.when)


def draw_bench(seed: int, works: int = 40, later: int = 12) -> Bench:
    """A studio of so many finished works, and so many on the bench."""
    quoted = draw_quoted(seed, works, later)
    rng = np.random.default_rng([seed, 99])
    lean, spread = rng.normal(0.0, 0.3), rng.uniform(0.3, 0.6)
    passed = rng.uniform(0.1, 0.9, _PAST_SAYINGS)
    said = special.expit(special.logit(passed) + lean + spread * rng.standard_normal(_PAST_SAYINGS))
    return Bench(
        quoted=quoted,
        courses=tuple(_course(quoted, name, lean, spread, rng) for name in quoted.totals),
        saying=percent_complete.learn(np.round(said * 20) / 20, passed, np.arange(_PAST_SAYINGS)),
        when=_when(quoted.studio.history),
    )


def _when(history: Lines) -> Floats:
    """How far past works were when what nobody quoted was begun."""
    unquoted = np.flatnonzero(np.isnan(history.figure) & np.isnan(history.quoted))
    shares = []
    for line in unquoted:
        its = history.object == history.object[line]
        shares.append(
            float(history.hours[its & (history.phase < history.phase[line])].sum() / history.hours[its].sum())
        )
    return np.sort(shares)


def _course(quoted: Quoted, name: str, lean: float, spread: float, rng: np.random.Generator) -> Course:
    sheet, extra = (
        quoted.to_come.take(quoted.to_come.object == name),
        quoted.turned_up.take(quoted.turned_up.object == name),
    )
    usual = float(np.exp(np.nanmean(np.log(quoted.studio.history.figure))))
    lines = join(replace(sheet, figure=np.where(np.isnan(sheet.figure), usual, sheet.figure)), extra)
    found = np.arange(len(lines)) >= len(sheet)
    order = np.lexsort((rng.random(len(lines)), lines.phase))
    lines, found = lines.take(order), found[order]
    n, left = len(lines), lines.hours.copy()
    spells: list[tuple[int, float]] = []
    at_hand: list[int] = []
    next_line = 0
    while at_hand or next_line < n:
        while len(at_hand) < _AT_ONCE and next_line < n and (not at_hand or rng.random() < 0.5):
            at_hand.append(next_line)
            next_line += 1
        which = int(rng.choice(at_hand))
        hours = min(float(left[which]), float(rng.uniform(0.5, 3.0)))
        spells.append((which, hours))
        left[which] -= hours
        if left[which] <= 1e-9:
            at_hand.remove(which)
    line, hours_of = (np.array(values) for values in zip(*spells, strict=True))
    return Course(
        lines=lines,
        found=found,
        spell_line=line,
        spell_hours=hours_of,
        spoken=rng.random(n) < _SPOKEN_OF,
        off=lean + spread * rng.standard_normal(n),
    )
