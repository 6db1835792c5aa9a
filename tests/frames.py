"""Cells and rows of frames as what they are: pandas cannot tell the kind of a cell by its place."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import pandas as pd


def number(frame: pd.DataFrame, row: Hashable, column: str) -> float:
    """One cell of numbers; NaN where there is none."""
    cell: Any = frame.at[row, column]
    return float(cell)


def row_of(frame: pd.DataFrame, label: Hashable) -> pd.Series:
    """The one row under a label of the index."""
    place: Any = label
    row = frame.loc[place]
    assert isinstance(row, pd.Series), f"{label} stands above several rows"
    return row


def record(frame: pd.DataFrame, place: int = 0) -> dict[str, Any]:
    """A row by its place, as columns and values."""
    return {str(name): value for name, value in frame.to_dict("records")[place].items()}
