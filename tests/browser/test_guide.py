"""The guide in a browser: by keyboard, by links, and on paper. That every page leads to its chapter is seen
in `test_pages.py`, where each is opened.
"""

from urllib.parse import parse_qs, urlsplit

from playwright.sync_api import Page, expect

from dashboard import guide
from tests.browser.conftest import act, settled


def _shows(page: Page, chapter: str) -> None:
    expect(page.get_by_role("heading", name=guide.CHAPTERS[chapter], exact=True, level=2)).to_be_visible()
    settled(page)
    assert parse_qs(urlsplit(page.url).query)["chapter"] == [chapter]


def test_a_chapter_is_chosen_by_keyboard_by_links_and_by_its_address(phone: Page, demo_address: str) -> None:
    phone.goto(f"{demo_address}/works")
    way = phone.get_by_role("link", name="How this page is read")
    expect(way).to_be_visible()
    settled(phone)
    way.focus()
    act(phone, lambda: phone.keyboard.press("Enter"), must=False)
    _shows(phone, "works")
    phone.get_by_role("combobox", name="Chapter").focus()
    phone.keyboard.type("Quot")
    expect(phone.get_by_role("option", name="Quotes")).to_be_visible()
    act(phone, lambda: phone.keyboard.press("Enter"), must=False)
    _shows(phone, "quotes")
    act(phone, phone.get_by_role("link", name="Rates", exact=True).click, must=False)
    _shows(phone, "rates")
    phone.go_back()
    _shows(phone, "quotes")
    phone.goto(f"{demo_address}/guide?chapter=nothing")
    expect(phone.get_by_text('There is no chapter "nothing". Choose one of the list.')).to_be_visible()
    expect(phone.get_by_role("heading", name=next(iter(guide.CHAPTERS.values())), level=2)).to_be_visible()


def test_a_chapter_prints_without_what_is_for_the_screen(laptop: Page, demo_address: str) -> None:
    laptop.goto(f"{demo_address}/guide?chapter=words")
    _shows(laptop, "words")
    laptop.emulate_media(media="print")
    for screen_only in (".st-key-pages", ".st-key-chapters", ".st-key-onwards"):
        expect(laptop.locator(screen_only)).to_be_hidden()
    last = laptop.get_by_role("cell", name="teaching", exact=True)
    expect(last).to_be_visible()
    foot = last.bounding_box()
    assert foot is not None and foot["y"] > 1_000
    assert laptop.evaluate("document.documentElement.scrollHeight") > foot["y"]  # all of it is on the paper
    laptop.emulate_media(media="screen")
