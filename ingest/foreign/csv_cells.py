"""Rows of a CSV file of any make, filled up to one length: run in a process of its own, as a line can be as
long as the file.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from ingest.foreign import bounds
from ingest.foreign.bounds import Refused


def read_csv(
    path: Path, encoding: str, separator: str
) -> Iterator[tuple[str, Iterator[tuple[int, list[str]]]]]:
    """The one sheet of a file, without a name: the line on which each row begins, and its cells."""
    width = max((len(row) for _, row in _rows(path, encoding, separator)), default=0)
    yield ("", ((line, [*row, *[""] * (width - len(row))]) for line, row in _rows(path, encoding, separator)))


def _rows(path: Path, encoding: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    begins = 1
    try:
        with path.open(encoding=encoding, newline="") as file:
            reader = csv.reader(file, delimiter=separator)
            for count, row in enumerate(reader, start=1):
                if count > bounds.MOST_ROWS or len(row) > bounds.MOST_COLUMNS:
                    raise Refused("too_many_cells")
                yield begins, row
                begins = reader.line_num + 1
    except UnicodeDecodeError as error:
        raise Refused("not_a_table") from error
    except csv.Error as error:  # a cell too long for one
        raise Refused("too_many_cells") from error
