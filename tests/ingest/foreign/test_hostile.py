"""Files that would take the machine down are refused with what to do, within 10 s and 500 MB."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ingest.foreign.bounds import MEMORY_BYTES
from ingest.store import Store
from tests import ROOT
from tests.conftest import Bring, entries
from tests.ingest.foreign.example_tables import bring, diary, say
from tests.ingest.foreign.workbooks import column_name, ods, sheet_xml, xlsx

# Reads a file in a process that has the size of its own from the start, and says what came of it and how much
# it and the process that it started took: the peak of a forked process begins with that of its parent.
_READ = """
import json, re, resource, sys, time
from datetime import datetime
from pathlib import Path
from ingest.errors import FileError
from ingest.foreign.sheets import read_book
began, result = time.monotonic(), {}
try:
    cells = read_book(Path(sys.argv[1]), datetime(2026, 6, 1)).sheets[0].cells
    result["longest"] = int(cells.map(len).to_numpy().max())
except FileError as error:
    result |= {"what": error.what, "mend": error.mend}
result["seconds"] = time.monotonic() - began
own = int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
result["bytes"] = 1024 * max(own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
print(json.dumps(result))
"""


def read_apart(path: Path) -> dict[str, Any]:
    """What comes of reading a file, which must take less than 10 s and 500 MB."""
    ended = subprocess.run(
        [sys.executable, "-c", _READ, str(path)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stderr
    result: dict[str, Any] = json.loads(ended.stdout)
    assert result["seconds"] < 10 and result["bytes"] < MEMORY_BYTES, result
    return result


def with_part(path: Path, name: str, text: str | bytes) -> Path:
    """A workbook with one part put in the place of its own."""
    source = xlsx(path.with_suffix(".source"), {"a": [["Date"], [1.0]]})
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            new.writestr(part, text if part == name else old.read(part))
    return path


SHEET = "xl/worksheets/sheet1.xml"
_OPEN = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
_CLOSE = "</sheetData></worksheet>"


def zip_bomb(path: Path) -> Path:
    return with_part(path, SHEET, (_OPEN + " " * 300_000_000 + _CLOSE).encode())


def bomb_that_lies(path: Path) -> Path:
    """Its directory says that the sheet is small."""
    with_part(path, SHEET, _OPEN + "<row><c><v>1</v></c></row>" * 12_000_000 + _CLOSE)
    packed = bytearray(path.read_bytes())
    place = packed.rindex(b"PK\x01\x02", 0, packed.rindex(SHEET.encode()))
    packed[place + 24 : place + 28] = (1000).to_bytes(4, "little")
    path.write_bytes(packed)
    return path


def far_corner(path: Path) -> Path:
    """Two cells: the first and the last that a sheet may have, with 17 thousand million between."""
    first = '<row r="1"><c r="A1"><v>1</v></c></row>'
    last = f'<row r="1048576"><c r="{column_name(16383)}1048576"><v>1</v></c></row>'
    return with_part(path, SHEET, _OPEN + first + last + _CLOSE)


def million_columns(path: Path) -> Path:
    path.write_text(",".join(f"c{n}" for n in range(1_000_000)) + "\n")
    return path


def wide_workbook(path: Path) -> Path:
    return with_part(path, SHEET, sheet_xml([["x"] * 5_000]))


def many_rows(path: Path) -> Path:
    path.write_text("Date;Job\n" + "1.1.2024;Ferry\n" * 300_000)
    return path


def many_repeats(path: Path) -> Path:
    """An OpenDocument row that says it stands a million times, each time with a thousand cells."""
    source = ods(path.with_suffix(".source"), {"a": [["Date"], ["x"]]})
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            text = old.read(part)
            if part == "content.xml":
                text = text.replace(
                    b'<table:table-row><table:table-cell office:value-type="string"><text:p>x',
                    b'<table:table-row table:number-rows-repeated="1000000"><table:table-cell'
                    b' table:number-columns-repeated="1000" office:value-type="string"><text:p>x',
                )
            new.writestr(old.getinfo(part), text)
    return path


def entity_bomb(path: Path) -> Path:
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
    doctype = f'<?xml version="1.0"?><!DOCTYPE worksheet [<!ENTITY e0 "ha">{entities}]>'
    cell = '<row r="1"><c r="A1" t="inlineStr"><is><t>&e11;</t></is></c></row>'
    return with_part(path, SHEET, doctype + _OPEN + cell + _CLOSE)


def endless(path: Path) -> Path:
    path.write_bytes(_calendar("DTSTART:20200101T090000Z\r\nDTEND:20200101T090001Z\r\nRRULE:FREQ=SECONDLY"))
    return path


def never(path: Path) -> Path:
    """A rule that no day meets: 30 February."""
    rules = "\r\n".join(["RRULE:FREQ=SECONDLY;BYMONTH=2;BYMONTHDAY=30"] * 50)
    path.write_bytes(_calendar(f"DTSTART:20200101T090000Z\r\nDTEND:20200101T100000Z\r\n{rules}"))
    return path


def _calendar(event: str) -> bytes:
    return (
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//a studio//EN\r\n"
        f"BEGIN:VEVENT\r\nUID:1\r\nSUMMARY:Ferry\r\n{event}\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    ).encode()


def no_workbook(path: Path) -> Path:
    path.write_bytes(b"PK\x03\x04" + bytes(range(256)) * 40)
    return path


def a_picture(path: Path) -> Path:
    path.write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)) * 40)
    return path


def a_calendar_of_nothing(path: Path) -> Path:
    path.write_bytes(_calendar("DTSTART:never"))
    return path


def empty(path: Path) -> Path:
    path.write_bytes(b"")
    return path


def nothing_in_it(path: Path) -> Path:
    return xlsx(path, {"a": [], "b": [[None, ""]]})


SMALLER = "Save the one sheet with the hours as CSV or as a workbook of its own"
SAVE_AGAIN = "Open it in the program that wrote it and save it again"


@pytest.mark.parametrize(
    ("make", "what", "mend"),
    [
        (zip_bomb, "would take more room than a table of hours needs", SMALLER),
        (bomb_that_lies, "cannot be read as a workbook", SAVE_AGAIN),
        (far_corner, "would take more room than a table of hours needs", SMALLER),
        (million_columns, "has more cells than a table of hours needs", SMALLER),
        (wide_workbook, "has more cells than a table of hours needs", SMALLER),
        (many_rows, "has more cells than a table of hours needs", SMALLER),
        (many_repeats, "cannot be read as a workbook", SAVE_AGAIN),
        (
            endless,
            "has an event that repeats more than 20,000 times",
            "Give that event an end in the calendar",
        ),
        (never, "took too long to read", SMALLER),
        (no_workbook, "cannot be read as a workbook", SAVE_AGAIN),
        (a_picture, "is no table", "Save it as CSV, XLSX, XLS or ODS"),
        (a_calendar_of_nothing, "cannot be read as a calendar", "Export it again from the calendar"),
        (empty, "is empty", "Save it again with a row of heads"),
        (nothing_in_it, "is empty", "Save it again with a row of heads"),
    ],
)
def test_a_hostile_file_is_refused_with_what_to_do(
    make: Callable[[Path], Path], what: str, mend: str, tmp_path: Path
) -> None:
    path = make(tmp_path / f"{make.__name__}.file")
    result = read_apart(path)
    assert result["what"].startswith(f"{path.name} {what}") and result["mend"].startswith(mend)


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    result = read_apart(entity_bomb(tmp_path / "bomb.xlsx"))
    assert result.get("longest", 0) < 100


def test_a_formula_is_never_computed(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = xlsx(
        tmp_path / "formulas.xlsx",
        {
            "a": [
                ["Date", "Job", "What", "Time"],
                ["2024-02-05", "Ferry", "cleaned", "=1+1"],
                ["2024-02-06", "Ferry", "cleaned", 2.0],
            ]
        },
    )
    say(store, path, diary())
    report = bring(store, path)[0]
    assert report.faults["code"].tolist() == ["hours_missing"]
    assert entries(store).hours.tolist() == [2.0]
    assert report.rejects is not None
    text = tmp_path / "texts.csv"
    text.write_text('Date,Job,What,Time\n2024-02-07,"=HYPERLINK(""x"")",cleaned,1\n')
    rejected = bring(store, text)[0].rejects
    assert rejected is not None and "'=HYPERLINK" in rejected.read_text(encoding="utf-8-sig")
