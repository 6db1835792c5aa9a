"""From the guide alone: a new work is described on the invented studio, quoted, and leaves as a letter; on a
phone and on a laptop.
"""

import re
import shutil
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path

import pytest
from docx import Document
from playwright.sync_api import Page, expect

from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from tests.browser.conftest import act, choose, keep, serve, settled
from tests.browser.steps import choose_cell, write_cell

WORK = {
    "Title": "A mill at Marrowby",
    "Kind": "easel painting",
    "Support": "canvas",
    "Height, cm": "61",
    "Width, cm": "76",
}
DESCRIBED = dict(zip(("title", "kind", "support", "height_cm", "width_cm"), WORK.values(), strict=True))

# Quotes that were begun and described before: one test describes a work by hand, the others begin with what
# is theirs.
BEGUN = {
    "bad input": Quote(
        works=[QuotedWork(described=DESCRIBED, lines=[{"technique": "varnish removal with free solvents"}])],
        terms={"currency": "JPY"},
    ),
    "by keyboard": Quote(
        works=[
            QuotedWork(
                described=DESCRIBED,
                lines=[{"technique": "retouching"}, {"technique": "lining", "option": "full treatment"}],
            )
        ]
    ),
}


@dataclass(frozen=True)
class Studio:
    """A studio that is served: its address, and the numbers of the quotes begun in it by their names."""

    address: str
    quotes: dict[str, int]


def serve_quotes(invented: Path, folder: Path, begun: Mapping[str, Quote]) -> Iterator[Studio]:
    """Serve a copy of the invented studio in which quotes are begun."""
    db = folder / "studio.duckdb"
    shutil.copy(invented, db)
    with Store(db) as store:
        numbers = {
            name: quote_drafts.keep(store, deepcopy(quote), "").number for name, quote in begun.items()
        }
    for address in serve(db):
        yield Studio(address, {name: number for name, number in numbers.items() if number})


@pytest.fixture(scope="module")
def studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """An invented studio to quote in; each test has a quote of its own."""
    yield from serve_quotes(invented, tmp_path_factory.mktemp("quotes"), BEGUN)


def open_quote(page: Page, studio: Studio, name: str) -> int:
    """Open a quote that was begun before; its number."""
    number = studio.quotes[name]
    page.goto(f"{studio.address}/quote-a-work?quote={number}")
    expect(page.get_by_role("heading", name=re.compile(rf"^Quote {number}: "))).to_be_visible()
    settled(page)
    return number


def begin(page: Page, studio: str) -> str:
    """Begin a quote and describe its work; the number of the quote."""
    page.goto(f"{studio}/quote-a-work")
    expect(page.get_by_role("heading", name="Quote a work", exact=True)).to_be_visible()
    settled(page)
    act(page, lambda: page.get_by_role("button", name="Begin a quote").click())
    heading = page.get_by_role("heading", name=re.compile(r"^Quote \d+: the new work$"))
    expect(heading).to_be_visible()
    settled(page)
    number = heading.inner_text().split()[1].rstrip(":")
    fill_all(page, WORK)
    return number


def fill_all(page: Page, texts: Mapping[str, str]) -> None:
    """Fill fields one after another as they are typed, and wait once, for the last of them to be left."""
    for label, text in texts.items():
        page.get_by_label(label, exact=True).first.fill(text)
    act(page, lambda: page.keyboard.press("Tab"), must=False)
    for label, text in texts.items():
        expect(page.get_by_label(label, exact=True).first).to_have_value(text)


def fill(page: Page, label: str, text: str) -> None:
    """Fill a field and leave it."""
    page.get_by_label(label, exact=True).first.fill(text)
    act(page, lambda: page.keyboard.press("Tab"), must=False)
    expect(page.get_by_label(label, exact=True).first).to_have_value(text)


def total(page: Page) -> list[str]:
    """The four figures of what it comes to."""
    expect(page.locator("dl.figures dd")).to_have_count(4)
    settled(page)
    return page.locator("dl.figures dd").all_inner_texts()


def add_line(page: Page, technique: str, **more: str) -> None:
    """Add a line by choosing its technique."""
    place = page.get_by_test_id("stExpander").filter(has_text="Add a line by choosing its technique")
    field = place.get_by_role("combobox")
    for _ in range(3):  # a page that is just being drawn anew may swallow a press
        settled(page)
        if field.is_visible():
            break
        act(page, lambda: page.get_by_text("Add a line by choosing its technique").click(), must=False)
    for _ in range(3):
        choose(page, "Technique", technique, place)
        if all(page.get_by_label(label, exact=True).count() for label in more):
            break
    if more:
        fill_all(page, more)
    act(page, lambda: page.get_by_role("button", name="Add it to the sheet").click())
    settled(page)


def test_a_new_work_is_described_quoted_and_leaves_as_a_letter(studio: Studio, phone: Page) -> None:
    number = begin(phone, studio.address)
    expect(phone.get_by_text("easel painting too, on canvas too").first).to_be_visible()
    act(phone, phone.get_by_role("button", name="Take its lines").first.click)
    before = total(phone)
    assert all(re.fullmatch(r"[\d,]+\.\d h", cell) for cell in before[:3]) and re.fullmatch(
        r"€[\d,]+\.\d\d", before[3]
    )
    expect(phone.get_by_role("region", name="Lines of the quote", exact=True)).to_be_visible()
    # each change shows what it did
    add_line(phone, "lining removal dry")
    expect(phone.get_by_text(re.compile(r"The last change moved it, 4 in 5, by \+"))).to_be_visible()
    after = total(phone)
    assert float(after[1].split()[0].replace(",", "")) > float(before[1].split()[0].replace(",", ""))
    # chance as dots that can be counted, the promise marked
    chart = phone.get_by_test_id("stVegaLiteChart").first
    expect(chart.locator("svg .mark-symbol path")).to_have_count(20)
    expect(chart.get_by_text(re.compile(r"promise [\d.]+ h"))).to_be_visible()
    expect(phone.get_by_text("16 of them are within the promise")).to_be_visible()
    # what may turn up, and one of it left out with its reason
    row = phone.get_by_role("region", name="What may turn up").get_by_role("row").nth(1)
    technique = row.get_by_role("cell").first.inner_text()
    phone.get_by_text("Leave one of them out").click()
    act(phone, lambda: phone.get_by_role("button", name="Leave it out").click())
    expect(phone.get_by_text("Not left out: write why")).to_be_visible()
    phone.get_by_label("Why", exact=True).fill("it was seen, and is whole")
    act(phone, lambda: phone.get_by_role("button", name="Leave it out").click())
    expect(phone.get_by_text(f"{technique} is left out: it was seen, and is whole")).to_be_visible()
    # the letter
    act(phone, lambda: phone.get_by_role("radio", name="by phase").click(force=True))
    fill(phone, "Addressee", "Family Brandreth")
    settled(phone)
    with phone.expect_download() as given:
        phone.get_by_role("button", name="The letter as PDF").click()
    assert (
        Path(given.value.path()).read_bytes().startswith(b"%PDF")
        and given.value.suggested_filename == f"quote-{number}.pdf"
    )
    with phone.expect_download() as given:
        phone.get_by_role("button", name="The letter as a page (HTML)").click()
    html = Path(given.value.path()).read_text(encoding="utf-8")
    assert "A mill at Marrowby" in html and "Family Brandreth" in html and total(phone)[3] in html
    # a line in her own words, kept with the quote; the letter as a document has them too
    act(phone, lambda: phone.get_by_text("How its lines read", exact=True).click())
    fill(phone, "lining removal dry", "taking off the old lining")
    act(phone, lambda: phone.get_by_role("button", name="Let them read so").click())
    settled(phone)
    with phone.expect_download() as given:
        phone.get_by_role("button", name="The letter as a document (.docx)").click()
    assert given.value.suggested_filename == f"quote-{number}.docx"
    text = "\n".join(cell.text for table in Document(str(given.value.path())).tables for cell in table._cells)
    assert "taking off the old lining" in text and total(phone)[3].removeprefix("€") in text
    act(phone, lambda: phone.get_by_text("See it", exact=True).click())
    expect(phone.get_by_test_id("stImage").locator("img").first).to_be_visible()
    keep(phone, "quote")
    # nothing is lost by a reload
    figures = total(phone)
    phone.reload()
    expect(phone.get_by_role("heading", name=f"Quote {number}: A mill at Marrowby")).to_be_visible()
    assert total(phone) == figures
    expect(phone.get_by_label("Addressee")).to_have_value("Family Brandreth")
    expect(phone.get_by_text(f"{technique} is left out")).to_be_visible()


def test_bad_input_is_said_in_words_and_nothing_typed_is_lost(studio: Studio, phone: Page) -> None:
    open_quote(phone, studio, "bad input")
    expect(phone.get_by_text("No price: nobody has said what an hour costs in JPY")).to_be_visible()
    assert total(phone)[3] == "no price yet"
    add_line(phone, "filling", **{"Quantity, dm²": "99999999"})
    expect(phone.get_by_text('Line 2, quantity "99999999": cannot be.')).to_be_visible()
    fill(phone, "Height, cm", "tall")
    expect(phone.get_by_text('Height "tall": is not a number.')).to_be_visible()
    expect(
        phone.get_by_text("the size of the work is not known, so it is foretold as a usual one")
    ).to_be_visible()
    fill(phone, "Ceiling", "a lot")
    expect(phone.get_by_text('Ceiling "a lot" is not a number.')).to_be_visible()
    # what is nearly always done is missed, and added by one press
    usual = phone.get_by_role("listitem").filter(has_text="not on this sheet")
    expect(usual).to_contain_text("final report")
    act(phone, phone.get_by_role("button", name="Add final report").click)
    expect(usual).not_to_contain_text("final report")
    expect(phone.get_by_role("region", name="Lines of the quote", exact=True)).to_contain_text("final report")
    phone.reload()
    expect(phone.get_by_label("Height, cm")).to_have_value("tall")
    expect(phone.get_by_role("textbox", name="Ceiling")).to_have_value("a lot")
    expect(phone.get_by_text('Line 2, quantity "99999999": cannot be.')).to_be_visible()


def test_the_sheet_is_written_by_keyboard_and_options_stand_side_by_side(
    studio: Studio, laptop: Page
) -> None:
    open_quote(laptop, studio, "by keyboard")
    choose_cell(laptop, 2, 120, laptop.get_by_test_id("stDataFrame").first)
    write_cell(laptop, "glide-cell-1-2", "tear bridging", "Tab")
    for _ in range(6):
        laptop.keyboard.press("Tab")
        laptop.wait_for_timeout(120)
    write_cell(laptop, "glide-cell-8-2", "stabilise only", "Tab")
    table = laptop.get_by_role("region", name="Options side by side")
    expect(table.get_by_role("cell", name="stabilise only")).to_be_visible()
    expect(table.get_by_role("cell", name="full treatment")).to_be_visible()
    keep(laptop, "quote-options")
