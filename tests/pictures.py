"""The pictures of the README, made from the invented studio: `python -m tests.pictures`.

Beside them stand the words that they show, as headings, labels and buttons: a test says when the pages have
others.
"""

from __future__ import annotations

import io
import json
import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

from dashboard.services import demo
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from tests import ROOT
from tests.browser.conftest import act, settled
from tests.chromium import find_chromium
from tests.served import Server

FOLDER = ROOT / ".pictures"
WORDS = FOLDER / "words.json"
COLOURS = 128
_MARGIN = 14
_WORDS_OF_PAGES = (
    "h1, h2, h3:not(:has(a[href*='object='])), dt, button, summary p, a, [data-testid=stWidgetLabel]"
)
_WORK = {
    "title": "A mill at Marrowby",
    "kind": "easel painting",
    "support": "canvas",
    "height_cm": "61",
    "width_cm": "76",
}


@dataclass(frozen=True)
class Picture:
    """One picture.

    Attributes
    ----------
    width, height : of the window, in CSS pixels; what is to be seen must fit into it.
    prepare : brings a page, at the address of the studio, to where the picture is taken.
    first, last : the elements at the head and the foot of the picture, under these selectors; None: the whole
        window.
    words : selector of the elements whose words are the page's own.
    late : a text that comes last.
    scale : pixels of the picture for one of CSS.
    """

    width: int
    height: int
    prepare: Callable[[Page, str], None]
    first: str | None = None
    last: str | None = None
    words: str = _WORDS_OF_PAGES
    late: str = ""
    scale: int = 1


def _on_the_bench(page: Page, address: str) -> None:
    page.goto(f"{address}/on-the-bench")
    expect(page.get_by_role("heading", name="Write to the owner")).to_be_visible(timeout=90_000)
    expect(page.get_by_test_id("stVegaLiteChart").locator("svg text").first).to_be_attached()
    settled(page)


def _quote_a_work(page: Page, address: str) -> None:
    page.goto(f"{address}/quote-a-work?quote=1")
    expect(page.get_by_role("heading", name=f"Quote 1: {_WORK['title']}")).to_be_visible()
    settled(page)
    act(page, page.get_by_role("button", name="Take its lines").first.click)
    expect(page.locator("dl.figures dd")).to_have_count(4)
    page.mouse.move(2, 2)
    settled(page)


def _log(page: Page, address: str) -> None:
    page.goto(f"{address}/log")
    expect(page.locator("html[data-ready]")).to_be_attached()
    page.get_by_role("button", name="Ilse", exact=True).click()
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    expect(page.locator("#told")).to_contain_text("All is saved in the studio.")


PICTURES = {
    "on-the-bench": Picture(
        1000,
        2600,
        _on_the_bench,
        "h1",
        "[data-testid=stButton]",  # of the first owner to write to
        late="Foretold so since",
    ),
    "quote-a-work": Picture(
        1000,
        5200,
        _quote_a_work,
        ":is(h2, h3):has-text('What it comes to')",
        "summary:has-text('Minimum charge')",
    ),
    "log": Picture(360, 720, _log, words="h1, h2, nav a, nav button, #told", scale=2),
}


@contextmanager
def _prepared(
    browser: Browser, picture: Picture, address: str, *, late: bool = False
) -> Iterator[tuple[Page, float, float]]:
    """A page as a picture is taken of it, and where that begins and ends; `late`: with what comes last."""
    context = browser.new_context(
        viewport={"width": picture.width, "height": picture.height},
        device_scale_factor=picture.scale,
        is_mobile=picture.scale > 1,
    )
    with context:
        page = context.new_page()
        picture.prepare(page, address)
        if late and picture.late:
            expect(page.get_by_text(picture.late).first).to_be_visible(timeout=90_000)
            settled(page)
        top = _box(page.locator(picture.first).first)[0] if picture.first else 0.0
        foot = _box(page.locator(picture.last).first)[1] if picture.last else float(picture.height)
        yield page, max(top - _MARGIN, 0), min(foot + _MARGIN, picture.height)


def _words(page: Page, picture: Picture, top: float, foot: float) -> list[str]:
    words = [
        item.inner_text()
        for item in page.locator(picture.words).all()
        if item.is_visible() and top <= _box(item)[0] and _box(item)[1] <= foot
    ]
    return own_words(words)


def words_of(browser: Browser, picture: Picture, address: str) -> list[str]:
    """The page's own words in a picture, without the picture."""
    with _prepared(browser, picture, address) as (page, top, foot):
        return _words(page, picture, top, foot)


def taken(browser: Browser, picture: Picture, address: str) -> tuple[bytes, list[str]]:
    """A picture as PNG, with all that comes last, and the page's own words in it."""
    with _prepared(browser, picture, address, late=True) as (page, top, foot):
        words = _words(page, picture, top, foot)
        return page.screenshot(clip={"x": 0, "y": top, "width": picture.width, "height": foot - top}), words


def _box(item: Locator) -> tuple[float, float]:
    """Where an element begins and ends, from the top of the window."""
    box = item.bounding_box()
    assert box
    return box["y"], box["y"] + box["height"]


def own_words(texts: list[str]) -> list[str]:
    """Texts without what has a figure in it, each once, in their order."""
    plain = [" ".join(word for word in text.split() if not re.search(r"\d", word)) for text in texts]
    return list(dict.fromkeys(filter(None, plain)))


def small(shot: bytes) -> bytes:
    """A picture in few colours, as PNG."""
    image = Image.open(io.BytesIO(shot)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True)
    return file.getvalue()


def begin_quote(db: Path) -> None:
    """Begin the quote of which a picture is taken, in the invented studio."""
    with Store(db) as store:
        quote_drafts.keep(store, Quote(works=[QuotedWork(described=dict(_WORK))]), "")


def all_taken(browser: Browser, folder: Path) -> dict[str, tuple[bytes, list[str]]]:
    """Every picture, of an invented studio that is made in a folder."""
    db = folder / "studio.duckdb"
    demo.fresh(db).close()
    begin_quote(db)
    server = Server(db)
    try:
        return {name: taken(browser, picture, server.address) for name, picture in PICTURES.items()}
    finally:
        server.discard()


def main() -> int:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=find_chromium(), args=["--no-sandbox", "--disable-gpu", "--disable-extensions"]
        )
        pictures = all_taken(browser, Path(folder))
        browser.close()
    for name, (shot, _) in pictures.items():
        (FOLDER / f"{name}.png").write_bytes(small(shot))
    words = {name: words for name, (_, words) in pictures.items()}
    WORDS.write_text(json.dumps(words, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
