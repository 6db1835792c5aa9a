"""Quote a work: works of one owner in a letter, a quote that is open in two windows, and one thrown away."""

from __future__ import annotations

import re
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from tests.drawn import (
    cells_of,
    checked,
    draw,
    field_of,
    fill_field,
    headings,
    press_button,
    rows_of,
    words_of,
)

DESCRIBED = {
    "title": "A mill at Marrowby",
    "kind": "easel painting",
    "support": "canvas",
    "height_cm": "61",
    "width_cm": "76",
}
TOGETHER = "Works of this quote"
EMPTY = "no lines yet"
ELSEWHERE = "This quote was changed from another window."


def begin(store: Store, *works: QuotedWork) -> int:
    """Begin a quote; its number."""
    number = quote_drafts.keep(store, Quote(works=list(works)), "").number
    assert number
    return number


def addressee_of(page: AppTest) -> Any:
    (area,) = [area for area in page.text_area if area.label == "Addressee"]
    return area


def test_works_of_one_owner_share_a_letter_and_two_windows_do_not_overwrite_each_other(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = begin(
        demo,
        QuotedWork(described=DESCRIBED, lines=[{"technique": "retouching"}]),
        QuotedWork(lines=[{"technique": "filling"}]),
    )
    page = draw(monkeypatch, demo, "quote_a_work", quote=f"{number}")
    assert f"Quote {number}: A mill at Marrowby" in headings(page)
    assert cells_of(page, TOGETHER, "together")
    # a third one, and it out again; the one that is shown stays shown
    press_button(page, "Add it to the quote")
    assert f"Quote {number}: the new work" in headings(page)
    assert cells_of(page, TOGETHER, EMPTY)
    assert "The letter is without the new work, which has no lines" in words_of(page)
    press_button(page, "Take the work shown out of the quote")
    assert not any(EMPTY in row for row in rows_of(page, TOGETHER))
    other = draw(monkeypatch, demo, "quote_a_work", quote=f"{number}")
    assert cells_of(other, TOGETHER, "together")
    fill_field(other, "Ceiling", "5000")
    checked(other.run())
    assert re.search(r"\bKept on ", words_of(other))
    addressee_of(page).set_value("Somebody")
    checked(page.run())
    assert ELSEWHERE in words_of(page)
    kept = quote_drafts.read(demo.cursor(), number)
    assert kept and kept.terms["ceiling"] == "5000" and "addressee" not in kept.letter
    press_button(page, "Show it as it is now, and go on here")
    assert ELSEWHERE not in words_of(page)
    assert field_of(page, "Ceiling").value == "5000"


def test_a_quote_is_thrown_away_only_when_that_is_meant(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    number = begin(demo, QuotedWork(described=DESCRIBED))
    page = draw(monkeypatch, demo, "quote_a_work", quote=f"{number}")
    press_button(page, "Throw the quote away")
    press_button(page, "No, keep it")
    assert f"Quote {number}: A mill at Marrowby" in headings(page)
    assert quote_drafts.read(demo.cursor(), number)
    press_button(page, "Throw the quote away")
    press_button(page, "Yes, throw it away")
    assert f"Quote {number} is thrown away." in words_of(page)
    assert "Begin a quote" in [button.label for button in page.button]
    assert not quote_drafts.read(demo.cursor(), number)
