"""Bring in logs: tables in other words than ours are spoken of once, and come in by what was said."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from ingest.foreign import memory
from ingest.importing.files import import_files
from ingest.store import Store
from ingest.studio import people
from ingest.studio.settings import write_settings
from tests.conftest import NOW, Bring
from tests.drawn import checked as drawn
from tests.drawn import choose_option, draw, field_of, fill_field, headings, press_button, rows_of, words_of
from tests.ingest.foreign.example_tables import CALENDAR, FEBRUARY, HEADS
from tests.ingest.foreign.workbooks import Cell, xlsx


def page_of(monkeypatch: pytest.MonkeyPatch, store: Store) -> AppTest:
    return draw(monkeypatch, store, "bring_in_logs")


def upload(page: AppTest, *files: tuple[str, bytes]) -> None:
    (uploader,) = page.file_uploader
    uploader.set_value([(name, content, "application/octet-stream") for name, content in files])
    drawn(page.run())


def diary(folder: Path, rows: list[list[Cell]] = FEBRUARY, name: str = "diary.xlsx") -> tuple[str, bytes]:
    """A workbook of one sheet."""
    return name, xlsx(folder / name, {"2024": rows}).read_bytes()


def say(page: AppTest, label: str, *choices: str) -> None:
    """Say what a text means, and with a second choice which word it is."""
    choose_option(page, label, choices[0])
    if len(choices) > 1:
        column, _, text = label.partition(" ")
        asks = {"Work": "Which work is", "Technique": "Which", "Person": "Who is"}[column]
        choice = next(
            choice for choice in page.selectbox if choice.label.startswith(asks) and text in choice.label
        )
        choose_option(page, choice.label, choices[1])


def say_diary(page: AppTest) -> None:
    say(page, 'Work "Ferry"', "24-001")
    say(page, 'Work "Weir"', "24-002")
    say(page, 'Technique "cleaned"', "a technique", "surface cleaning")
    say(page, 'Technique "retouched a bit"', "a phase as a whole", "retouching")
    say(page, 'Person "I', "another person", "Ilse")


def logged(store: Store) -> list[tuple[str, str, str, str, str, float]]:
    """Day, work, phase, technique, person and hours of every entry."""
    rows: list[tuple[str, str, str, str, str, float]] = (
        store.cursor()
        .execute(
            """SELECT strftime(day, '%Y-%m-%d'), coalesce(object, ''), phase, technique, person,
                round(hours, 4)
            FROM time_entries ORDER BY ALL"""
        )
        .fetchall()
    )
    return rows


def day_first(store: Store) -> None:
    with store.writing() as con:
        write_settings(con, {"day_order": "dmy"})


COLUMN_HEADS = {"work", "phase", "technique", "person", "day", "hours"}
OF_FEBRUARY = [
    ("2024-02-05", "24-001", "cleaning", "surface cleaning aqueous", "Ilse", 1.5),
    ("2024-02-06", "24-002", "retouching", "", "Ilse", 0.75),
    ("2024-02-07", "24-001", "cleaning", "surface cleaning aqueous", "Ilse", 2.0),
]


@pytest.fixture
def with_ilse(studio: Bring, store: Store) -> Store:
    """Two works, and a person who is known by a name and nothing logged."""
    with store.writing() as con:
        people.add(con, "Ilse", NOW)
    return store


def test_a_workbook_is_spoken_of_once_and_next_month_comes_in_with_one_press(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    assert headings(page) == ["diary.xlsx"]
    assert "What is filled in here is a first guess." in words_of(page)
    assert rows_of(page, "Columns of the table")[1] == ["Date", "2024-02-05 / 2024-02-06", "day"]
    first = rows_of(page, "What becomes of the rows")
    assert first[1][:2] == ["2", "asked about"]
    assert first[1][2] == 'Still to say, under Words: work "Ferry", technique "cleaned" and person "I.".'
    assert first[4][1:3] == ["left out", 'any cell begins with "total"']
    assert "4 rows: 3 asked about, 1 left out. Nothing is brought in yet." in words_of(page)
    outcome = next(item for item in page.radio if item.label == "Rows that are shown")
    outcome.set_value("asked about")
    drawn(page.run())
    assert [row[0] for row in rows_of(page, "What becomes of the rows")] == ["row", "2", "3", "4"]
    say_diary(page)
    shown = rows_of(page, "What becomes of the rows")
    assert shown[0][:2] == ["row", "status"]
    assert {"why", "as it is written", *COLUMN_HEADS} == set(shown[0][2:])
    assert [row[1] for row in shown[1:]] == ["kept", "kept", "kept", "left out"]
    place = {head: number for number, head in enumerate(shown[0])}
    assert [(row[place["phase"]], row[place["technique"]]) for row in shown[1:4]] == [
        ("cleaning", "surface cleaning aqueous"),
        ("retouching", "retouching as a whole"),
        ("cleaning", "surface cleaning aqueous"),
    ]
    # nothing is brought in before it is pressed
    assert logged(with_ilse) == []
    press_button(page, "Bring in diary")
    assert logged(with_ilse) == OF_FEBRUARY
    assert "diary.xlsx was read; what became of each row stands below." in words_of(page)
    assert "4 rows in the file: 3 read, and 1 left out by what was said of the table." in words_of(page)
    march: list[list[Cell]] = [HEADS, [date(2024, 3, 4), "Weir", "cleaned", 1.0, "I."]]
    upload(page, diary(tmp_path, march, "diary of march.xlsx"))
    assert "Read as diary.xlsx was, as said on" in words_of(page)
    press_button(page, "Bring in as last time")
    assert logged(with_ilse)[3:] == [
        ("2024-03-04", "24-002", "cleaning", "surface cleaning aqueous", "Ilse", 1.0)
    ]
    assert page.file_uploader[0].value == []


def test_a_table_is_only_checked_before_it_is_brought_in_and_after(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    press_button(page, "Only check diary")
    assert "diary.xlsx was only checked: nothing of it is brought in." in words_of(page)
    assert "4 rows in the file: 3 read" in words_of(page) and "would be stored" in words_of(page)
    assert logged(with_ilse) == [] and [item.reading for item in memory.read_tables(with_ilse.cursor())] == [
        None
    ]
    press_button(page, "Bring in diary")
    assert logged(with_ilse) == OF_FEBRUARY
    longer: list[list[Cell]] = [*FEBRUARY[:-1], [date(2024, 2, 9), "Ferry", "cleaned", "long", "I."]]
    upload(page, diary(tmp_path, longer))
    press_button(page, "Only check diary")
    assert "4 rows in the file." in words_of(page) and rows_of(page, "Faults")[1][2] == "long"
    assert logged(with_ilse) == OF_FEBRUARY and "To mend" not in " ".join(headings(page))


def test_texts_that_are_new_in_a_known_table_are_said_before_they_are_rejected(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    press_button(page, "Bring in diary")
    march: list[list[Cell]] = [
        HEADS,
        [date(2024, 3, 4), "Weir", "cleaned", 1.0, "I."],
        [date(2024, 3, 5), "Weir", "cleaned", 2.0, "Bo"],
    ]
    upload(page, diary(tmp_path, march, "march.xlsx"))
    assert "1 text of works, techniques or people is new in it" in words_of(page)
    press_button(page, "Look at how it is read")
    say(page, 'Person "Bo"', "a new person")
    press_button(page, "Bring in march")
    assert [row[-2:] for row in logged(with_ilse)[3:]] == [("Ilse", 1.0), ("Bo", 2.0)]


def test_rows_that_wait_to_be_mended_are_settled_once_their_words_are_said(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say(page, 'Work "Ferry"', "24-001")
    say(page, 'Work "Weir"', "24-002")
    say(page, 'Person "I', "another person", "Ilse")
    press_button(page, "Bring in diary")
    assert "To mend: 3 rows of diary.xlsx" in headings(page)
    upload(page, diary(tmp_path))
    press_button(page, "Look at how it is read")
    say(page, 'Technique "cleaned"', "a technique", "surface cleaning")
    press_button(page, "Bring in diary")
    assert "2 rows under To mend settled" in words_of(page)
    assert "To mend: 1 row of diary.xlsx" in headings(page)


def test_what_is_half_said_outlives_the_visit(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    choose_option(page, "Note", "Job")
    say(page, 'Technique "cleaned"', "a technique", "surface cleaning")
    assert with_ilse.cursor().execute("SELECT reading FROM foreign_tables").fetchall() == [(None,)]
    again = page_of(monkeypatch, with_ilse)
    assert "Half said: diary.xlsx. Choose the file again to go on where you stopped." in words_of(again)
    upload(again, diary(tmp_path))
    press_button(again, "Go on where you stopped")
    by_label = {choice.label: choice.value for choice in again.selectbox}
    assert by_label["Note"] == "column job"
    assert by_label['Which technique is "cleaned"?'] == "surface cleaning aqueous"
    # and another time anew
    other = page_of(monkeypatch, with_ilse)
    upload(other, diary(tmp_path))
    press_button(other, "Begin anew")
    assert {choice.label: choice.value for choice in other.selectbox}["Note"] == ""


def test_a_redraw_loses_nothing_that_was_said(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    fill_field(page, "Left out: rows in which a cell begins with", "total, carried over")
    drawn(page.run())
    choose_option(page, "A bare number of hours is in", "minutes")
    choose_option(page, "A bare number of hours is in", "hours")
    page.switch_page("pages/studio.py")
    drawn(page.run())
    page.switch_page("pages/bring_in_logs.py")
    drawn(page.run())
    assert [row[1] for row in rows_of(page, "What becomes of the rows")[1:]] == [*(["kept"] * 3), "left out"]
    assert field_of(page, "Left out: rows in which a cell begins").value == "total, carried over"
    press_button(page, "Bring in diary")
    assert logged(with_ilse) == OF_FEBRUARY


def test_the_likeliest_are_shown_before_they_count(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    day_first(with_ilse)
    upload(page, ("diary.csv", b"Date;Job;What;Time\n5.2.2024;Ferry in the snow;retouching of losses;1\n"))
    press_button(page, "Take all the likeliest")
    likeliest = rows_of(page, "The likeliest matches")
    assert likeliest[1][0] == "Ferry in the snow (work)" and likeliest[1][2].startswith("24-001")
    press_button(page, "Take none of them")
    assert not [button for button in page.button if button.label.startswith("Take these")]
    press_button(page, "Take all the likeliest")
    assert {row[1] for row in rows_of(page, "What becomes of the rows")[1:]} == {"asked about"}
    press_button(page, "Take these 2")
    assert {row[1] for row in rows_of(page, "What becomes of the rows")[1:]} == {"kept"}


def test_files_of_the_same_heads_are_one_and_others_wait(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    offers = b"For;Step;Hours;Price\nFerry in snow;facing;3;100\n"
    own = b"object,technique,person,date,hours\n24-001,facing,Ilse,2024-01-09,1\n"
    march: list[list[Cell]] = [HEADS, [date(2024, 3, 4), "Weir", "cleaned", 1.0, "I."]]
    upload(
        page, diary(tmp_path), ("offers.csv", offers), diary(tmp_path, march, "march.xlsx"), ("log.csv", own)
    )
    (choice,) = [choice for choice in page.selectbox if choice.label.startswith("2 tables wait")]
    assert choice.options == ["diary.xlsx and 1 more", "offers.csv"]
    press_button(page, "Bring in")  # of our own form, as ever
    assert [row[0] for row in logged(with_ilse)] == ["2024-01-09"]
    say_diary(page)
    press_button(page, "Bring in diary")
    assert [row[0] for row in logged(with_ilse)] == [
        "2024-01-09",
        "2024-02-05",
        "2024-02-06",
        "2024-02-07",
        "2024-03-04",
    ]
    assert "offers.csv" in headings(page)


def test_lines_of_an_estimate_and_what_all_rows_have(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, ("offer.csv", b"Step;Hours\nfacing;3\nall the rest;20\n"))
    page.radio[0].set_value("estimates")
    drawn(page.run())
    assert "Still to say: work and made on." in words_of(page)
    choose_option(page, "Work", "the same for all rows")
    choose_option(page, "Work, of all rows", "24-001")
    choose_option(page, "Made on", "the same for all rows")
    fill_field(page, "Made on, of all rows", "3 January 2024")
    drawn(page.run())
    choose_option(page, "Technique", "Step")
    say(page, 'Technique "all the rest"', "the work as a whole")
    press_button(page, "Bring in offer")
    lines = with_ilse.cursor().execute(
        "SELECT object, phase, technique, hours FROM estimate_lines ORDER BY hours"
    )
    assert lines.fetchall() == [("24-001", "stabilisation", "facing", 3.0), ("24-001", "", "", 20.0)]


def test_new_works_studio_time_and_rows_that_are_left_out(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    table = (
        "Date;Job;What;Time\n5.2.2024;Mill by night;facing;1\n6.2.2024;office;letters;2\n7.2.2024;home;x;3\n"
    )
    day_first(with_ilse)
    upload(page, ("diary.csv", table.encode()))
    say(page, 'Work "Mill by night"', "a new work")
    assert next(field for field in page.text_input if field.label == "Its code").value == "24-003"
    say(page, 'Work "office"', "studio time")
    choose_option(page, 'Which studio time is "office"', "studio time as a whole")
    say(page, 'Work "home"', "leave its rows out")
    say(page, 'Technique "letters"', "leave its rows out")
    say(page, 'Technique "letters"', "studio time")
    choose_option(page, 'Which studio time is "letters"', "enquiries")
    press_button(page, "Bring in diary")
    assert [(row[1], row[3], row[5]) for row in logged(with_ilse)] == [
        ("24-003", "facing", 1.0),
        ("", "enquiries", 2.0),
    ]
    title = with_ilse.cursor().execute("SELECT title FROM objects WHERE object = '24-003'").fetchall()
    assert title == [("Mill by night",)]


def test_a_table_with_a_column_for_each_person(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    table = "Date;Job;What;I.;Sum\n5.2.2024;24-001;facing;1;1\n6.2.2024;24-001;facing;2;2\n"
    upload(page, ("wide.csv", table.encode()))
    choose_option(page, "Hours", "not in the table")
    choose_option(page, "A column for each", "person")
    (columns,) = [choice for choice in page.multiselect if choice.label == "Columns with the hours"]
    columns.set_value(["i"])
    drawn(page.run())
    choose_option(page, "Days in numbers are written", "day, month, year")
    say(page, 'Person "I', "another person", "Ilse")
    press_button(page, "Bring in wide")
    assert [(row[4], row[5]) for row in logged(with_ilse)] == [("Ilse", 1.0), ("Ilse", 2.0)]


def test_many_texts_are_a_list_that_grows(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows = "".join(f"5.2.2024;24-001;qx{n:03};1\n" for n in range(60))
    upload(page, ("diary.csv", f"Date;Job;What;Time\n{rows}".encode()))
    choices = [choice for choice in page.selectbox if choice.label.startswith('Technique "qx')]
    assert len(choices) == 25 and "The first 25 of 60 texts." in words_of(page)
    say(page, 'Technique "qx000"', "leave its rows out")
    press_button(page, "Show 25 more")
    next(box for box in page.checkbox if box.label == "Only those not said yet").check()
    drawn(page.run())
    choices = [choice for choice in page.selectbox if choice.label.startswith('Technique "qx')]
    assert len(choices) == 50 and "The first 50 of 59 texts." in words_of(page)
    assert not any("qx000" in choice.label for choice in choices)


def test_what_techniques_and_people_are_called_is_kept_as_a_spelling_and_undone_under_studio(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    next(box for box in page.checkbox if box.label == "Keep as spellings of people").uncheck()
    drawn(page.run())
    press_button(page, "Bring in diary")
    assert "1 text kept as other spellings, listed under Studio." in words_of(page)
    # a phase as a whole is no spelling of a technique, and a work's other name stays with its table
    assert spelled(with_ilse) == [("technique", "cleaned", "diary.xlsx")]
    own = "object,technique,person,date,hours\n24-001,cleaned,Ilse,2024-01-09,1\n"
    (tmp_path / "log.csv").write_text(own)
    assert import_files(with_ilse, [tmp_path / "log.csv"], now=NOW)[0].complete
    techniques = draw(monkeypatch, with_ilse, "studio", part="techniques")
    assert "Spellings that came with tables: 1" in [part.label for part in techniques.expander]
    techniques = opened(techniques, "spellings of tables technique")
    assert "cleaned: surface cleaning aqueous, from diary.xlsx" in words_of(techniques)
    press_button(techniques, "Undo cleaned")
    assert spelled(with_ilse) == []
    assert len(logged(with_ilse)) == 4  # what came in stays
    report = import_files(with_ilse, [tmp_path / "log.csv"], now=NOW, write_rejects=False)[0]
    assert report.faults["code"].tolist() == ["unknown_technique"]


def test_a_known_table_is_listed_and_forgotten(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    press_button(page, "Bring in diary")
    assert "Tables that are known: 1" in [part.label for part in page.expander]
    assert "diary.xlsx: hours worked, as said on" in words_of(page)
    assert "Heads: date, job, time, what, who" in words_of(page)
    press_button(page, "Forget how diary")
    assert memory.read_tables(with_ilse.cursor()) == [] and logged(with_ilse) == OF_FEBRUARY
    upload(page, diary(tmp_path))
    assert "What is filled in here is a first guess." in words_of(page)


def test_what_cannot_be_read_says_what_and_the_mend(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, ("hours.xlsx", b"PK\x03\x04 no workbook"))
    assert "hours.xlsx cannot be read as a workbook" in words_of(page)
    assert "Open it in the program that wrote it and save it again" in words_of(page)
    assert headings(page) == []
    # one of our forms with a slip in its heads says so
    upload(page, ("log.csv", b"object,technique,persn,date,hours\n24-001,facing,Ilse,2024-01-09,1\n"))
    assert 'lacks the column "person". Perhaps rename "persn" to "person".' in words_of(page)


def test_rows_that_stay_out_are_named_by_sheet_and_row(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows: list[list[Cell]] = [*FEBRUARY[:4], [date(2024, 2, 9), "Ferry", "cleaned", "long", "I."]]
    path = xlsx(tmp_path / "diary.xlsx", {"2024": rows, "notes": [["What I think"], ["nothing"]]})
    upload(page, (path.name, path.read_bytes()))
    say_diary(page)
    assert rows_of(page, "What becomes of the rows")[4][2].startswith("hours: ")
    press_button(page, "Bring in diary")
    assert "diary.xlsx, sheet 2024: time entries" in headings(page)
    assert rows_of(page, "Faults")[0][0] == "row" and rows_of(page, "Faults")[1][:3] == ["5", "hours", "long"]
    assert "Sheets not read, as nobody has said what they hold: notes." in words_of(page)


def test_a_calendar_is_guessed_whole_and_what_it_leaves_out_can_be_taken_back(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, ("bench.ics", CALENDAR.encode()))
    rules = [box for box in page.checkbox if box.label.startswith("Left out: ")]
    assert [(box.label, box.value) for box in rules] == [
        ('Left out: whole_day is "yes"', True),
        ('Left out: status is "cancelled"', True),
        ("Left out: after today", True),
    ]
    say(page, 'Work "Ferry"', "24-001")
    say(page, 'Technique "cleaned"', "a technique", "surface cleaning")
    assert rows_of(page, "What becomes of the rows")[0][0] == "event"
    assert "8 rows: 4 kept, 4 left out. Nothing is brought in yet." in words_of(page)
    # of what lies ahead nothing is asked
    assert not any("Weir" in choice.label for choice in page.selectbox)
    next(box for box in page.checkbox if "whole" in box.label).uncheck()
    drawn(page.run())
    assert 'Work "Holiday", ' in "".join(choice.label for choice in page.selectbox)
    next(box for box in page.checkbox if "whole" in box.label).check()
    drawn(page.run())
    press_button(page, "Bring in bench")
    assert sorted({(row[1], row[5]) for row in logged(with_ilse)}) == [("24-001", 0.75), ("24-001", 1.5)]


def test_another_sheet_or_row_of_heads_is_another_first_guess(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    path = xlsx(
        tmp_path / "hours.xlsx",
        {
            "2023": [*FEBRUARY, *FEBRUARY[1:3]],
            "2024": [
                ["Hours of the studio", "a line above"],
                ["Day", "Picture", "Step", "h", "Name"],
                *FEBRUARY[1:4],
            ],
        },
    )
    upload(page, (path.name, path.read_bytes()))
    assert rows_of(page, "Columns of the table")[1][0] == "Date"
    choose_option(page, "Sheet", "2024")
    assert [row[::2] for row in rows_of(page, "Columns of the table")[1:]] == [
        ["Day", "day"],
        ["Picture", "work"],
        ["Step", "technique"],
        ["h", "hours"],
        ["Name", "person"],
    ]
    choose_option(page, "The heads stand in", "row 1")
    assert rows_of(page, "Columns of the table")[1][0] == "Hours of the studio"
    choose_option(page, "The heads stand in", "row 2")
    next(box for box in page.checkbox if box.label.startswith("Only sheets called 2024")).check()
    drawn(page.run())
    say_diary(page)
    press_button(page, "Bring in hours")
    assert logged(with_ilse) == OF_FEBRUARY
    assert memory.read_tables(with_ilse.cursor())[0].reading.sheets == ("2024",)  # type: ignore[union-attr]


PROMISED: list[list[Cell]] = [
    ["Picture", "Step", "Hours promised", "Promised on"],
    ["24-001", "facing", 4.0, date(2024, 1, 10)],
    ["24-002", "retouching", 6.0, date(2024, 1, 11)],
]


def test_what_a_row_is_stays_as_it_was_chosen_when_the_sheet_is_another(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    later: list[list[Cell]] = [[*PROMISED[0][:2], "Time", "Day"], *PROMISED[1:]]
    sheets = {"2024": [*FEBRUARY, *FEBRUARY[1:4]], "Promised": PROMISED, "Later": later}
    path = xlsx(tmp_path / "year.xlsx", sheets)
    upload(page, (path.name, path.read_bytes()))
    kind = page.radio[0]
    assert kind.value == "time entries"
    choose_option(page, "Sheet", "Promised")
    assert page.radio[0].value == "estimates"  # guessed, as nobody has said it
    values = {choice.label: choice.value for choice in page.selectbox}
    assert (values["Made on"], values["Approved on"]) == ("column promised_on", "column promised_on")
    choose_option(page, "Sheet", "Later")
    assert page.radio[0].value == "time entries"
    page.radio[0].set_value("estimates")
    drawn(page.run())
    choose_option(page, "The heads stand in", "row 2")
    choose_option(page, "The heads stand in", "row 1")
    choose_option(page, "Sheet", "2024")
    assert page.radio[0].value == "estimates"
    choose_option(page, "Sheet", "Later")
    assert page.radio[0].value == "estimates"
    # of a promise no person is guessed
    assert not any(choice.label == "Person, of all rows" for choice in page.selectbox)


def said_otherwise_later(page: AppTest, folder: Path) -> None:
    """A diary that came in, chosen again, with one of its words said otherwise."""
    upload(page, diary(folder))
    say_diary(page)
    press_button(page, "Bring in diary")
    more: list[list[Cell]] = [*FEBRUARY, [date(2024, 2, 9), "Weir", "cleaned", 4.0, "I."]]
    upload(page, diary(folder, more))
    press_button(page, "Look at how it is read")
    say(page, 'Technique "cleaned"', "a technique", "facing")


TWICE = (
    '2 rows of diary.xlsx came in before with "cleaned" as surface cleaning aqueous. Brought in as facing'
    " they would count twice."
)


def test_a_word_said_otherwise_later_moves_what_came_in_by_it(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    said_otherwise_later(page, tmp_path)
    assert TWICE in words_of(page)
    assert not [button for button in page.button if button.label.startswith("Bring in diary")]
    press_button(page, "Move them")
    assert [row[3] for row in logged(with_ilse)] == ["facing", "", "facing", "facing"]
    kept = with_ilse.cursor().execute("SELECT count(*) FROM history WHERE kind = 'time_entries'")
    assert kept.fetchall() == [(2,)]
    upload(page, diary(tmp_path))
    assert "would count twice" not in words_of(page)


def test_a_word_said_otherwise_later_can_leave_what_came_in_by_it(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    said_otherwise_later(page, tmp_path)
    press_button(page, "Leave them as they were")
    aqueous = "surface cleaning aqueous"
    assert [row[3] for row in logged(with_ilse)] == [aqueous, "", aqueous, "facing"]
    upload(page, diary(tmp_path))
    press_button(page, "Bring in as last time")
    assert len(logged(with_ilse)) == 4


def test_a_table_read_otherwise_later_moves_what_came_in_by_it(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows: list[list[Cell]] = [HEADS, [date(2024, 2, 5), "Ferry", "cleaned", "4", "Ilse"]]
    upload(page, diary(tmp_path, rows))
    say(page, 'Work "Ferry"', "24-001")
    say(page, 'Technique "cleaned"', "a technique", "surface cleaning")
    press_button(page, "Bring in diary")
    upload(page, diary(tmp_path, rows))
    press_button(page, "Look at how it is read")
    choose_option(page, "A bare number of hours is in", "minutes")
    assert (
        "1 row of diary.xlsx came in before, with lengths in hours, now in minutes. Brought in as it reads"
        " now it would count twice." in words_of(page)
    )
    press_button(page, "Move them")
    assert [row[-1] for row in logged(with_ilse)] == [0.0667]


def test_a_change_of_mind_on_a_text_that_became_a_spelling_holds_and_undoes_the_spelling(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    press_button(page, "Bring in diary")
    assert ("technique", "cleaned", "diary.xlsx") in spelled(with_ilse)
    march: list[list[Cell]] = [HEADS, [date(2024, 3, 4), "Weir", "cleaned", 1.0, "I."]]
    upload(page, diary(tmp_path, march, "march.xlsx"))
    press_button(page, "Look at how it is read")
    choose_option(page, 'Technique "cleaned"', "a phase as a whole")
    # the choice stays, and nothing is brought in by the word as it was
    chosen = next(choice for choice in page.selectbox if choice.label.startswith('Technique "cleaned"'))
    assert chosen.value == "phase" and "1 text of 3 still to say." in words_of(page)
    assert next(button for button in page.button if button.label.startswith("Bring in march")).disabled
    choose_option(page, 'Which phase is "cleaned"', "retouching")
    assert (
        "Brought in so, 1 spelling of the studio that came with a table is undone: cleaned (surface cleaning"
        " aqueous)." in words_of(page)
    )
    press_button(page, "Bring in march")
    assert logged(with_ilse)[3] == ("2024-03-04", "24-002", "retouching", "", "Ilse", 1.0)
    assert "1 spelling undone: cleaned." in words_of(page)
    assert [kept[1] for kept in spelled(with_ilse)] == ["i."]
    # and back again
    upload(page, diary(tmp_path, march, "march.xlsx"))
    press_button(page, "Look at how it is read")
    say(page, 'Technique "cleaned"', "a technique", "surface cleaning")
    press_button(page, "Move them")
    assert logged(with_ilse)[3][3] == "surface cleaning aqueous"
    assert ("technique", "cleaned", "march.xlsx") in spelled(with_ilse)


def test_a_text_that_a_known_word_of_the_studio_is_again_is_no_longer_said_otherwise(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows: list[list[Cell]] = [HEADS, [date(2024, 3, 4), "24-001", "facing", 1.0, "Ilse"]]
    upload(page, diary(tmp_path, rows))
    page = opened(page, "table 1 0 known")
    say(page, 'Technique "facing"', "a technique", "retouching")
    press_button(page, "Bring in diary")
    assert logged(with_ilse)[0][3] == "retouching"
    upload(page, diary(tmp_path, rows, "again.xlsx"))
    press_button(page, "Look at how it is read")
    choose_option(page, 'Technique "facing"', "as the studio spells it")
    press_button(page, "Move them")
    assert [row[3] for row in logged(with_ilse)] == ["facing"]


def test_a_work_said_as_new_can_be_what_another_text_means(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    day_first(with_ilse)
    table = "Date;Job;What;Time\n5.2.2024;Harbour, evening;facing;1\n6.2.2024;Harbour;facing;2\n"
    upload(page, ("diary.csv", table.encode()))
    say(page, 'Work "Harbour, evening"', "a new work")
    say(page, 'Work "Harbour"', "another work")
    asks = next(choice for choice in page.selectbox if choice.label == 'Which work is "Harbour"?')
    assert "24-003  Harbour, evening (new)" in asks.options
    choose_option(page, 'Which work is "Harbour"?', "24-003")
    press_button(page, "Bring in diary")
    assert [(row[1], row[5]) for row in logged(with_ilse)] == [("24-003", 1.0), ("24-003", 2.0)]


def test_all_works_that_are_not_known_are_new_ones_in_one_press(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    day_first(with_ilse)
    table = (
        "Date;Job;What;Time\n5.2.2024;Mill;facing;1\n6.2.2023;Orchard;facing;2\n7.2.2024;24-001;facing;3\n"
    )
    upload(page, ("diary.csv", table.encode()))
    press_button(page, "All of these are new works")
    shown = [["Mill", "1", "24-003 Mill"], ["Orchard", "1", "23-001 Orchard"]]
    assert rows_of(page, "New works")[1:] == shown
    press_button(page, "Take none as a new work")
    press_button(page, "All of these are new works")
    assert "asked about" in {row[1] for row in rows_of(page, "What becomes of the rows")[1:]}
    press_button(page, "Take these 2 as new works")
    press_button(page, "Bring in diary")
    assert [row[1] for row in logged(with_ilse)] == ["23-001", "24-003", "24-001"]


def test_a_sheet_that_is_not_read_is_opened_by_its_button(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    path = xlsx(tmp_path / "year.xlsx", {"2024": [*FEBRUARY, *FEBRUARY[1:4]], "Promised": PROMISED})
    upload(page, (path.name, path.read_bytes()))
    say_diary(page)
    press_button(page, "Bring in year")
    assert "Sheets not read, as nobody has said what they hold: Promised." in words_of(page)
    press_button(page, "Say what Promised holds")
    assert page.radio[0].value == "estimates" and headings(page)[0] == "year.xlsx"
    press_button(page, "Not now")
    # and where the file comes again
    upload(page, (path.name, path.read_bytes()))
    assert [button.label for button in page.button if button.label.startswith("Bring in as last time")]
    press_button(page, "Say what Promised holds")
    choose_option(page, "Version", "the same for all rows")
    press_button(page, "Bring in year")
    lines = with_ilse.cursor().execute("SELECT object, technique, hours FROM estimate_lines ORDER BY hours")
    assert lines.fetchall() == [("24-001", "facing", 4.0), ("24-002", "retouching", 6.0)]
    approved = with_ilse.cursor().execute("SELECT DISTINCT approved_on IS NOT NULL FROM estimate_versions")
    assert approved.fetchall() == [(True,)]


def test_an_empty_field_is_named_and_the_one_person_of_a_studio_fills_it(
    studio: Bring, store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, store)
    upload(page, ("diary.csv", b"Date;Job;What;Time\n5.2.2024;24-001;facing;1\n"))
    assert "Still to say: person. Choose a column, or what it is for all rows." in words_of(page)
    choose_option(page, "Person", "the same for all rows")
    assert "Still to fill in: Person, of all rows." in words_of(page)
    with store.writing() as con:
        people.add(con, "Ilse", NOW)
    page = page_of(monkeypatch, store)
    upload(page, ("diary.csv", b"Date;Job;What;Time;Who\n5.2.2024;24-001;facing;1;I.\n"))
    choose_option(page, "Person", "the same for all rows")
    who = next(choice for choice in page.selectbox if choice.label == "Person, of all rows")
    assert who.value == "Ilse" and "Still to" not in words_of(page)


def test_that_a_version_is_not_approved_is_said_beside_its_columns(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    path = xlsx(tmp_path / "offers.xlsx", {"Quotes": [["Work", "Step", "Hours", "Day"], *PROMISED[1:]]})
    upload(page, (path.name, path.read_bytes()))
    note = "A version with no day on which it was approved is not approved, and the pages say so."
    assert page.radio[0].value == "estimates" and note in words_of(page)
    choose_option(page, "Approved on", "Day")
    assert note not in words_of(page)


def test_a_table_that_is_put_away_leaves_our_own_files_where_they_are(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    own = b"object,technique,person,date,hours\n24-001,facing,Ilse,2024-01-09,1\n"
    upload(page, diary(tmp_path), ("log.csv", own))
    press_button(page, "Not now")
    assert headings(page) == []
    press_button(page, "Bring in")
    assert [row[0] for row in logged(with_ilse)] == ["2024-01-09"]


def spelled(store: Store) -> list[tuple[str, str, str]]:
    return (
        store.cursor()
        .execute("SELECT kind, spelling, file FROM spelling_origins ORDER BY kind, spelling")
        .fetchall()
    )


def opened(page: AppTest, key: str) -> AppTest:
    """The page with a part unfolded."""
    page.session_state[key] = True
    return drawn(page.run())


def button_labels(page: AppTest) -> list[str]:
    return [button.label for button in page.button]


def promises_said_otherwise(page: AppTest, folder: Path) -> None:
    """Approved versions that came in, with a word of theirs said otherwise since."""
    rows: list[list[Cell]] = [
        PROMISED[0],
        ["24-001", "cleaned", 4.0, date(2024, 1, 10)],
        ["24-002", "retouching", 6.0, date(2024, 1, 11)],
    ]
    path = xlsx(folder / "offers.xlsx", {"Promised": rows})
    for technique in ("surface cleaning aqueous", "facing"):
        upload(page, (path.name, path.read_bytes()))
        if technique == "facing":
            press_button(page, "Look at how it is read")
        else:
            choose_option(page, "Version", "the same for all rows")
            next(box for box in page.text_input if box.label == "Version, of all rows").set_value("1")
            drawn(page.run())
        say(page, 'Technique "cleaned"', "a technique", technique)
        if technique != "facing":
            press_button(page, "Bring in offers")


PROMISED_LINES = "SELECT object, version, technique FROM estimate_lines ORDER BY object, version"


def test_versions_that_cannot_be_moved_are_not_offered_to_be_and_are_left_for_good(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    promises_said_otherwise(page, tmp_path)
    assert "Version 1 of 24-001 " in words_of(page)
    assert "stays: it was approved on 10 January 2024." in words_of(page)
    assert "None of them can be moved." in words_of(page)
    assert "Move them" not in button_labels(page)
    assert "See them under Estimate" in [link.proto.label for link in page.get("page_link")]
    press_button(page, "Leave them as they were")
    held = with_ilse.cursor().execute(PROMISED_LINES).fetchall()
    assert held[0] == ("24-001", 1, "surface cleaning aqueous")
    upload(page, ("offers.xlsx", (tmp_path / "offers.xlsx").read_bytes()))
    assert "Leave them as they were" not in button_labels(page)
    press_button(page, "Only check offers")
    reports = page.session_state["reports"]
    assert [(report.outcome.already_held, report.outcome.held_back) for report, _ in reports] == [(2, 0)]


def test_a_change_of_approved_versions_comes_in_as_the_next_version(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    promises_said_otherwise(page, tmp_path)
    press_button(page, "Bring all in as version 2")
    assert "Leave them as they were" not in button_labels(page)
    assert field_of(page, "Version, of all rows").value == "2"
    press_button(page, "Bring in offers")
    assert with_ilse.cursor().execute(PROMISED_LINES).fetchall() == [
        ("24-001", 1, "surface cleaning aqueous"),
        ("24-001", 2, "facing"),
        ("24-002", 1, "retouching"),
        ("24-002", 2, "retouching"),
    ]
    upload(page, ("offers.xlsx", (tmp_path / "offers.xlsx").read_bytes()))
    press_button(page, "Only check offers")
    reports = page.session_state["reports"]
    assert [report.outcome.already_held for report, _ in reports] == [2]


def test_rows_that_were_left_out_under_to_mend_are_not_said_to_wait_there(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows: list[list[Cell]] = [*FEBRUARY[:4], [date(2024, 2, 9), "Ferry", "cleaned", "long", "I."]]
    upload(page, diary(tmp_path, rows))
    say_diary(page)
    press_button(page, "Bring in diary")
    assert "They wait below, under To mend" in words_of(page)
    press_button(page, "Leave these rows out")
    upload(page, diary(tmp_path, rows))
    press_button(page, "Bring in as last time")
    assert "wait below, under To mend" not in words_of(page)
    assert "None of them waits under To mend" in words_of(page)


TWO_SHEETS: dict[str, list[list[Cell]]] = {
    "2024": [*FEBRUARY, *FEBRUARY[1:4]],
    "Promised": [*PROMISED, ["24-002", "the rest", 9.0, date(2024, 1, 11)]],
}


def test_another_sheet_opens_with_what_was_said_of_it_to_the_end_or_in_part(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    path = xlsx(tmp_path / "year.xlsx", TWO_SHEETS)
    upload(page, (path.name, path.read_bytes()))
    say_diary(page)
    press_button(page, "Bring in year")
    upload(page, (path.name, path.read_bytes()))
    press_button(page, "Look at how it is read")
    choose_option(page, "Sheet", "Promised")
    choose_option(page, "Note", "Step")
    say(page, 'Technique "the rest"', "the work as a whole")
    # known to the end, and back to what is said in part
    choose_option(page, "Sheet", "2024")
    said = {choice.label: choice.value for choice in page.selectbox}
    assert str(said['Work "Ferry", 4 rows']).startswith(("likely", "work"))
    assert "What is filled in here is a first guess" not in words_of(page)
    choose_option(page, "Sheet", "Promised")
    said = {choice.label: choice.value for choice in page.selectbox}
    assert (said["Note"], said['Technique "the rest", 1 row']) == ("column step", "whole")
    choose_option(page, "Note", "not in the table")
    choose_option(page, "Version", "the same for all rows")
    fill_field(page, "Version, of all rows", "1")
    drawn(page.run())
    press_button(page, "Bring in year")
    upload(page, (path.name, path.read_bytes()))
    press_button(page, "Look at how it is read")
    choose_option(page, "Sheet", "Promised")
    said = {choice.label: choice.value for choice in page.selectbox}
    assert said['Technique "the rest", 1 row'] == "whole"
    assert "3 rows: 3 " in words_of(page)


def test_a_text_that_is_a_phase_and_a_technique_is_listed_open_as_what_its_column_is_of(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows: list[list[Cell]] = [
        PROMISED[0],
        ["24-001", "stabilisation", 4.0, date(2024, 1, 10)],
        ["24-001", "cleaning", 5.0, date(2024, 1, 10)],
        ["24-001", "retouching", 6.0, date(2024, 1, 10)],
        ["24-001", "facing", 1.0, date(2024, 1, 10)],
    ]
    path = xlsx(tmp_path / "offers.xlsx", {"Promised": rows})
    upload(page, (path.name, path.read_bytes()))
    (choice,) = [item for item in page.selectbox if item.label.startswith('Technique "retouching"')]
    assert choice.options[:2] == [
        "the phase retouching as a whole",
        "the technique retouching, in the phase retouching",
    ]
    assert choice.index == 0
    choose_option(page, "Version", "the same for all rows")
    fill_field(page, "Version, of all rows", "1")
    drawn(page.run())
    say(page, 'Technique "stabilisation"', "stabilisation – likely")
    say(page, 'Technique "cleaning"', "cleaning – likely")
    press_button(page, "Bring in offers")
    lines = with_ilse.cursor().execute("SELECT phase, technique FROM estimate_lines ORDER BY hours")
    assert lines.fetchall() == [
        ("stabilisation", "facing"),
        ("stabilisation", ""),
        ("cleaning", ""),
        ("retouching", ""),
    ]


def test_known_texts_say_what_they_stand_for_and_likely_ones_where_they_were_said(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    sheets: dict[str, list[list[Cell]]] = {
        "Diary": [*FEBRUARY, *FEBRUARY[1:4]],
        "Promised": [PROMISED[0], ["Ferry", "facing", 4.0, date(2024, 1, 10)]],
    }
    path = xlsx(tmp_path / "year.xlsx", sheets)
    upload(page, (path.name, path.read_bytes()))
    say(page, 'Work "Ferry"', "another work", "24-002")
    choose_option(page, "Sheet", "Promised")
    (ferry,) = [item for item in page.selectbox if item.label.startswith('Work "Ferry"')]
    assert ferry.value == "" and ferry.options[1].startswith("24-002 ")
    assert ferry.options[1].endswith(" – as in Diary")
    page = opened(page, "table 1 1 known")
    (facing,) = [item for item in page.selectbox if item.label.startswith('Technique "facing"')]
    assert facing.options[0] == "as the studio spells it: the technique facing, in the phase stabilisation"


def test_texts_that_begin_a_title_are_not_among_the_new_works_of_one_press(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    day_first(with_ilse)
    table = (
        "Date;Job;What;Time\n5.2.2024;Harbour, evening;facing;1\n6.2.2024;Harbour;facing;2\n"
        "7.2.2024;Ferry;facing;3\n8.2.2024;Orchard;facing;3\n"
    )
    upload(page, ("diary.csv", table.encode()))
    press_button(page, "All of these are new works")
    assert [row[0] for row in rows_of(page, "New works")[1:]] == ["Harbour, evening", "Orchard"]
    assert "Not among them" in words_of(page) and ": Ferry, Harbour." in words_of(page)
    press_button(page, "Take these 2 as new works")
    (harbour,) = [item for item in page.selectbox if item.label.startswith('Work "Harbour",')]
    assert harbour.options[1].endswith("Harbour, evening (new) – likely")
    say(page, 'Work "Harbour",', "Harbour, evening (new)")
    say(page, 'Work "Ferry"', "24-001")
    press_button(page, "Bring in diary")
    assert [(row[1], row[5]) for row in logged(with_ilse)][:2] == [("24-003", 1.0), ("24-003", 2.0)]


def test_lines_of_a_version_that_waits_for_words_are_asked_about_and_not_refused(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    rows: list[list[Cell]] = [
        PROMISED[0],
        ["24-001", "qx", 4.0, date(2024, 1, 10)],
        ["24-001", "facing", 6.0, date(2024, 1, 10)],
        ["24-002", "qx", 4.0, date(2024, 1, 10)],
        ["24-002", "facing", "long", date(2024, 1, 10)],
        ["24-002", "lining", 3.0, date(2024, 1, 10)],
    ]
    path = xlsx(tmp_path / "offers.xlsx", {"Promised": rows})
    upload(page, (path.name, path.read_bytes()))
    choose_option(page, "Version", "the same for all rows")
    fill_field(page, "Version, of all rows", "1")
    drawn(page.run())
    shown = rows_of(page, "What becomes of the rows")[1:]
    # of the second version another line is wrong besides
    assert [row[1] for row in shown] == ["asked about", "asked about", "asked about", "refused", "refused"]
    assert shown[1][2] == "its version waits for the words of row 2."
    assert "5 rows: 3 asked about, 2 refused." in words_of(page)


def test_rows_that_are_held_and_works_of_a_table_are_called_so(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    upload(page, diary(tmp_path))
    say_diary(page)
    choose_option(page, 'Work "Ferry"', "a new work")
    press_button(page, "Bring in diary")
    assert "diary.xlsx, works made from this table" in headings(page)
    assert "1 work that rows of the table are of, each made once." in words_of(page)
    upload(page, diary(tmp_path))
    press_button(page, "Look at how it is read")
    assert "4 rows: 3 held already, 1 left out." in words_of(page)


def test_two_sheets_that_are_known_are_forgotten_by_their_names(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    path = xlsx(tmp_path / "year.xlsx", TWO_SHEETS)
    upload(page, (path.name, path.read_bytes()))
    say_diary(page)
    press_button(page, "Bring in year")
    press_button(page, "Say what Promised holds")
    choose_option(page, "Note", "Step")
    forget = {label.replace("\\", "") for label in button_labels(page) if label.startswith("Forget how")}
    assert forget == {f"Forget how year.xlsx, sheet {name} is read" for name in TWO_SHEETS}


def test_a_known_table_says_which_of_its_new_texts_may_be_a_phase(
    with_ilse: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = page_of(monkeypatch, with_ilse)
    day_first(with_ilse)
    head = "Date;Job;Phase of work;Time\n"
    upload(page, ("diary.csv", f"{head}5.2.2024;24-001;cleaning;1\n".encode()))
    choose_option(page, "Phase", "not in the table")
    choose_option(page, "Technique", "Phase of work")
    say(page, 'Technique "cleaning"', "cleaning – likely")
    press_button(page, "Bring in diary")
    upload(page, ("march.csv", f"{head}5.3.2024;24-001;retouching;1\n".encode()))
    assert "Each the name of a phase and of a technique, and read as the technique: retouching." in (
        words_of(page)
    )
