"""Checks of the lines of a quote: what is read and can hardly be meant, and what is good to know."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from dashboard.formatting import UNITS, text
from dashboard.services.quote_context import QuoteContext
from ingest.editing.quote_drafts import QuotedWork, ReadWork
from ingest.values import spelling
from ingest.values.line_names import line_name

_MORE_THAN_ALL = 1.02  # of a work, with room for how areas are rounded
_LARGEST_SEEN = 3.0  # times the most that was measured of a technique, beyond which a quantity is asked about


def unknown_words(context: QuoteContext, quoted_work: QuotedWork, read: ReadWork) -> list[str]:
    """Of a described work, a kind or a support that no work here is called, and that is near to one: nothing
    would be known of it.
    """
    sentences = []
    for name, used in context.words.items():
        word = "" if quoted_work.object else text(read.object_row.get(name))
        near = (
            spelling.nearest(word, {spelling.folded(item): item for item in used})
            if word and word not in used
            else None
        )
        if near:
            sentences.append(
                f'{name.capitalize()} "{word}": no work here is called so, and nothing is known of such. Did'
                f' you mean "{near}"?'
            )
    return sentences


def check_lines(context: QuoteContext, lines: pd.DataFrame, area: float) -> tuple[list[str], list[str]]:
    """What is read, and can hardly be meant; and what is good to know of the others."""
    doubts, notes = _beside_what_they_hold(lines), []
    for line in lines.to_dict("records"):
        at = f"Line {line['number']}, {line_name(line['phase'], line['technique'])}"
        if line["quantity"] == 0:
            doubts.append(
                f"{at}: a quantity of 0 is taken as not said. Take the line away if there is nothing to do."
            )
        elif line["unit"] == "dm2" and line["quantity"] > _MORE_THAN_ALL * area > 0:
            doubts.append(
                f"{at}: {line['quantity']:,.10g} dm² is more than the whole work ({area:,.1f} dm²)."
            )
        elif line["quantity"] > _LARGEST_SEEN * context.largest.get(line["technique"], float("inf")):
            doubts.append(
                f"{at}: {line['quantity']:,.10g} is far beyond the most that was measured here"
                f" ({context.largest[line['technique']]:,.10g}), so its range is no more than a guess."
            )
        elif line["unit"]:
            notes += [f"{at}: {item}" for item in _of_its_size(context, line, area)]
        if line["hours"] == 0:
            doubts.append(
                f"{at}: own hours of 0 are taken as not said. Take the line away if there is nothing to do."
            )
        if pd.isna(line["low_hours"]) != pd.isna(line["high_hours"]):
            doubts.append(f"{at}: a range needs low and high; one of them alone counts for nothing.")
        if line["person"] and spelling.folded(line["person"]) not in context.people:
            doubts.append(
                f"{at}: {line['person']} is nobody of this studio, and is taken for somebody new, at the"
                " studio's pace."
            )
    return doubts, notes


def _beside_what_they_hold(lines: pd.DataFrame) -> list[str]:
    """Lines of a whole phase or work that stand beside lines within it: they may be the sum of these."""
    wholes = lines[lines["technique"] == ""]
    if wholes.empty:
        return []
    pairs = wholes.merge(lines, how="cross", suffixes=("", "_within"))
    within = (pairs["phase"] == "") & (pairs["phase_within"] != "")
    same = (pairs["phase"] == pairs["phase_within"]) & pairs["part"].isin([""])
    within |= same & ((pairs["technique_within"] != "") | (pairs["part_within"] != ""))
    together = (
        (pairs["option"] == pairs["option_within"]) | (pairs["option"] == "") | (pairs["option_within"] == "")
    )
    doubtful = pairs[within & together].drop_duplicates("number")
    return [
        f"Line {row['number']}, {line_name(row['phase'], row['technique'], row['part'])}: its hours are added"
        " to those of the lines within it. Take it away if it is their sum."
        for row in doubtful.to_dict("records")
    ]


def _of_its_size(context: QuoteContext, line: Mapping[Hashable, Any], area: float) -> list[str]:
    """What is good to know of a line whose quantity is not known, or says nothing yet."""
    technique, unit = line["technique"], UNITS[line["unit"]]
    scaled = (
        "scaled by the picture as far as the record bears that out"
        if area > 0
        else "and the size of the picture is not known either"
    )
    if technique not in context.sized and technique in context.behind:
        sentence = (
            "no line of it was measured here yet, so it is foretold by the hours of its lines before,"
            f" {scaled}"
        )
        if pd.notna(line["quantity"]):
            sentence += f", and the quantity moves nothing. One measured line makes a rate per {unit}"
        elif line["unit"] == "dm2" and line["phase"] in context.phase_shares:
            low, high = context.phase_shares[line["phase"]]
            sentence += (
                f". Measured lines of {line['phase']} were {_per_cent(low, high)} of the picture, 4 in 5 of"
                " them; nothing is reckoned from that"
            )
        return [f"{sentence}."]
    if technique not in context.sized:
        moves = (
            ", and the quantity moves nothing until a line of it is measured"
            if pd.notna(line["quantity"])
            else ""
        )
        return [f"it was never done here, so it is foretold by its phase and the studio, {scaled}{moves}."]
    if pd.isna(line["quantity"]):
        return [
            f"{'the size of the work is not known' if line['unit'] == 'dm2' else 'no quantity is given'}, so"
            " it is foretold as a usual one, with a wider range."
        ]
    return []


def _per_cent(low: float, high: float) -> str:
    """Two shares, as `8 to 100 %`."""
    return (
        f"{100 * low:.0f} to {100 * high:.0f} %"
        if round(100 * low) < round(100 * high)
        else f"{100 * low:.0f} %"
    )
