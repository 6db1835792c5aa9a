"""Results of a command: JSON, CSV, or a table to read."""

from __future__ import annotations

import argparse
import json
import os
import stat
import time
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from dashboard.analysis.data.levels import shown_technique
from dashboard.cli.caller import write_err, write_out
from dashboard.documents.csv_export import DUST, as_csv
from dashboard.queries import Row
from ingest.errors import BenchHoursError, why
from ingest.safekeeping.atomic_folder import own_folder
from ingest.values.line_names import line_name

_QUIET_S = 2.0


def write_frame(frame: pd.DataFrame, args: argparse.Namespace) -> int:
    """Write a frame as `--csv` and `--json` ask for it; hours unrounded, unknown is null."""
    days = {name: frame[name].dt.strftime("%Y-%m-%d") for name in frame.select_dtypes("datetime").columns}
    frame = frame.assign(**days)
    if args.csv:
        write_csv(frame, args.csv)
    if args.json:
        write_json(records(frame))
    return 0


def records(frame: pd.DataFrame) -> list[dict[Hashable, Any]]:
    """The rows of a frame for JSON: unknown is None."""
    rows: list[dict[Hashable, Any]] = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return rows


def written_technique(phase: str, name: str) -> str:
    """A technique as the record has it, of its name as models have it or in words: empty of a whole phase or
    work.
    """
    return "" if shown_technique(name) == line_name(phase, "") else name


def write_json(value: object) -> None:
    write_out(json.dumps(_without_dust(value), ensure_ascii=False, indent=1))


def _without_dust(value: Any) -> Any:
    """The same with zero for what is within `DUST` of it, as sums of binary fractions leave it, or -0.0."""
    match value:
        case float():
            return 0.0 if abs(value) < DUST else value
        case Mapping():
            return {name: _without_dust(item) for name, item in value.items()}
        case list() | tuple():
            return [_without_dust(item) for item in value]
    return value


def write_csv(frame: pd.DataFrame, file: Path) -> None:
    with writing({file: as_csv(frame)}):
        pass


@contextmanager
def writing(files: Mapping[Path, bytes]) -> Iterator[None]:
    """Write all files of a command under their names once the block has ended without error.

    Where one cannot be written the block does not run, and where the block fails no file is left.
    """
    ready: list[tuple[Path, Path]] = []
    with ExitStack() as folders:
        for named, made in files.items():
            try:
                if named.exists() and not (named.is_file() or named.is_dir()):  # a terminal, a pipe
                    named.write_bytes(made)
                    continue
                file = named.resolve()  # a link stays one
                if file.exists():
                    file.open("ab").close()  # raises for what must not be replaced
                partial = folders.enter_context(own_folder("written", file.parent)) / file.name
                partial.write_bytes(made)
                if file.exists():
                    partial.chmod(stat.S_IMODE(file.stat().st_mode))
            except OSError as error:
                raise BenchHoursError(
                    f"{named} cannot be written ({why(error)})", "Name another place."
                ) from error
            ready.append((partial, file))
        yield
        for partial, file in ready:
            os.replace(partial, file)


def progress(of_what: str) -> Callable[[int, int], None]:
    """A function that writes progress to stderr, where something takes long."""
    began = last = time.monotonic()

    def tell_progress(done: int, of: int) -> None:
        nonlocal last
        now = time.monotonic()
        if now - began > _QUIET_S and now - last > _QUIET_S:
            last = now
            write_err(f"{done:,} of {of:,} {of_what}")

    return tell_progress


def write_table(frame: pd.DataFrame, columns: Mapping[str, Callable[[Row], str]], right: set[int]) -> None:
    """Write a frame as a table for a terminal.

    Parameters
    ----------
    columns : the head of each, and the cell of a row.
    right : columns of numbers.
    """
    rows = [[cell(row) for cell in columns.values()] for row in frame.to_dict("records")]
    write_out(text_table(list(columns), rows, right))


def text_table(heads: list[str], rows: list[list[str]], right: set[int]) -> str:
    """A table for a terminal; `right`: columns of numbers."""
    widths = [max(len(row[n]) for row in [heads, *rows]) for n in range(len(heads))]
    lines = [
        "  ".join(
            cell.rjust(width) if n in right else cell.ljust(width)
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in [heads, *rows]
    ]
    return "\n".join([lines[0], "-" * max(map(len, lines)), *lines[1:]])
