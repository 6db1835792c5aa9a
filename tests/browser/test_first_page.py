"""The first page in a real browser on a real server, at a phone's and a laptop's width."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from dashboard.analysis.overruns import CAUSES
from ingest.store import Store
from tests.chromium import find_chromium
from tests.conftest import bring_into

SCREENSHOTS = Path(__file__).parent.parent / "screenshots"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
        yield opened
        opened.close()


def _serve(*call: str, program: tuple[str, ...] = ("-m", "dashboard.command")) -> Iterator[str]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen([sys.executable, *program, *call, "--port", str(port)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    address = f"http://127.0.0.1:{port}"
    for _ in range(240):
        try:
            urllib.request.urlopen(f"{address}/_stcore/health", timeout=1).close()
            break
        except OSError:
            assert server.poll() is None, server.stderr and server.stderr.read()
            time.sleep(0.25)
    yield address
    server.send_signal(signal.SIGINT)
    server.wait(20)
    if server.stderr:
        server.stderr.close()


@pytest.fixture(scope="module")
def demo_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    yield from _serve("demo", "--db", str(tmp_path_factory.mktemp("demo") / "demo.duckdb"))


@pytest.fixture(scope="module")
def empty_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    yield from _serve("serve", "--db", str(tmp_path_factory.mktemp("empty") / "studio.duckdb"))


@pytest.fixture
def serve_here() -> Iterator[Callable[..., str]]:
    """Start a server for one test; it outlives the page, so name it before `page`."""
    started: list[Iterator[str]] = []

    def start(*call: str, **options: tuple[str, ...]) -> str:
        started.append(_serve(*call, **options))
        return next(started[-1])

    yield start
    for served in started:
        next(served, None)


@pytest.fixture(params=[360, 1280])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": request.param, "height": 800})
    complaints: list[str] = []
    opened.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    asked: list[str] = []
    opened.on("request", lambda sent: asked.append(sent.url))
    yield opened
    expect(opened.get_by_test_id("stException")).to_have_count(0)
    assert opened.evaluate("document.documentElement.scrollWidth") <= request.param
    assert complaints == []
    assert [url for url in asked if "127.0.0.1" not in url and not url.startswith(("data:", "blob:"))] == []  # nothing leaves the machine
    opened.close()


def _keep(page: Page, name: str) -> None:
    SCREENSHOTS.mkdir(exist_ok=True)
    width = page.evaluate("window.innerWidth")
    page.set_viewport_size({"width": width, "height": 2800 if name == "demo" else 900})
    page.wait_for_timeout(600)
    page.screenshot(path=SCREENSHOTS / f"{name}-{width}.png")


def _shows_the_demo(page: Page) -> None:
    expect(page.get_by_role("heading", name="Where the hours went")).to_be_visible(timeout=30_000)
    expect(page.get_by_role("cell", name="old lining and repairs")).to_be_visible(timeout=20_000)
    drawn = page.get_by_test_id("stVegaLiteChart")
    expect(drawn).to_have_count(2)
    for words in CAUSES.values():
        expect(page.get_by_role("columnheader", name=words)).to_be_attached()
    expect(page.get_by_text("Most over:")).to_be_visible()
    expect(page.get_by_role("button", name="Every line as CSV, objects by code")).to_be_visible()
    page.wait_for_function("[...document.querySelectorAll('[data-testid=stVegaLiteChart]')].every(c => c.querySelector('canvas, svg'))")


def test_the_demo_studio_shows_its_overruns(page: Page, demo_address: str) -> None:
    page.goto(demo_address)
    _shows_the_demo(page)
    for hidden in ("stAppDeployButton", "stMainMenu"):
        expect(page.get_by_test_id(hidden)).to_have_count(0)
    _keep(page, "demo")


def test_an_empty_studio_says_what_to_do_and_offers_the_invented_one(page: Page, empty_address: str) -> None:
    page.goto(empty_address)
    expect(page.get_by_text("Nothing is logged yet.")).to_be_visible(timeout=30_000)
    _keep(page, "empty")
    page.get_by_role("button", name="Look at an invented studio first").press("Enter")
    _shows_the_demo(page)
    assert "studio=invented" in page.url
    page.reload()
    _shows_the_demo(page)
    page.get_by_role("button", name="Back to my studio").click()
    expect(page.get_by_text("Nothing is logged yet.")).to_be_visible(timeout=20_000)


def test_a_server_that_is_stopped_lets_go_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    served = _serve("serve", "--db", str(path))
    next(served)
    held = subprocess.run(
        [sys.executable, "-m", "dashboard.command", "overruns", "--db", str(path)], capture_output=True, text=True, check=False, env=os.environ
    )
    assert held.returncode == 2 and f"{path} is open in" in held.stderr and len(held.stderr.splitlines()) == 1
    next(served, None)
    freed = subprocess.run([sys.executable, "-m", "dashboard.command", "overruns", "--db", str(path)], capture_output=True, text=True, check=False)
    assert freed.returncode == 0, freed.stderr


def test_a_page_that_fails_says_so_in_our_words_and_points_nowhere_outside(serve_here: Callable[..., str], page: Page, tmp_path: Path) -> None:
    broken = "from dashboard import command, reading; reading.holdings = lambda con: 1 / 0; raise SystemExit(command.main())"
    page.goto(serve_here("serve", "--db", str(tmp_path / "s.duckdb"), program=("-c", broken)))
    expect(page.get_by_text("This page failed (ZeroDivisionError). Nothing was changed.")).to_be_visible(timeout=30_000)
    assert [link for link in page.eval_on_selector_all("a[href]", "all => all.map(a => a.href)") if "127.0.0.1" not in link] == []


def test_a_finished_studio_with_nothing_beside_its_figures_is_shown(serve_here: Callable[..., str], page: Page, tmp_path: Path) -> None:
    files = {
        "o.csv": "object,finished_on\n24-001,2024-05-01\n",
        "est.csv": "object,version,made_on,approved_on,phase,technique,hours\n24-001,1,2024-01-05,2024-01-09,,packing,4\n",
        "log.csv": "object,phase,technique,person,date,hours\n24-001,,packing,Ilse,2024-02-01,5\n",
    }
    with Store(tmp_path / "one.duckdb") as store:
        for name, text in files.items():
            assert bring_into(store, tmp_path, name, text).complete
    page.goto(serve_here("serve", "--db", str(tmp_path / "one.duckdb")))
    expect(page.get_by_text("Most over: handover, +1.0 h on 1 work, mostly harder going than quoted.")).to_be_visible(timeout=30_000)
