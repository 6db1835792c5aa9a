"""What somebody says of a foreign table, in tests."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
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
