"""What is said beside the figures, alike on pages and in commands."""

from __future__ import annotations

import pandas as pd

from dashboard.analysis.overruns import Comparison, main_cause, open_summary, worst
from dashboard.words import counted, hours, signed_hours


def most_over(phases: pd.DataFrame) -> str:
    """Which phase ran over most, and mostly why."""
    over = worst(phases)
    if over is None:
        return "No phase ran over its estimate."
    return f"Most over: {over['phase']}, {signed_hours(over['difference_hours'])} h on {counted(int(over['works']), 'work')}, mostly {main_cause(over)}."


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


def questions(held_back: int) -> list[str]:
    """Rows that wait for a word of the studio's, if any."""
    if not held_back:
        return []
    return [
        f"{counted(held_back, 'row')} held back as correction or new: import the file again with --held-back correction or --held-back new. No hours of theirs are counted yet."
    ]


def over_so_far(comparison: Comparison, most: int = 4) -> str:
    """The works whose open lines are over already, by their codes, the worst first."""
    works = comparison.open.groupby("object")["difference_hours"].sum().sort_values(ascending=False)
    works = works[works >= 0.05]
    named = [f"{code} {signed_hours(value)} h" for code, value in works.head(most).items()]
    return ", ".join(named) + (f" and {counted(len(works) - most, 'more work')}" if len(works) > most else "")
