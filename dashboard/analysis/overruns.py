"""Overruns of lines gathered by phase: how much, and why.

The arithmetic of a line is in `queries/overruns.sql`; here lines are summed. Finished lines are compared; lines still
open are told apart, as their hours are hours so far and no saving can be read from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

# The four parts of an overrun, in the words of the screens.
CAUSES = {
    "more_to_do_hours": "more to treat",
    "slower_hours": "harder going than quoted",
    "unforeseen_hours": "found on the way",
    "not_needed_hours": "quoted, not needed",
}
_SUMS = ("estimated_hours", "actual_hours", "difference_hours", *CAUSES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Lines by what can be said of them.

    Attributes
    ----------
    finished : frame of finished lines with a known estimate or none; what `by_phase` sums.
    open : lines still worked on, of works that have an estimate.
    unquoted_hours, unquoted_works : hours and number of works without any estimate, left out of the comparison.
    unpriced_lines : lines whose estimate has a quantity but no hours, left out.
    unmeasured_lines : finished measured lines whose quantity is not known on both sides, so that nothing of their difference is more to treat.
    only_made_works : works compared with an estimate that nobody has approved.
    extra_hours, own_cost_hours : hours apart from every comparison.
    """

    finished: pd.DataFrame
    open: pd.DataFrame
    unquoted_hours: float
    unquoted_works: int
    unpriced_lines: int
    unmeasured_lines: int
    only_made_works: int
    extra_hours: float
    own_cost_hours: float

    @property
    def works(self) -> int:
        return int(self.finished["object"].nunique())


def compare(lines: pd.DataFrame) -> Comparison:
    """Sort lines (see `dashboard.reading.overruns`) into what can be compared and what cannot."""
    quoted = lines[lines["yardstick"] != "none"]
    unquoted = lines[lines["yardstick"] == "none"]
    touched = quoted[quoted["estimated_hours"].notna() | (quoted["actual_hours"] > 0) | quoted["difference_hours"].isna()]
    finished = touched[touched["finished"].astype(bool)]
    priced = finished[finished["difference_hours"].notna()]
    opened = touched[~touched["finished"].astype(bool)]
    priced_open = opened[opened["difference_hours"].notna()]
    return Comparison(
        finished=priced,
        open=priced_open,
        unquoted_hours=float(unquoted["actual_hours"].sum()),
        unquoted_works=int(unquoted["object"].nunique()),
        unpriced_lines=len(touched) - len(priced) - len(priced_open),
        unmeasured_lines=int(
            (
                priced["unit"].notna()
                & (priced["estimated_hours"] > 0)
                & (priced["actual_hours"] > 0)
                & (priced["estimated_quantity"].isna() | priced["actual_quantity"].isna() | priced["quantity_incomplete"].astype(bool))
            ).sum()
        ),
        only_made_works=int(touched.loc[touched["yardstick"] == "made", "object"].nunique()),
        extra_hours=float(lines["extra_hours"].sum()),
        own_cost_hours=float(lines["own_cost_hours"].sum()),
    )


def summed(lines: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """Lines summed by some columns.

    Returns
    -------
    Frame with the columns, `works`, `lines`, and the sums `estimated_hours`, `actual_hours`, `difference_hours`
    and its four parts; the parts of each row sum to its difference.
    """
    grouped = lines.groupby(columns, as_index=False, dropna=False)
    return grouped.agg(works=("object", "nunique"), lines=("object", "size"), **{name: (name, "sum") for name in _SUMS})


def by_phase(comparison: Comparison) -> pd.DataFrame:
    """Finished lines summed by `phase` with its `position`, in the order of work; see `summed`."""
    return summed(comparison.finished, ["position", "phase"]).sort_values(["position", "phase"], ignore_index=True)


def by_technique(comparison: Comparison) -> pd.DataFrame:
    """Finished lines summed by `technique`, what ran over most first; see `summed`."""
    return summed(comparison.finished, ["technique"]).sort_values(["difference_hours", "technique"], ascending=[False, True], ignore_index=True)


def by_work(comparison: Comparison) -> pd.DataFrame:
    """All lines held against an estimate, finished or open, summed by `object`, what ran over most first; see `summed`. `open_lines` are among them."""
    lines = pd.concat([comparison.finished, comparison.open])
    sums = summed(lines, ["object"]).merge(comparison.open.groupby("object").size().rename("open_lines"), on="object", how="left")
    sums["open_lines"] = sums["open_lines"].fillna(0).astype(int)
    return sums.sort_values(["difference_hours", "object"], ascending=[False, True], ignore_index=True)


def by_object(lines: pd.DataFrame) -> pd.DataFrame:
    """What is known of each work in one row: all its lines summed, by `object` as index.

    Returns
    -------
    Frame with `estimated_hours` (null where nothing is estimated), `actual_hours`, `difference_hours`, `unpriced_hours` (worked on lines estimated in quantity
    only, not among the actual), `extra_hours`, `own_cost_hours`, `open_lines`, `yardstick`.
    """
    opened = ~lines["finished"].astype(bool) & (lines["estimated_hours"].notna() | (lines["actual_hours"] > 0))
    unpriced = lines["actual_hours"].where(lines["difference_hours"].isna(), 0.0)
    grouped = lines.assign(open_lines=opened, unpriced_hours=unpriced).groupby("object")
    sums = lines[lines["difference_hours"].notna()].groupby("object")[["estimated_hours", "actual_hours", "difference_hours"]].sum(min_count=1)
    sums = grouped[["unpriced_hours"]].sum().join(sums)
    sums["actual_hours"] = sums["actual_hours"].fillna(0.0)
    return sums.join(grouped[["extra_hours", "own_cost_hours", "open_lines"]].sum()).join(grouped["yardstick"].first())


def by_half_year(comparison: Comparison) -> pd.DataFrame:
    """Finished lines summed by the `half_year` in which they were finished (`2026 Jan–Jun`), in order; see `summed`."""
    finished = comparison.finished
    day = finished["finished_on"]
    half = day.dt.year.astype("Int64").astype(str) + day.dt.month.le(6).map({True: " Jan–Jun", False: " Jul–Dec"})
    return summed(finished.assign(half_year=half), ["half_year"]).sort_values("half_year", ignore_index=True)


def totals(phases: pd.DataFrame) -> pd.Series:
    """The sums of all phases."""
    return phases[list(_SUMS)].sum()


def open_summary(comparison: Comparison) -> dict[str, float]:
    """Of the open lines: `works`, `lines`, `estimated_hours`, `actual_hours` so far, `over_hours` so far, `done_lines` at 100 per cent."""
    lines = comparison.open
    return {
        "works": int(lines["object"].nunique()),
        "lines": len(lines),
        "estimated_hours": float(lines["estimated_hours"].sum()),
        "actual_hours": float(lines["actual_hours"].sum()),
        "over_hours": float(lines["difference_hours"].sum()),
        "done_lines": int((lines["done"] >= 100).sum()),
    }


def worst(phases: pd.DataFrame) -> pd.Series | None:
    """The phase whose finished lines ran over by the most hours, or None where none ran over."""
    over = phases[phases["difference_hours"] > 0]
    return None if over.empty else over.iloc[int(over["difference_hours"].to_numpy().argmax())]


def main_cause(row: pd.Series) -> str:
    """The words for the part that added the most hours to a row."""
    parts = row[list(CAUSES)].astype(float)
    return CAUSES[str(parts.idxmax())]
