"""Promises held against what works took: the share that was kept, how far they were off over time and by
phase, and where they were worth least.

A promise is the one with which a work began. A revision takes over what is worked already, so it is easily
kept; it is shown beside, and scored only where nothing was promised before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis.arrays import Floats

FEW_WORKS = 3  # below this nothing is said of how far a technique was off
_SAID = 0.05  # promises are said to a tenth of an hour
_LEVEL = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class JeffreysInterval:
    """How many of some were so, and the range that holds the true share 4 times in 5."""

    hits: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.hits / self.of if self.of else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class GeometricMeanRatio:
    """What works took by what was promised: geometric mean over `of` works, and the range that holds the true
    one 4 times in 5 (not a number for a single work).
    """

    factor: float
    low: float
    high: float
    of: int


def jeffreys_interval(hits: int, of: int) -> JeffreysInterval:
    """A share with its own range: Jeffreys interval (L. D. Brown, T. T. Cai, A. DasGupta, "Interval
    estimation for a binomial proportion", Statistical Science 16 (2001) 101-133).
    """
    if not of:
        return JeffreysInterval(hits=0, of=0, low=float("nan"), high=float("nan"))
    low, high = (
        float(special.betaincinv(hits + 0.5, of - hits + 0.5, level))
        for level in ((1 - _LEVEL) / 2, (1 + _LEVEL) / 2)
    )
    return JeffreysInterval(hits=hits, of=of, low=low, high=high)


def geometric_mean_ratio(log_ratios: Floats) -> GeometricMeanRatio:
    """The geometric mean of ratios with its range, by Student's t on their logs."""
    n = len(log_ratios)
    if not n:
        return GeometricMeanRatio(factor=float("nan"), low=float("nan"), high=float("nan"), of=0)
    middle = float(np.mean(log_ratios))
    half = (
        float(special.stdtrit(n - 1, (1 + _LEVEL) / 2) * np.std(log_ratios, ddof=1) / np.sqrt(n))
        if n > 1
        else float("nan")
    )
    return GeometricMeanRatio(
        factor=float(np.exp(middle)),
        low=float(np.exp(middle - half)),
        high=float(np.exp(middle + half)),
        of=n,
    )


def scored_promises(promises: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Promises of works of which every line is finished, beside what they took.

    Parameters
    ----------
    promises : frame of `dashboard.queries.promises`.
    lines : of `dashboard.queries.overruns`.

    Returns
    -------
    Frame of the promises with `finished_on`, `actual_hours`, `even_hours` (what was said at even chance; of a
    point the point), `off` (log of actual by even), `kept`, `inside` (the range from 1 in 10 to 9 in 10; null
    where there is none), the latest first.
    """
    done = lines.groupby("object").agg(
        finished=("finished", "all"), actual_hours=("actual_hours", "sum"), finished_on=("finished_on", "max")
    )
    done = done[done["finished"].astype(bool) & (done["actual_hours"] > 0)].drop(columns="finished")
    scored = promises.merge(done.reset_index(), on="object")
    even = scored["p50"].fillna(scored["promised_hours"]).astype(float)
    actual = scored["actual_hours"].astype(float)
    inside = (
        ((actual >= scored["p10"] - _SAID) & (actual <= scored["p90"] + _SAID))
        .astype(float)
        .where(scored["p10"].notna())
    )
    scored = scored.assign(
        even_hours=even,
        off=np.log(actual / even),
        kept=actual <= scored["promised_hours"] + _SAID,
        inside=inside,
    )
    return scored.sort_values(["finished_on", "object"], ascending=[False, True], ignore_index=True)


def share_kept(frame: pd.DataFrame) -> JeffreysInterval:
    """The share of works that ended within the hours promised."""
    return jeffreys_interval(int(frame["kept"].sum()), len(frame))


def share_inside(frame: pd.DataFrame) -> JeffreysInterval:
    """Of the works that were promised with a range, the share that ended inside it."""
    ranged = frame["inside"].dropna()
    return jeffreys_interval(int(ranged.sum()), len(ranged))


def bias(frame: pd.DataFrame) -> GeometricMeanRatio:
    """What works took by what was said at even chance."""
    return geometric_mean_ratio(frame["off"].to_numpy(dtype=float))


def by_year(frame: pd.DataFrame) -> pd.DataFrame:
    """Frame by the `year` in which works were finished: `works`, `kept`, `share_low`, `share_high`, `factor`,
    `low`, `high`, in order.
    """
    rows = []
    for year, inside_year in frame.groupby(frame["finished_on"].dt.year, sort=True):
        within, off = share_kept(inside_year), bias(inside_year)
        rows.append(
            (int(year), within.of, within.hits, within.low, within.high, off.factor, off.low, off.high)
        )
    return pd.DataFrame(
        rows, columns=["year", "works", "kept", "share_low", "share_high", "factor", "low", "high"]
    )


def by_phase(lines: pd.DataFrame) -> pd.DataFrame:
    """How far promises of lines were off, summed by work and phase.

    Parameters
    ----------
    lines : frame of finished lines: `object`, `phase`, `position`, `promised_hours` (by the last version
        before their first entry), `actual_hours`.

    Returns
    -------
    Frame `phase`, `works`, `promised_hours`, `actual_hours`, `factor`, `low`, `high`, in the order of work.
    """
    sums = lines.groupby(["position", "phase", "object"], as_index=False)[
        ["promised_hours", "actual_hours"]
    ].sum()
    sums = sums[(sums["promised_hours"] > 0) & (sums["actual_hours"] > 0)]
    rows = []
    for (_, phase), of in sums.groupby(["position", "phase"]):
        off = geometric_mean_ratio(np.log((of["actual_hours"] / of["promised_hours"]).to_numpy(dtype=float)))
        rows.append(
            (
                phase,
                off.of,
                float(of["promised_hours"].sum()),
                float(of["actual_hours"].sum()),
                off.factor,
                off.low,
                off.high,
            )
        )
    return pd.DataFrame(
        rows, columns=["phase", "works", "promised_hours", "actual_hours", "factor", "low", "high"]
    )


def least_worth(lines: pd.DataFrame) -> pd.DataFrame:
    """Techniques by how far their lines missed what was promised, the worst first; of those on enough works.

    Returns
    -------
    Frame `technique`, `works`, `lines`, `missed_by` (half of its lines missed by a larger share than this, up
    or down), `factor` (what they took by what was promised).
    """
    worked = lines[(lines["promised_hours"] > 0) & (lines["actual_hours"] > 0)]
    off = (worked["actual_hours"] / worked["promised_hours"]).astype(float).map(np.log)
    techniques = (
        worked.assign(off=off, size=off.abs())
        .groupby("technique", as_index=False)
        .agg(
            works=("object", "nunique"),
            lines=("object", "size"),
            size=("size", "median"),
            off=("off", "mean"),
        )
    )
    techniques = techniques[techniques["works"] >= FEW_WORKS]
    techniques = techniques.assign(
        missed_by=np.expm1(techniques["size"]), factor=np.exp(techniques["off"])
    ).drop(columns=["size", "off"])
    return techniques.sort_values(["missed_by", "technique"], ascending=[False, True], ignore_index=True)
