"""Cells of a workbook (XLSX, XLS, ODS) as text, sheet by sheet: run in a process of its own, as a workbook
can ask for more memory than there is.

Formulas are not computed: of a cell with one, the value that was last saved counts.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path

import python_calamine

from ingest.foreign.bounds import LARGEST_UNPACKED_BYTES, MOST_PACKED_FILES, Refused

_ISO_TIME = re.compile(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:\.\d+)?)S)?")

Rows = Iterator[tuple[int, list[str]]]


def read_workbook(path: Path) -> Iterator[tuple[str, Rows]]:
    """Name of each sheet, hidden or not, and its rows: number in the sheet, from 1, and cells as text.

    Raises `Refused` where it cannot be read.
    """
    _look_at_directory(path)
    try:
        workbook = python_calamine.load_workbook(path)
    except python_calamine.PasswordError as error:
        raise Refused("locked") from error
    except python_calamine.CalamineError as error:
        raise Refused("not_a_workbook") from error
    for metadata in workbook.sheets_metadata:
        if metadata.typ is python_calamine.SheetTypeEnum.WorkSheet:
            yield metadata.name, _rows(workbook, metadata.name)


def _look_at_directory(path: Path) -> None:
    """See how large the parts of a packed file say that they are, before any is unpacked."""
    if not zipfile.is_zipfile(path):
        return
    try:
        with zipfile.ZipFile(path) as packed:
            parts = packed.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise Refused("not_a_workbook") from error
    if len(parts) > MOST_PACKED_FILES or sum(part.file_size for part in parts) > LARGEST_UNPACKED_BYTES:
        raise Refused("too_large")


def _rows(workbook: python_calamine.CalamineWorkbook, name: str) -> Rows:
    try:
        sheet = workbook.get_sheet_by_name(name)
    except python_calamine.CalamineError as error:
        raise Refused("not_a_workbook") from error
    first_row, first_column = sheet.start or (0, 0)
    before = [""] * first_column
    for number, cells in enumerate(sheet.iter_rows(), start=first_row + 1):
        yield number, [*before, *map(_text, cells)]


def _text(cell: str | float | bool | date | time | datetime | timedelta) -> str:
    """A cell as text: days and clock times by ISO 8601, lengths of time as `h:mm`, numbers to the 15 digits
    that a spreadsheet keeps.
    """
    text = str(cell)  # a text, a whole number, or a day as ISO writes it
    match cell:
        case bool():
            text = "yes" if cell else "no"
        case float():
            text = f"{cell:.15g}"
            if "e" in text:
                text = f"{cell:.9f}".rstrip("0").rstrip(".")
        case datetime():
            whole = (cell + timedelta(microseconds=500_000)).replace(microsecond=0)
            text = whole.date().isoformat() if whole.time() == time() else whole.isoformat(sep=" ")
        case time():
            text = _clock(datetime.combine(date.min, cell) - datetime.min)
        case timedelta():
            text = _clock(cell)
        case str() if parts := _ISO_TIME.fullmatch(cell):  # of a time in OpenDocument
            hours, minutes, seconds = (float(part or 0) for part in parts.groups())
            text = _clock(timedelta(hours=hours, minutes=minutes, seconds=seconds))
    return text


def _clock(length: timedelta) -> str:
    seconds = round(length.total_seconds())
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    text = f"{sign}{seconds // 3600:02}:{seconds // 60 % 60:02}"
    return f"{text}:{seconds % 60:02}" if seconds % 60 else text
