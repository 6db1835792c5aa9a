"""The same forty rows by every door: a file, a page, a phone, and the sheets of an estimate and of a quote.
The same record, and the same faults in the same words.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ingest.editing import estimate_drafts, quote_drafts
from ingest.editing.estimate_drafts import Draft
from ingest.editing.quote_drafts import QuotedWork
from ingest.importing.files import import_files
from ingest.importing.form_rows import RowsRefused, store_rows
from ingest.schema.csv_columns import ESTIMATES, TIME_ENTRIES, Form
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests.conftest import CHANGE, NOW
from tests.phones import action, outcomes, send

PEOPLE = ("Ilse", "Bram", "Maud")
GOOD = [
    {
        "technique": technique,
        "part": part,
        "person": PEOPLE[number % 3],
        "quantity": quantity,
        "hours": hours,
        "note": f"row {number}",
    }
    for number, (technique, part, quantity, hours) in enumerate(
        [
            *(
                (name, part, quantity, hours)
                for part in ("", "reverse", 'a "second" tear, left')
                for name, quantity, hours in (
                    ("facing", "12", "1.5"),
                    ("varnish removal", "12,5", "2h30"),
                    ("tear mending", "30", "90 min"),
                    ("retouching", "3", "PT1H"),
                    ("filling", "1.25", "0:45"),
                )
            ),
            *(("lining removal", f"part {n}", f"{n}", f"{n}:15") for n in range(1, 10)),
            *(("Surface-cleaning", f"strip {n}", "", "2") for n in range(1, 5)),
        ]
    )
]
BAD: list[tuple[str, dict[str, str]]] = [
    ("technique", {"technique": "varnish remval", "hours": "1"}),
    ("technique", {"technique": "zzz", "hours": "1"}),
    ("quantity", {"technique": "", "phase": "retouching", "quantity": "3", "hours": "1"}),
    ("quantity", {"technique": "facing", "quantity": "1,150", "hours": "1"}),
    ("quantity", {"technique": "facing", "quantity": "much", "hours": "1"}),
    ("quantity", {"technique": "facing", "quantity": "-1", "hours": "1"}),
    ("quantity", {"technique": "travel", "quantity": "3", "hours": "1"}),
    ("hours", {"technique": "facing", "hours": "half a day"}),
    ("hours", {"technique": "facing", "hours": "1.150"}),
    ("phase", {"technique": "facing", "phase": "claening", "hours": "1"}),
    ("phase", {"technique": "facing", "phase": "no such", "hours": "1"}),
    ("hours", {"technique": "facing", "hours": "1h99"}),
]
ROWS = [*GOOD, *({"person": "Ilse", **row} for _, row in BAD)]
OF_ENTRY = {"object": "24-001", "phase": "", "date": "2026-02-02"}
OF_VERSION = {"object": "24-001", "version": "1", "made_on": "2026-02-02", "phase": ""}
Faults = list[tuple[str, str, str, str]]
"""Of each faulty row, in their order: column, what was written, reason and mend."""


def studio(folder: Path) -> Store:
    store = Store(":memory:")
    with store.writing() as con:
        write_settings(con, {"zone": "Europe/Berlin"})
    (folder / "o.csv").write_text("object,title\n24-001,Ferry\n")
    import_files(store, [folder / "o.csv"], now=NOW)
    return store


@pytest.fixture
def door(tmp_path: Path) -> Iterator[Callable[[], Store]]:
    opened: list[Store] = []

    def open_one() -> Store:
        opened.append(studio(tmp_path))
        return opened[-1]

    yield open_one
    for store in opened:
        store.close()


def record(store: Store, form: Form) -> list[tuple[Any, ...]]:
    names = (
        "object, phase, technique, part, person, day, hours, counted_hours, mode, charge, quantity, unit,"
        " note, content"
    )
    if form is ESTIMATES:
        names = "object, version, phase, technique, part, person, quantity, unit, hours, note"
    return (
        store.cursor()
        .execute(
            f"SELECT {names} FROM {'time_entries' if form is TIME_ENTRIES else 'estimate_lines'} ORDER BY ALL"
        )
        .fetchall()
    )


def shown(value: object) -> str:
    return value if isinstance(value, str) else ""


def by_file(store: Store, form: Form, folder: Path, rows: list[dict[str, str]]) -> Faults:
    path = folder / "rows.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        # which tells nothing of how numbers are written
        writer = csv.DictWriter(
            out, [name for name in form.names if any(name in row for row in rows)], restval="", delimiter="\t"
        )
        writer.writeheader()
        writer.writerows(rows)
    report = import_files(store, [path], now=NOW, write_rejects=False)[0]
    found = report.problems[report.problems["column"] != "version"]
    return [
        (column, shown(value), reason, mend)
        for _, column, value, reason, mend in found.itertuples(index=False)
    ]


def by_page(store: Store, form: Form, rows: list[dict[str, str]]) -> Faults:
    """Each row by itself, as a page saves it."""
    faults: Faults = []
    for row in rows:
        try:
            store_rows(store, form, [row], CHANGE)
        except RowsRefused as refused:
            faults += [
                (column, shown(value), reason, mend)
                for _, column, value, reason, mend in refused.problems.itertuples(index=False)
            ]
    return faults


def by_phone(store: Store, rows: list[dict[str, str]]) -> Faults:
    told = send(
        store, *(action(f"row {number}", person=row["person"], row=row) for number, row in enumerate(rows))
    )
    assert outcomes(told) == ["saved"] * len(GOOD) + ["refused"] * len(BAD)
    return [
        (fault["column"], fault["value"], fault["reason"], fault["mend"])
        for item in told
        for fault in item["faults"]
    ]


def test_forty_time_entries_by_file_page_and_phone_are_the_same_record_with_the_same_faults(
    door: Callable[[], Store], tmp_path: Path
) -> None:
    rows = [{**OF_ENTRY, **row} for row in ROWS]
    assert len(rows) == 40
    file, page, phone = door(), door(), door()
    faults = by_file(file, TIME_ENTRIES, tmp_path, rows)
    assert [column for column, *_ in faults] == [column for column, _ in BAD]
    assert by_page(page, TIME_ENTRIES, rows) == faults and by_phone(phone, rows) == faults
    assert len(record(file, TIME_ENTRIES)) == len(GOOD)
    assert record(file, TIME_ENTRIES) == record(page, TIME_ENTRIES) == record(phone, TIME_ENTRIES)


def test_the_same_forty_rows_on_the_sheets_of_an_estimate_and_of_a_quote_have_the_faults_of_a_file_in_its_words(  # noqa: E501
    door: Callable[[], Store], tmp_path: Path
) -> None:
    store = door()
    of_file = by_file(store, ESTIMATES, tmp_path, [{**OF_VERSION, **row} for row in ROWS])
    assert record(store, ESTIMATES) == [] and [column for column, *_ in of_file] == [
        column for column, _ in BAD
    ]
    # an entry and a line of an estimate are told the same of each cell that both have, but for how many hours
    # can be
    entries = by_file(door(), TIME_ENTRIES, tmp_path, [{**OF_ENTRY, **row} for row in ROWS])
    assert of_file == entries
    words = [
        f"Line {len(GOOD) + 1 + place}, {column}{f' {chr(34)}{value}{chr(34)}' if value else ''}: {reason}."
        f" {mend}"
        for place, (column, value, reason, mend) in enumerate(of_file)
    ]
    sheet = [dict(row) for row in ROWS]
    assert (
        estimate_drafts.read_over(
            store, "24-001", Draft(version={"made_on": "2026-02-02"}, lines=sheet), {}
        ).problems
        == words
    )
    of_quote = quote_drafts.read_over(store, QuotedWork(object="24-001", lines=sheet), NOW.date(), {})
    assert of_quote.problems == words and of_quote.left_aside == len(BAD) and len(of_quote.lines) == len(GOOD)
    # without the faulty lines: the same version by file and by page, and the same lines on the quote
    by_hand, by_sheet = door(), door()
    assert by_file(by_hand, ESTIMATES, tmp_path, [{**OF_VERSION, **row} for row in GOOD]) == []
    estimate_drafts.make_version(
        by_sheet,
        "24-001",
        Draft(version={"made_on": "2026-02-02"}, lines=[dict(row) for row in GOOD]),
        CHANGE,
    )
    held = record(by_hand, ESTIMATES)
    assert len(held) == len(GOOD) and held == record(by_sheet, ESTIMATES)
    columns = ["phase", "technique", "part", "person", "quantity", "unit", "hours", "note"]
    quoted = of_quote.lines[columns].assign(
        unit=of_quote.lines["unit"].where(of_quote.lines["quantity"].notna())
    )
    assert sorted(
        map(str, quoted.astype(object).where(quoted.notna(), None).itertuples(index=False, name=None))
    ) == sorted(str(row[2:]) for row in held)
