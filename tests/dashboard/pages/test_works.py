"""Works are found, changed and given milestones."""

import pytest

from ingest.store import Store
from tests.drawn import cells_of, checked, choose_option, draw, field_of, fill_field, press_button, words_of


def test_works_are_found_by_any_word(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    page = draw(monkeypatch, demo, "works")
    for words, matches in (("lamplight frame", 2), ("no such thing", 0)):
        fill_field(page, "Search code", words)
        checked(page.run())
        rows = [
            item.proto.body.count("<tr") for item in page.get("html") if 'label="Works"' in item.proto.body
        ]
        assert rows == ([matches] if matches else [])
    assert "No work fits." in words_of(page)


def test_a_form_that_is_older_than_the_record_is_refused_and_loses_nothing_typed(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page, other = (draw(monkeypatch, demo, "works", object="26-062") for _ in range(2))
    fill_field(other, "Maker", "A. Vane")
    press_button(other, "Save")
    assert "Saved; what was said before is kept in the history." in words_of(other)
    fill_field(page, "Title", "Chalk pit, evening")
    press_button(page, "Save")
    assert "Not saved: 26-062 was changed elsewhere since you opened it." in words_of(page)
    assert field_of(page, "Title").value == "Chalk pit, evening"
    loaded_again = draw(monkeypatch, demo, "works", object="26-062")
    assert field_of(loaded_again, "Maker").value == "A. Vane"


def test_a_milestone_is_set_and_taken_back(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    page = draw(monkeypatch, demo, "works", object="26-066")
    choose_option(page, "What is finished", "all of stabilisation", in_form=True)
    press_button(page, "Set the milestone")
    assert "Set: all of stabilisation finished on" in words_of(page)
    work = draw(monkeypatch, demo, "one_work", object="26-066")
    assert cells_of(work, "Lines of this work", "consolidation")[-1] == "finished"
    page = draw(monkeypatch, demo, "works", object="26-066")
    milestones = [item.value for item in page.markdown if ": all of " in item.value.replace("\\", "")]
    at = next(at for at, text in enumerate(milestones) if "all of stabilisation finished" in text)
    [button for button in page.button if button.label == "Take back"][at].click()
    assert "Taken back: all of stabilisation." in words_of(checked(page.run()))
