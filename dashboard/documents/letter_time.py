"""Weeks and dates in a letter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from dashboard.documents.blocks import Block, paragraph, subheading
from dashboard.formatting import counted, day
from dashboard.services.quote import Option, Quoted
from dashboard.services.quote_terms import QuoteTerms


@dataclass(frozen=True, slots=True)
class ReadyDates:
    """When the options of a work are ready (even chance, 4 in 5), by their names, as the bench stands on a
    day.
    """

    as_of: date
    options: Mapping[str, tuple[date, date]]


def time_blocks(options: tuple[Option, ...], agreed: QuoteTerms, ready: ReadyDates) -> list[Block]:
    sentences = []
    for option in options:
        if option.promised <= 0:
            continue
        even, likely = option.weeks(0.5), option.weeks(0.8)
        waits = [float(value) for value in pd.Series(option.days).quantile([0.5, 0.8])]
        name = f"Option {option.name}: " if option.name else ""
        about, most = max(round(even), 1), max(round(likely + 0.4999), 1)
        days = None if agreed.begin_on else ready.options.get(option.name)
        weeks = f"about {counted(about, 'week')}"
        sentence = (
            f"{name}from now to end {weeks}"
            if option.worked
            else (
                f"{name}from beginning to end {weeks}"
                if agreed.begin_on or days
                else f"{name}{weeks} once it is begun"
            )
        )
        sentence += f", 4 times in 5 no more than {counted(most, 'week')}" if most > about else ""
        if waits[1] >= 0.5:
            sentence += (
                f"; of that {waits[0]:,.0f} to {waits[1]:,.0f} days are waiting (soaking, pressing, drying),"
                " nobody's hours"
            )
        if agreed.begin_on:
            by = day(agreed.begin_on + timedelta(weeks=most))
            sentence += f". Begun on {day(agreed.begin_on)}, it would be ready by {by}, 4 times in 5"
        elif days:
            sentence += (
                ". If you approve it now, it would be ready, behind the works that come before it, by"
                f" {day(days[0])} (even chance) or {day(days[1])} (4 times in 5), as our bench stands on"
                f" {day(ready.as_of)}"
            )
        sentences.append(f"{sentence[0].upper()}{sentence[1:]}.")
    return (
        [subheading("Time of the first stage" if agreed.first_stage else "Time"), *map(paragraph, sentences)]
        if sentences
        else []
    )


def time_of_all(quoted: Quoted, *, with_others: bool) -> list[Block]:
    even, likely = (
        float(value) / quoted.terms.bench_hours_per_week
        for value in pd.Series(quoted.total).quantile([0.5, 0.8])
    )
    about, most = max(round(even), 1), max(round(likely + 0.4999), 1)
    within = f", 4 times in 5 no more than {counted(most, 'week')}" if most > about else ""
    return [
        paragraph(
            f"At the bench all of them together are about {counted(about, 'week')} of one person{within}; the"
            " weeks above are of each work by"
            f" itself{', the days behind those before it in this letter too' if with_others else ''}."
        )
    ]
