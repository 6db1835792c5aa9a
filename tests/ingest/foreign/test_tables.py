"""Tables of any make, each brought in by what was said of it, twice: the second time changes nothing."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from ingest.errors import FileError
from ingest.foreign.reading import FROM_TO, LeaveOut, Reading, Source
from ingest.foreign.words import LEFT_OUT, Meaning, a_new_work, a_person, a_phase, a_technique, studio_time
from ingest.importing.check import Checked
from ingest.store import Store
from tests.conftest import Bring, entries
from tests.ingest.foreign.example_tables import (
    CALENDAR,
    NO_TOTALS,
    WORDS,
    bring,
    column,
    diary,
    fixed,
    offer,
    say,
)
from tests.ingest.foreign.workbooks import ods, xlsx

Kept = list[tuple[str, str, str, str, float]]


def kept(store: Store) -> Kept:
    """Day, work, technique, person and hours of every entry."""
    return sorted(
        (f"{row['day']:%Y-%m-%d}", row["object"], row["technique"], row["person"], round(row["hours"], 4))
        for row in entries(store).to_dict("records")
    )


def twice(
    store: Store, path: Path, reading: Reading, meanings: dict[tuple[str, str], Meaning] | None = None
) -> Checked:
    """Say what a file means and bring it in, and again; the account of the first time."""
    say(store, path, reading, WORDS if meanings is None else meanings)
    first = bring(store, path)[-1]
    before = kept(store)
    again = bring(store, path)[-1]
    assert kept(store) == before
    outcome = again.outcome
    assert (outcome.stored, outcome.corrected, outcome.held_back) == (0, 0, 0)
    assert outcome.already_held == first.outcome.stored + first.outcome.already_held
    assert outcome.rejected == first.outcome.rejected
    return first


def test_a_diary_comes_in_by_what_was_said_of_it(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;What;Time\n5.2.2024;Ferry;cleaned;1,5\n6.2.2024;Weir;retouched;0:45\n6.2.2024;Weir;retouched;0:45\n"
    )
    assert twice(store, path, diary()).outcome.stored == 3
    assert kept(store) == [
        ("2024-02-05", "24-001", "surface cleaning aqueous", "Ilse", 1.5),
        ("2024-02-06", "24-002", "retouching", "Ilse", 0.75),
        ("2024-02-06", "24-002", "retouching", "Ilse", 0.75),
    ]


def test_a_wide_week_sheet_is_a_row_for_each_day(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "week 6.csv"
    path.write_text(
        "Week 6\nWork,Task,Mo 5.2.,Di 6.2.,Mi 7.2.,Sum\nFerry,cleaned,2,,1.5,3.5\n"
        "Weir,retouched,,3,,3\nTotal,,2,3,1.5,6.5\n"
    )
    reading = diary(
        columns={"object": column("work"), "technique": column("task"), "person": fixed("Ilse")},
        wide_of="date",
        year=2024,
        not_read=("sum",),
        left_out=NO_TOTALS,
    )
    first = twice(store, path, reading)
    assert (first.outcome.stored, first.rows.left_out) == (3, 3)
    assert first.rows.lines.tolist() == [3, 3, 4]  # of the file as it lies
    assert kept(store) == [
        ("2024-02-05", "24-001", "surface cleaning aqueous", "Ilse", 2.0),
        ("2024-02-06", "24-002", "retouching", "Ilse", 3.0),
        ("2024-02-07", "24-001", "surface cleaning aqueous", "Ilse", 1.5),
    ]
    # next week's has other days in its heads, and is known by the rest
    later = tmp_path / "week 7.csv"
    later.write_text("Work,Task,Mo 12.2.,Di 13.2.,Sum\nFerry,cleaned,1,,1\n")
    assert bring(store, later)[0].outcome.stored == 1


def test_a_week_of_named_days_is_of_the_week_in_which_its_day_lies(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "weeks.csv"
    path.write_text("Week of;Who;Job;What;Mon;Tue;Wed;Fri\n07.02.2024;I.;Ferry;cleaned;2;;1,5;½\n")
    reading = diary(
        columns={
            "date": column("week_of"),
            "person": column("who"),
            "object": column("job"),
            "technique": column("what"),
        },
        wide_of="weekday",
    )
    assert twice(store, path, reading).outcome.stored == 3
    assert [(day, hours) for day, _, _, _, hours in kept(store)] == [
        ("2024-02-05", 2.0),  # 7 February 2024 was a Wednesday
        ("2024-02-07", 1.5),
        ("2024-02-09", 0.5),
    ]


def test_a_workbook_with_heads_over_two_rows_and_a_second_sheet(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = xlsx(
        tmp_path / "hours.xlsx",
        {
            "2024": [
                ["Hours of the studio"],
                ["Job", "", "February", "", "Remarks"],
                ["Name", "Task", "Ilse", "Bruno", ""],
                ["Ferry", "cleaned", 1.5, timedelta(hours=2, minutes=15), "with care"],
                ["", "retouched", "", 4.0, ""],
                ["Total", "", 1.5, 6.25, ""],
            ],
            "Addresses": [["Who", "Where"], ["A lender", "A town"]],
        },
        merged=["A2:B2", "C2:D2"],
    )
    reading = diary(
        columns={
            "object": column("job_name"),
            "technique": column("job_task"),
            "note": column("remarks"),
            "date": fixed("29.2.2024"),
        },
        head_rows=2,
        wide_of="person",
        filled_down=("job_name",),
        left_out=NO_TOTALS,
    )
    words = {
        **WORDS,
        ("person", "February Ilse"): a_person("Ilse"),
        ("person", "February Bruno"): a_person("Bruno"),
    }
    first = twice(store, path, reading, words)
    assert first.file == "hours.xlsx, sheet 2024" and first.rows.lines.tolist() == [4, 4, 5]
    assert kept(store) == [
        ("2024-02-29", "24-001", "retouching", "Bruno", 4.0),
        ("2024-02-29", "24-001", "surface cleaning aqueous", "Bruno", 2.25),
        ("2024-02-29", "24-001", "surface cleaning aqueous", "Ilse", 1.5),
    ]


def test_an_open_document_with_a_sheet_for_each_month_and_clock_times(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    heads = ["Day", "From", "To", "Work", "What"]
    path = ods(
        tmp_path / "hours.ods",
        {
            "January": [
                heads,
                [date(2024, 1, 8), timedelta(hours=9), timedelta(hours=10, minutes=30), "Ferry", "cleaned"],
            ],
            "February": [heads, [date(2024, 2, 5), timedelta(hours=13), "15:00", "Weir", "retouched"]],
            "Notes": [["What I think", "When"], ["nothing", "never"]],
        },
    )
    reading = diary(
        columns={
            "date": column("day"),
            "started_at": column("from"),
            "ended_at": column("to"),
            "object": column("work"),
            "technique": column("what"),
            "person": fixed("Ilse"),
        }
    )
    say(store, path, reading)
    reports = bring(store, path)
    assert [(report.file, report.outcome.stored) for report in reports] == [
        ("hours.ods, sheet January", 1),
        ("hours.ods, sheet February", 1),
    ]
    before = kept(store)
    assert [report.outcome.already_held for report in bring(store, path)] == [1, 1] and kept(store) == before
    assert [hours for *_, hours in before] == [1.5, 2.0]
    assert (
        str(entries(store).started_at[0]) == "2024-01-08 08:00:00"
    )  # UTC; the studio's clock is an hour ahead


def test_german_words_decimal_commas_and_the_letters_of_windows(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "Stunden.csv"
    path.write_bytes(
        "Datum;Auftrag;Tätigkeit;Std.;Wer\nMo, 4. März 2024;Ferry;Firnis abgenommen;1,75;I.\n"
        "5.3.24;Ferry;Firnis abgenommen;1.250;I.\n".encode("cp1252")
    )
    reading = diary(
        columns={
            "date": column("datum"),
            "object": column("auftrag"),
            "technique": column("tatigkeit"),
            "hours": column("std"),
            "person": column("wer"),
        }
    )
    first = twice(store, path, reading)
    assert kept(store) == [("2024-03-04", "24-001", "varnish removal with solvent gel", "Ilse", 1.75)]
    # in a file with decimal commas 1.250 may be thousands
    assert first.faults["code"].tolist() == ["thousands_or_decimals"]
    assert first.faults["line"].tolist() == [3]


def test_days_in_every_manner_of_one_column(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "mixed.csv"
    days = [
        "3.4.2024",
        "2024-04-05",
        "6 April 2024",
        "April 7, 2024",
        "45390",
        "9/4/24",
        "2024/04/10",
        "mercredi 10 avril 2024",
    ]
    path.write_text(
        "Date;Job;What;Time\n" + "".join(f"{day};Ferry;cleaned;{n}\n" for n, day in enumerate(days, 1))
    )
    twice(store, path, diary(serial_days=True))
    # 45390 is 8 April 2024 by the 1900 date system (ISO/IEC 29500-1, 18.17.4.1)
    assert [(day, hours) for day, *_, hours in kept(store)] == [
        ("2024-04-03", 1.0),
        ("2024-04-05", 2.0),
        ("2024-04-06", 3.0),
        ("2024-04-07", 4.0),
        ("2024-04-08", 5.0),
        ("2024-04-09", 6.0),
        ("2024-04-10", 7.0),
        ("2024-04-10", 8.0),
    ]


def test_minutes_days_and_times_from_and_to(studio: Bring, store: Store, tmp_path: Path) -> None:
    for number, (unit, written, hours) in enumerate(
        [
            ("minutes", "90", 1.5),
            ("minutes", "1:30", 1.5),
            ("days", "0,5", 3.5),
            ("hours", "1 day", 7.0),
            ("days", "¼", 1.75),
        ]
    ):
        path = tmp_path / f"{number}.csv"
        path.write_text(f"Date;Job;What;Time\n{number + 1}.2.2024;Ferry;cleaned;{written}\n")
        twice(store, path, diary(hours_unit=unit, hours_a_day=7.0))
        assert kept(store)[-1][-1] == hours, written
    path = tmp_path / "clock.csv"
    path.write_text(
        "Date;Job;What;Time\n1.3.2024;Ferry;cleaned;9:00-12.30\n2.3.2024;Ferry;cleaned;1 pm – 2:30 pm\n"
    )
    reading = diary()
    columns = {name: source for name, source in reading.columns.items() if name != "hours"}
    twice(store, path, diary(columns={**columns, FROM_TO: column("time")}))
    assert [hours for day, *_, hours in kept(store) if day > "2024-03"] == [3.5, 1.5]


def test_what_a_text_means_may_be_a_new_work_studio_time_or_nothing(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;What;Time\n5.2.2024;Mill by night;cleaned;1\n"
        "6.2.2024;Office;bills;2\n7.2.2024;Holiday;;8\n8.2.2024;;;\n"
        "9.2.2024;Ferry in snow;fill cracks;3\n1.1.2023;Ferry;cleaned;4\n"
    )
    words = {
        **WORDS,
        ("object", "Mill by night"): a_new_work("24-003", "Mill by night"),
        ("object", "Office"): Meaning(values={"object": ""}),
        ("object", "Holiday"): LEFT_OUT,
        ("technique", "bills"): studio_time("studio time", "accounts"),
        ("technique", "fill cracks"): a_technique("filling", phase="structural repair"),
    }
    rules = (LeaveOut(column="job", test="empty"), LeaveOut(test="before", text="2024-01-01"))
    first = twice(store, path, diary(left_out=rules), words)
    assert first.rows.left_out == 3 and first.complete
    rows = entries(store)
    assert rows.object.fillna("").tolist() == ["24-003", "", "24-001"]
    assert rows.technique.tolist() == ["surface cleaning aqueous", "accounts", "filling"]
    assert rows.phase.tolist()[2] == "structural repair"
    title = store.cursor().execute("SELECT title FROM objects WHERE object = '24-003'").fetchall()
    assert title == [("Mill by night",)]


def test_a_calendar_is_a_row_for_each_time_that_an_event_took_place(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "bench.ics"
    path.write_text(CALENDAR.replace("\n", "\r\n"))
    known = ("location", "description", "hours", "whole_day", "status", "uid")
    reading = diary(
        columns={
            "date": column("date"),
            "started_at": column("start"),
            "ended_at": column("end"),
            "object": column("summary"),
            "technique": column("categories"),
            "person": fixed("Ilse"),
        },
        not_read=known,
        left_out=(LeaveOut(column="whole_day", test="is", text="yes"), LeaveOut(test="after", text="today")),
    )
    first = twice(store, path, reading)
    assert first.complete
    # RFC 5545, 3.8.5: each Tuesday until 16 April, without the 26th (EXDATE), the 9th moved (RECURRENCE-ID)
    assert [(day, hours) for day, *_, hours in kept(store)] == [
        ("2024-03-19", 1.5),
        ("2024-04-02", 1.5),
        ("2024-04-10", 0.75),
        ("2024-04-16", 1.5),
    ]
    # nine o'clock stays nine o'clock when the clock is put forward on 31 March 2024
    assert [f"{start:%H:%M}" for start in entries(store).started_at] == ["08:00", "07:00", "12:00", "07:00"]
    assert first.rows.left_out == 4  # the holidays of 2024, 2025 and 2026 so far, and what is to come
    # a calendar of another name has the same heads and is another table
    path.write_text(CALENDAR.replace("\n", "\r\n").replace("Bench of Ilse", "Appointments"))
    with pytest.raises(FileError) as caught:
        bring(store, path)
    assert str(caught.value) == (
        "bench.ics is none of the known forms, and nobody has said yet how it is read. Bring it in under"
        " Bring in logs, which asks once what its columns mean."
    )


def test_forty_thousand_rows_come_in_once(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "years.csv"
    days = [date(2014, 1, 1) + timedelta(days=n) for n in range(4_000)]
    works, words = ("Ferry", "Weir"), ("cleaned", "retouched")
    rows = [
        f"{day:%d.%m.%Y};{works[n % 2]};{words[n // 2 % 2]};{(n // 4 + 1) / 4:g}\n"
        for day in days
        for n in range(10)
    ]
    path.write_text("Date;Job;What;Time\n" + "".join(rows))
    first = twice(store, path, diary())
    assert first.outcome.stored == 40_000
    # 0.25 h four times, 0.5 h four times, 0.75 h twice a day
    assert entries(store).hours.sum() == pytest.approx(4_000 * (4 * 0.25 + 4 * 0.5 + 2 * 0.75))


def test_estimates_and_works_in_other_words(studio: Bring, store: Store, tmp_path: Path) -> None:
    works = tmp_path / "list of works.csv"
    works.write_text("Nr.;Picture;H (cm);W (cm);In\n24-010;Orchard behind a wall;50,5;70;4.1.2024\n;;;;\n")
    reading = Reading(
        rows="objects",
        columns={
            "object": column("nr"),
            "title": column("picture"),
            "height_cm": column("h_cm"),
            "width_cm": column("w_cm"),
            "received_on": column("in"),
        },
        day_order="dmy",
    )
    assert twice(store, works, reading, {}).outcome.stored == 1
    size = (
        store.cursor()
        .execute("SELECT height_cm, received_on FROM objects WHERE object = '24-010'")
        .fetchall()
    )
    assert size == [(50.5, date(2024, 1, 4))]
    offers = tmp_path / "offers.csv"
    offers.write_text(
        "For;Step;Hours;Sum\nOrchard behind a wall;cleaned;12 h;€ 1.450,00\n"
        "Orchard behind a wall;retouched;½;€ 1.450,00\n"
    )
    reading = offer(price=column("sum"), currency=fixed("EUR"), tax_in_price=fixed("no"))
    # the title of exactly one work is that work
    assert twice(store, offers, reading).complete
    lines = store.cursor().execute("SELECT technique, hours FROM estimate_lines ORDER BY hours").fetchall()
    assert lines == [("retouching", 0.5), ("surface cleaning aqueous", 12.0)]
    price = store.cursor().execute("SELECT price, made_on FROM estimate_versions").fetchall()
    assert [(float(amount), day) for amount, day in price] == [(1450.0, date(2024, 1, 10))]


def test_new_works_alone_come_from_a_list_of_titles(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "titles.csv"
    path.write_text("Picture,Came\nMill by night,2024-03-01\nFerry in snow,2024-01-02\nUnsaid,2024-03-02\n")
    reading = Reading(
        rows="objects",
        columns={"object": column("picture"), "title": column("picture"), "received_on": column("came")},
    )
    report = twice(store, path, reading, {("object", "Mill by night"): a_new_work("24-003", "Mill by night")})
    assert (report.outcome.stored, report.outcome.already_held, report.outcome.rejected) == (1, 1, 1)
    assert store.cursor().execute("SELECT count(*) FROM objects").fetchall() == [(3,)]


def test_what_cannot_be_read_is_said_of_its_cell_and_its_row(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;What;Time\n13.13.2024;Ferry;cleaned;1\n5.2.2024;Ferry;cleaned;long\n6.2.2024;Nobody's;glued;2\n"
        "7.2.2024;;cleaned;1\n8.2.2024;Ferry;cleaned;1\n"
    )
    report = twice(store, path, diary())
    assert report.faults[["line", "column", "value", "code"]].fillna("").to_numpy().tolist() == [
        [2, "date", "13.13.2024", "not_in_the_calendar"],
        [3, "hours", "long", "not_hours"],
        [4, "object", "Nobody's", "meaning_not_given"],
        [4, "technique", "glued", "meaning_not_given"],
        [5, "object", "", "object_missing"],
    ]
    assert report.outcome.stored == 1
    say(store, path, diary(day_order="unset"))
    assert set(bring(store, path)[0].faults["code"]) >= {"day_or_month_first"}


def test_a_workbook_of_before_2007(studio: Bring, store: Store, tmp_path: Path) -> None:
    """`tables/diary.xls` was written by another program: days, a length of time and texts in one column."""
    path = Path(shutil.copy(Path(__file__).parent / "tables" / "diary.xls", tmp_path))
    assert twice(store, path, diary()).complete
    assert [(day, hours) for day, *_, hours in kept(store)] == [
        ("2024-02-05", 1.5),
        ("2024-02-06", 0.75),
        ("2024-02-07", 1.25),
    ]


def test_a_sheet_for_each_work_is_of_the_work_that_names_it(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    head = ["Date", "What", "Time", "Phase"]
    path = xlsx(
        tmp_path / "works.xlsx",
        {
            "Ferry": [head, [date(2024, 2, 5), "cleaned", 1.5, "cleaning"]],
            "24-002": [head, [date(2024, 2, 5), "cleaned", 2.5, "retouching"]],
        },
    )
    reading = diary(
        columns={
            "date": column("date"),
            "object": Source(origin="sheet"),
            "technique": column("what"),
            "phase": column("phase"),
            "hours": column("time"),
            "person": fixed("Ilse"),
        }
    )
    twice(store, path, reading)
    assert [(work, hours) for _, work, _, _, hours in kept(store)] == [("24-001", 1.5), ("24-002", 2.5)]
    assert entries(store).phase.tolist() == ["cleaning", "retouching"]  # a technique in a phase
    # of sheets with the same heads only those that were named are read
    first = tmp_path / "again.xlsx"
    first.write_bytes(path.read_bytes())
    say(store, first, replace(reading, sheets=("24-002",)))
    reports = bring(store, first)
    assert [report.file for report in reports] == ["again.xlsx, sheet 24-002"]
    assert reports[0].rows.sheets_not_read == ("Ferry",)


def test_rules_leave_out_totals_other_years_and_rows_without_a_work_and_nothing_else(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;What;Time\n5.2.2024;Ferry;cleaned;1\nTOTAL 2024:;;;1\n6.2.2024;Totally else;cleaned;2\n"
        "7.2.2024;;cleaned;3\n31.12.2023;Ferry;cleaned;4\n1.1.2025;Ferry;cleaned;5\n8.2.2024;Weir;break;1\n"
    )
    rules = (
        LeaveOut(test="begins", text="Total"),
        LeaveOut(column="job", test="empty"),
        LeaveOut(test="before", text="2024-01-01"),
        LeaveOut(test="after", text="2024-12-31"),
        LeaveOut(column="what", test="is", text="Break"),
    )
    words = {**WORDS, ("object", "Totally else"): a_new_work("24-003", "Totally else")}
    report = twice(store, path, diary(left_out=rules), words)
    assert report.rows.left_out == 5 and report.outcome.rejected == 0
    assert [hours for *_, hours in kept(store)] == [1.0, 2.0]


def test_a_table_with_heads_and_no_rows_is_a_table(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "diary.csv"
    path.write_text("Date;Job;What;Time\n")
    report = twice(store, path, diary())
    assert (report.outcome.rows, report.rows.left_out) == (0, 0)


def test_a_wrong_column_taken_for_hours_is_said_of_each_row(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "notes.csv"
    path.write_text(
        "Date;Job;What;Time\n" + "".join(f"5.2.2024;Ferry;cleaned;note {n}\n" for n in range(20_000))
    )
    say(store, path, diary())
    report = bring(store, path)[0]
    assert report.outcome.rejected == 20_000 and set(report.faults["code"]) == {"not_hours"}
    assert report.faults["line"].tolist()[-1] == 20_001


def lines_kept(store: Store) -> list[tuple[str, str, str, float]]:
    """Work, phase, technique and hours of every entry, by day."""
    rows: list[tuple[str, str, str, float]] = (
        store.cursor()
        .execute("SELECT coalesce(object, ''), phase, technique, hours FROM time_entries ORDER BY day, hours")
        .fetchall()
    )
    return rows


def test_a_diary_that_names_phases_alone_is_of_phases_as_a_whole(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;Stage;Time\n5.2.2024;Ferry;Reinigung;3\n6.2.2024;Ferry;retouching;4\n7.2.2024;Weir;;1\n"
        "8.2.2024;Weir;all of it;2\n"
    )
    reading = diary(
        columns={
            "date": column("date"),
            "object": column("job"),
            "phase": column("stage"),
            "hours": column("time"),
            "person": fixed("Ilse"),
        }
    )
    meanings = {
        **WORDS,
        ("phase", "Reinigung"): Meaning(values={"phase": "cleaning"}),
        ("phase", "all of it"): a_phase(""),
    }
    assert twice(store, path, reading, meanings).complete
    assert lines_kept(store) == [
        ("24-001", "cleaning", "", 3.0),
        ("24-001", "retouching", "", 4.0),
        ("24-002", "", "", 1.0),
        ("24-002", "", "", 2.0),
    ]


def test_techniques_and_whole_phases_and_works_stand_in_one_column(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        "Date;Job;What;Time\n5.2.2024;Ferry;cleaned;1\n6.2.2024;Ferry;paint;2\n7.2.2024;Ferry;everything;3\n"
        "8.2.2024;Ferry;;4\n"
    )
    meanings = {
        **WORDS,
        ("technique", "paint"): a_phase("retouching"),
        ("technique", "everything"): a_phase(""),
    }
    assert twice(store, path, diary(), meanings).complete
    assert lines_kept(store) == [
        ("24-001", "cleaning", "surface cleaning aqueous", 1.0),
        ("24-001", "retouching", "", 2.0),
        ("24-001", "", "", 3.0),
        ("24-001", "", "", 4.0),
    ]


def test_a_list_of_works_with_the_hours_of_each_as_a_whole(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    """What was estimated for each, and the days on which its hours were written down."""
    offers = tmp_path / "2024.csv"
    offers.write_text("Work;Hours\nFerry;120\nWeir;46,5\nTotal;166,5\n")
    reading = Reading(
        rows="estimates",
        columns={
            "object": column("work"),
            "hours": column("hours"),
            "version": fixed("1"),
            "made_on": fixed("2 January 2024"),
        },
        left_out=NO_TOTALS,
    )
    assert twice(store, offers, reading).complete
    shown = "SELECT object, phase, technique, hours FROM estimate_lines ORDER BY object"
    assert store.cursor().execute(shown).fetchall() == [("24-001", "", "", 120.0), ("24-002", "", "", 46.5)]
    hours = tmp_path / "hours of 2024.csv"
    hours.write_text("Day;Work;Time\n5.2.2024;Ferry;7\n6.2.2024;Ferry;6,5\n6.2.2024;Weir;1\n")
    reading = diary(
        columns={
            "date": column("day"),
            "object": column("work"),
            "hours": column("time"),
            "person": fixed("Ilse"),
        }
    )
    assert twice(store, hours, reading).complete
    assert lines_kept(store) == [("24-001", "", "", 7.0), ("24-002", "", "", 1.0), ("24-001", "", "", 6.5)]


def test_an_estimate_with_a_column_for_each_phase_has_phases_as_a_whole(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "offers.csv"
    path.write_text("Work;Reinigung;Retusche;Sum\nFerry;10;20;30\nWeir;5;;5\n")
    reading = Reading(
        rows="estimates",
        columns={"object": column("work"), "version": fixed("1"), "made_on": fixed("2 January 2024")},
        wide_of="phase",
        not_read=("sum",),
    )
    meanings = {
        **WORDS,
        ("phase", "Reinigung"): Meaning(values={"phase": "cleaning"}),
        ("phase", "Retusche"): Meaning(values={"phase": "retouching"}),
    }
    assert twice(store, path, reading, meanings).complete
    shown = "SELECT object, phase, technique, hours FROM estimate_lines ORDER BY object, hours"
    assert store.cursor().execute(shown).fetchall() == [
        ("24-001", "cleaning", "", 10.0),
        ("24-001", "retouching", "", 20.0),
        ("24-002", "cleaning", "", 5.0),
    ]
