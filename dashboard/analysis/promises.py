"""Promises held against what works took: the share that was kept, how far they were off over time and by phase, and where they were worth least.

A promise is the one with which a work began. A revision takes over what is worked already, so it is easily kept; it is shown beside, and scored only where nothing was promised before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis.mixed import Floats

FEW_WORKS = 3  # below this nothing is said of how far a technique was off
_SAID = 0.05  # promises are said to a tenth of an hour
_LEVEL = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """How many of some were so, and the range that holds the true share 4 times in 5."""

    hits: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.hits / self.of if self.of else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """What works took by what was promised: geometric mean over `of` works, and the range that holds the true one 4 times in 5 (not a number for a single work)."""

    factor: float
    low: float
    high: float
    of: int


def share(hits: int, of: int) -> Share:
    """A share with its own range: Jeffreys interval (L. D. Brown, T. T. Cai, A. DasGupta, "Interval estimation for a binomial proportion", Statistical Science 16 (2001) 101-133)."""
    if not of:
        return Share(hits=0, of=0, low=float("nan"), high=float("nan"))
    low, high = (float(special.betaincinv(hits + 0.5, of - hits + 0.5, level)) for level in ((1 - _LEVEL) / 2, (1 + _LEVEL) / 2))
    return Share(hits=hits, of=of, low=low, high=high)


def factor(log_ratios: Floats) -> Factor:
    """The geometric mean of ratios with its range, by Student's t on their logs."""
    n = len(log_ratios)
    if not n:
        return Factor(factor=float("nan"), low=float("nan"), high=float("nan"), of=0)
    middle = float(np.mean(log_ratios))
    half = float(special.stdtrit(n - 1, (1 + _LEVEL) / 2) * np.std(log_ratios, ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    return Factor(factor=float(np.exp(middle)), low=float(np.exp(middle - half)), high=float(np.exp(middle + half)), of=n)


def held_against(promises: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Promises of works of which every line is finished, beside what they took.

    Parameters
    ----------
    promises : frame of `dashboard.reading.promises`. lines : of `dashboard.reading.overruns`.

    Returns
    -------
    Frame of the promises with `finished_on`, `actual_hours`, `even_hours` (what was said at even chance; of a point the point), `off` (log of actual by even), `kept`,
    `inside` (the range from 1 in 10 to 9 in 10; null where there is none), the latest first.
    """
    done = lines.groupby("object").agg(finished=("finished", "all"), actual_hours=("actual_hours", "sum"), finished_on=("finished_on", "max"))
    done = done[done["finished"].astype(bool) & (done["actual_hours"] > 0)].drop(columns="finished")
    found = promises.merge(done.reset_index(), on="object")
    even = found["p50"].fillna(found["promised_hours"]).astype(float)
    actual = found["actual_hours"].astype(float)
    inside = ((actual >= found["p10"] - _SAID) & (actual <= found["p90"] + _SAID)).astype(float).where(found["p10"].notna())
    found = found.assign(even_hours=even, off=np.log(actual / even), kept=actual <= found["promised_hours"] + _SAID, inside=inside)
    return found.sort_values(["finished_on", "object"], ascending=[False, True], ignore_index=True)


def kept(held: pd.DataFrame) -> Share:
    """The share of works that ended within the hours promised."""
    return share(int(held["kept"].sum()), len(held))


def inside(held: pd.DataFrame) -> Share:
    """Of the works that were promised with a range, the share that ended inside it."""
    ranged = held["inside"].dropna()
    return share(int(ranged.sum()), len(ranged))


def bias(held: pd.DataFrame) -> Factor:
    """What works took by what was said at even chance."""
    return factor(held["off"].to_numpy(dtype=float))


def by_year(held: pd.DataFrame) -> pd.DataFrame:
    """Frame by the `year` in which works were finished: `works`, `kept`, `share_low`, `share_high`, `factor`, `low`, `high`, in order."""
    rows = []
    for year, inside_year in held.groupby(held["finished_on"].dt.year, sort=True):
        told, off = kept(inside_year), bias(inside_year)
        rows.append((int(year), told.of, told.hits, told.low, told.high, off.factor, off.low, off.high))
    return pd.DataFrame(rows, columns=["year", "works", "kept", "share_low", "share_high", "factor", "low", "high"])


def by_phase(lines: pd.DataFrame) -> pd.DataFrame:
    """How far promises of lines were off, summed by work and phase.

    Parameters
    ----------
    lines : frame of finished lines: `object`, `phase`, `position`, `promised_hours` (by the last version before their first entry), `actual_hours`.

    Returns
    -------
    Frame `phase`, `works`, `promised_hours`, `actual_hours`, `factor`, `low`, `high`, in the order of work.
    """
    sums = lines.groupby(["position", "phase", "object"], as_index=False)[["promised_hours", "actual_hours"]].sum()
    sums = sums[(sums["promised_hours"] > 0) & (sums["actual_hours"] > 0)]
    rows = []
    for (_, phase), of in sums.groupby(["position", "phase"]):
        off = factor(np.log((of["actual_hours"] / of["promised_hours"]).to_numpy(dtype=float)))
        rows.append((phase, off.of, float(of["promised_hours"].sum()), float(of["actual_hours"].sum()), off.factor, off.low, off.high))
    return pd.DataFrame(rows, columns=["phase", "works", "promised_hours", "actual_hours", "factor", "low", "high"])


def least_worth(lines: pd.DataFrame) -> pd.DataFrame:
    """Techniques by how far their lines missed what was promised, the worst first; of those on enough works.

    Returns
    -------
    Frame `technique`, `works`, `lines`, `missed_by` (half of its lines missed by a larger share than this, up or down), `factor` (what they took by what was promised).
    """
    worked = lines[(lines["promised_hours"] > 0) & (lines["actual_hours"] > 0)]
    off = (worked["actual_hours"] / worked["promised_hours"]).astype(float).map(np.log)
    found = (
        worked.assign(off=off, size=off.abs())
        .groupby("technique", as_index=False)
        .agg(works=("object", "nunique"), lines=("object", "size"), size=("size", "median"), off=("off", "mean"))
    )
    found = found[found["works"] >= FEW_WORKS]
    found = found.assign(missed_by=np.expm1(found["size"]), factor=np.exp(found["off"])).drop(columns=["size", "off"])
    return found.sort_values(["missed_by", "technique"], ascending=[False, True], ignore_index=True)
