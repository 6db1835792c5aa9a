"""Bring in logs: what differs from what is held, and what phones may not change, waits for a decision."""

import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from ingest.store import Store
from tests.asked_changes import ask_for_changes
from tests.conftest import Bring
from tests.drawn import checked, choose_option, draw, headings, press_button, rows_of, words_of

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


def test_hours_held_back_are_shown_as_they_were_logged_and_never_alike_where_they_differ(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    for spent in ("45 min", "50 min"):
        studio(f"{spent}.csv", f"{COLUMNS}\n24-001,,packing,Bram,2024-02-01,{spent}\n")
    page = draw(monkeypatch, store, "bring_in_logs")
    (question,) = page.radio
    assert "Held: 0.75 h. This row: 0.833 h." in re.sub(r"\\(.)", r"\1", question.label)


def test_changes_that_a_phone_may_not_make_are_decided_under_bring_in_logs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store(tmp_path / "studio.duckdb") as store:
        ask_for_changes(store, tmp_path, 40)
        page = draw(monkeypatch, store, "bring_in_logs")
        assert "Changes from phones: 41 changes for you to decide" in headings(page)
        changes = [re.sub(r"\\(.)", r"\1", choice.label) for choice in page.radio]
        assert any("It says: 24-001, retouching, Ilse," in change for change in changes)
        assert any("as the entry lies more than 7 days back" in change for change in changes)
        page.radio[0].set_value("take it in")
        press_button(page, "Decide as chosen")
        assert "Decided: 1 taken in." in words_of(page)
        choose_option(page, "From which device", "the tablet (workshop), 1 change")
        press_button(page, "Leave it out")
        assert "Decided: 1 left out." in words_of(page)
        press_button(page, "Leave all 39 out")
        assert not any("Changes from phones" in heading for heading in headings(page))


def choose_decision(page: AppTest, technique: str, decision: str) -> None:
    """Choose what the row of a technique is, in a form that is sent with its button."""
    (question,) = [question for question in page.radio if technique in question.label]
    question.set_value(decision)
