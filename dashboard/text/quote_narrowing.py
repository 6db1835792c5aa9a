"""Sentences about a first quote: what it rests on, and what would make it surer."""

from __future__ import annotations

import pandas as pd

from dashboard.analysis.simulation.narrowing import TRIED_WORKS, Narrowing
from dashboard.formatting import counted, hours
from ingest.values.line_names import line_name, line_names

_NAMED = 4
_WORDS = {1: "one", 2: "two", 3: "three"}


def first_quote(lines: int, without_range: pd.DataFrame) -> str:
    """What a quote rests on behind which no finished work stands, and what is asked for.

    Parameters
    ----------
    lines : how many are quoted.
    without_range : those of which low, likely or high hours are missing.
    """
    rests = (
        "No finished work stands behind these hours: where you gave low, likely and high hours yourself they"
        " are yours, and all else is what is believed of any studio."
    )
    if without_range.empty:
        return f"{rests} Every line has all three."
    names = line_names(without_range).tolist()
    listed = ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
    return (
        f"{rests} Write low, likely and high hours for each line: {counted(len(names), 'line')} of {lines}"
        f" {'has' if len(names) == 1 else 'have'} not all three yet ({listed})."
    )


def narrowing_lead(low: float, high: float) -> str:
    """What comes before the list; `low`, `high`: hours between which the total is 4 times in 5 now."""
    return (
        f"Now the whole comes to {hours(low)} to {hours(high)} h, 4 times in 5. What would narrow that most:"
    )


def narrowing(item: Narrowing) -> str:
    """One thing that would narrow it, and by how much."""
    works = f"{_WORDS[TRIED_WORKS]} finished works"
    match item.kind:
        case "own hours":
            what = f"your own hours for {line_name(item.phase, item.technique, item.part)}"
        case "finished works":
            what = f"{works} with {line_name(item.phase, item.technique)}, logged or from memory"
        case "whole works":
            what = f"{works}, quoted and taken as a whole, logged or from memory"
    return f"{what}: {hours(item.low)} to {hours(item.high)} h, a range {100 * item.narrower:.0f} % shorter"
