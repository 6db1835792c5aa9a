"""Days are typed in one way on every page, as the studio writes its dates."""

import ast
from datetime import date

import pytest

from ingest.schema.csv_columns import FORMS
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests import ROOT
from tests.dashboard.pages.test_number_fields import stored_as
from tests.drawn import checked, draw, field_of, fill_field, press_button, words_of

DAYS = {column.name for form in FORMS for column in form.columns if column.reading == "day"}


def test_every_field_for_a_day_is_the_one_that_all_pages_share() -> None:
    """No calendar to pick from, and no field of text of its own for a column that is a day."""
    assert {"received_on", "due_on", "finished_on", "made_on"} <= DAYS
    for file in sorted((ROOT / "dashboard").rglob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        above = {below: node for node in ast.walk(tree) for below in ast.iter_child_nodes(node)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                assert node.func.attr != "date_input", file.name
                if node.func.attr == "text_input":
                    assert stored_as(node, above[node]) not in DAYS, f"{file.name}: {node.lineno}"


@pytest.mark.parametrize(
    ("order", "hint"), [("dmy", "day/month/year"), ("mdy", "month/day/year"), ("unset", "year-month-day")]
)
def test_a_field_says_how_the_studio_writes_its_dates(
    order: str, hint: str, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with store.writing() as con:
        write_settings(con, {"day_order": order})
    page = draw(monkeypatch, store, "works", add="work")
    labels = ("Received on", "Due on", "Finished on")
    assert [field_of(page, label).placeholder for label in labels] == [hint] * len(labels)


def test_rates_are_asked_of_a_day_as_it_is_written_and_what_is_none_is_refused_with_the_mend(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "our_rates")
    today = date.today()  # pages read the machine's clock
    assert field_of(page, "As things stood on").value == f"{today}"
    fill_field(page, "As things stood on", "1/2/2026")  # the invented studio writes the day first
    assert "as of 1 February 2026" in words_of(checked(page.run()))
    fill_field(page, "As things stood on", "1 March 2026")
    assert "as of 1 March 2026" in words_of(checked(page.run()))
    for typed, refused in (
        ("31/2/2026", '"31/2/2026" is no day of the calendar. See the day and the month, and their order.'),
        ("soon", '"soon" is not a day. Write it as year-month-day, like 1999-12-31.'),
        ("1/2/2126", '"1/2/2126" is after'),
    ):
        fill_field(page, "As things stood on", typed)
        said = words_of(checked(page.run()))
        assert f"As things stood on {refused}" in said
        assert f"as of {today.day} {today:%B %Y}" in said


def test_an_empty_or_unread_day_of_a_milestone_sets_none(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "works", object="26-066")
    for typed, refused in (("", "is empty. Write a day, like 20"), ("soon", '"soon" is not a day.')):
        fill_field(page, "It was finished on", typed)
        press_button(page, "Set the milestone")
        assert f"Not set: It was finished on {refused}" in words_of(page)
