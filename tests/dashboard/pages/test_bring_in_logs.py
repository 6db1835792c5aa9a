"""Bring in logs: rows that differ from what is held wait until they are decided."""

import pytest
from streamlit.testing.v1 import AppTest

from ingest.store import Store
from tests.drawn import checked, draw, press_button, rows_of, words_of

COLUMNS = "object,phase,technique,person,date,hours"
TECHNIQUES = ("packing", "travel", "unframing")


def test_rows_held_back_are_decided_row_by_row_and_all_at_once(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "bring_in_logs")
    for hours, undecided in ((1, 0), (2, 3)):
        (uploader,) = page.file_uploader
        assert not uploader.value  # what was brought in lies there no more
        rows = [f"26-063,,{technique},Bram,2026-05-04,{hours}" for technique in TECHNIQUES]
        uploader.upload("day.csv", "\n".join([COLUMNS, *rows, ""]).encode(), "text/csv")
        checked(page.run())
        press_button(page, "Bring in")
        assert "3 rows in the file." in words_of(page)
        assert len(page.radio) == undecided
    choose_decision(page, "packing", "new hours")
    choose_decision(page, "travel", "a correction")
    press_button(page, "Decide as chosen")
    assert "Decided: 2 rows." in words_of(page)
    press_button(page, "Leave all out")
    assert "Decided: 1 row." in words_of(page)
    work = draw(monkeypatch, demo, "one_work", object="26-063")
    next(toggle for toggle in work.toggle if toggle.label.startswith("Show all")).set_value(True)
    checked(work.run())
    entries = rows_of(work, "Time entries, the latest first")
    assert sorted((row[1], row[2]) for row in entries if row[0] == "4 May 2026") == [
        ("packing", "1.0"),
        ("packing", "2.0"),
        ("travel", "2.0"),
        ("unframing", "1.0"),
    ]


def choose_decision(page: AppTest, technique: str, decision: str) -> None:
    """Choose what the row of a technique is, in a form that is sent with its button."""
    (question,) = [question for question in page.radio if technique in question.label]
    question.set_value(decision)
