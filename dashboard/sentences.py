"""What is said beside the figures, alike on pages and in commands."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from datetime import date, datetime
from typing import Any

import pandas as pd

from dashboard.analysis.backtest import Verdict
from dashboard.analysis.overruns import CAUSES, Comparison, beside_a_line, best, main_cause, open_summary, worst
from dashboard.shown import as_shown, difference
from dashboard.words import ago, counted, day, hours, per_unit, rate, signed_hours

_WORKS_TO_JUDGE = 8  # before it is said whether ranges hold
_LEAN = 1.1  # what lines took against what was foretold, before that is said
ROUNDED = "Hours are shown to a tenth, each difference as that of the hours beside it; so the sum of a column may differ from the one shown by 0.1 or so."


def most_over(phases: pd.DataFrame) -> str:
    """Which phase ran over most, and mostly why."""
    over = worst(phases)
    if over is None:
        return "No phase ran over its estimate."
    return f"Most over: {_by_how_much_and_why(over)}"


def most_under(phases: pd.DataFrame) -> str:
    """Which phase stayed under most, and mostly why; nothing where none did."""
    under = best(phases)
    return "" if under is None else f"Most under: {_by_how_much_and_why(under)}"


def _by_how_much_and_why(row: pd.Series) -> str:
    row = as_shown(row)
    return f"{row['phase']}, {signed_hours(row['difference_hours'])} h on {counted(int(row['works']), 'work')}, mostly {main_cause(row)[0]}."


def took(row: pd.Series) -> str:
    """Actual hours of a row of `dashboard.analysis.overruns.summed` beside the estimated, in words."""
    if row["open_lines"] and not row["actual_hours"] and not row["difference_hours"]:
        return f"{hours(row['estimated_hours'])} h estimated, not begun"
    if row["open_lines"]:
        return f"{hours(row['actual_hours'])} h so far of {hours(row['estimated_hours'])} h"
    return f"took {hours(row['actual_hours'])} h of {hours(row['estimated_hours'])} h"


def not_used_yet(row: pd.Series) -> str:
    """What keeps the hours of a row with open lines from adding up at a glance; nothing where they do."""
    if row["unused_hours"] < 0.05 or not (row["actual_hours"] or row["difference_hours"]):
        return ""
    row = as_shown(row)
    counted_already = f"{signed_hours(row['difference_hours'])} h finished or over already, " if abs(row["difference_hours"]) >= 0.05 else ""
    return f"{counted_already}{hours(row['unused_hours'])} h not used yet"


def read_out(sums: pd.DataFrame, of: str) -> str:
    """A chart of estimated and actual hours, for those who cannot see it; `of` is the column that names a row."""
    parts = [", ".join(filter(None, (f"{row[of]}: {took(row)}", not_used_yet(row)))) for _, row in sums.iterrows()]
    return f"Estimated and actual hours. {'; '.join(parts)}."


def said_beside(comparison: Comparison) -> list[str]:
    """What the reader must know beside the figures: what is open, left out, or apart."""
    still = open_summary(comparison)
    sentences = []
    if still["lines"]:
        over = over_so_far(comparison)
        told = as_shown(still | {"difference_hours": still["over_hours"], "open_lines": still["lines"]} | dict.fromkeys(CAUSES, 0.0))
        sentences.append(
            f"Still open: {counted(int(still['lines']), 'line')} of {counted(int(still['works']), 'work')}, {hours(told['actual_hours'])} h so far "
            f"of {hours(told['estimated_hours'])} h estimated; "
            + (f"{signed_hours(told['difference_hours'])} h over already{f' ({over})' if still['works'] > 1 else ''}, " if over else "none over so far, ")
            + f"{hours(told['unused_hours'])} h not used yet."
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


def forgotten_parts(lines: pd.DataFrame) -> list[str]:
    """Hours in no estimate beside a line that is, of the same technique under another part."""
    beside = beside_a_line(lines)
    words = beside["technique"] + beside["part"].map(lambda part: f", {part}," if part else " without a part")
    return [
        f"{said[0].upper()}{said[1:]} is in no estimate, but {line} is. If it is that work, correct the part of its entries."
        for said, line in zip(words, beside["beside"], strict=True)
    ]


def state_of_work(work: pd.Series, sums: pd.Series | None, today: date, now: datetime) -> str:
    """Where a work stands, in a sentence or two.

    Parameters
    ----------
    work : row of `dashboard.reading.works`.
    sums : row of `dashboard.analysis.overruns.by_object`, or None where no line is held.
    today, now : of the studio's calendar, and in UTC.
    """
    finished = is_finished(work, sums)
    if finished and pd.isna(work["finished_on"]) and sums is not None:
        where = f"Finished line by line, the last on {day(sums['lines_finished_on'])}"
    elif finished:
        where = f"Finished on {day(work['finished_on'])}"
        if sums is not None and sums["open_lines"] and work["last_day"] > work["finished_on"]:
            where += f", but worked on again until {day(work['last_day'])}: {counted(int(sums['open_lines']), 'line')} open"
    elif not work["entries"]:
        where = f"Received {ago(work['received_on'].date(), today)}, not begun" if pd.notna(work["received_on"]) else "Not begun"
    else:
        where = f"On the bench since {day(work['first_day'])}, last worked {ago(work['last_day'].date(), today)} ({work['last_technique']})"
    parts = [where, *_hours_so_far(work, sums, finished=finished)]
    if not finished:
        if pd.notna(work["waits_until"]) and work["waits_until"] > now:
            parts.append(f"waiting until {day(work['waits_until_there'])}")
        if pd.notna(work["due_on"]):
            parts.append(f"due {ago(work['due_on'].date(), today)}" if work["due_on"].date() >= today else f"was due {ago(work['due_on'].date(), today)}")
    return "; ".join(parts) + "."


def is_finished(work: pd.Series, sums: pd.Series | None) -> bool:
    """The work was said to be finished, or every line of it is; arguments as of `state_of_work`."""
    return bool(pd.notna(work["finished_on"]) or (sums is not None and pd.notna(sums["lines_finished_on"])))


def are_finished(works: pd.DataFrame, sums: pd.DataFrame) -> pd.Series:
    """The same of each row of `dashboard.reading.works`; sums : of `dashboard.analysis.overruns.by_object`, without a row where no line is held."""
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
    word = "approved" if pd.notna(work["approved_version"]) else "estimated, not approved"
    if not actual and not finished and not math.isnan(estimated):
        said = f"{hours(estimated)} h {word}"
    elif sums is None or math.isnan(estimated):
        said = f"{hours(actual)} h{so_far}, an estimate without hours"
    else:
        said = f"{hours(actual)} h{so_far} of {hours(estimated)} h {word}{_adding_up(sums)}"
    unpriced = 0.0 if sums is None else float(sums["unpriced_hours"])
    return [said, f"{hours(unpriced)} h on lines estimated in quantity only"] if unpriced else [said]


def _adding_up(sums: pd.Series) -> str:
    """What leads from the estimated hours to the actual: over or under on finished lines, over already on open ones, not used yet."""
    told = as_shown({**sums.to_dict(), **dict.fromkeys(CAUSES, 0.0)})
    over, open_over = float(told["difference_hours"]), float(sums["open_over_hours"])
    if not sums["open_lines"]:
        return f", {signed_hours(over)} h" if abs(over) >= 0.05 else ""
    finished = difference(over, open_over)
    parts = [
        f"{signed_hours(finished)} h on finished lines" if abs(finished) >= 0.05 else "",
        f"{signed_hours(open_over)} h on lines over already" if open_over >= 0.05 else "",
        f"{hours(told['unused_hours'])} h not used yet" if told["unused_hours"] >= 0.05 else "",
    ]
    return f" ({', '.join(filter(None, parts))})" if any(parts) else ""


def over_so_far(comparison: Comparison, most: int = 4) -> str:
    """The works whose open lines are over already, by their codes, the worst first."""
    works = comparison.open.groupby("object")["difference_hours"].sum().sort_values(ascending=False)
    works = works[works >= 0.05]
    named = [f"{code} {signed_hours(value)} h" for code, value in works.head(most).items()]
    return ", ".join(named) + (f" and {counted(len(works) - most, 'more work')}" if len(works) > most else "")


def pinned(row: pd.Series) -> str:
    """That a rate is pinned, since when, why, and what the record says; `row` of `dashboard.calibrating.rate_table`."""
    by = f" by {row['pinned_by']}" if isinstance(row["pinned_by"], str) else ""
    record = f"{rate(row['rate'])} h" + ("" if row["unit"] == row["counted_in"] or not isinstance(row["counted_in"], str) else " per line")
    return f"Pinned at {rate(row['pinned_rate'])} h per {per_unit(row['counted_in'])} on {day(row['pinned_on'])}{by}: {row['pinned_reason']}. The record says {record}."


def rests_on(row: pd.Series, lines: pd.DataFrame) -> list[str]:
    """From which works a rate comes, and how far it is the technique's own."""
    if not len(lines):
        return [
            f"No line of it is finished yet: what is foretold rests on {'its phase, ' + str(row['phase']) if row['rests_on'] == 'phase' else 'the whole studio'}, and is far from sure."
        ]
    opened = (
        f"; {counted(int(row['open_lines']), 'open line')} {'counts' if row['open_lines'] == 1 else 'count'} as more than so far" if row["open_lines"] else ""
    )
    said = [
        f"From {counted(int(row['lines']), 'finished line')} on {counted(int(row['works']), 'work')}, the last finished on {day(lines['day'].max())}{opened}."
    ]
    if pd.isna(row["reach"]):
        said.append(
            f"{counted(int(row['works']), 'work')} alone would reach neither 4 in 5 (4 works) nor 9 in 10 (9): how wide its lines spread is taken from the other techniques too."
        )
    elif row["reach"] < 0.9:
        said.append(
            f"{counted(int(row['works']), 'work')} alone would not reach 9 in 10 (9 works): how wide its lines spread is taken from the other techniques too."
        )
    return said


def said_of_rate(row: pd.Series) -> list[str]:
    """How far the rate rests on the technique's own lines, how hours grow with size, and what a figure of one's own moves."""
    own = 100 * row["own_share"]
    said = []
    if row["lines"]:
        said.append(f"Its own lines make {own:.0f} % of what is believed of it, its phase and the studio the rest.")
    counted_in, measured, every = row["counted_in"], int(row["measured"]), int(row["lines"])
    if isinstance(counted_in, str) and not isinstance(row["unit"], str):
        said.append(
            f"None of it was measured yet, so hours are per line, larger on larger pictures as far as the record bears that out. One measured line makes a rate per {per_unit(counted_in)}."
        )
    elif isinstance(counted_in, str) and measured < every:
        said.append(
            f"{measured} of {counted(every, 'line')} {'was' if measured == 1 else 'were'} measured; the others teach as usual lines of pictures like theirs."
        )
    if pd.notna(row["elasticity"]):
        said.append(f"Twice the quantity takes {2 ** row['elasticity']:.1f} times the hours.")
    said.append(
        f"A figure of your own for a line would move what is foretold {100 * row['figure_weight']:.0f} % of the way to it, as far as such figures were worth it before."
    )
    return [" ".join(said)]


def how_usual_was_reckoned(row: pd.Series, usual: str) -> str:
    """What chart and points say."""
    bands = "The dark band is where the true rate lies 4 times in 5, the pale one where 8 lines in 10 end."
    if pd.isna(row["elasticity"]):
        return f"Each point is a finished line: choose one to open its work. {bands}"
    return (
        f"Each point is a finished line, its hours brought to {usual}; a hollow one was not measured, and stands as it is. Choose one to open its work. {bands}"
    )


def drifting(drift: float, low: float, high: float) -> str:
    """Whether the studio became slower or faster; shares a year, with the range that holds the true one 4 times in 5."""
    if low <= 0 <= high:
        return "Whether the studio’s pace drifts with the years cannot be told from the record."
    return f"The studio takes about {abs(100 * drift):.0f} % {'more' if drift > 0 else 'less'} with each year (4 times in 5 between {abs(100 * low):.0f} and {abs(100 * high):.0f} %), all else equal."


def how_the_ranges_did(verdict: Verdict) -> str:
    """Of all lines, in one sentence."""
    if not verdict.lines:
        return "No finished line has an estimate from before its first entry yet, so there is no promise to try again."
    return (
        f"Of {counted(verdict.lines, 'line')}, {_in_100(verdict.coverage80)} in 100 ended inside their range of 4 in 5, {_in_100(verdict.coverage90)} inside that of 9 in 10; "
        f"{_off(verdict.bias_factor)}."
    )


def how_the_totals_did(verdict: Verdict) -> str:
    """Of the totals of works, in one sentence; nothing where there is none."""
    if not verdict.works:
        return ""
    return f"Of the totals of {counted(verdict.works, 'work')}, {_in_100(verdict.total_coverage80)} in 100 were inside their range of 4 in 5."


def trust(row: Mapping[Hashable, Any]) -> str:
    """Whether the ranges of a phase can be trusted, by a row of `dashboard.analysis.backtest.by_phase`."""
    lines, works, share = int(row["lines"]), int(row["works"]), float(row["inside80"])
    if works < _WORKS_TO_JUDGE:
        return f"too early to say: {counted(lines, 'line')} on {counted(works, 'work')}"
    # lines of one work share its luck, so works are what is counted
    tolerance = 1.64 * math.sqrt(0.8 * 0.2 / works)
    held = f"{_in_100(share)} in 100 ended inside the range of 4 in 5"
    if share < 0.8 - tolerance:
        side = "mostly above it" if row["above"] > row["below"] else "mostly below it"
        return f"too narrow so far: only {held}, the others {side}"
    lean = "" if 1 / _LEAN < row["bias_factor"] < _LEAN else f"; {_off(float(row['bias_factor']))}"
    return f"{'wider than need be' if share > 0.8 + tolerance else 'yes'}: {held}{lean}"


def _in_100(share: float) -> str:
    return f"{100 * share:.0f}"


def _off(factor: float) -> str:
    """What lines took against what was foretold at even chance."""
    percent = round(100 * (factor - 1))
    return (
        "lines took what was foretold at even chance"
        if not percent
        else f"lines took {abs(percent)} % {'more' if percent > 0 else 'less'} than was foretold at even chance"
    )
