"""Sentences beside figures of hours, the same on pages and in commands."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from dashboard.analysis.report.overruns import (
    CAUSES,
    Comparison,
    beside_a_line,
    best,
    main_cause,
    open_summary,
    worst,
)
from dashboard.formatting import counted, hours, signed_hours
from dashboard.text.rounding import as_shown
from ingest.values.line_names import line_names, phase_names

_SHOWN = 0.05  # hours below which nothing shows
_OF_WORKS = 3  # `level` of lines of works as a whole
_NAMED_WORKS = 4  # more of them are counted
ROUNDED = (
    "Hours are shown to a tenth, each difference as that of the hours beside it; so the sum of a column may"
    " differ from the one shown by 0.1 or so."
)


def named(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines by what they are called: in `phase` the work as a whole where there is none, in `technique` the
    phase or the work as a whole. What is summed by either is summed under these names.
    """
    return lines.assign(
        phase=phase_names(lines["phase"]), technique=line_names(lines[["phase", "technique"]])
    )


def levels(finished: pd.DataFrame) -> list[str]:
    """At which level differences are known, where it is not the technique for all; nothing where it is.

    Parameters
    ----------
    finished : lines of `dashboard.queries.overruns` that are compared, as they are or `named`.
    """
    of_work = finished["level"] == _OF_WORKS
    in_phases = finished[~of_work]
    as_a_whole = in_phases["actual_hours"].where(in_phases["level"] > 0, 0.0)
    sums = (
        in_phases.assign(as_a_whole=as_a_whole, coarse=in_phases["level"] > 0)
        .groupby(["position", "phase"], dropna=False)
        .agg(hours=("actual_hours", "sum"), as_a_whole=("as_a_whole", "sum"), all=("coarse", "all"))
        .reset_index("phase")
    )
    partly = sums[~sums["all"] & (sums["as_a_whole"] >= _SHOWN)]
    parts = [
        f"of {hours(row['hours'])} h in {row['phase']}, {hours(row['as_a_whole'])} h are known for the phase"
        " as a whole only"
        for row in partly.to_dict("records")
    ]
    if wholly := sums.loc[sums["all"], "phase"].tolist():
        parts.append(
            "in every phase, differences are known for the phase as a whole only"
            if len(wholly) == len(sums) > 1
            else f"in {_listed(wholly)}, differences are known for the phase as a whole only"
        )
    if of_work.any():
        parts.append(
            f"{hours(finished.loc[of_work, 'actual_hours'].sum())} h are known for the work as a whole only"
        )
    return [f"{'; '.join(parts)[0].upper()}{'; '.join(parts)[1:]}."] if parts else []


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


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
    return (
        f"{row['phase']}, {signed_hours(row['difference_hours'])} h on {counted(int(row['works']), 'work')},"
        f" mostly {main_cause(row)[0]}."
    )


def took(row: pd.Series) -> str:
    """Actual hours of a row of `dashboard.analysis.report.overruns.summed` beside the estimated, in words."""
    if row["open_lines"] and not row["actual_hours"] and not row["difference_hours"]:
        return f"{hours(row['estimated_hours'])} h estimated, not begun"
    if row["open_lines"]:
        return f"{hours(row['actual_hours'])} h so far of {hours(row['estimated_hours'])} h"
    return f"took {hours(row['actual_hours'])} h of {hours(row['estimated_hours'])} h"


def not_used_yet(row: pd.Series) -> str:
    """The part of a row with open lines that explains its difference; empty where nothing is unused."""
    if row["unused_hours"] < 0.05 or not (row["actual_hours"] or row["difference_hours"]):
        return ""
    row = as_shown(row)
    counted_already = (
        f"{signed_hours(row['difference_hours'])} h finished or over already, "
        if abs(row["difference_hours"]) >= 0.05
        else ""
    )
    return f"{counted_already}{hours(row['unused_hours'])} h not used yet"


def alt_text(sums: pd.DataFrame, of: str) -> str:
    """A chart of estimated and actual hours, for those who cannot see it; `of` is the column that names a
    row.
    """
    parts = [
        ", ".join(filter(None, (f"{row[of]}: {took(row)}", not_used_yet(row)))) for _, row in sums.iterrows()
    ]
    return f"Estimated and actual hours. {'; '.join(parts)}."


def remarks(comparison: Comparison) -> list[str]:
    """Remarks beside the figures: what is open, left out, or apart."""
    still_open = open_summary(comparison)
    sentences = []
    if still_open["lines"]:
        over = over_so_far(comparison)
        shown = as_shown(
            still_open
            | {"difference_hours": still_open["over_hours"], "open_lines": still_open["lines"]}
            | dict.fromkeys(CAUSES, 0.0)
        )
        sentences.append(
            f"Still open: {counted(int(still_open['lines']), 'line')} of"
            f" {counted(int(still_open['works']), 'work')}, {hours(shown['actual_hours'])} h so far of"
            f" {hours(shown['estimated_hours'])} h estimated; "
            + (
                f"{signed_hours(shown['difference_hours'])} h over"
                f" already{f' ({over})' if still_open['works'] > 1 else ''}, "
                if over
                else "none over so far, "
            )
            + f"{hours(shown['unused_hours'])} h not used yet."
        )
    if still_open["done_lines"]:
        sentences.append(
            f"{counted(int(still_open['done_lines']), 'open line')} at 100 % done: a milestone finishes a"
            " line."
        )
    if comparison.unmeasured_lines:
        sentences.append(
            f"{counted(comparison.unmeasured_lines, 'finished line')} without a whole quantity on both sides:"
            " what they differ by is all under harder going."
        )
    if comparison.only_made_works:
        sentences.append(
            f"{counted(comparison.only_made_works, 'work')} held against an estimate that is not approved."
        )
    if comparison.unquoted_hours:
        sentences.append(
            f"Left out: {hours(comparison.unquoted_hours)} h on {counted(comparison.unquoted_works, 'work')}"
            " without an estimate."
        )
    if comparison.unpriced_lines:
        sentences.append(
            f"Left out: {counted(comparison.unpriced_lines, 'line')} estimated without hours, in quantity"
            " or by the price alone."
        )
    if comparison.extra_hours or comparison.own_cost_hours:
        sentences.append(
            f"Apart from all this: {hours(comparison.extra_hours)} h extra, agreed and charged on top;"
            f" {hours(comparison.own_cost_hours)} h at own cost."
        )
    return sentences


def forgotten_parts(lines: pd.DataFrame) -> list[str]:
    """Hours in no estimate beside a line that is, of the same technique under another part."""
    beside = beside_a_line(lines.assign(technique=line_names(lines[["phase", "technique"]])))
    words = beside["technique"] + beside["part"].map(lambda part: f", {part}," if part else " without a part")
    return [
        f"{name[0].upper()}{name[1:]} is in no estimate, but {line} is. If it is that work, correct the part"
        " of its entries."
        for name, line in zip(words, beside["beside"], strict=True)
    ]


def two_names(pairs: pd.DataFrame, titles: Mapping[str, str] | None = None) -> list[str]:
    """Hours under a phase that nobody promised beside a promise that took none, a sentence for each two
    phases, and what to do; nothing where there are none.

    Parameters
    ----------
    pairs : of `dashboard.analysis.report.phase_names.promised_under_another`.
    titles : by the code of a work, to name the works; None: they are all of one work, which is not named.
    """
    sentences = []
    for (logged, promised), inside in pairs.groupby(["logged", "promised"], sort=False):
        spent = hours(inside["spent_hours"].sum())
        sentences.append(
            f"{'' if titles is None else _on_works(inside['object'].tolist(), titles)}"
            f"{hours(inside['logged_hours'].sum())} h were logged under {logged}, which nobody promised, and"
            f" {'none' if spent == hours(0.0) else f'only {spent} h'} of the"
            f" {hours(inside['promised_hours'].sum())} h promised for {promised}: the same work under"
            " two names?"
        )
    mend = (
        "If it is the same work, correct the phase in the estimate or of the entries; where a table has a"
        " word of its own for the phase, say under Bring in logs what it means."
    )
    return [*sentences, mend] if sentences else []


def _on_works(codes: list[str], titles: Mapping[str, str]) -> str:
    """`24-014 Millpond: ` of one work, `On 3 works (24-014 Millpond, …) ` of several."""
    named = [f"{code} {titles.get(code, '')}".strip() for code in codes[:_NAMED_WORKS]]
    if len(codes) == 1:
        return f"{named[0]}: "
    left = len(codes) - len(named)
    return f"On {counted(len(codes), 'work')} ({', '.join(named)}{f' and {left} more' if left else ''}) "


def over_so_far(comparison: Comparison, most: int = 4) -> str:
    """The works whose open lines are over already, by their codes, the worst first."""
    works = comparison.open.groupby("object")["difference_hours"].sum().sort_values(ascending=False)
    works = works[works >= 0.05]
    named = [f"{code} {signed_hours(value)} h" for code, value in works.head(most).items()]
    return ", ".join(named) + (f" and {counted(len(works) - most, 'more work')}" if len(works) > most else "")
