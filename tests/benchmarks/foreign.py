"""A foreign workbook of 100,000 rows beside `pandas.read_excel(engine="calamine")` of the same file, which
only reads it: `python -m tests.benchmarks.foreign [ROWS]`.

Each is done three times in turn; the medians are compared. Ours reads the workbook in its own process, turns
the rows into ours, checks them and stores them in a new studio.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from ingest.foreign.sheets import read_book
from ingest.foreign.words import a_person, a_technique, a_work
from ingest.store import Store
from tests import prepared
from tests.conftest import NOW
from tests.ingest.foreign.example_tables import bring, column, diary, say
from tests.ingest.foreign.workbooks import Cell, xlsx

TURNS = 3


def rows_of(count: int) -> list[list[Cell]]:
    """A diary of some people over years: six columns, no row like another."""
    rows: list[list[Cell]] = [["Date", "Job", "What", "Time", "Who", "Remarks"]]
    for number in range(count):
        rows.append(
            [
                date(2004, 1, 1) + timedelta(days=number // 16),
                ("Ferry", "Weir")[number % 2],
                ("cleaned", "retouched", "filled")[number % 3],
                (number % 31 + 1) / 4,
                ("I.", "B.")[number // 2 % 2],
                f"square {number}",
            ]
        )
    return rows


def seconds(action: Callable[[], object]) -> float:
    began = time.perf_counter()
    action()
    return time.perf_counter() - began


def ours(path: Path) -> float:
    words = {
        ("object", "Ferry"): a_work("24-001"),
        ("object", "Weir"): a_work("24-002"),
        ("technique", "cleaned"): a_technique("surface cleaning"),
        ("technique", "retouched"): a_technique("retouching"),
        ("technique", "filled"): a_technique("filling"),
        ("person", "I."): a_person("Ilse"),
        ("person", "B."): a_person("Bruno"),
    }
    with prepared.new_studio(works=True) as store:
        reading = diary()
        columns = {**reading.columns, "person": column("who"), "note": column("remarks")}
        say(store, path, diary(columns=columns), words)
        return seconds(lambda: _all_stored(store, path))


def _all_stored(store: Store, path: Path) -> None:
    report = bring(store, path)[0]
    assert report.complete, report.problems


def main(count: int) -> None:
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        path = xlsx(Path(folder) / "diary.xlsx", {"hours": rows_of(count)})
        rival, own, reading = [], [], []
        for _ in range(TURNS):
            rival.append(seconds(lambda: pd.read_excel(path, engine="calamine")))
            reading.append(seconds(lambda: read_book(path, NOW)))
            own.append(ours(path))
    medians = [statistics.median(turns) for turns in (rival, reading, own)]
    print(f"{count:,} rows: pandas reads {medians[0]:.2f} s")
    print(f"ours: reads {medians[1]:.2f} s, comes in {medians[2]:.2f} s")
    print(f"ratio {medians[2] / medians[0]:.2f} (at most 3)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
