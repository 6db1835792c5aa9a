"""A real server, a real browser, and pages that are watched: no error, no word to the outside, nothing wider than the screen."""

import os
import re
import time
from collections.abc import Callable, Iterator
from functools import cache, partial
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, TimeoutError, expect, sync_playwright

from ingest.store import Store
from tests import big_studio
from tests.chromium import find_chromium
from tests.served import Server

expect.set_options(timeout=30_000)  # patience costs nothing where it is not needed
SCREENSHOTS = Path(__file__).parent.parent / "screenshots"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        opened = play.chromium.launch(
            executable_path=find_chromium(),
            args=["--no-sandbox", "--disable-gpu", "--disable-extensions"],
        )
        yield opened
        opened.close()


def serve(db: Path, command: str = "serve", **options: tuple[str, ...]) -> Iterator[str]:
    """Start a server of a database, give its address, and end it; how one is stopped is seen to in `test_serving.py`."""
    server = Server(db, command=command, **options)
    yield f"http://127.0.0.1:{server.port}"
    server.discard()


@pytest.fixture(scope="session")
def demo_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The invented studio, to look at only."""
    yield from serve(tmp_path_factory.mktemp("demo") / "demo.duckdb", "demo")


@pytest.fixture(scope="session")
def empty_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    yield from serve(tmp_path_factory.mktemp("empty") / "studio.duckdb")


@pytest.fixture(scope="session")
def large_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A studio of 500 works."""
    folder = tmp_path_factory.mktemp("large")
    with Store(folder / "studio.duckdb") as store:
        big_studio.fill(store, folder, 500, 20_000)
    yield from serve(folder / "studio.duckdb")


@pytest.fixture
def serve_here() -> Iterator[Callable[..., str]]:
    """Start a server for one test; it outlives the page, so name it before `page`."""
    started: list[Iterator[str]] = []

    def start(*call: Any, **options: tuple[str, ...]) -> str:
        started.append(serve(*call, **options))
        return next(started[-1])

    yield start
    for served in started:
        next(served, None)


@pytest.fixture(scope="session")
def windows(browser: Browser) -> Callable[[int], BrowserContext]:
    """One browser of each width for all tests: what Streamlit is made of is fetched once."""
    return cache(lambda width: browser.new_context(viewport={"width": width, "height": 800}))


def watched(windows: Callable[[int], BrowserContext], width: int) -> Iterator[Page]:
    opened = windows(width).new_page()
    complaints: list[str] = []
    opened.on("console", lambda message: complaints.append(f"{message.text} {message.location}") if message.type == "error" else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    asked: list[str] = []
    opened.on("request", lambda sent: asked.append(sent.url))
    yield opened
    expect(opened.get_by_test_id("stException")).to_have_count(0)
    expect(opened.get_by_text("This page failed")).to_have_count(0)
    assert opened.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert complaints == []
    assert [url for url in asked if "127.0.0.1" not in url and not url.startswith(("data:", "blob:"))] == []  # nothing leaves the machine
    opened.close()


@pytest.fixture(params=[360, 1280])
def page(windows: Callable[[int], BrowserContext], request: pytest.FixtureRequest) -> Iterator[Page]:
    """At a phone's width and a laptop's."""
    yield from watched(windows, request.param)


@pytest.fixture
def laptop(windows: Callable[[int], BrowserContext]) -> Iterator[Page]:
    """At a laptop's width only, for what is worked through there."""
    yield from watched(windows, 1280)


@pytest.fixture
def phone(windows: Callable[[int], BrowserContext]) -> Iterator[Page]:
    """At a phone's width only."""
    yield from watched(windows, 360)


def until(page: Page, true: str, timeout_s: float = 30.0) -> None:
    """Wait until an expression is true. Asked anew each time: the policy of the pages lets nobody evaluate text, not even who waits inside them."""
    patience = time.monotonic() + timeout_s
    while not page.evaluate(true):
        if time.monotonic() > patience:
            raise TimeoutError(true)
        page.wait_for_timeout(25)


# On a busy machine the page is drawn a second later. Where something moves all the time nobody is ever idle: who waits for that has an end to it.
_IDLE = "new Promise(idle => requestIdleCallback(() => requestIdleCallback(idle, {timeout: 1000}), {timeout: 1000}))"


def settled(page: Page) -> None:
    """Wait until the script has run to its end and what it said is drawn; what was just done takes a moment to reach it."""
    page.wait_for_timeout(150)
    until(
        page,
        "!document.querySelector('[data-testid=stStatusWidget]') && document.querySelector('[data-testid=stApp]')?.dataset.testScriptState === 'notRunning'",
    )
    page.evaluate(_IDLE)


_WATCH = """() => {
    window.acted = false; window.asked = 0;
    new MutationObserver(() => { window.acted = true }).observe(document, {subtree: true, attributeFilter: ['data-test-script-state']});
    if (!WebSocket.prototype.heard) {
        const send = WebSocket.prototype.send;
        WebSocket.prototype.send = function (...said) { window.asked ||= performance.now(); return send.apply(this, said) };
        WebSocket.prototype.heard = true;
    }
}"""
# A run that is over before the browser, on a busy machine, drew that it began is not seen at all: it was asked for, and that must do.
_ACTED = "window.acted || (window.asked && performance.now() - window.asked > 1500)"


def act(page: Page, do: Callable[[], object], *, must: bool = True) -> None:
    """Do what makes the page act and wait until it has; once more where it was drawn anew just then and nothing came of it.

    Not `must`: the page may have no reason to act.
    """
    page.evaluate(_WATCH)
    for attempt in range(3):
        do()
        try:
            until(page, _ACTED, 5 if must else 2)
            break
        except TimeoutError:
            if not must:
                break
            assert attempt < 2, "the page does not act"
    settled(page)


def choose(page: Page, label: str, option: str) -> None:
    """Type into a choice and take what fits; once more where the page was drawn anew in between."""
    for attempt in range(3):
        try:
            field = page.get_by_role("combobox", name=label)
            field.click(timeout=8_000)
            field.fill(option)
            wanted = page.get_by_role("option", name=re.compile(re.escape(option))).first
            act(page, partial(wanted.click, timeout=4_000), must=False)
            break
        except TimeoutError:
            assert attempt < 2, f"{label}: {option}"
            page.keyboard.press("Escape")


def tick(page: Page, words: str) -> None:
    """Tick a box; a second attempt never takes the tick away again."""
    box = page.get_by_role("checkbox", name=words)
    act(page, lambda: None if box.is_checked() else page.get_by_text(words).click())
    expect(box).to_be_checked()


def leave(page: Page) -> None:
    """Leave a field by keyboard."""
    act(page, lambda: page.keyboard.press("Tab"), must=False)


def keep(page: Page, name: str) -> None:
    """Keep what the page looks like from head to foot, to be looked at; only for who asks for it, as it takes a minute over all tests."""
    if not os.environ.get("BENCH_HOURS_SCREENSHOTS"):
        return
    SCREENSHOTS.mkdir(exist_ok=True)
    width = page.evaluate("window.innerWidth")
    height = page.evaluate("document.querySelector('[data-testid=stMain]')?.scrollHeight ?? 900")
    page.set_viewport_size({"width": width, "height": min(max(int(height), 700), 5200)})
    page.wait_for_timeout(250)
    page.screenshot(path=SCREENSHOTS / f"{name}-{width}.png")
