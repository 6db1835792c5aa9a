"""Sentences about the state of one work."""

from __future__ import annotations

import math
from datetime import date, datetime

import pandas as pd

from dashboard.analysis.report.overruns import CAUSES
from dashboard.formatting import ago, counted, day, hours, signed_hours
from dashboard.text.rounding import as_shown, difference


def state_of_work(work: pd.Series, sums: pd.Series | None, today: date, now: datetime) -> str:
    """Where a work stands, in a sentence or two.

    Parameters
    ----------
    work : row of `dashboard.queries.works`.
    sums : row of `dashboard.analysis.report.overruns.by_object`, or None where no line is held.
    today, now : of the studio's calendar, and in UTC.
    """
    finished = is_finished(work, sums)
    if finished and pd.isna(work["finished_on"]) and sums is not None:
        where = f"Finished line by line, the last on {day(sums['lines_finished_on'])}"
    elif finished:
        where = f"Finished on {day(work['finished_on'])}"
        if sums is not None and sums["open_lines"] and work["last_day"] > work["finished_on"]:
            where += (
                f", but worked on again until {day(work['last_day'])}:"
                f" {counted(int(sums['open_lines']), 'line')} open"
            )
    elif not work["entries"]:
        where = (
            f"Received {ago(work['received_on'].date(), today)}, not begun"
            if pd.notna(work["received_on"])
            else "Not begun"
        )
    else:
        where = (
            f"On the bench since {day(work['first_day'])}, last worked {ago(work['last_day'].date(), today)}"
            f" ({work['last_line']})"
        )
    parts = [where, *_hours_so_far(work, sums, finished=finished)]
    if not finished:
        if pd.notna(work["waits_until"]) and work["waits_until"] > now:
            parts.append(f"waiting until {day(work['waits_until_there'])}")
        if pd.notna(work["due_on"]):
            parts.append(
                f"due {ago(work['due_on'].date(), today)}"
                if work["due_on"].date() >= today
                else f"was due {ago(work['due_on'].date(), today)}"
            )
    return "; ".join(parts) + "."


def is_finished(work: pd.Series, sums: pd.Series | None) -> bool:
    """The work was said to be finished, or every line of it is; arguments as of `state_of_work`."""
    return bool(pd.notna(work["finished_on"]) or (sums is not None and pd.notna(sums["lines_finished_on"])))


def are_finished(works: pd.DataFrame, sums: pd.DataFrame) -> pd.Series:
    """The same of each row of `dashboard.queries.works`; sums : of
    `dashboard.analysis.report.overruns.by_object`, without a row where no line is held.
    """
    return works["finished_on"].notna() | works["object"].isin(sums.index[sums["lines_finished_on"].notna()])


def _hours_so_far(work: pd.Series, sums: pd.Series | None, *, finished: bool) -> list[str]:
    actual = 0.0 if sums is None else float(sums["actual_hours"])
    if isinstance(work["outcome"], str):
        how = f"its estimate was {work['outcome']} on {day(work['ended_on'])}"
        return [f"{hours(actual)} h; {how}" if actual else how]
    if not work["versions"]:
        return [f"{hours(actual)} h, no estimate" if actual else "no estimate yet"]
    estimated = math.nan if sums is None else float(sums["estimated_hours"])
    so_far = "" if finished else " so far"
    approved = "quoted, as remembered" if work["remembered"] else "approved"
    word = approved if pd.notna(work["approved_version"]) else "estimated, not approved"
    if not actual and not finished and not math.isnan(estimated):
        total = f"{hours(estimated)} h {word}"
    elif sums is None or math.isnan(estimated):
        total = f"{hours(actual)} h{so_far}, an estimate without hours"
    else:
        total = f"{hours(actual)} h{so_far} of {hours(estimated)} h {word}{_adding_up(sums)}"
    unpriced = 0.0 if sums is None else float(sums["unpriced_hours"])
    return [total, f"{hours(unpriced)} h on lines estimated without hours"] if unpriced else [total]


def _adding_up(sums: pd.Series) -> str:
    """The steps from estimated to actual hours: finished lines, open ones over already, unused."""
    shown = as_shown({**sums.to_dict(), **dict.fromkeys(CAUSES, 0.0)})
    over, open_over = float(shown["difference_hours"]), float(sums["open_over_hours"])
    if not sums["open_lines"]:
        return f", {signed_hours(over)} h" if abs(over) >= 0.05 else ""
    finished = difference(over, open_over)
    parts = [
        f"{signed_hours(finished)} h on finished lines" if abs(finished) >= 0.05 else "",
        f"{signed_hours(open_over)} h on lines over already" if open_over >= 0.05 else "",
        f"{hours(shown['unused_hours'])} h not used yet" if shown["unused_hours"] >= 0.05 else "",
    ]
    return f" ({', '.join(filter(None, parts))})" if any(parts) else ""
