"""Frames as CSV files."""

from __future__ import annotations

import pandas as pd

from ingest.values.csv_injection import defused_frame

DUST = 1e-9


def as_csv_text(frame: pd.DataFrame) -> str:
    """A frame as CSV (RFC 4180), without dust (see `_without_dust`) and with nothing that a spreadsheet would
    run.
    """
    swept = {
        str(name): cells.mask(cells.abs() < DUST, 0.0)
        for name, cells in frame.items()
        if cells.dtype.kind == "f"
    }
    return str(defused_frame(frame.assign(**swept)).to_csv(index=False))


def as_csv(frame: pd.DataFrame) -> bytes:
    """The same as the content of a file (UTF-8)."""
    return as_csv_text(frame).encode()
