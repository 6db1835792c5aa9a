"""Lines of a quote's sheet: quantities filled in, the first stage, lines taken from a similar work."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.arrays import Floats
from dashboard.services.quote_context import QuoteContext
from ingest.sql import Connection
from ingest.values import numbers


def in_first_stage(context: QuoteContext, lines: pd.DataFrame) -> pd.Series:
    """Lines of a first stage."""
    return lines["phase"].isin(context.first_phases) & ~lines["technique"].isin(context.later)


def with_quantities(lines: pd.DataFrame, area: float, usual_share: Mapping[str, float]) -> pd.DataFrame:
    """Lines that are counted by area and of which no quantity is given are of so much of the work as the
    technique's own measured lines were; of a technique that was never measured nobody knows how much.
    """
    share = (
        lines["technique"]
        .map(usual_share)
        .astype(float)
        .where(lines["quantity"].isna() & (lines["unit"] == "dm2") & (area > 0))
    )
    return lines.assign(
        quantity=lines["quantity"].where(share.isna(), np.where(share < 1, np.round(area * share, 1), area)),
        filled_in=share,
    )


def quoted_quantity(lines: pd.DataFrame) -> pd.Series:
    """The quantities of lines (`Option.lines`) that are quoted: those that were given, and whole pictures. A
    part of one that is filled in is what is usual, and how much it will be is not known.
    """
    return lines["quantity"].where(lines["filled_in"].isna() | (lines["filled_in"] >= 1))


def _positive(values: pd.Series) -> Floats:
    numbers = values.to_numpy(dtype=float)
    return np.where(numbers > 0, numbers, np.nan)


def lines_like(context: QuoteContext, code: str, new_area: float, con: Connection) -> list[dict[str, str]]:
    """The lines of a finished work as the start of a sheet: those that were quoted and worked. What turned up
    is left to chance, and hours to the record; areas are brought to the new size.
    """
    lines = context.lines[
        (context.lines["object"] == code)
        & (context.lines["actual_hours"] > 0)
        & ~(context.lines["unforeseen_hours"] > 0)
    ]
    area = queries.area_dm2(con, code)
    sheet = []
    for line in lines.to_dict("records"):
        quantity = (
            line["actual_quantity"]
            if pd.notna(line["actual_quantity"]) and not line["quantity_incomplete"]
            else line["estimated_quantity"]
        )
        row = {"technique": line["technique"], "phase": line["phase"], "part": line["part"]}
        if pd.notna(quantity) and quantity > 0:
            if line["unit"] != "dm2":
                row["quantity"] = numbers.written(float(quantity))
            elif area and quantity < 0.9 * area:  # a part of it: as large a part of the new one
                row["quantity"] = numbers.written(
                    round(float(quantity) * (new_area / area if new_area > 0 else 1.0), 1)
                )
            elif not area:
                row["quantity"] = numbers.written(float(quantity))
        if named := {name: text for name, text in row.items() if text}:  # a work as a whole has no name
            sheet.append(named)
    return sheet
