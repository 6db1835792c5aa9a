"""The studio: its settings, people and techniques are changed after the effect of it is said."""

import re

import pytest

from ingest.store import Store
from tests.drawn import cells_of, choose_option, draw, field_of, fill_field, press_button, words_of

SAVED = "Saved; what was said before is kept in the history."


def test_a_setting_that_cannot_be_is_refused_and_nothing_typed_is_lost(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "studio")
    fill_field(page, "Rate per hour, EUR", "seventy")
    fill_field(page, "Name of the studio", "Tidewell Lane")
    press_button(page, "Save")
    assert "Not done:" in words_of(page)
    assert field_of(page, "Rate per hour, EUR").value == "seventy"
    fill_field(page, "Rate per hour, EUR", "70")
    press_button(page, "Save")
    assert SAVED in words_of(page)
    assert "Tidewell Lane, as of" in words_of(draw(monkeypatch, demo, "where_the_hours_went"))


def test_a_yearly_cost_that_is_absurd_is_asked_about_and_no_money_is_reckoned_before_tax_is_said(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 61,000 € by 1.15 h are fifty times the rate and more: asked about, and nothing typed is lost
    page = draw(monkeypatch, demo, "studio", part="quotes")
    fill_field(page, "Hours of a year that can be charged", "1.15")
    press_button(page, "Save")
    assert (
        "61,000.00 a year by 1.15 h that can be charged is €53,043.48 an hour, 780 times more than the"
        " studio’s rate of €68.00." in words_of(page)
    )
    assert field_of(page, "Hours of a year that can be charged").value == "1.15"
    assert "It is meant so: save it" in [button.label for button in page.button]
    fill_field(page, "Hours of a year that can be charged", "1150")
    fill_field(page, "Tax on top, per cent", "19")
    press_button(page, "Save")
    assert SAVED in words_of(page)
    year = draw(monkeypatch, demo, "the_year")
    assert "prices do not say whether tax is in them, so no money is reckoned with them" in words_of(year)
    assert "Say it, for all of them" in [link.proto.label for link in year.get("page_link")]
    page = draw(monkeypatch, demo, "studio", part="quotes")
    choose_option(page, "Is tax in prices", "tax is in them", in_form=True)
    press_button(page, "Save")
    assert SAVED in words_of(page)
    assert re.search(
        r"An hour earned €[\d.]+ without tax, over", words_of(draw(monkeypatch, demo, "the_year"))
    )
    page = draw(monkeypatch, demo, "studio", part="quotes")
    fill_field(page, "Tax on top, per cent", "")
    fill_field(page, "Tax of those prices", "")
    press_button(page, "Save")
    assert "Not saved: say also how many per cent of tax is in those prices." in words_of(page)
    fill_field(page, "Tax of those prices", "19")
    press_button(page, "Save")
    assert SAVED in words_of(page)


def test_a_technique_is_retired_after_its_effect_is_said_and_is_offered_no_more(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "studio", part="techniques")
    choose_option(page, "Change a technique", "texturing")
    words = words_of(page)
    assert re.search(r"\d+ entries on \d+ works and \d+ lines of estimates name it\.", words)
    assert "Retired, texturing is offered no more for new work." in words
    press_button(page, "Retire it, as of today")
    assert "texturing is retired. Nothing that names it has changed." in words_of(page)
    press_button(page, "Take it back into use")
    assert "texturing is in use again." in words_of(page)


def test_a_technique_is_renamed_and_one_is_added_with_its_cautions(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "studio", part="techniques")
    choose_option(page, "Change a technique", "toning gilding")
    fill_field(page, "New name", "toning of gilding")
    press_button(page, "Rename")
    assert "toning gilding is now toning of gilding." in words_of(page)
    page = draw(monkeypatch, demo, "studio", part="techniques")
    fill_field(page, "Name", "loss map tracing")
    press_button(page, "Add")
    assert "loss map tracing is among the techniques." in words_of(page)


def test_a_person_is_added_renamed_and_joined(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    page = draw(monkeypatch, demo, "studio", part="people")
    fill_field(page, "Add a person: name", "Tamsinn")
    press_button(page, "Add")
    assert "Tamsinn is added." in words_of(page)
    choose_option(page, "Change a person", "Tamsinn")
    choose_option(page, "It is really", "Tamsin")
    assert "0 entries of Tamsinn become Tamsin's" in words_of(page)
    press_button(page, "Join Tamsinn with Tamsin")
    assert "Tamsinn is now only a spelling of Tamsin." in words_of(page)
    assert cells_of(page, "People", "Tamsin")[3] == "Tamsinn"
