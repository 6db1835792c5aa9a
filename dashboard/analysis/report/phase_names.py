"""Hours under a phase that was not promised, beside a promise that took none: perhaps one work, two names."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

import numpy as np
import pandas as pd

_HARDLY_ANY = 0.1  # of the hours promised: below it a phase took (almost) none
_SAME_HOURS = 1e-9  # within which sums of hours are the same
_ALIKE = 2.0  # hours that one promise may be of: no more than so many times the other


def overdue_works(works: pd.DataFrame, as_of: date) -> list[str]:
    """Codes of works (of `dashboard.queries.works`) that were due before a day and are not finished."""
    late = works["finished_on"].isna() & (works["due_on"] < pd.Timestamp(as_of))
    codes: list[str] = works.loc[late, "object"].tolist()
    return codes


def promised_under_another(lines: pd.DataFrame, overdue: Collection[str] = ()) -> pd.DataFrame:
    """Pairs of phases of a work that are likely the same work: what was promised as the one was logged as the
    other.

    Likely is (common practice, no source):

    - The estimate of the work has a phase in hours that is over, as every line of it is finished or the work
      is overdue, and less than a tenth of them were spent in it.
    - Hours held against the estimate were spent in another phase of the work, which is in no estimate and is
      over too. None of its lines was noted as found on the way, and none is of a part that the promise does
      not have: such a part was opened afterwards.
    - The two are no further apart than a factor of two.

    Each phase is in one pair at most, that of which the hours are nearest. Works that were estimated as a
    whole have no phases that were promised.

    Parameters
    ----------
    lines : of `dashboard.queries.overruns`; of each work all of them.
    overdue : codes of works that are not finished and were due before the day of the lines (`overdue_works`).

    Returns
    -------
    Frame `object`, `logged` and `promised` (phases), `logged_hours`, `promised_hours`, `spent_hours` (of
    those promised), by object and phase. Empty where nothing is likely.
    """
    in_phases = lines[(lines["yardstick"] != "none") & (lines["phase"] != "")]
    in_phases = in_phases[in_phases["estimated_hours"].notna() | (in_phases["entries"] > 0)]
    in_estimate = in_phases["estimated_hours"].notna() | in_phases["difference_hours"].isna()
    over = in_phases["finished"].astype(bool) | in_phases["object"].isin(list(overdue))
    sums = (
        in_phases.assign(in_estimate=in_estimate, over=over, known=in_phases["difference_hours"].notna())
        .groupby(["object", "phase"])
        .agg(
            position=("position", "first"),
            in_estimate=("in_estimate", "any"),
            over=("over", "all"),
            known=("known", "all"),
            noted=("discovery", "any"),
            estimated_hours=("estimated_hours", "sum"),
            actual_hours=("actual_hours", "sum"),
            parts=("part", frozenset),
        )
        .reset_index()
    )
    sums = sums[sums["over"] & sums["known"]]
    hardly_any = sums["actual_hours"] < _HARDLY_ANY * sums["estimated_hours"] - _SAME_HOURS
    promised = sums[sums["in_estimate"] & hardly_any]
    logged = sums[~sums["in_estimate"] & ~sums["noted"].astype(bool) & (sums["actual_hours"] > 0)]
    pairs = logged.merge(promised, on="object", suffixes=("", "_promised"))
    pairs = pairs.assign(
        apart=np.abs(np.log(pairs["actual_hours"] / pairs["estimated_hours_promised"])),
        of_promised_parts=[
            not parts - promised_parts - {""}
            for parts, promised_parts in zip(pairs["parts"], pairs["parts_promised"], strict=True)
        ],
    )
    likely = pairs[pairs["of_promised_parts"].astype(bool) & (pairs["apart"] <= np.log(_ALIKE) + _SAME_HOURS)]
    nearest = likely.sort_values(["apart", "position", "position_promised"], kind="stable")
    nearest = nearest.drop_duplicates(["object", "phase"]).drop_duplicates(["object", "phase_promised"])
    columns = {
        "object": "object",
        "phase": "logged",
        "phase_promised": "promised",
        "actual_hours": "logged_hours",
        "estimated_hours_promised": "promised_hours",
        "actual_hours_promised": "spent_hours",
    }
    ordered: pd.DataFrame = nearest.sort_values(["object", "position"])[list(columns)]
    ordered = ordered.rename(columns=columns)
    return ordered.reset_index(drop=True)
