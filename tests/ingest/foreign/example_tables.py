"""What somebody says of a foreign table, in tests."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from pathlib import Path

from ingest.foreign.any_table import any_table
from ingest.foreign.long_rows import head_row, rows_of_heads
from ingest.foreign.memory import remember, signature
from ingest.foreign.reading import LeaveOut, Reading, Source
from ingest.foreign.sheets import Book, Sheet, read_book
from ingest.foreign.words import Meaning, a_person, a_technique, a_work
from ingest.importing.check import Checked
from ingest.importing.files import import_files
from ingest.store import Store
from tests.conftest import NOW
from tests.ingest.foreign.workbooks import Cell

FERRY, WEIR = a_work("24-001"), a_work("24-002")
NO_TOTALS = (LeaveOut(test="begins", text="total"),)
WORDS: Mapping[tuple[str, str], Meaning] = {
    ("object", "Ferry"): FERRY,
    ("object", "Weir"): WEIR,
    ("technique", "cleaned"): a_technique("surface cleaning"),
    ("technique", "retouched"): a_technique("retouching"),
    ("technique", "Firnis abgenommen"): a_technique("varnish removal with solvent gel"),
    ("person", "I."): a_person("Ilse"),
}
HEAD = "Date;Job;What;Time\n"
"""Of the table that `diary` reads."""
HEADS: list[Cell] = ["Date", "Job", "What", "Time", "Who"]
FEBRUARY: list[list[Cell]] = [
    HEADS,
    [date(2024, 2, 5), "Ferry", "cleaned", 1.5, "I."],
    [date(2024, 2, 6), "Weir", "retouched a bit", timedelta(minutes=45), "I."],
    [date(2024, 2, 7), "Ferry", "cleaned", 2.0, "Ilse"],
    ["Total", "", "", 4.25, ""],
]
ENTRY = "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-01-09,1\n"
CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//a studio//EN
X-WR-CALNAME:Bench of Ilse
BEGIN:VEVENT
UID:1
SUMMARY:Ferry
CATEGORIES:cleaned
DTSTART;TZID=Europe/Berlin:20240319T090000
DTEND;TZID=Europe/Berlin:20240319T103000
RRULE:FREQ=WEEKLY;BYDAY=TU;UNTIL=20240416T215959Z
EXDATE;TZID=Europe/Berlin:20240326T090000
END:VEVENT
BEGIN:VEVENT
UID:1
RECURRENCE-ID;TZID=Europe/Berlin:20240409T090000
SUMMARY:Ferry
CATEGORIES:cleaned
DTSTART;TZID=Europe/Berlin:20240410T140000
DURATION:PT45M
END:VEVENT
BEGIN:VEVENT
UID:2
SUMMARY:Holiday
DTSTART;VALUE=DATE:20240501
RRULE:FREQ=YEARLY
END:VEVENT
BEGIN:VEVENT
UID:3
SUMMARY:Weir
CATEGORIES:retouched
DTSTART:20990101T090000Z
DTEND:20990101T100000Z
END:VEVENT
END:VCALENDAR
"""


def column(text: str) -> Source:
    return Source(origin="column", text=text)


def fixed(text: str) -> Source:
    return Source(origin="fixed", text=text)


def diary(**otherwise: object) -> Reading:
    """The reading of a table `Date, Job, What, Time` of one person."""
    says: dict[str, object] = {
        "rows": "time entries",
        "columns": {
            "date": column("date"),
            "object": column("job"),
            "technique": column("what"),
            "hours": column("time"),
            "person": fixed("Ilse"),
        },
        "day_order": "dmy",
    }
    return Reading(**{**says, **otherwise})  # type: ignore[arg-type]


def offer(**otherwise: object) -> Reading:
    """The reading of a table `For, Step, Hours` of lines of first versions."""
    columns = {
        "object": column("for"),
        "technique": column("step"),
        "hours": column("hours"),
        "version": fixed("1"),
        "made_on": fixed("10 January 2024"),
        **otherwise,
    }
    return Reading(rows="estimates", columns=columns)  # type: ignore[arg-type]


def table_of(book: Book, reading: Reading) -> tuple[Sheet, int]:
    """The first sheet, and the row of it, where all columns stand that a reading names."""
    for sheet in book.sheets:
        rows = rows_of_heads(sheet, reading.head_rows)
        row = head_row(rows, frozenset(reading.fixed_names), among_others=True)
        if row is not None:
            return sheet, row
    raise AssertionError("no sheet has these columns")


def say(
    store: Store, path: Path, reading: Reading, meanings: Mapping[tuple[str, str], Meaning] = WORDS
) -> None:
    """Say what a table means, as a page does."""
    book = read_book(path, NOW)
    sheet, row = table_of(book, reading)
    remember(store, signature(book, sheet, row, reading), reading, meanings, file=path.name, by="Ilse")


def bring(store: Store, path: Path, now: datetime = NOW) -> list[Checked]:
    """Bring a file in by what was said."""
    return import_files(store, [path], now=now, recognizer=any_table(store, now))
