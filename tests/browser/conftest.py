"""A real server, a real browser, and pages that are watched: no error, no word to the outside, nothing wider
than the screen.
"""

import contextlib
import os
import re
import time
from collections.abc import Callable, Iterator, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, ConsoleMessage, Locator, Page, TimeoutError, expect, sync_playwright

from ingest.store import Store
from tests import ROOT, big_studio
from tests.chromium import find_chromium
from tests.served import Server

expect.set_options(timeout=30_000)  # patience costs nothing where it is not needed
SCREENSHOTS = ROOT / "tests" / "screenshots"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        opened = play.chromium.launch(
            executable_path=find_chromium(),
            # A page lives for seconds: to compile its script for a long life takes more than it gains, and
            # most of what it makes is gone with it.
            args=[
                *("--no-sandbox", "--disable-gpu", "--disable-extensions"),
                "--js-flags=--no-maglev --no-turbofan --min-semi-space-size=64",
            ],
        )
        yield opened
        opened.close()


def serve(db: Path, command: str = "serve", **options: tuple[str, ...]) -> Iterator[str]:
    """Start a server of a database, give its address, and end it; how one is stopped is seen to in
    `test_serving.py`.
    """
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

    def start(*call: Any, **options: Any) -> str:
        started.append(serve(*call, **options))
        return next(started[-1])

    yield start
    for served in started:
        next(served, None)


@pytest.fixture(scope="session")
def windows(browser: Browser) -> Callable[[int], Page]:
    """One tab of each width for all tests: what Streamlit is made of is fetched and compiled once."""

    def opened(width: int) -> Page:
        page = browser.new_context(viewport={"width": width, "height": 800}).new_page()
        page.add_init_script(_NOTE_RUNS)
        return page

    return cache(opened)


def watched(windows: Callable[[int], Page], width: int) -> Iterator[Page]:
    """A tab that is empty at first; at the end nothing on it failed, nothing was asked of another machine."""
    page = windows(width)
    page.set_viewport_size({"width": width, "height": 800})
    complaints: list[str] = []
    requested: list[str] = []

    def hear(message: ConsoleMessage) -> None:
        if message.type == "error":
            complaints.append(f"{message.text} {message.location}")

    watches: dict[Any, Callable[..., None]] = {
        "console": hear,
        "pageerror": lambda error: complaints.append(str(error)),
        "request": lambda request: requested.append(request.url),
    }
    for event, watch in watches.items():
        page.on(event, watch)
    try:
        yield page
        expect(page.get_by_test_id("stException")).to_have_count(0)
        expect(page.get_by_text("This page failed")).to_have_count(0)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert complaints == []
        assert [
            url for url in requested if "127.0.0.1" not in url and not url.startswith(("data:", "blob:"))
        ] == []  # nothing leaves the machine
    finally:
        for event, watch in watches.items():
            page.remove_listener(event, watch)
        page.unroute_all()
        page.goto("about:blank")


@pytest.fixture(params=[360, 1280])
def page(windows: Callable[[int], Page], request: pytest.FixtureRequest) -> Iterator[Page]:
    """At a phone's width and a laptop's."""
    yield from watched(windows, request.param)


@pytest.fixture
def laptop(windows: Callable[[int], Page]) -> Iterator[Page]:
    """At a laptop's width only, for what is worked through there."""
    yield from watched(windows, 1280)


@pytest.fixture
def phone(windows: Callable[[int], Page]) -> Iterator[Page]:
    """At a phone's width only."""
    yield from watched(windows, 360)


def until(page: Page, true: str, timeout_s: float = 30.0) -> None:
    """Wait until an expression is true. Asked anew each time: the policy of the pages lets nobody evaluate
    text, not even who waits inside them.
    """
    patience = time.monotonic() + timeout_s
    while not page.evaluate(true):
        if time.monotonic() > patience:
            raise TimeoutError(true)
        page.wait_for_timeout(25)


# On a busy machine the page is drawn a second later. Where something moves all the time nobody is ever idle:
# who waits for that has an end to it.
_IDLE = (
    "new Promise(idle => requestIdleCallback(() => requestIdleCallback(idle, {timeout: 1000}), {timeout:"
    " 1000}))"
)


# When a page last sent anything to the server, and when its script last began or ended to run.
_NOTE_RUNS = """
const send = WebSocket.prototype.send;
window.sentAt = window.ranAt = 0;
WebSocket.prototype.send = function (...data) {
    window.sentAt = performance.now();
    return send.apply(this, data);
};
new MutationObserver(() => { window.ranAt = performance.now() })
    .observe(document, {subtree: true, attributeFilter: ['data-test-script-state']});
"""
# What is sent for another reason than a run is answered by none.
_SETTLED = (
    "!document.querySelector('[data-testid=stStatusWidget]') &&"
    " document.querySelector('[data-testid=stApp]')?.dataset.testScriptState === 'notRunning' &&"
    " !(window.sentAt > window.ranAt && performance.now() - window.sentAt < 400)"
)


def settled(page: Page) -> None:
    """Wait until the script has run to its end and what it said is drawn; what was just done is sent by the
    time the page is idle.
    """
    page.evaluate(_IDLE)
    if page.evaluate("window.sentAt === undefined"):  # nobody notes its runs
        page.wait_for_timeout(150)
    until(page, _SETTLED)
    page.evaluate(_IDLE)
    # between two runs of which the first asked for the second the page rests for a moment
    while not page.evaluate(_SETTLED):
        until(page, _SETTLED)
        page.evaluate(_IDLE)


_WATCH = """() => {
    window.acted = false; window.asked = 0;
    window.watching ||= new MutationObserver(() => { window.acted = true });
    window.watching.observe(document, {subtree: true, attributeFilter: ['data-test-script-state']});
    if (!WebSocket.prototype.heard) {
        const send = WebSocket.prototype.send;
        WebSocket.prototype.send = function (...data) {
            window.asked ||= performance.now();
            return send.apply(this, data);
        };
        WebSocket.prototype.heard = true;
    }
}"""
# A run that is over before the browser, on a busy machine, drew that it began is not seen at all: it was
# asked for, and that must do.
_ACTED = "window.acted || (window.asked && performance.now() - window.asked > 1500)"
_ASKED_S = 0.5
"""Where a page has something to send, it has sent it so soon after it came to rest."""


def _sends(page: Page) -> bool:
    """Whether the page has anything to say of what was done: what it has, it sends before it is idle, or a
    moment later where it waits for another key.
    """
    page.evaluate(_IDLE)
    with contextlib.suppress(TimeoutError):
        until(page, "window.acted || window.asked || window.asked === undefined", _ASKED_S)
    return bool(page.evaluate("window.acted || window.asked || window.asked === undefined"))


def act(page: Page, do: Callable[[], object], *, must: bool = True) -> None:
    """Do what makes the page act and wait until it has; once more where it was drawn anew just then and
    nothing came of it.

    Not `must`: the page may have no reason to act.
    """
    page.evaluate(_WATCH)
    for attempt in range(3):
        do()
        if not must and not _sends(page):
            break
        try:
            until(page, _ACTED, 5 if must else 2)
            break
        except TimeoutError:
            if not must:
                break
            assert attempt < 2, "the page does not act"
    settled(page)


def choose(page: Page, label: str, option: str, place: Locator | None = None) -> None:
    """Type into a choice, of the page or of a place on it, and take the first that fits; once more where the
    page was drawn anew in between.
    """
    field = (place or page).get_by_role("combobox", name=label)
    for attempt in range(3):
        try:
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
    """Keep what the page looks like from head to foot, to be looked at; only for who asks for it, as it takes
    a minute over all tests.
    """
    if not os.environ.get("BENCH_HOURS_SCREENSHOTS"):
        return
    SCREENSHOTS.mkdir(exist_ok=True)
    width = page.evaluate("window.innerWidth")
    height = page.evaluate("document.querySelector('[data-testid=stMain]')?.scrollHeight ?? 900")
    page.set_viewport_size({"width": width, "height": min(max(int(height), 700), 5200)})
    page.wait_for_timeout(250)
    page.screenshot(path=SCREENSHOTS / f"{name}-{width}.png")


def violations(page: Page, theirs: Sequence[str] = (), *, contrast: bool = True) -> list[str]:
    """What axe finds in what is ours; `theirs`: test ids of what is not. Without `contrast` it does not look
    at colours, which are half of its work.
    """
    if page.evaluate("!window.axe"):
        page.evaluate(Axe().axe_script)
    rules = page.evaluate(
        "contrast => axe.run(document, {resultTypes: ['violations'], rules: {'color-contrast': {enabled:"
        " contrast}}}).then(result => result.violations)",
        contrast,
    )
    return [
        f"{rule['id']}: {node['html'][:200]}"
        for rule in rules
        for node in rule["nodes"]
        if not page.evaluate(
            "([target, theirs]) => { const e = document.querySelector(target); return !!e && theirs.some(t =>"
            " e.closest(`[data-testid=${t}]`)) }",
            [node["target"][0], list(theirs)],
        )
    ]
