"""The sheet of works from memory on the page Works: what is kept is shown, faults are said of their cell, and
what is saved is listed, struck out and put back.
"""

from __future__ import annotations

import re

import pytest
from streamlit.testing.v1 import AppTest

from ingest.editing import remembered_sheet
from ingest.editing.remembered_sheet import Sheet
from ingest.store import Store
from tests.conftest import Bring
from tests.drawn import checked, choose_option, draw, press_button, rows_of, words_of

HARBOUR = {
    "title": "Harbour at dusk",
    "size": "24 × 36 in",
    "when": "March 2024",
    "quoted": "30",
    "taken": "41,5",
}
MILL = {"title": "Mill", "when": "2023", "taken": "29"}
FAULTY = {"title": "Weir", "taken": "many"}


def sheet_of(store: Store, *works: dict[str, str]) -> None:
    remembered_sheet.keep(store, Sheet(works=list(works), person="Ilse", when="2025"), "another visit")


def opened(monkeypatch: pytest.MonkeyPatch, store: Store) -> AppTest:
    return draw(monkeypatch, store, "works", add="from-memory")


def labels(page: AppTest) -> list[str]:
    return [re.sub(r"\\(.)", r"\1", button.label) for button in page.button]


def test_an_empty_studio_is_shown_the_way_to_the_sheet(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    page = draw(monkeypatch, store)
    assert "Works that were finished before can be told from memory" in words_of(page)
    press_button(page, "Tell works from memory")
    assert "a title and the hours that it took are enough" in words_of(page)


def test_what_was_kept_stands_on_the_sheet_with_what_keeps_a_row_from_being_saved(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet_of(store, HARBOUR, FAULTY)
    assert "Works from memory: 2 rows on the sheet not saved yet." in words_of(
        draw(monkeypatch, store, "works")
    )
    page = opened(monkeypatch, store)
    assert (
        'Row 2 (Weir), hours taken "many": cannot be read as hours. Write it like 1.5, 1:30, 1h30, 90 min or'
        " PT1H30M." in words_of(page)
    )
    press_button(page, "Save 1 work")
    assert "Saved from memory: M24-01. 1 row stays on the sheet with what is to be mended." in words_of(page)
    left = remembered_sheet.read(store.cursor())
    assert left is not None and left.works == [FAULTY]
    assert rows_of(page, "Works told from memory")[1] == [
        *("M24-01", "Harbour at dusk", "31 Mar 2024", "30.0", "41.5", "–", "–", "edit")
    ]


def test_works_from_memory_are_struck_out_after_a_second_press_and_put_back_by_one(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet_of(store, HARBOUR, MILL)
    page = opened(monkeypatch, store)
    press_button(page, "Save 2 works")
    choose_option(page, "Strike out a work", "M24")
    press_button(page, "Strike it out")
    assert "Struck out: M24-001." in words_of(page)
    press_button(page, "Put back what was struck out")
    press_button(page, "Strike out all works from memory")
    assert store.cursor().execute("SELECT count(*) FROM objects").fetchall() == [(4,)]
    press_button(page, "Yes, strike out 2 works")
    assert "Struck out: M23-001, M24-001." in words_of(page)
    assert store.cursor().execute("SELECT object FROM objects ORDER BY object").fetchall() == [
        ("24-001",),
        ("24-002",),
    ]
    assert not any(label.startswith("Strike out all") for label in labels(page))
    press_button(page, "Put back what was struck out")
    assert "Put back: M23-001, M24-001." in words_of(page)
    assert store.cursor().execute("SELECT sum(hours) FROM spells").fetchall() == [(70.5,)]


def test_phases_get_columns_of_their_own_and_keep_them_while_something_stands_in_them(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = opened(monkeypatch, store)
    assert not page.multiselect
    next(item for item in page.toggle if item.label == "Hours by phase").set_value(True)
    checked(page.run())
    chosen = page.multiselect[0].value
    assert len(chosen) == 4
    kept = remembered_sheet.read(store.cursor())
    assert kept is not None and kept.phases == chosen
    kept.works = [{"title": "Mill", f"taken {chosen[0]}": "9"}]
    remembered_sheet.keep(store, kept, "another visit")
    page = opened(monkeypatch, store)
    next(item for item in page.toggle if item.label == "Hours by phase").set_value(False)
    checked(page.run())
    kept = remembered_sheet.read(store.cursor())
    assert kept is not None and kept.phases == chosen[:1]


def test_a_work_from_memory_can_be_made_one_of_the_record_by_its_form_and_stays_one_else(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet_of(store, HARBOUR)
    press_button(opened(monkeypatch, store), "Save 1 work")
    page = draw(monkeypatch, store, "works", object="M24-01")
    press_button(page, "Save")
    remembered = "SELECT remembered FROM objects"
    assert store.cursor().execute(remembered).fetchall() == [(True,)]
    next(item for item in page.checkbox if item.label.startswith("Told from memory")).set_value(False)
    press_button(page, "Save")
    assert store.cursor().execute(remembered).fetchall() == [(False,)]


def test_a_studio_that_tells_nothing_from_memory_has_no_word_of_it_on_a_work(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, store, "works", object="24-001")
    assert not any("memory" in item.label for item in page.checkbox)
