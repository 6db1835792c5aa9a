"""A studio that is served to phones, and a phone: what the tests of its form share."""

from __future__ import annotations

import atexit
import csv
import functools
import os
import re
import shutil
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect
from starlette.applications import Starlette

from dashboard.cli.main import main
from dashboard.server.access_control import AccessControl
from dashboard.server.guard import Guard
from ingest.devices import Devices
from ingest.phone.inbox import Inbox
from ingest.phone.routes import routes
from ingest.safekeeping.export import export
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests.browser.conftest import SCREENSHOTS
from tests.conftest import bring_into
from tests.served import Server, free_port

WORKS = """object,title,shape,height_cm,width_cm,received_on
24-001,Ferry in snow,rectangle,60,80,2026-01-03
24-002,Weir at dusk,rectangle,30,40,2026-01-02
24-003,</script><b>Odd & ends</b>,rectangle,30,40,2026-01-01
"""


def entries_of(folder: Path) -> list[dict[str, str]]:
    """The time entries of an export, in the order of their days and times."""
    with (folder / "time_entries.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


class Form:
    """The form of a studio behind the guard of the server, in this process."""

    def __init__(self, store: Store) -> None:
        self.store, port = store, free_port()
        self.address = f"http://localhost:{port}"
        devices, self._inbox = Devices(store), Inbox(store)
        access = AccessControl(
            devices, pairing_required=False, secure=False, port=port, names=lambda: frozenset({"localhost"})
        )
        app = Guard(Starlette(routes=routes(store, self._inbox, devices)), access)
        config = uvicorn.Config(
            app, port=port, log_level="error", ws="none", lifespan="off", timeout_graceful_shutdown=3
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._serve)

    def _serve(self) -> None:
        with self._inbox.settling():
            self._server.run()

    def __enter__(self) -> Form:
        self._thread.start()
        while not self._server.started:
            self._thread.join(0.005)
            assert self._thread.is_alive(), "the form is not served"
        return self

    def __exit__(self, *_: object) -> None:
        self._server.should_exit = True
        self._thread.join(20)
        assert not self._thread.is_alive(), "the form is still served"

    def entries(self, folder: Path) -> list[dict[str, str]]:
        export(self.store, folder)
        return entries_of(folder)


class Studio(Server):
    """A studio that is served with its pages, in a process of its own, and what is in it."""

    def entries(self, folder: Path) -> list[dict[str, str]]:
        assert main(["export", str(folder), "--db", str(self.db)]) == 0
        return entries_of(folder)


def fill(store: Store, folder: Path) -> None:
    """Three works, and a little logged on two of them."""
    bring_into(store, folder, "objects.csv", WORKS)
    log = (
        "object,phase,technique,person,date,hours\n24-001,,retouching,Ilse,2026-05-20,2\n"
        "24-001,,facing,Ilse,2026-05-19,2\n24-002,,facing,Maud,2026-05-18,1\n"
    )
    bring_into(store, folder, "log.csv", log)


@functools.cache
def _made(of: Callable[[Store, Path], None]) -> Path:
    """A new studio that is copied for each test: it is filled once for them all."""
    folder = Path(tempfile.mkdtemp(prefix="bench-hours-phones-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    with Store(folder / "studio.duckdb") as store:
        with store.writing() as con:
            write_settings(con, {"zone": "Europe/Berlin"})
        of(store, folder)
    return folder / "studio.duckdb"


def founded(folder: Path, of: Callable[[Store, Path], None] = fill) -> Store:
    """A new studio in a folder."""
    return Store(shutil.copyfile(_made(of), folder / "studio.duckdb"))


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Form]:
    with founded(tmp_path) as store, Form(store) as form:
        yield form


@pytest.fixture(scope="module")
def whole_studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """One for all tests of a module: each has a phone of its own, and logs other techniques than the rest."""
    folder = tmp_path_factory.mktemp("whole")
    founded(folder).close()
    served = Studio(folder / "studio.duckdb")
    yield served
    served.discard()


@pytest.fixture(scope="module")
def demo_studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """The invented studio, to look at."""
    opened = Studio(shutil.copyfile(invented, tmp_path_factory.mktemp("demo") / "studio.duckdb"))
    yield opened
    opened.discard()


# a phone may think it is anywhere
PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 640},
    "is_mobile": True,
    "has_touch": True,
    "timezone_id": "Asia/Tokyo",
}


@pytest.fixture
def handset(browser: Browser) -> Iterator[BrowserContext]:
    """A phone; its pages must not fail, and ask nobody but the studio."""
    context = browser.new_context(**PHONE)
    wrong: list[str] = []
    context.on("weberror", lambda error: wrong.append(str(error.error)))
    context.on(
        "console",
        lambda message: (
            wrong.append(message.text)
            if message.type == "error" and "Failed to load resource" not in message.text
            else None
        ),
    )
    context.on(
        "request",
        lambda sent: (
            wrong.append(sent.url)
            if not sent.url.startswith(("http://localhost:", "data:", "blob:"))
            else None
        ),
    )
    yield context
    context.close()
    assert wrong == []


def opened(handset: BrowserContext, studio: Form | Studio, who: str | None = "Ilse", at: str = "") -> Page:
    """The form; with `who`, said to be that person's, and all is there that the first page leaves out."""
    page = handset.new_page()
    page.goto(f"{studio.address}/log{at}")
    expect(page.locator("html[data-ready]")).to_be_attached()
    if who:
        page.get_by_role("button", name=who, exact=True).click()
        expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
        shows(page, re.compile("All is (else )?saved in the studio"))
    return page


def shows(page: Page, words: str | re.Pattern[str] = "All is saved in the studio.") -> None:
    """What the page says of its sending. What was tapped just before is written on the phone first: wait for
    `done`, or this may be what was said before it.
    """
    expect(page.locator("#told")).to_contain_text(words)


def new_line(page: Page) -> None:
    """Open the form of a new line with times; the day sheet, which has fields of the same names, is gone
    then.
    """
    page.get_by_role("button", name="With times and more …").click()
    expect(page.get_by_role("heading", name="A new line")).to_be_visible()


def done(page: Page, words: str) -> None:
    expect(page.locator("#just")).to_contain_text(words)


def begin_line(page: Page, technique: str = "retouching", work: str = "24-001") -> None:
    """Begin a line by its button, and wait until that is written on the phone."""
    page.get_by_role("button", name=f"Begin {technique} on {work}").click()
    done(page, f"Begun: {technique} on {work}")


def finish_line(page: Page, technique: str = "retouching", work: str = "24-001") -> None:
    """Finish a line, with no word about it."""
    page.get_by_role("button", name=f"Finish {technique} on {work}").click()
    page.get_by_role("button", name="Skip").click()


def add_line(page: Page, work: str, technique: str, hours: str) -> None:
    """One line of the day sheet by its three fields."""
    page.get_by_label("Work", exact=True).fill(work)
    page.get_by_label("Technique", exact=True).fill(technique)
    page.get_by_label("Hours", exact=True).fill(hours)
    page.keyboard.press("Enter")
    done(page, f"Added: {technique}")


def line(page: Page, words: str) -> Locator:
    """A line of the day sheet."""
    return page.locator(".sheet").get_by_role("button", name=re.compile(words))


def correct(page: Page, entry: Locator) -> None:
    """Open an entry; the day sheet is gone then."""
    entry.click()
    expect(page.get_by_role("heading", name="Correct an entry")).to_be_visible()


def picture(page: Page, name: str) -> None:
    if os.environ.get("BENCH_HOURS_SCREENSHOTS"):
        SCREENSHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENSHOTS / f"phone-{name}.png", full_page=True)
