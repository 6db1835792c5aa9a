"""Sentences about rates of work."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from dashboard.formatting import UNITS, counted, day, per_unit, rate, text
from dashboard.text.remembered import works_behind


def per(row: Mapping[Hashable, Any] | pd.Series, unit: object) -> str:
    """What a rate is for: the unit of a technique, or a line; a phase or a work as a whole."""
    return per_unit(unit) if row["technique"] else "phase" if row["phase"] else "work"


def usual(row: Mapping[Hashable, Any] | pd.Series) -> str:
    """The quantity of a usual line."""
    if not row["technique"]:
        whole = f"a whole {per(row, None)}"
        return f"{whole} on {row['usual_area']:,.0f} dm²" if pd.notna(row["usual_area"]) else whole
    if text(row["counted_in"]) and not text(row["unit"]):
        return (
            f"a line on {row['usual_area']:,.0f} dm²"
            if pd.notna(row["usual_area"])
            else "a line, not measured"
        )
    return f"{row['reference_quantity']:,.10g} {UNITS[row['unit']]}" if text(row["unit"]) else "one line"


def pinned(row: pd.Series) -> str:
    """Since when and why a rate is pinned, and the record beside it; `row` of
    `dashboard.services.rates.rate_table`.
    """
    by = f" by {row['pinned_by']}" if isinstance(row["pinned_by"], str) else ""
    record = f"{rate(row['rate'])} h" + (
        "" if row["unit"] == row["counted_in"] or not isinstance(row["counted_in"], str) else " per line"
    )
    return (
        f"Pinned at {rate(row['pinned_rate'])} h per {per(row, row['counted_in'])} on"
        f" {day(row['pinned_on'])}{by}: {row['pinned_reason']}. The record says {record}."
    )


def rests_on(row: pd.Series, lines: pd.DataFrame) -> list[str]:
    """From which works a rate comes, and how far it is the technique's own."""
    if not len(lines):
        return [
            "No line of it is finished yet: what is foretold rests on"
            f" {'its phase, ' + str(row['phase']) if row['rests_on'] == 'phase' else 'the whole studio'}, and"
            " is far from sure."
        ]
    opened = (
        f"; {counted(int(row['open_lines']), 'open line')} {'counts' if row['open_lines'] == 1 else 'count'}"
        " as more than so far"
        if row["open_lines"]
        else ""
    )
    sentences = [
        f"From {counted(int(row['lines']), 'finished line')} on"
        f" {works_behind(int(row['works']), int(row['remembered']), 'work')}, the last finished on"
        f" {day(lines['day'].max())}{opened}."
    ]
    if pd.isna(row["reach"]):
        sentences.append(
            f"{counted(int(row['works']), 'work')} alone would reach neither 4 in 5 (4 works) nor 9 in 10"
            " (9): how wide its lines spread is taken from the other techniques too."
        )
    elif row["reach"] < 0.9:
        sentences.append(
            f"{counted(int(row['works']), 'work')} alone would not reach 9 in 10 (9 works): how wide its"
            " lines spread is taken from the other techniques too."
        )
    return sentences


def rate_explained(row: pd.Series) -> list[str]:
    """The share of own lines in a rate, growth of hours with size, and the weight of an own figure."""
    own = 100 * row["own_share"]
    sentences = []
    if row["lines"]:
        sentences.append(
            f"Its own lines make {own:.0f} % of what is believed of it,"
            f" {'its phase and the studio' if row['technique'] else 'the studio'} the rest."
        )
    counted_in, measured, every = row["counted_in"], int(row["measured"]), int(row["lines"])
    if isinstance(counted_in, str) and not isinstance(row["unit"], str):
        sentences.append(
            "None of it was measured yet, so hours are per line, larger on larger pictures as far as the"
            f" record bears that out. One measured line makes a rate per {per_unit(counted_in)}."
        )
    elif isinstance(counted_in, str) and measured < every:
        sentences.append(
            f"{measured} of {counted(every, 'line')} {'was' if measured == 1 else 'were'} measured; the"
            " others teach as usual lines of pictures like theirs."
        )
    if pd.notna(row["elasticity"]):
        sentences.append(f"Twice the quantity takes {2 ** row['elasticity']:.1f} times the hours.")
    sentences.append(
        f"A figure of your own for a line would move what is foretold {100 * row['figure_weight']:.0f} % of"
        " the way to it, as far as such figures were worth it before."
    )
    return [" ".join(sentences)]


def chart_explained(row: pd.Series, usual: str) -> str:
    """A key to the chart of a rate."""
    bands = "The dark band is where the true rate lies 4 times in 5, the pale one where 8 lines in 10 end."
    if pd.isna(row["elasticity"]):
        return f"Each point is a finished line: choose one to open its work. {bands}"
    return (
        f"Each point is a finished line, its hours brought to {usual}; a hollow one was not measured, and"
        f" stands as it is. Choose one to open its work. {bands}"
    )


def drift(drift: float, low: float, high: float) -> str:
    """The drift of the studio’s pace: shares a year, with the range that holds the true one 4 times in 5."""
    if low <= 0 <= high:
        return "Whether the studio’s pace drifts with the years cannot be told from the record."
    return (
        f"The studio takes about {abs(100 * drift):.0f} % {'more' if drift > 0 else 'less'} with each year (4"
        f" times in 5 between {abs(100 * low):.0f} and {abs(100 * high):.0f} %), all else equal."
    )
