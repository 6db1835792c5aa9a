"""Results as a command gives them: JSON, CSV, or a table to read."""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Any

import pandas as pd

from dashboard.voice import complain, tell
from ingest.errors import BenchHoursError, why
from ingest.formulas import defused_frame

_QUIET_S = 2.0


def give(frame: pd.DataFrame, said: argparse.Namespace) -> int:
    """A frame as `--csv` and `--json` ask for it; hours unrounded, unknown is null."""
    days = {name: frame[name].dt.strftime("%Y-%m-%d") for name in frame.select_dtypes("datetime").columns}
    frame = frame.assign(**days)
    if said.csv:
        write_csv(frame, said.csv)
    if said.json:
        give_json(records(frame))
    return 0


def records(frame: pd.DataFrame) -> list[dict[Hashable, Any]]:
    """The rows of a frame for JSON: unknown is None."""
    rows: list[dict[Hashable, Any]] = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return rows


def give_json(value: object) -> None:
    tell(json.dumps(value, ensure_ascii=False, indent=1))


def write_csv(frame: pd.DataFrame, file: Path) -> None:
    try:
        with file.open("w", encoding="utf-8", newline="") as out:
            defused_frame(frame).to_csv(out, index=False)
    except OSError as error:
        raise BenchHoursError(f"{file} cannot be written ({why(error)})", "Name another place.") from error


def progress(of_what: str) -> Callable[[int, int], None]:
    """Words on stderr, where something takes long."""
    began = said = time.monotonic()

    def tell_progress(done: int, of: int) -> None:
        nonlocal said
        now = time.monotonic()
        if now - began > _QUIET_S and now - said > _QUIET_S:
            said = now
            complain(f"{done:,} of {of:,} {of_what}")

    return tell_progress


def laid_out(heads: list[str], rows: list[list[str]], right: set[int]) -> str:
    """A table for a terminal; `right`: columns of numbers."""
    widths = [max(len(row[n]) for row in [heads, *rows]) for n in range(len(heads))]
    lines = [
        "  ".join(cell.rjust(width) if n in right else cell.ljust(width) for n, (cell, width) in enumerate(zip(row, widths, strict=True))).rstrip()
        for row in [heads, *rows]
    ]
    return "\n".join([lines[0], "-" * max(map(len, lines)), *lines[1:]])
