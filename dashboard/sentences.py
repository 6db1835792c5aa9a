"""What is said beside the figures, alike on pages and in commands."""

from __future__ import annotations

import math
from datetime import date, datetime

import pandas as pd

from dashboard.analysis.overruns import Comparison, main_cause, open_summary, worst
from dashboard.words import ago, counted, day, hours, signed_hours


def most_over(phases: pd.DataFrame) -> str:
    """Which phase ran over most, and mostly why."""
    over = worst(phases)
    if over is None:
        return "No phase ran over its estimate."
    return f"Most over: {over['phase']}, {signed_hours(over['difference_hours'])} h on {counted(int(over['works']), 'work')}, mostly {main_cause(over)}."


def read_out(sums: pd.DataFrame, of: str) -> str:
    """A chart of estimated and actual hours, for those who cannot see it; `of` is the column that names a row."""
    parts = [f"{row[of]}: estimated {hours(row['estimated_hours'])} h, actual {hours(row['actual_hours'])} h" for _, row in sums.iterrows()]
    return f"Estimated and actual hours. {'; '.join(parts)}."


def said_beside(comparison: Comparison) -> list[str]:
    """What the reader must know beside the figures: what is open, left out, or apart."""
    still = open_summary(comparison)
    sentences = []
    if still["lines"]:
        over = over_so_far(comparison)
        sentences.append(
            f"Still open: {counted(int(still['lines']), 'line')} of {counted(int(still['works']), 'work')}, {hours(still['actual_hours'])} h so far "
            f"of {hours(still['estimated_hours'])} h estimated; " + (f"over already: {over}." if over else "none over so far.")
        )
    if still["done_lines"]:
        sentences.append(f"{counted(int(still['done_lines']), 'open line')} at 100 % done: a milestone finishes a line.")
    if comparison.unmeasured_lines:
        sentences.append(
            f"{counted(comparison.unmeasured_lines, 'finished line')} without a whole quantity on both sides: what they differ by is all under harder going."
        )
    if comparison.only_made_works:
        sentences.append(f"{counted(comparison.only_made_works, 'work')} held against an estimate that is not approved.")
    if comparison.unquoted_hours:
        sentences.append(f"Left out: {hours(comparison.unquoted_hours)} h on {counted(comparison.unquoted_works, 'work')} without an estimate.")
    if comparison.unpriced_lines:
        sentences.append(f"Left out: {counted(comparison.unpriced_lines, 'line')} estimated in quantity only, without hours.")
    if comparison.extra_hours or comparison.own_cost_hours:
        sentences.append(
            f"Apart from all this: {hours(comparison.extra_hours)} h extra, agreed and charged on top; {hours(comparison.own_cost_hours)} h at own cost."
        )
    return sentences


def state_of_work(work: pd.Series, sums: pd.Series | None, today: date, now: datetime) -> str:
    """Where a work stands, in a sentence or two.

    Parameters
    ----------
    work : row of `dashboard.reading.works`.
    sums : row of `dashboard.analysis.overruns.by_object`, or None where no line is held.
    today, now : of the studio's calendar, and in UTC.
    """
    if pd.notna(work["finished_on"]):
        where = f"Finished on {day(work['finished_on'])}"
    elif not work["entries"]:
        where = f"Received {ago(work['received_on'].date(), today)}, not begun" if pd.notna(work["received_on"]) else "Not begun"
    else:
        where = f"On the bench since {day(work['first_day'])}, last worked {ago(work['last_day'].date(), today)} ({work['last_technique']})"
    parts = [where, *_hours_so_far(work, sums)]
    if pd.isna(work["finished_on"]):
        if pd.notna(work["waits_until"]) and work["waits_until"] > now:
            parts.append(f"waiting until {day(work['waits_until_there'])}")
        if pd.notna(work["due_on"]):
            parts.append(f"due {ago(work['due_on'].date(), today)}" if work["due_on"].date() >= today else f"was due {ago(work['due_on'].date(), today)}")
    return "; ".join(parts) + "."


def _hours_so_far(work: pd.Series, sums: pd.Series | None) -> list[str]:
    actual = 0.0 if sums is None else float(sums["actual_hours"])
    if not work["versions"]:
        return [f"{hours(actual)} h, no estimate" if actual else "no estimate yet"]
    estimated = float("nan") if sums is None else float(sums["estimated_hours"])
    word = "approved" if pd.notna(work["approved_version"]) else "estimated, not approved"
    over = 0.0 if sums is None or pd.isna(sums["difference_hours"]) else float(sums["difference_hours"])
    so_far = "" if pd.notna(work["finished_on"]) else " so far"
    said = f"{hours(actual)} h{so_far} of {hours(estimated)} h {word}" if not math.isnan(estimated) else f"{hours(actual)} h{so_far}, an estimate without hours"
    unpriced = 0.0 if sums is None else float(sums["unpriced_hours"])
    told = [f"{said}, {signed_hours(over)} h{so_far}" if abs(over) >= 0.05 else said]
    return [*told, f"{hours(unpriced)} h on lines estimated in quantity only"] if unpriced else told


def over_so_far(comparison: Comparison, most: int = 4) -> str:
    """The works whose open lines are over already, by their codes, the worst first."""
    works = comparison.open.groupby("object")["difference_hours"].sum().sort_values(ascending=False)
    works = works[works >= 0.05]
    named = [f"{code} {signed_hours(value)} h" for code, value in works.head(most).items()]
    return ", ".join(named) + (f" and {counted(len(works) - most, 'more work')}" if len(works) > most else "")
