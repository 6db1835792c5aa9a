"""A new work and its estimate, written by keyboard or by choosing, on the invented studio."""

import re
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from ingest.editing import estimate_drafts
from ingest.editing.estimate_drafts import Draft
from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.store import Store
from tests.browser.conftest import choose, keep, leave, serve, settled
from tests.browser.steps import done, go, press, row_of, unfold, write_cells
from tests.conftest import CHANGE

# Works that the tests begin with, and what is on their sheets; one test adds its work by hand.
BEGUN: dict[str, list[dict[str, str]]] = {
    "27-001": [{"technique": "surface cleaning dry", "hours": "2,5", "quantity": "30"}],
    "27-006": [],
}


@pytest.fixture(scope="module")
def studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An invented studio to change; each task has works of its own."""
    db = tmp_path_factory.mktemp("estimates") / "studio.duckdb"
    shutil.copy(invented, db)
    with Store(db) as store:
        store_rows(store, OBJECTS, [{"object": code} for code in BEGUN], CHANGE)
        for code, lines in BEGUN.items():
            if lines:
                head = {"made_on": f"{date.today()}", "currency": "EUR"}
                estimate_drafts.keep(store, code, Draft(version=head, lines=lines))
    yield from serve(db)


def test_an_estimate_is_written_survives_a_reload_is_saved_approved_and_revised(
    laptop: Page, studio: str
) -> None:
    go(laptop, f"{studio}/estimate?object=27-001", "Estimate")
    write_cells(laptop, 1, ["varnish removal with solvent gel", "", "two"])
    expect(laptop.get_by_text('Line 2, hours "two": cannot be read as hours.')).to_be_visible()
    expect(laptop.get_by_text("Usual caution with")).to_contain_text(
        "follow the safety data sheet of the product, the law where you work and licensed practice"
    )
    laptop.reload()
    expect(laptop.get_by_text('Line 2, hours "two": cannot be read as hours.')).to_be_visible()
    settled(laptop)
    laptop.get_by_role(
        "link", name="Works", exact=True
    ).click()  # and another page in between loses nothing either
    expect(laptop.get_by_text("those on the bench first")).to_be_visible()
    laptop.get_by_role("link", name="Estimate", exact=True).click()
    expect(laptop.get_by_role("heading", name="Estimate", exact=True)).to_be_visible()
    settled(laptop)
    choose(laptop, "Work", "27-001")
    expect(laptop.get_by_text('Line 2, hours "two": cannot be read as hours.')).to_be_visible()
    press(laptop, "Save as version 1")
    expect(laptop.get_by_text('Not saved: line 2, hours "two"')).to_contain_text(
        "The draft is kept as it is."
    )
    write_cells(laptop, 1, ["", "", "1h30"])
    keep(laptop, "task-estimate")
    expect(laptop.get_by_text("at €68.00 an hour: €272.00.")).to_be_visible()
    press(laptop, "Save as version 1")
    done(laptop, "Saved as version 1.")
    press(laptop, "Note the approval")
    done(laptop, "Version 1 of 27-001 is approved on")
    press(laptop, "Begin with the latest version")
    laptop.get_by_role("textbox", name="Reason (what was found)").fill("an older varnish under the first")
    leave(laptop)
    write_cells(laptop, 1, ["", "", "4"])
    press(laptop, "Save as version 2")
    done(laptop, "Saved as version 2.")
    assert row_of(laptop, "Versions of the estimate", "an older varnish")[4:6] == ["2", "6.5"]
    press(laptop, "Note the approval")
    done(laptop, "Version 2 of 27-001 is approved on")
    go(laptop, f"{studio}/one-work?object=27-001", "One work")
    expect(laptop.get_by_text("First approved 4.0 h, latest approved 6.5 h; 1 line changed.")).to_be_visible()


def test_an_estimate_is_put_together_by_choosing_on_a_phone(phone: Page, studio: str) -> None:
    go(phone, f"{studio}/estimate?object=27-006", "Estimate")
    expect(phone.get_by_role("heading", name="Write its estimate")).to_be_visible()
    press(phone, "Begin with an empty sheet")
    unfold(phone, "Add a line by choosing its technique")
    for technique, spent, quantity in (
        ("varnish removal with solvent gel", "4", "30"),
        ("packing", "1h30", ""),
    ):
        choose(phone, "Technique", technique)
        phone.get_by_role("textbox", name="Hours", exact=True).fill(spent)
        if quantity:
            phone.get_by_role("textbox", name="Quantity, dm²").fill(quantity)
        press(phone, "Add it to the sheet")
        expect(
            phone.get_by_role("region", name="Lines of the sheet").get_by_role("cell", name=technique)
        ).to_be_visible()
    assert row_of(phone, "Lines of the sheet", "solvent gel") == [
        "varnish removal with solvent gel",
        "30 dm²",
        "4.0",
    ]
    phone.get_by_role("textbox", name="Price").fill("1,450")
    leave(phone)
    expect(phone.get_by_text('Price "1,450": may be 1450 or 1.45.')).to_be_visible()
    settled(phone)
    phone.get_by_role("textbox", name="Price").fill("1450")
    leave(phone)
    expect(phone.get_by_text("Price: €1,450.00.")).to_be_visible()
    settled(phone)
    keep(phone, "task-sheet")
    press(phone, "Save as version 1")
    done(phone, "Saved as version 1.")
    # read once more beside the approval
    expect(phone.get_by_role("combobox", name="Version").last).to_have_value("1: 5.5 h, €1,450.00")


def test_a_new_work_half_written_waits_through_a_reload_and_another_page(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?add=work", "Works")
    laptop.get_by_role("textbox", name="Code").fill("27-005")
    laptop.get_by_role("textbox", name="Kind").fill("easel paintng")
    leave(laptop)
    laptop.get_by_role("radio", name="canvas", exact=True).click()
    settled(laptop)
    laptop.reload()
    expect(laptop.get_by_role("textbox", name="Kind")).to_have_value("easel paintng")
    settled(laptop)
    laptop.get_by_role("link", name="Studio", exact=True).click()
    expect(laptop.get_by_role("textbox", name="Name of the studio")).to_be_visible()
    go(laptop, f"{studio}/works?add=work", "Works")
    expect(laptop.get_by_role("textbox", name="Code")).to_have_value("27-005")
    expect(laptop.get_by_role("textbox", name="Support")).to_have_value("canvas")
    laptop.get_by_role("textbox", name="Height, cm").fill('24"')
    laptop.get_by_role("textbox", name="Width, cm").fill("50")
    press(laptop, "Save")
    done(
        laptop,
        'The work is added. Kind "easel paintng" is new here, and near to "easel painting": if it is the'
        " same, say it alike.",
    )
    expect(laptop.get_by_text("Area: 30.5 dm², by its shape and size.")).to_be_visible()
    expect(laptop.get_by_role("link", name="Write its estimate")).to_be_visible()
    press(laptop, "Add another work")
    expect(laptop.get_by_role("heading", name="A new work")).to_be_visible()
    settled(laptop)
    expect(laptop.get_by_role("textbox", name="Code")).to_have_value("")
    for code in ("27-00", "", "27-007"):  # emptied in between, it is kept again all the same
        laptop.get_by_role("textbox", name="Code").fill(code)
        leave(laptop)
    laptop.get_by_role("textbox", name="Title", exact=True).fill("Weir")
    # as a person clicks, with a field not left yet: it is sent, and then the page is left
    laptop.get_by_role("link", name="Works", exact=True).click()
    expect(laptop.get_by_role("heading", name="A new work")).to_have_count(0)
    press(laptop, "Go on with the new work 27-007")
    expect(laptop.get_by_role("textbox", name="Title", exact=True)).to_have_value("Weir")
    press(laptop, "Save")
    done(laptop, "The work is added.")
    assert "object=27-007" in laptop.url
    laptop.get_by_role("link", name="Works", exact=True).click()
    expect(laptop.get_by_role("button", name="Add a work")).to_be_visible()
    laptop.get_by_role("textbox", name=re.compile("Search code")).fill("27-00")
    laptop.keyboard.press("Enter")
    settled(laptop)
    assert row_of(laptop, "Works", "27-005")[0] == "27-005" and row_of(laptop, "Works", "27-007")[2] == "Weir"
