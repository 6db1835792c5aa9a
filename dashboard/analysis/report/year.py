"""The studio's year in hours and money: what was charged, what was the studio's own, and what an hour would
have to earn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

ENOUGH_WORKS = 5
_LITTLE = 0.1  # the smallest works: a tenth of them took no more


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """What twelve months would have to earn.

    Attributes
    ----------
    hours : an hour that is charged, to pay for the year;
    present : what each hour of presence costs.
    a_work : what a work costs however small, for the hours of the studio that come with each;
    smallest : with the hours of the smallest works, what the least charge would have to be. Not a number: not
        enough finished works to say.
    studio_hours_a_work, smallest_hours : what these two rest on.
    """

    hours: float
    present: float
    a_work: float
    smallest: float
    studio_hours_a_work: float
    smallest_hours: float


def needed(cost: float, chargeable: float, own_cost: float, studio: float, works: pd.Series) -> Needed:
    """What the hours of twelve months would have to earn.

    Parameters
    ----------
    cost : what a year costs.
    chargeable, own_cost, studio : hours.
    works : hours of each work that was finished in them.
    """
    nothing = float("nan")
    present = chargeable + own_cost + studio
    an_hour = cost / present if present > 0 else nothing
    a_work = studio / len(works) if len(works) >= ENOUGH_WORKS else nothing
    smallest = float(np.quantile(works, _LITTLE)) if len(works) >= ENOUGH_WORKS else nothing
    return Needed(
        hours=cost / chargeable if chargeable > 0 else nothing,
        present=an_hour,
        a_work=an_hour * a_work,
        smallest=an_hour * (a_work + smallest),
        studio_hours_a_work=a_work,
        smallest_hours=smallest,
    )


def earned(works: pd.DataFrame) -> pd.DataFrame:
    """Works with what an hour of them earned.

    Parameters
    ----------
    works : frame `actual_hours` (quoted), `own_cost_hours`, `net` (what the price leaves for the hours; null:
        no price), `approved_hours` (null: none).

    Returns
    -------
    The frame with `spent_hours` (with the studio's own), `earned_per_hour` (null: no price), `over_hours`
    (below 0: under what was approved), and `carried` (what hours that were quoted and not needed earned;
    below 0: what hours that were not quoted cost, at what an hour of that quote was sold for).
    """
    spent = works["actual_hours"] + works["own_cost_hours"]
    over = works["actual_hours"] - works["approved_hours"]
    sold = works["net"] / works["approved_hours"].where(works["approved_hours"] > 0)
    return works.assign(
        spent_hours=spent,
        earned_per_hour=works["net"] / spent.where(spent > 0),
        over_hours=over,
        carried=-over * sold,
    )


def by_kind(works: pd.DataFrame) -> pd.DataFrame:
    """What an hour earned, by kind of work; works without a price are left out. Frame `kind`, `works`,
    `spent_hours`, `net`, `earned_per_hour`; that with most hours first.
    """
    priced = works[works["net"].notna() & (works["spent_hours"] > 0)]
    kinds = priced.groupby("kind", as_index=False).agg(
        works=("net", "size"), spent_hours=("spent_hours", "sum"), net=("net", "sum")
    )
    return kinds.assign(earned_per_hour=kinds["net"] / kinds["spent_hours"]).sort_values(
        ["spent_hours", "kind"], ascending=[False, True], ignore_index=True
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PaddedAndThin:
    """Works whose quotes were above what they took, and those below: how many, hours, and money (of those
    with a price).
    """

    padded_works: int
    padded_hours: float
    padded_money: float
    thin_works: int
    thin_hours: float
    thin_money: float


def padded_and_thin(works: pd.DataFrame) -> PaddedAndThin:
    """Of a frame of `earned`: what padded quotes carried, and what thin ones cost."""
    over = works["over_hours"].dropna()
    carried = works["carried"].dropna()
    return PaddedAndThin(
        padded_works=int((over < 0).sum()),
        padded_hours=float(-over[over < 0].sum()),
        padded_money=float(carried[carried > 0].sum()),
        thin_works=int((over > 0).sum()),
        thin_hours=float(over[over > 0].sum()),
        thin_money=float(-carried[carried < 0].sum()),
    )
