"""Works are found, changed and given milestones."""

import re
from datetime import date, timedelta

import pytest
from streamlit.testing.v1 import AppTest

from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import TIME_ENTRIES
from ingest.store import Store
from ingest.tables.audit_log import Change
from tests.conftest import Bring
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


def test_works_without_hours_for_a_while_are_finished_in_one_act_and_opened_again(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    today = date.today()  # pages read the machine's clock
    studio("more.csv", "object,title\n24-003,Sluice\n24-004,Lock\n")
    estimates = "object,version,made_on,approved_on,phase,technique,hours\n"
    studio(
        "est.csv",
        estimates + "24-001,1,2024-01-05,2024-01-06,,facing,2\n24-001,1,2024-01-05,2024-01-06,,packing,3\n",
    )
    studio(
        "e.csv",
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,4.5\n24-002,,facing,Ilse,"
        "2024-03-01,2\n",
    )
    recent = {"object": "24-003", "technique": "facing", "person": "Ilse", "hours": "1"}
    recent["date"] = f"{today - timedelta(days=59)}"
    store_rows(store, TIME_ENTRIES, [recent], Change(by="Ilse", reason="a test"))
    page = draw(monkeypatch, store, "works")
    assert "2 works on the bench have had no hours for 60 days or more" in words_of(page)
    page.session_state["finish several"] = True
    checked(page.run())
    assert ticks(page) == {
        "24-001  Ferry in snow: last hours on 1 February 2024, 4.5 h, 2 lines open": False,
        "24-002  Weir at dusk: last hours on 1 March 2024, 2.0 h, 1 line open": False,
    }
    press_button(page, "Finish those ticked")
    assert "Nothing was finished: tick the works that are done." in words_of(page)
    fill_field(page, "No hours for so many days", "59")
    assert [label[:6] for label in ticks(checked(page.run()))] == ["24-001", "24-002", "24-003"]
    fill_field(page, "No hours for so many days", "60")
    checked(page.run())
    press_button(page, "Tick all 2")
    assert list(ticks(page).values()) == [True, True]
    fill_field(page, "Finished on (empty", "soon")
    press_button(page, "Finish those ticked")
    assert 'Nothing was finished: Finished on "soon" is not a day.' in words_of(page)
    assert list(ticks(page).values()) == [True, True]
    fill_field(page, "Finished on (empty", "2024-02-15")
    press_button(page, "Finish those ticked")
    assert (
        "Nothing was finished: 1 work had hours after 15 February 2024: 24-002 (1 March 2024)."
        in words_of(page)
    )
    fill_field(page, "Finished on (empty", "")
    press_button(page, "Finish those ticked")
    assert "Finished, each on the last day of its hours: 24-001, 24-002." in words_of(page)
    assert finished_days(store) == {"24-001": date(2024, 2, 1), "24-002": date(2024, 3, 1)}
    assert "Finished on 1 February 2024" in cells_of(page, "Works", "24-001")[1]
    press_button(page, "Take back what was finished last")
    assert "On the bench again: 24-001, 24-002." in words_of(page)
    assert finished_days(store) == {}
    assert list(ticks(page).values()) == [False, False]
    next(box for box in page.checkbox if box.label.startswith("24\\-001")).check()
    fill_field(page, "Finished on (empty", f"{today}")
    press_button(page, "Finish those ticked")
    assert finished_days(store) == {"24-001": today}
    # the next are finished on days of their own again
    assert field_of(page, "Finished on (empty").value == ""
    press_button(page, "Take back what was finished last")
    assert "On the bench again: 24-001." in words_of(page)


def ticks(page: AppTest) -> dict[str, bool]:
    """The boxes to tick, by their words."""
    return {re.sub(r"\\(.)", r"\1", box.label): box.value for box in page.checkbox}


def finished_days(store: Store) -> dict[str, date]:
    query = "SELECT object, finished_on FROM objects WHERE finished_on IS NOT NULL ORDER BY object"
    return dict(store.cursor().execute(query).fetchall())
