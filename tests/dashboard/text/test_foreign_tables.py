"""What columns, texts and rules of tables in other words are called, and where their rows stand."""

from __future__ import annotations

import pytest

from dashboard.formatting import label
from dashboard.text.foreign_tables import COLUMNS, meaning, place_word, rule
from ingest.foreign.reading import CELL, FORMS, FROM_TO, TODAY, WIDE, LeaveOut
from ingest.foreign.words import (
    LEFT_OUT,
    Meaning,
    a_new_work,
    a_person,
    a_phase,
    a_technique,
    a_work,
    studio_time,
)


def test_every_column_that_is_asked_about_has_a_name_of_its_own() -> None:
    names = {name for form in FORMS.values() for name in form.names} | {*WIDE, FROM_TO}
    assert names == COLUMNS.keys()
    assert len(set(COLUMNS.values())) == len(COLUMNS)


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (a_work("24-001"), "24-001 Ferry in snow"),
        (a_new_work("24-003", "Mill by night"), "a new work, 24-003 Mill by night"),
        (a_person("Ilse"), "Ilse"),
        (a_technique("retouching"), "retouching"),
        (a_technique("facing", "packing"), "facing (packing)"),
        (a_phase("cleaning"), "cleaning as a whole"),
        (a_phase(""), "the work as a whole"),
        (studio_time("studio time"), "studio time, studio time as a whole"),
        (studio_time("studio time", "enquiries"), "studio time, enquiries"),
        (LEFT_OUT, "its rows are left out"),
    ],
)
def test_what_a_text_means_is_said_in_words(item: Meaning, words: str) -> None:
    assert meaning(item, {"24-001": "Ferry in snow"}) == words


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (LeaveOut(test="begins", text="total"), 'any cell begins with "total"'),
        (LeaveOut(column="job", test="empty"), "Job is empty"),
        (LeaveOut(column=CELL, test="is", text="0"), 'the cell with the hours is "0"'),
        (LeaveOut(test="after", text=TODAY), "after today"),
        (LeaveOut(test="before", text="2024-01-01"), "before 2024-01-01"),
    ],
)
def test_a_rule_is_said_with_the_head_as_it_is_written(item: LeaveOut, words: str) -> None:
    assert rule(item, {"job": "Job"}) == words


@pytest.mark.parametrize(
    ("file", "word"),
    [
        ("hours.xlsx, sheet 2025", "row"),
        ("hours.ODS", "row"),
        ("old.xls, sheet a.csv", "row"),
        ("bench.ics", "event"),
        ("log.csv", "line"),
        ("hours.xlsx.rejects.csv", "line"),
    ],
)
def test_a_number_counts_rows_events_or_lines(file: str, word: str) -> None:
    assert place_word(file) == word


@pytest.mark.parametrize(
    "words", ['Person "I.", 2 rows', 'Left out: whole_day is "yes"', "Zürich (West) & söhne/2, 50 % – ½"]
)
def test_a_label_without_marks_is_heard_as_it_is_written(words: str) -> None:
    assert label(words) == words


@pytest.mark.parametrize(
    "mark", ["*a*", "_a_", "[a](b)", ":smile:", "`a`", "$a$", "<b>", "a -- b", "www.a.b"]
)
def test_marks_in_a_label_are_escaped(mark: str) -> None:
    assert label(f'Work "{mark}"') != f'Work "{mark}"'
