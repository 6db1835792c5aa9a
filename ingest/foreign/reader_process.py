"""A process that reads one file and may neither grow nor last: what a file asks for is no more trusted than
what it says.

It writes each sheet as CSV into a folder, with the number of each row in its first column, and `sheets.json`
with their names, or with the code of why the file is not read. It is started as a program and not forked, as
the server has threads.
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from ingest.foreign import bounds
from ingest.foreign.bounds import Refused

MANIFEST = "sheets.json"
_UNREADABLE = {"csv": "not_a_table", "workbook": "not_a_workbook", "calendar": "not_a_calendar"}


def read_apart(path: Path, kind: str, folder: Path, *options: str) -> list[tuple[str, Path]]:
    """Name and CSV file of each sheet of a file, read in a process of its own; raises `Refused`.

    Parameters
    ----------
    kind, options : `workbook`; `calendar`, with the ISO instant until which it is read; `csv`, with its
        encoding and its separator.
    folder : where the sheets are written.
    """
    root = str(Path(__file__).parents[2])
    try:
        ended = subprocess.run(
            [sys.executable, "-P", "-m", __name__, str(path), kind, str(folder), *options],
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join(filter(None, [root, os.environ.get("PYTHONPATH")])),
            },
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=bounds.SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise Refused("too_long") from error
    manifest = folder / MANIFEST
    if not manifest.exists():  # it was ended for what it asked for
        if ended.returncode == 1 and b"ModuleNotFoundError" in ended.stderr:
            raise RuntimeError(ended.stderr.decode(errors="replace"))
        raise Refused("too_large" if ended.returncode < 0 else _UNREADABLE[kind])
    result = json.loads(manifest.read_text(encoding="utf-8"))
    if code := result.get("refused"):
        raise Refused(code)
    return [(name, folder / file) for name, file in result["sheets"]]


def main(path: str, kind: str, folder: str, *options: str) -> None:
    """Read a file within the bounds and write what it holds."""
    _bound_itself()
    into = Path(folder)
    try:
        result: dict[str, object] = {"sheets": _write_sheets(_sheets(Path(path), kind, options), into)}
    except Refused as error:
        result = {"refused": error.code}
    except MemoryError:
        result = {"refused": "too_large"}
    whole = into / f"{MANIFEST}.part"
    whole.write_text(json.dumps(result), encoding="utf-8")
    whole.rename(into / MANIFEST)


def _bound_itself() -> None:
    # where the system knows no such bound (Windows, macOS) the time alone is bounded
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource  # noqa: PLC0415  there is none on Windows

        resource.setrlimit(resource.RLIMIT_AS, (bounds.MEMORY_BYTES, bounds.MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _sheets(
    path: Path, kind: str, options: Sequence[str]
) -> Iterator[tuple[str, Iterator[tuple[int, list[str]]]]]:
    # each needs libraries that the others do without, and the memory is bounded
    match kind:
        case "csv":
            from ingest.foreign.csv_cells import read_csv  # noqa: PLC0415

            return read_csv(path, *options)
        case "calendar":
            from ingest.foreign.calendar_cells import read_calendar  # noqa: PLC0415

            return read_calendar(path, datetime.fromisoformat(options[0]))
        case _:
            from ingest.foreign.workbook_cells import read_workbook  # noqa: PLC0415

            return read_workbook(path)


def _write_sheets(
    sheets: Iterator[tuple[str, Iterator[tuple[int, list[str]]]]], folder: Path
) -> list[tuple[str, str]]:
    written: list[tuple[str, str]] = []
    cells = 0
    for name, rows in sheets:
        file = f"{len(written)}.csv"
        with (folder / file).open("w", encoding="utf-8", errors="replace", newline="") as out:
            writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
            for count, (number, row) in enumerate(rows, start=1):
                cells += len(row)
                if count > bounds.MOST_ROWS or len(row) > bounds.MOST_COLUMNS or cells > bounds.MOST_CELLS:
                    raise Refused("too_many_cells")
                writer.writerow([number, *row])
        written.append((name, file))
    return written


if __name__ == "__main__":
    main(*sys.argv[1:])
