"""One work: its entries are corrected, and its statement keeps people and owner to the studio."""

import re

import pytest
from streamlit.testing.v1 import AppTest

from ingest.store import Store
from tests.dashboard.pages.conftest import Download
from tests.drawn import (
    cells_of,
    checked,
    choose_option,
    draw,
    field_of,
    fill_field,
    press_button,
    spent,
    words_of,
)


def test_an_entry_is_corrected_taken_back_and_put_back_and_the_figures_follow(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "one_work", object="26-065")
    before = spent(page)
    unfold_correction(page)
    choose_option(page, "Entry", "treatment proposal")
    start, end = field_of(page, "From").value, field_of(page, "To").value
    assert re.match(r"20\d\d-", end)
    fill_field(page, "To", start)
    press_button(page, "Save the correction")
    assert re.search(r"is not after the start.*What you typed is still here\.", words_of(page))
    assert field_of(page, "To").value == start
    fill_field(page, "To", f"{end[:11]}{int(end[11:13]) + 1:02d}{end[13:]}")
    fill_field(page, "Why it is corrected or taken back", "forgot the afternoon")
    press_button(page, "Save the correction")
    assert "The entry is corrected" in words_of(page)
    assert spent(page) == pytest.approx(before + 1.0, abs=0.11)
    assert cells_of(page, "What entries said before", "forgot the afternoon")[1] == "corrected"
    choose_option(page, "Entry", "treatment proposal")
    press_button(page, "Take this entry back")
    assert "The entry is taken back." in words_of(page)
    assert spent(page) < before
    press_button(page, "Put back")
    assert "The entry is in the record again." in words_of(page)
    assert spent(page) == pytest.approx(before + 1.0, abs=0.11)


def test_the_statement_names_no_person_no_owner_and_no_title(
    demo: Store, monkeypatch: pytest.MonkeyPatch, download: Download
) -> None:
    page = draw(monkeypatch, demo, "one_work", object="25-041")
    statement = download(page, "Statement to print")
    assert isinstance(statement, str)
    assert "Hours of treatment: 25-041" in statement and '<td class="n">25.0</td>' in statement
    for private in ("Ilse", "Bram", "Tamsin", "Okell", "blue shawl"):
        assert private not in statement
    unfold_correction(page)


def unfold_correction(page: AppTest) -> None:
    """Open what is folded away and drawn only once it lies open."""
    assert "Correct an entry, or take one back" in [expander.label for expander in page.expander]
    assert "Entry" not in [choice.label for choice in page.selectbox]
    page.session_state["correcting"] = True
    checked(page.run())
    assert "Entry" in [choice.label for choice in page.selectbox]
