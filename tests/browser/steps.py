"""Steps that the tests of the pages share: go to a page, press, read a row, write into a sheet."""

import re

from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import act, settled, until

FIELD_OF_A_CELL = (
    ".gdg-input, .gdg-growing-entry textarea, [class*=gdg-overlay] input, #portal input, #portal textarea"
)


def unfold(page: Page, name: str | re.Pattern[str]) -> None:
    """Open what is folded away, and wait until it lies open."""
    folded = page.get_by_test_id("stExpander").filter(has=page.locator("summary").filter(has_text=name))
    folded.locator("summary").click()
    expect(folded.locator("details")).to_have_attribute("open", "")
    page.wait_for_timeout(400)
    settled(page)


def go(page: Page, address: str, title: str) -> None:
    page.goto(address)
    expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible()
    settled(page)


def press(page: Page, name: str) -> None:
    button = page.get_by_role("button", name=name, exact=True).first
    expect(button).to_be_enabled()
    # a field that was left is sent first: a page that is drawn anew just then takes the press with it
    button.focus()
    settled(page)
    act(page, lambda: button.press("Enter"))


def press_until(page: Page, name: str, sentence: str) -> None:
    """Press what may be pressed twice without harm until it is said to be done: a sheet beside it that is
    drawn anew just then takes the press, or the word of it.
    """
    for attempt in range(3):
        press(page, name)
        try:
            expect(page.get_by_text(sentence).first).to_be_visible(timeout=8_000)
            return
        except AssertionError:
            assert attempt < 2, sentence


def done(page: Page, sentence: str) -> None:
    expect(page.get_by_text(sentence).first).to_be_visible()
    settled(page)


def row_of(page: Page, table: str, *cells: str) -> list[str]:
    """The cells of the first row of a table that has all these texts."""
    row = page.get_by_role("region", name=table, exact=True).get_by_role("row")
    for text in cells:
        row = row.filter(has_text=text)
    expect(row.first).to_be_visible()  # cells are read as they stand, without waiting
    return row.first.get_by_role("cell").all_inner_texts()


def choose_cell(page: Page, row: int, x: int, sheet: Locator | None = None) -> None:
    """Click into a row of a sheet (by default the last), so far from its left; once more where it was just
    being drawn anew and has no cell chosen. The row is brought to the middle of the window first: what was
    done stays in sight at its edge, and lies over what is there.
    """
    sheet = sheet or page.get_by_test_id("stDataFrame").last
    down = 52 + 35 * row
    for _ in range(3):
        sheet.scroll_into_view_if_needed()
        sheet.evaluate(_TO_THE_MIDDLE, down)
        box = sheet.bounding_box()
        assert box
        page.mouse.click(box["x"] + x, box["y"] + down)
        if told(page.locator(f"[role=gridcell][id$='-{row}'][aria-selected=true]"), None):
            return
    raise AssertionError(f"no cell of row {row} was chosen")


_TO_THE_MIDDLE = """(sheet, down) => {
    const main = sheet.closest('[data-testid=stMain]');
    main.scrollTop += sheet.getBoundingClientRect().top + down - window.innerHeight / 2;
}"""


def told(cell: Locator, text: str | None) -> bool:
    """The sheet says in words, a moment later, that a cell is there, and what it holds."""
    try:
        expect(cell.first).to_be_attached(timeout=2_000)
        if text is not None:
            expect(cell.first).to_have_text(text, timeout=2_000)
    except AssertionError:
        return False
    return True


def write_cell(page: Page, cell: str, text: str, leave_by: str) -> None:
    """Overwrite the chosen cell and leave it: emptied, then opened, typed once its field is there, and looked
    at afterwards; once more where a slow machine lost it.
    """
    field = page.locator(FIELD_OF_A_CELL).first
    back = {"Tab": "Shift+Tab", "Enter": "ArrowUp"}[leave_by]
    for attempt in range(3):
        page.keyboard.press("Delete")
        page.wait_for_timeout(100)
        page.keyboard.press("Enter")
        expect(field).to_be_attached()
        page.wait_for_timeout(100)
        page.keyboard.type(text, delay=45)
        page.wait_for_timeout(150)
        page.keyboard.press(leave_by)
        page.wait_for_timeout(250)
        settled(page)
        if told(page.locator(f"#{cell}"), text):
            return
        assert attempt < 2, f"{cell}: {text}"
        page.keyboard.press(back)


def write_cells(page: Page, row: int, cells: list[str]) -> None:
    """Fill a line of the sheet from its first cell on, by keyboard, at the pace of a person."""
    choose_cell(page, row, 120)
    type_cells(page, row, cells)
    settled(page)


def type_cells(page: Page, row: int, cells: list[str]) -> None:
    """Write the cells of a row whose first one is chosen."""
    for column, text in enumerate(cells, 1):
        if text:
            write_cell(page, f"glide-cell-{column}-{row}", text, "Tab")
        else:
            page.keyboard.press("Tab")
            page.wait_for_timeout(150)


def turned(page: Page) -> None:
    """A phone's page as wide as a laptop's, or the other way round, as a window is made: nothing is wider
    than it.
    """
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.viewport_size
    wide = 1280 if page.viewport_size["width"] == 360 else 360
    page.set_viewport_size({"width": wide, "height": 800})
    settled(page)
    until(page, f"document.documentElement.scrollWidth <= {wide}", 5)
