"""Overruns of lines gathered by phase: how much, and why.

The arithmetic of a line is in `queries/overruns.sql`; here lines are summed. Finished lines are compared;
lines still open are told apart, as their hours are hours so far and no saving can be read from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

# The four parts of an overrun, in the words of the screens; and what a part is called where it saved hours.
CAUSES = {
    "more_to_do_hours": "more to treat",
    "slower_hours": "harder going than quoted",
    "unforeseen_hours": "found on the way",
    "not_needed_hours": "quoted, not needed",
}
SAVINGS = {
    "more_to_do_hours": "less to treat",
    "slower_hours": "easier going than quoted",
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
    unquoted_hours, unquoted_works : hours and number of works without any estimate, left out of the
        comparison.
    unpriced_lines : lines whose estimate has no hours, but a quantity or the price alone, left out.
    unmeasured_lines : finished measured lines whose quantity is not known on both sides, so that nothing of
        their difference is more to treat.
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
    """Sort lines (see `dashboard.queries.overruns`) into what can be compared and what cannot."""
    quoted = lines[lines["yardstick"] != "none"]
    unquoted = lines[lines["yardstick"] == "none"]
    touched = quoted[
        quoted["estimated_hours"].notna() | (quoted["actual_hours"] > 0) | quoted["difference_hours"].isna()
    ]
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
                & (
                    priced["estimated_quantity"].isna()
                    | priced["actual_quantity"].isna()
                    | priced["quantity_incomplete"].astype(bool)
                )
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
    Frame with the columns, `works`, `lines`, and the sums `estimated_hours`, `actual_hours`,
    `difference_hours` and its four parts; the parts of each row sum to its difference. `open_lines` are among
    the lines; `unused_hours` are estimated on those and not used yet, so that of each row actual = estimated
    + difference − unused.
    """
    opened = ~lines["finished"].astype(bool)
    grouped = lines.assign(open_lines=opened, unused_hours=_unused(lines)).groupby(
        columns, as_index=False, dropna=False
    )
    sums = {name: (name, "sum") for name in (*_SUMS, "unused_hours", "open_lines")}
    return grouped.agg(works=("object", "nunique"), lines=("object", "size"), **sums)


def _unused(lines: pd.DataFrame) -> pd.Series:
    """Of each open line, the hours estimated and not used yet."""
    left = (lines["estimated_hours"].fillna(0.0) - lines["actual_hours"]).clip(lower=0.0)
    return left.where(~lines["finished"].astype(bool), 0.0)


def by_phase(comparison: Comparison) -> pd.DataFrame:
    """Finished lines summed by `phase` with its `position`, in the order of work; see `summed`."""
    return summed(comparison.finished, ["position", "phase"]).sort_values(
        ["position", "phase"], ignore_index=True
    )


def by_technique(comparison: Comparison) -> pd.DataFrame:
    """Finished lines summed by `technique`, what ran over most first; see `summed`."""
    return summed(comparison.finished, ["technique"]).sort_values(
        ["difference_hours", "technique"], ascending=[False, True], ignore_index=True
    )


def by_work(comparison: Comparison) -> pd.DataFrame:
    """All lines held against an estimate, finished or open, summed by `object`, what ran over most first; see
    `summed`.
    """
    sums = summed(pd.concat([comparison.finished, comparison.open]), ["object"])
    return sums.sort_values(["difference_hours", "object"], ascending=[False, True], ignore_index=True)


def beside_a_line(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines in no estimate and not noted as found, of a work whose estimate has the same phase and technique
    under another part: a part may have been forgotten.

    Returns
    -------
    Those lines, with `beside`: the lines estimated, in words.
    """
    estimated = lines[lines["estimated_hours"].notna() | lines["difference_hours"].isna()]
    words = estimated["technique"] + estimated["part"].map(
        lambda part: f", {part}" if part else " without a part"
    )
    beside = (
        estimated.assign(beside=words)
        .groupby(["object", "phase", "technique"])["beside"]
        .agg(" or ".join)
        .reset_index()
    )
    return lines[(lines["unforeseen_hours"] > 0) & ~lines["discovery"].astype(bool)].merge(
        beside, on=["object", "phase", "technique"]
    )


def by_object(lines: pd.DataFrame) -> pd.DataFrame:
    """What is known of each work in one row: all its lines summed, by `object` as index.

    Returns
    -------
    Frame with `estimated_hours` (null where nothing is estimated), `actual_hours`, `difference_hours` (of
    which `open_over_hours` on open lines), `unused_hours` (see `summed`), `unpriced_hours` (worked on lines
    estimated without hours, not among the actual), `extra_hours`, `own_cost_hours`, `open_lines`,
    `yardstick`, `lines_finished_on` (the last day, where it was worked on and every line of it is finished,
    whether or not the work was said to be).
    """
    opened = ~lines["finished"].astype(bool) & (
        lines["estimated_hours"].notna() | (lines["actual_hours"] > 0)
    )
    unpriced = lines["actual_hours"].where(lines["difference_hours"].isna(), 0.0)
    grouped = lines.assign(open_lines=opened, unpriced_hours=unpriced).groupby("object")
    compared = lines[lines["difference_hours"].notna()]
    compared = compared.assign(
        open_over_hours=compared["difference_hours"].where(~compared["finished"].astype(bool), 0.0),
        unused_hours=_unused(compared),
    )
    sums = compared.groupby("object")[
        ["estimated_hours", "actual_hours", "difference_hours", "open_over_hours", "unused_hours"]
    ].sum(min_count=1)
    sums = grouped[["unpriced_hours"]].sum().join(sums)
    sums["actual_hours"] = sums["actual_hours"].fillna(0.0)
    sums = sums.join(grouped[["extra_hours", "own_cost_hours", "open_lines"]].sum()).join(
        grouped["yardstick"].first()
    )
    left = ~lines["finished"].astype(bool) & (
        lines["estimated_hours"].notna() | lines["difference_hours"].isna() | (lines["actual_hours"] > 0)
    )
    whole = (
        lines.assign(left=left)
        .groupby("object")
        .agg(left=("left", "any"), hours=("actual_hours", "sum"), last=("finished_on", "max"))
    )
    return sums.assign(lines_finished_on=whole["last"].where(~whole["left"] & (whole["hours"] > 0)))


def by_half_year(comparison: Comparison) -> pd.DataFrame:
    """Finished lines summed by the `half_year` in which they were finished (`2026 Jan–Jun`), in order; see
    `summed`.
    """
    finished = comparison.finished
    day = finished["finished_on"]
    half = day.dt.year.astype("Int64").astype(str) + day.dt.month.le(6).map(
        {True: " Jan–Jun", False: " Jul–Dec"}
    )
    return summed(finished.assign(half_year=half), ["half_year"]).sort_values("half_year", ignore_index=True)


def totals(phases: pd.DataFrame) -> pd.Series:
    """The sums of all phases, with what `summed` says of open lines."""
    return phases[[*_SUMS, "unused_hours", "open_lines"]].sum()


def open_summary(comparison: Comparison) -> dict[str, float]:
    """Of the open lines: `works`, `lines`, `estimated_hours`, `actual_hours` so far, `over_hours` so far,
    `unused_hours`, `done_lines` at 100 per cent; actual = estimated + over − unused.
    """
    lines = comparison.open
    return {
        "works": int(lines["object"].nunique()),
        "lines": len(lines),
        "estimated_hours": float(lines["estimated_hours"].sum()),
        "actual_hours": float(lines["actual_hours"].sum()),
        "over_hours": float(lines["difference_hours"].sum()),
        "unused_hours": float(_unused(lines).sum()),
        "done_lines": int((lines["done"] >= 100).sum()),
    }


def worst(phases: pd.DataFrame) -> pd.Series | None:
    """The phase whose finished lines ran over by the most hours, or None where none ran over."""
    over = phases[phases["difference_hours"] > 0]
    return None if over.empty else over.iloc[int(over["difference_hours"].to_numpy().argmax())]


def best(phases: pd.DataFrame) -> pd.Series | None:
    """The phase whose finished lines stayed under by the most hours, or None where none did."""
    under = phases[phases["difference_hours"] < 0]
    return None if under.empty else under.iloc[int(under["difference_hours"].to_numpy().argmin())]


def main_cause(row: pd.Series) -> tuple[str, float]:
    """The words for the part that added the most hours to a row that ran over, or took the most from one that
    did not; and those hours.
    """
    if row["difference_hours"] < 0:
        parts = row[list(SAVINGS)].astype(float)
        return SAVINGS[str(parts.idxmin())], float(parts.min())
    parts = row[list(CAUSES)].astype(float)
    return CAUSES[str(parts.idxmax())], float(parts.max())
