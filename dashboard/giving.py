"""Results as a command gives them: JSON, CSV, or a table to read."""

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

from dashboard.voice import complain, tell
from ingest.errors import BenchHoursError, why
from ingest.formulas import defused_frame
from ingest.partial import own_folder

_QUIET_S = 2.0
_DUST = 1e-9


def give(frame: pd.DataFrame, args: argparse.Namespace) -> int:
    """A frame as `--csv` and `--json` ask for it; hours unrounded, unknown is null."""
    days = {name: frame[name].dt.strftime("%Y-%m-%d") for name in frame.select_dtypes("datetime").columns}
    frame = frame.assign(**days)
    if args.csv:
        write_csv(frame, args.csv)
    if args.json:
        give_json(records(frame))
    return 0


def records(frame: pd.DataFrame) -> list[dict[Hashable, Any]]:
    """The rows of a frame for JSON: unknown is None."""
    rows: list[dict[Hashable, Any]] = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return rows


def give_json(value: object) -> None:
    tell(json.dumps(_without_dust(value), ensure_ascii=False, indent=1))


def _without_dust(value: Any) -> Any:
    """The same with nought where sums of binary fractions left a billionth or less, or nought below nought; no other digit is touched."""
    match value:
        case float():
            return 0.0 if abs(value) < _DUST else value
        case Mapping():
            return {name: _without_dust(one) for name, one in value.items()}
        case list() | tuple():
            return [_without_dust(one) for one in value]
    return value


def as_csv_text(frame: pd.DataFrame) -> str:
    """A frame as CSV (RFC 4180), without dust (see `_without_dust`) and with nothing that a spreadsheet would run."""
    swept = {str(name): cells.mask(cells.abs() < _DUST, 0.0) for name, cells in frame.items() if cells.dtype.kind == "f"}
    return str(defused_frame(frame.assign(**swept)).to_csv(index=False))


def as_csv(frame: pd.DataFrame) -> bytes:
    """The same as the content of a file (UTF-8)."""
    return as_csv_text(frame).encode()


def write_csv(frame: pd.DataFrame, file: Path) -> None:
    with written({file: as_csv(frame)}):
        pass


@contextmanager
def written(files: Mapping[Path, bytes]) -> Iterator[None]:
    """Write all files of a command, do what stands in the block, and only then give them their names.

    Where one cannot be written the block is not begun, and where the block fails no file is there: of a command that does several things all are done or none.

    """
    ready: list[tuple[Path, Path]] = []
    with ExitStack() as folders:
        for named, made in files.items():
            try:
                if named.exists() and not (named.is_file() or named.is_dir()):  # a terminal, a pipe: it has its name already
                    named.write_bytes(made)
                    continue
                file = named.resolve()  # a link stays one
                if file.exists():
                    file.open("ab").close()  # a folder, or a file that may not be written, must not be replaced
                partial = folders.enter_context(own_folder("written", file.parent)) / file.name
                partial.write_bytes(made)
                if file.exists():
                    partial.chmod(stat.S_IMODE(file.stat().st_mode))
            except OSError as error:
                raise BenchHoursError(f"{named} cannot be written ({why(error)})", "Name another place.") from error
            ready.append((partial, file))
        yield
        for partial, file in ready:
            os.replace(partial, file)


def progress(of_what: str) -> Callable[[int, int], None]:
    """Words on stderr, where something takes long."""
    began = last = time.monotonic()

    def tell_progress(done: int, of: int) -> None:
        nonlocal last
        now = time.monotonic()
        if now - began > _QUIET_S and now - last > _QUIET_S:
            last = now
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
