"""All that the hours of a quote are reckoned from, small enough to be kept with it, and the figures reckoned
from that: the same today and in years.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.models.calibration import NORMAL_SCORES, PredictiveQuantiles, at_levels, at_scores
from dashboard.analysis.simulation.totals import DRAWS, SEED, OccurrenceModel, draw_hours, euler_contributions

STEPS = 8192.0  # of log hours: a step is 0.012 per cent
LEVELS = np.array([0.1, 0.5, 0.8, 0.9])
NAMES = ("p10", "p50", "p80", "p90")


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteSnapshot:
    """Lines that are quoted together, and behind them what may turn up.

    Attributes
    ----------
    table : (n, 141) log hours at `NORMAL_SCORES`, in steps of 1/8192.
    correlation : (n, n) of single precision.
    chance : (n,) that it is worked at all.
    is_discovery : (n,) it is nothing quoted, but what may turn up.
    together : see `Occurring`.
    work : (n,) number of its work.
    fixed : (n,) hours that it took, of what is done already; else not a number.
    order : (k,) the lines that are drawn, in the order in which they are: a line is drawn alike whatever is
        drawn behind it. Not those that are fixed, but in quotes of before.
    seed, draws : of the luck.
    """

    table: Floats
    correlation: Floats
    chance: Floats
    is_discovery: Flags
    together: float
    work: Integers
    fixed: Floats
    order: Integers
    seed: int = SEED
    draws: int = DRAWS

    @classmethod
    def of(
        cls, foretold: PredictiveQuantiles, occurring: OccurrenceModel, fixed: Floats, draws: int
    ) -> QuoteSnapshot:
        """Brought to the steps in which it is kept, before anything is reckoned from it."""
        return cls(
            table=np.round(foretold.table * STEPS) / STEPS,
            correlation=foretold.correlation.astype(np.float32).astype(float),
            chance=occurring.chance,
            is_discovery=occurring.is_discovery,
            together=occurring.together,
            work=occurring.work,
            fixed=fixed,
            order=np.flatnonzero(np.isnan(fixed)),
            draws=draws,
        )

    def hours(self) -> Floats:
        """(n, draws) equally likely hours."""
        at = self.order
        foretold = PredictiveQuantiles.plain(self.table[at], self.correlation[np.ix_(at, at)])
        occurring = OccurrenceModel(
            chance=self.chance[at],
            is_discovery=self.is_discovery[at],
            together=self.together,
            work=self.work[at],
        )
        drawn = np.zeros((len(self.table), self.draws))
        drawn[at] = draw_hours(foretold, occurring, self.draws, self.seed)
        done = ~np.isnan(self.fixed)
        drawn[done] = self.fixed[done, None]
        return drawn

    def among(self, place: Integers, done: Floats, work: Integers) -> QuoteSnapshot:
        """The same among lines that are done and are not in it: the drawn ones first come, as they are here,
        to `place` of more lines, of which `done` (n,) has the hours of those that are done, and `work` the
        number of the work.
        """
        n = len(done)
        table, correlation = (
            np.log(np.maximum(np.nan_to_num(done), 1e-9))[:, None].repeat(self.table.shape[1], axis=1),
            np.eye(n),
        )
        chance, is_discovery, fixed = np.ones(n), np.zeros(n, dtype=bool), done.copy()
        table[place], correlation[np.ix_(place, place)] = self.table, self.correlation
        chance[place], is_discovery[place], fixed[place] = self.chance, self.is_discovery, self.fixed
        return replace(
            self,
            table=np.round(table * STEPS) / STEPS,
            correlation=correlation,
            chance=chance,
            is_discovery=is_discovery,
            fixed=fixed,
            work=work,
            order=place[self.order],
        )

    def quantiles(self, levels: Floats) -> Floats:
        """(n, levels) hours of each, if it is worked."""
        return np.where(
            np.isnan(self.fixed)[:, None], np.exp(at_levels(self.table, levels)), self.fixed[:, None]
        )

    def quantiles_in_all(self, levels: Floats) -> Floats:
        """(n, levels) hours of each, nought where it is not worked."""
        level = 1 - (1 - levels[None, :]) / np.maximum(self.chance, 1e-9)[:, None]
        hours = np.exp(at_scores(self.table, special.ndtri(np.clip(level, 1e-12, 1 - 1e-12))))
        return np.where(np.isnan(self.fixed)[:, None], np.where(level > 0, hours, 0.0), self.fixed[:, None])

    def to_json(self) -> dict[str, Any]:
        """As JSON says it, to be kept."""
        n = len(self.table)
        return {
            "n": n,
            "table": _packed(
                np.diff(np.diff(np.round(self.table * STEPS), axis=1, prepend=0), axis=1, prepend=0).astype(
                    "<i4"
                )
            ),
            "correlation": _packed(self.correlation[np.triu_indices(n, 1)].astype("<f4")),
            "chance": self.chance.tolist(),
            "found": np.flatnonzero(self.is_discovery).tolist(),
            "together": self.together,
            "work": self.work.tolist(),
            "fixed": [None if np.isnan(item) else float(item) for item in self.fixed],
            "order": self.order.tolist(),
            "seed": self.seed,
            "draws": self.draws,
        }

    @classmethod
    def from_json(cls, saved: Mapping[str, Any]) -> QuoteSnapshot:
        """From what `saved` gave."""
        n = int(saved["n"])
        steps = (
            np.frombuffer(_unpacked(saved["table"]), dtype="<i4").reshape(n, -1)
            if n
            else np.zeros((0, len(NORMAL_SCORES)), dtype="<i4")
        )
        table = np.cumsum(np.cumsum(steps, axis=1, dtype=np.int64), axis=1) / STEPS
        correlation = np.eye(n)
        correlation[np.triu_indices(n, 1)] = np.frombuffer(
            _unpacked(saved["correlation"]), dtype="<f4"
        ).astype(float)
        is_discovery = np.zeros(n, dtype=bool)
        is_discovery[saved["found"]] = True
        return cls(
            table=table,
            correlation=np.triu(correlation, 1).T + correlation,
            chance=np.array(saved["chance"], dtype=float),
            is_discovery=is_discovery,
            together=float(saved["together"]),
            work=np.array(saved["work"], dtype=np.int64),
            fixed=np.array([np.nan if item is None else item for item in saved["fixed"]], dtype=float),
            order=np.array(saved.get("order", range(n)), dtype=np.int64),
            seed=int(saved["seed"]),
            draws=int(saved["draws"]),
        )


def _packed(numbers: np.ndarray) -> str:
    return base64.b85encode(zlib.compress(numbers.tobytes(), 9)).decode()


def _unpacked(text: str) -> bytes:
    return zlib.decompress(base64.b85decode(text))


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteFigures:
    """The figures of a quote.

    Attributes
    ----------
    lines : (n, 4) hours of each at `LEVELS`.
    total : (draws,) of all together.
    charged : likewise, of what the price is for.
    promised : hours within which that ends at the chosen level;
    parts : (n,) of each in them;
    spread : (n,) of each in what lies between even chance and 4 in 5 of the total.
    """

    lines: Floats
    total: Floats
    charged: Floats
    promised: float
    parts: Floats
    spread: Floats


def quote_figures(hours: Floats, basis: QuoteSnapshot, charged: Flags, level: float) -> QuoteFigures:
    """Reckon them from the draws of a basis.

    Parameters
    ----------
    charged : (n,) the price is for it.
    level : chance to end within the promised hours.
    """
    total = hours.sum(axis=0)
    of_price = total if charged.all() else hours[charged].sum(axis=0)
    done = charged & ~np.isnan(basis.fixed)
    open_ = charged & ~done
    parts = np.where(done, basis.fixed, 0.0)  # what is done is in the promise as it was worked
    parts[open_] = euler_contributions(hours[open_], level) if open_.any() else 0.0
    return QuoteFigures(
        lines=basis.quantiles(LEVELS),
        total=total,
        charged=of_price,
        promised=float(np.quantile(of_price, level)),
        parts=parts,
        spread=euler_contributions(hours, 0.8) - euler_contributions(hours, 0.5)
        if len(hours)
        else np.zeros(0),
    )
