"""Any file as sheets of text cells, within bounds: CSV of any make, XLSX, XLS, ODS, iCalendar."""

from __future__ import annotations

import csv
import itertools
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from ingest.errors import FileError, why
from ingest.foreign import bounds
from ingest.foreign.bounds import REFUSALS, Refused
from ingest.foreign.reader_process import read_apart
from ingest.importing.csv_file import any_field_size, encoding_of
from ingest.tables.audit_log import utc_now

BookKind = Literal["csv", "workbook", "calendar"]
ROWS_LOOKED_AT = 40  # at the top of a sheet, for its heads
_SEPARATORS = ";\t,|"
_HEAD_CHARACTERS = 200_000
_MAGIC: dict[bytes, BookKind] = {
    b"PK\x03\x04": "workbook",
    b"\xd0\xcf\x11\xe0": "workbook",
    b"BEGIN:VCALENDAR": "calendar",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One table of a file as it lies.

    Attributes
    ----------
    name : of a sheet of a workbook, or of a calendar; empty where there is none.
    cells : frame of texts, stripped, empty where there is nothing; columns 0, 1, …
    lines : by row, its number in the file: the line of a CSV file on which it begins, the row of a sheet, the
        number of an event.
    """

    name: str
    cells: pd.DataFrame
    lines: npt.NDArray[np.int64]

    def top(self, rows: int) -> Sheet:
        """The first rows."""
        return Sheet(name=self.name, cells=self.cells.head(rows), lines=self.lines[:rows])


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """A file as it lies: its sheets that have anything in them.

    Attributes
    ----------
    separator : of a CSV file, between its cells; else a comma.
    """

    path: Path
    kind: BookKind
    sheets: tuple[Sheet, ...]
    separator: str = ","


def read_book(path: Path, until: datetime | None = None) -> Book:
    """Read a file; raises `FileError` where it is not read, with what to do.

    Parameters
    ----------
    until : of a calendar, repetitions that begin later are not read (UTC); now where not given.
    """
    try:
        return _read(path, until or utc_now())
    except Refused as error:
        what, mend = REFUSALS[error.code]
        raise FileError(f"{path.name} {what}", mend) from error
    except OSError as error:
        raise FileError(
            f"{path.name} cannot be read ({why(error)})", "See that the file is there and may be read."
        ) from error


def _read(path: Path, until: datetime) -> Book:
    with path.open("rb") as file:
        head = file.read(64).removeprefix(b"\xef\xbb\xbf").lstrip()
    if path.stat().st_size > bounds.LARGEST_FILE_BYTES:
        raise Refused("too_large")
    if not head:
        raise Refused("empty")
    kind: BookKind = next((kind for magic, kind in _MAGIC.items() if head.upper().startswith(magic)), "csv")
    separator = ","
    options: tuple[str, ...] = ()
    if kind == "csv":
        encoding = encoding_of(path)
        separator = _separator(path, encoding)
        options = (encoding, separator)
    elif kind == "calendar":
        options = (until.isoformat(),)
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        sheets = [
            _sheet(name, _read_back(file)) for name, file in read_apart(path, kind, Path(folder), *options)
        ]
    with_rows = tuple(sheet for sheet in sheets if len(sheet.lines))
    if not with_rows:
        raise Refused("empty")
    return Book(path=path, kind=kind, sheets=with_rows, separator=separator)


def _read_back(file: Path) -> pd.DataFrame:
    """The CSV file of a sheet, as `ingest.foreign.reader_process` writes it."""
    with file.open(encoding="utf-8", newline="") as lines:
        width = max((len(row) for row in itertools.islice(csv.reader(lines), 1)), default=0)
    if not width:
        return pd.DataFrame({0: []}, dtype="str")
    names = [str(place) for place in range(width)]
    table = arrow_csv.read_csv(
        file,
        read_options=arrow_csv.ReadOptions(column_names=names),
        parse_options=arrow_csv.ParseOptions(newlines_in_values=True, ignore_empty_lines=False),
        convert_options=arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
        ),
    )
    frame: pd.DataFrame = table.to_pandas()
    return frame


def _sheet(name: str, numbered: pd.DataFrame) -> Sheet:
    """A sheet of a frame whose first column has the number of each row; blank rows and the blank columns at
    the end are left out.
    """
    lines = numbered.iloc[:, 0].to_numpy(dtype=np.int64)
    cells = pd.DataFrame(
        {place - 1: _stripped(numbered.iloc[:, place]) for place in range(1, numbered.shape[1])}
    )
    has_text = (cells != "").to_numpy(dtype=bool)
    width = int(np.flatnonzero(has_text.any(axis=0))[-1]) + 1 if has_text.any() else 0
    rows = has_text.any(axis=1)
    filled = cells.iloc[np.flatnonzero(rows), :width].reset_index(drop=True)
    return Sheet(name=name, cells=filled, lines=lines[rows])


def _stripped(column: pd.Series[str]) -> pd.Series[str]:
    return column.astype("str").str.strip()


def _separator(path: Path, encoding: str) -> str:
    """The separator that splits most lines at the top of a CSV file into the same number of cells, more than
    one.
    """
    try:
        with path.open(encoding=encoding, newline="") as file:
            head = file.read(_HEAD_CHARACTERS)
    except UnicodeDecodeError as error:
        raise Refused("not_a_table") from error
    if "\0" in head:
        raise Refused("not_a_table")
    lines = head.splitlines(keepends=True)[:100]

    def score(separator: str) -> tuple[int, int]:
        with any_field_size():
            widths = [len(row) for row in csv.reader(lines, delimiter=separator) if any(row)]
        several = [width for width in widths if width > 1]
        usual = max(several, key=several.count, default=1)
        return several.count(usual), usual

    return max(_SEPARATORS, key=score)


# --- heads


def heads(sheet: Sheet, row: int, rows: int = 1) -> list[str]:
    """The heads of a sheet as written, from its row `row` (from 0) and those below it, `rows` in all, joined
    by spaces; in an upper one of several an empty cell means what stands to its left.
    """
    *upper, last = sheet.cells.iloc[row : row + rows].to_numpy(dtype=object)
    filled: list[list[str]] = [
        list(itertools.accumulate(texts, lambda before, text: text or before)) for texts in upper
    ]
    return [" ".join(" ".join(filter(None, column)).split()) for column in zip(*filled, last, strict=True)]
