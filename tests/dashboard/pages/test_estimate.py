"""Estimate: a sheet that begins with the lines of another work, and one that is open in two windows."""

from __future__ import annotations

import re
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from ingest.editing import estimate_drafts
from ingest.editing.estimate_drafts import Draft
from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.store import Store
from tests.conftest import CHANGE
from tests.drawn import cells_of, checked, choose_option, draw, press_button, words_of

CODE = "27-003"
ELSEWHERE = "This draft was changed from another window."


def add_work(store: Store) -> None:
    store_rows(store, OBJECTS, [{"object": CODE}], CHANGE)


def write_into_sheet(page: AppTest, **edits: Any) -> None:
    """Change the sheet of lines as a window sends it: AppTest types into no sheet."""
    name = page.data_editor[0].key
    assert name
    page.session_state[name] = {"edited_rows": {}, "added_rows": [], "deleted_rows": [], **edits}
    checked(page.run())


def hours_of_packing(page: AppTest) -> str:
    return cells_of(page, "Lines of the sheet", "packing")[-1]


def test_lines_are_copied_from_another_work(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_work(demo)
    page = draw(monkeypatch, demo, "estimate", object=CODE)
    choose_option(page, "Copy from another work", "25-041")
    press_button(page, "Begin with its lines")
    assert re.search(r"\b21 lines\.", words_of(page))
    press_button(page, "Throw the draft away")
    press_button(page, "Yes, throw it away")
    assert "The draft is thrown away." in words_of(page)
    assert "It has no estimate yet." in words_of(page)


def test_two_windows_on_one_draft_do_not_overwrite_each_other_without_a_word(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_work(demo)
    head = {"made_on": "2026-01-05", "currency": "EUR"}
    estimate_drafts.keep(demo, CODE, Draft(version=head, lines=[{"technique": "packing", "hours": "1"}]))
    page = draw(monkeypatch, demo, "estimate", object=CODE)
    assert re.search(r"\b1 line\.", words_of(page))
    other = draw(monkeypatch, demo, "estimate", object=CODE)
    assert re.search(r"\b1 line\.", words_of(other))
    write_into_sheet(other, edited_rows={0: {"hours": "2"}})
    assert hours_of_packing(other) == "2.0"
    write_into_sheet(page, edited_rows={0: {"technique": None}})
    assert ELSEWHERE in words_of(page)
    kept = estimate_drafts.read(demo.cursor(), CODE)
    assert kept and kept.lines == [{"technique": "packing", "hours": "2"}]
    press_button(page, "Show it as it is now, and go on here")
    assert ELSEWHERE not in words_of(page)
    assert hours_of_packing(page) == "2.0"
