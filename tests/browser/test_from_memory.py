"""Works from memory typed by keyboard alone, on an empty studio, at the width of a phone."""

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.browser.conftest import keep, settled
from tests.browser.steps import choose_cell, done, go, press, row_of, type_cells

ROWS = (
    ["Harbour at dusk", "41,5", "30", "March 2024", "2400", "24 × 36 in"],
    ["Mill in snow", "many", "", "2023"],
    ["Weir", "12"],
)


def write_row(page: Page, row: int, cells: list[str]) -> None:
    """Write a row from its first cell on, by keyboard, and go to the first cell of the next one."""
    type_cells(page, row, cells)
    page.keyboard.press("Home")
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(300)
    settled(page)


def test_rows_typed_by_keyboard_wait_through_a_reload_and_come_in_without_those_that_have_a_fault(
    serve_here: Callable[..., str], phone: Page, tmp_path: Path
) -> None:
    studio = serve_here(tmp_path / "studio.duckdb")
    go(phone, studio, "Where the hours went")
    press(phone, "Tell works from memory")
    done(phone, "a title and the hours that it took are enough")
    phone.get_by_role("textbox", name="Whose hours these are").fill("Ada")
    phone.keyboard.press("Tab")
    settled(phone)
    choose_cell(phone, 0, 120)
    for row, cells in enumerate(ROWS):
        write_row(phone, row, cells)
    mend = 'Row 2, hours taken "many": cannot be read as hours.'
    expect(phone.get_by_text(mend)).to_be_visible()
    phone.reload()
    expect(phone.get_by_text(mend)).to_be_visible()
    expect(phone.get_by_role("textbox", name="Whose hours these are")).to_have_value("Ada")
    settled(phone)
    keep(phone, f"task-from-memory-{phone.viewport_size['width'] if phone.viewport_size else ''}")
    press(phone, "Save 2 works")
    done(phone, "1 row stays on the sheet with what is to be mended.")
    assert row_of(phone, "Works told from memory", "Harbour at dusk")[2:5] == ["31 Mar 2024", "30.0", "41.5"]
    assert row_of(phone, "Works told from memory", "Weir")[3:5] == ["–", "12.0"]
    choose_cell(phone, 0, 120)
    write_row(phone, 0, ["", "29"])
    press(phone, "Save 1 work")
    done(phone, "Saved from memory: M23-01.")
    press(phone, "Strike out all works from memory")
    press(phone, "Yes, strike out 3 works")
    done(phone, "Struck out:")
    phone.get_by_role("button", name="Put back what was struck out").press("Enter")
    done(phone, "Put back: M23-01, M24-01, M25-01.")
