"""Entries and milestones of phases and works as a whole are corrected and set on the pages.

Common practice, no source: many studios log by phase of a treatment, and small jobs by the work.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from dashboard import queries
from ingest.store import Store
from tests.conftest import Bring
from tests.drawn import checked, choose_option, draw, fill_field, press_button, rows_of, words_of

LOG = """object,phase,technique,part,person,date,hours,mode,quantity
24-001,retouching,retouching,,Ilse,2026-05-04,2,,3
24-001,cleaning,,,Ilse,2026-05-05,4,,
24-001,cleaning,,frame,Maud,2026-05-06,1,,
24-001,,,,Maud,2026-05-07,48,unattended,
"""
ESTIMATES = """object,version,made_on,phase,technique,part,hours
24-001,1,2026-05-01,cleaning,,,5
24-001,1,2026-05-01,cleaning,,frame,1
24-001,1,2026-05-01,retouching,retouching,,6
24-002,1,2026-05-01,,,,20
"""
# what an empty name leaves behind
LEFT_OVER = re.compile(r", ,|^,|,$|: ,|\bNone\b|\bnan\b|all of ?[,.]|all of $", re.M)


@pytest.fixture
def by_phase(studio: Bring, store: Store) -> Store:
    """Two works: one estimated by phases and logged on all levels, one estimated as a whole."""
    studio("estimates.csv", ESTIMATES)
    assert studio("log.csv", LOG).complete
    return store


def options_of(page: AppTest, label: str) -> list[str]:
    return next(choice.options for choice in page.selectbox if choice.label.startswith(label))


def plain_words(words: str) -> str:
    """Words without what keeps them from being read as layout."""
    return re.sub(r"\\(.)", r"\1", words)


def opened_entry(page: AppTest, words: str) -> None:
    """Choose an entry to be corrected."""
    page.session_state["correcting"] = True
    checked(page.run())
    choose_option(page, "Entry", words)


def held(store: Store, columns: str = "phase, technique, part, hours, quantity") -> list[tuple[Any, ...]]:
    query = f"SELECT {columns} FROM time_entries WHERE object = '24-001' ORDER BY day"
    return store.cursor().execute(query).fetchall()


def test_an_entry_becomes_one_of_its_phase_as_a_whole_and_of_the_work_and_a_technique_again(
    by_phase: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, by_phase, "one_work", object="24-001")
    opened_entry(page, "retouching")
    help_text = next(choice.help for choice in page.selectbox if choice.label == "Technique")
    assert help_text == (
        "Without a technique the hours are of the phase as a whole, and without a phase too of the work as a"
        " whole."
    )
    choose_option(page, "Technique", "no technique", in_form=True)
    press_button(page, "Save the correction")
    assert "a phase as a whole is not measured" in words_of(page)
    fill_field(page, "Quantity", "")
    press_button(page, "Save the correction")
    assert "The entry is corrected" in words_of(page)
    assert held(by_phase)[0] == ("retouching", "", "", 2.0, None)
    opened_entry(page, "retouching as a whole")
    choose_option(page, "Phase", "no phase", in_form=True)
    press_button(page, "Save the correction")
    assert held(by_phase)[0] == ("", "", "", 2.0, None)
    # with a technique alone, its usual phase
    opened_entry(page, "the work as a whole, Ilse")
    choose_option(page, "Technique", "facing", in_form=True)
    press_button(page, "Save the correction")
    assert held(by_phase)[0] == ("stabilisation", "facing", "", 2.0, None)
    said = [row[3] for row in rows_of(page, "What entries said before")[1:]]
    assert said == ["the work as a whole", "retouching as a whole", "retouching"]


def test_every_entry_is_listed_corrected_and_put_back_by_the_name_of_its_line(
    by_phase: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, by_phase, "one_work", object="24-001")
    assert [row[1] for row in rows_of(page, "Time entries, the latest first")[1:]] == [
        "the work as a whole",
        "cleaning as a whole, frame",
        "cleaning as a whole",
        "retouching",
    ]
    assert [row[1] for row in rows_of(page, "Unattended stretches")[1:]] == ["the work as a whole"]
    opened_entry(page, "")
    named = options_of(page, "Entry")
    assert [re.sub(r"^\d+ \w+ 2026, |, (Ilse|Maud), .*$", "", words) for words in named] == [
        "the work as a whole",
        "cleaning as a whole, frame",
        "cleaning as a whole",
        "retouching",
    ]
    choose_option(page, "Entry", "cleaning as a whole, frame")
    press_button(page, "Take this entry back")
    labels = [plain_words(button.label) for button in page.button]
    assert "Put back: 2026-05-06, cleaning as a whole, Maud, 1.0 h" in labels
    press_button(page, "Put back")
    assert len(held(by_phase)) == 4
    assert not any(LEFT_OVER.search(text) for text in named)


def test_a_milestone_finishes_a_phase_its_part_or_the_work_under_names_that_are_never_empty(
    by_phase: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, by_phase, "works", object="24-001")
    # the phase was logged as a whole: its part has no row of figures, and is finished by itself still
    assert options_of(page, "What is finished") == [
        "all of cleaning",
        "all of retouching",
        "the work as a whole",
        "retouching, retouching",
        "all of cleaning, frame",
    ]
    choose_option(page, "What is finished", "all of cleaning", in_form=True)
    press_button(page, "Set the milestone")
    assert "Set: all of cleaning finished on" in words_of(page)
    con = by_phase.cursor()
    lines = queries.overruns(con, queries.today(con), "24-001").set_index("phase")
    assert lines.loc["cleaning", "finished"] and not lines.loc["retouching", "finished"]
    page = draw(monkeypatch, by_phase, "works", object="24-002")
    assert options_of(page, "What is finished") == ["the work as a whole"]
    press_button(page, "Set the milestone")
    assert "Set: the work as a whole finished on" in words_of(page)
    assert by_phase.cursor().execute(
        "SELECT phase, technique, part FROM milestones WHERE object = '24-002'"
    ).fetchall() == [("", "", "")]
    assert not LEFT_OVER.search("\n".join(item.value for item in page.markdown if "finished" in item.value))
    press_button(page, "Take back")
    assert "Taken back: the work as a whole." in words_of(page)


def test_a_milestone_of_a_work_as_a_whole_says_that_its_lines_were_opened_again(
    by_phase: Store, studio: Bring, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio("m.csv", "object,phase,technique,part,finished_on\n24-001,,,,2026-05-04\n")
    page = draw(monkeypatch, by_phase, "works", object="24-001")
    assert "the work as a whole finished, but" in words_of(page)
    assert "worked on again until 7 May 2026" in words_of(page)
