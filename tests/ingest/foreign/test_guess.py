"""A first guess of how a table is read: from its heads and what is in it, offered and never applied."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from ingest.foreign.guess import guess
from ingest.foreign.preview import by_folded, preview
from ingest.foreign.reading import FROM_TO, LeaveOut, missing
from ingest.foreign.sheets import read_book
from ingest.foreign.words import Studio
from ingest.store import Store
from tests.conftest import NOW, Bring
from tests.ingest.foreign.example_tables import CALENDAR, ENTRY, WORDS
from tests.ingest.foreign.workbooks import Cell, xlsx


def sources(store: Store, path: Path) -> tuple[dict[str, str], list[str]]:
    """Column of the table, or what is fixed, by ours; and what is still to be said."""
    reading = guess(read_book(path, NOW), Studio.of(store.cursor())).reading
    return {name: source.text for name, source in reading.columns.items()}, missing(reading)


def test_a_plain_diary_of_a_studio_of_one_is_guessed_whole(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    studio("log.csv", ENTRY)
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;What;Time\n15.2.2024;Ferry;cleaned;1,5\n16.2.2024;Weir;retouched;0:45\nTotal;;;2,25\n"
    )
    begun = guess(read_book(path), Studio.of(store.cursor()))
    assert {name: source.text for name, source in begun.reading.columns.items()} == {
        "date": "date",
        "object": "job",
        "technique": "what",
        "hours": "time",
        "person": "Ilse",
    }
    assert missing(begun.reading) == [] and begun.reading.day_order == "dmy"
    assert begun.reading.left_out == (LeaveOut(test="begins", text="total"),)
    shown = preview(store, read_book(path), begun.sheet, begun.row, begun.reading, by_folded(WORDS), now=NOW)
    assert shown.rows["status"].tolist() == ["stored", "stored"] and shown.counts["left out"] == 1
    # guessed is not said: nothing comes in by it
    assert store.cursor().execute("SELECT count(*) FROM foreign_tables").fetchall() == [(0,)]


def test_heads_in_german_below_a_title_and_minutes(studio: Bring, store: Store, tmp_path: Path) -> None:
    rows: list[list[Cell]] = [
        ["Stundenzettel 2024"],
        [],
        ["Datum", "Auftrag", "Tätigkeit", "Minuten", "Mitarbeiter", "Bemerkung"],
        [date(2024, 2, 5), "Ferry", "Firnis", 90.0, "Ilse", "erste Lage"],
        [date(2024, 2, 6), "Weir", "Firnis", 45.0, "Bruno", ""],
    ]
    path = xlsx(tmp_path / "Stunden.xlsx", {"Tabelle1": rows})
    begun = guess(read_book(path), Studio.of(store.cursor()))
    assert begun.row == 1 and begun.sheet.lines[begun.row] == 3
    assert {name: source.text for name, source in begun.reading.columns.items()} == {
        "date": "datum",
        "object": "auftrag",
        "technique": "tatigkeit",
        "hours": "minuten",
        "person": "mitarbeiter",
        "note": "bemerkung",
    }
    assert begun.reading.hours_unit == "minutes"


def test_columns_without_telling_heads_are_told_by_what_is_in_them(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "x.csv"
    path.write_text("A,B,C,D\n24-001,2024-02-05,9:00-10:30,facing\n24-002,2024-02-06,9:00-12:00,retouching\n")
    assert sources(store, path)[0] == {"object": "a", "date": "b", FROM_TO: "c", "technique": "d"}
    assert sources(store, path)[1] == ["person"]


@pytest.mark.parametrize(
    ("text", "wide", "year"),
    [
        ("Week 6 of 2024\nWork,Task,Mo 5.2.,Di 6.2.,Mi 7.2.,Sum\nFerry,cleaned,2,,1,3\n", "date", 2024),
        ("Week of;Work;Task;Mon;Tue;Wed\n5.2.2024;Ferry;cleaned;2;;1\n", "weekday", None),
        ("Date,Task,24-001,24-002\n2024-02-05,cleaned,1,2\n", "object", None),
    ],
)
def test_a_wide_table_is_seen_by_its_heads(
    text: str, wide: str, year: int | None, studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "wide.csv"
    path.write_text(text)
    reading = guess(read_book(path), Studio.of(store.cursor())).reading
    assert (reading.wide_of, reading.year) == (wide, year)
    assert missing(reading) == ["person"]


def test_a_day_written_once_for_several_rows_and_one_that_can_be_read_two_ways(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "once.csv"
    path.write_text(
        "Date;Job;What;Time\n1.2.2024;Ferry;cleaned;1\n;Weir;cleaned;2\n;Ferry;retouched;1\n2.2.2024;Weir;x;1\n"
    )
    reading = guess(read_book(path), Studio.of(store.cursor())).reading
    assert reading.filled_down == ("date",) and reading.left_out == ()
    assert reading.day_order == "unset"  # neither the texts nor the studio say it


def test_works_are_told_from_hours(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "works.csv"
    path.write_text(
        "Nr.,Title,Artist,Height,Width\n23-001,Mill by night,unknown,40,50\n23-002,Orchard,unknown,30,20\n"
    )
    assert sources(store, path) == (
        {"object": "nr", "title": "title", "maker": "artist", "height_cm": "height", "width_cm": "width"},
        [],
    )


@pytest.mark.parametrize(
    ("heads", "columns"),
    [
        ("Work;What;Hours promised;Promised on", {"hours": "hours_promised", "made_on": "promised_on"}),
        ("Work;What;Quoted;Offered on", {"hours": "quoted", "made_on": "offered_on"}),
        ("Work;What;Estimate;Date", {"hours": "estimate", "made_on": "date"}),
    ],
)
def test_what_was_promised_is_told_from_what_was_worked(
    heads: str, columns: dict[str, str], studio: Bring, store: Store, tmp_path: Path
) -> None:
    # what heads are called: common practice, no source
    path = tmp_path / "work.csv"
    path.write_text(f"{heads}\n24-001;facing;4;15.2.2024\n24-002;retouching;6;16.2.2024\n")
    reading = guess(read_book(path), Studio.of(store.cursor())).reading
    assert reading.rows == "estimates" and missing(reading) == [] and reading.day_order == "dmy"
    named = {name: source.text for name, source in reading.columns.items() if source.origin == "column"}
    agreed = {"approved_on": "promised_on"} if "Promised on" in heads else {}
    assert named == {"object": "work", "technique": "what", **columns, **agreed}


def test_the_day_of_an_agreement_stands_apart_from_the_day_of_the_offer(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "promised.csv"
    path.write_text("Work;What;Hours;Promised on;Accepted on\n24-001;facing;4;15.2.2024;20.2.2024\n")
    columns = sources(store, path)[0]
    assert (columns["made_on"], columns["approved_on"]) == ("promised_on", "accepted_on")


def test_a_diary_with_a_column_of_estimates_is_still_a_diary(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text("Date;Job;What;Time;Estimate\n15.2.2024;24-001;facing;1;4\n")
    assert sources(store, path)[0]["hours"] == "time"


def test_a_calendar_is_guessed_by_what_calendars_have(studio: Bring, store: Store, tmp_path: Path) -> None:
    studio("log.csv", ENTRY)
    path = tmp_path / "bench.ics"
    path.write_text(CALENDAR.replace("\n", "\r\n"))
    book = read_book(path, NOW)
    begun = guess(book, Studio.of(store.cursor()))
    assert missing(begun.reading) == []
    shown = preview(store, book, begun.sheet, begun.row, begun.reading, by_folded(WORDS), now=NOW, rows=3)
    assert shown.rows["status"].tolist() == ["stored"] * 3 and shown.all_rows == 8


def test_few_different_texts_are_the_works_and_then_what_was_done(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "x.csv"
    works, done = ("Mill", "Orchard"), ("glued", "ironed")
    rows = [f"2024-02-{n:02},{works[n % 2]},{done[n // 2 % 2]},2,thoughts on day {n}" for n in range(1, 13)]
    path.write_text("\n".join(["When?,Col 1,Col 2,Col 3,Col 4", *rows]))
    columns = {"date": "when", "object": "col_1", "technique": "col_2", "hours": "col_3"}
    assert sources(store, path)[0] == columns
