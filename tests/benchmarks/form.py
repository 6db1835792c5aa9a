"""The form for the bench: how soon it can be used on a slow phone, and how soon the studio says that it has
what was sent.

`python -m tests.benchmarks.form [cold | posts]` measures, side by side,
- the form and the same form as a Streamlit page, cold, on a network and a processor as Lighthouse's mobile
  profile has them (150 ms, 1.6 Mbit/s down, 0.75 Mbit/s up, a processor four times slower; from memory), for
  40 works on the bench and 70 techniques;
- eight phones that post while somebody uses the pages of a studio of 500 works, beside as many asking the
  same server for a small file.
"""

from __future__ import annotations

import http.client
import json
import random
import statistics
import sys
import tempfile
import threading
import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from dashboard.services.demo import fresh
from ingest.store import Store
from tests import big_studio
from tests.benchmarks.pages import SERVE_BARE
from tests.browser.conftest import serve
from tests.chromium import find_chromium
from tests.phones import ms

TURNS = 7
WORKS, TECHNIQUES = 40, 70
PHONES = 8
PAUSES = {3: 30, 1: 60}  # seconds between two posts of a phone in the mean, and how many it sends
SLOW = {"offline": False, "latency": 150, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 0.75e6 / 8}
SLOWER = 4
# What the form asks for, with the library of the pages: work, technique, times, how far, quantity, note,
# charge.
AS_A_PAGE = """
import streamlit as st
from dashboard.ui import page_data
con = page_data.store().cursor()
WORKS = "SELECT object || coalesce(' ' || title, '') FROM objects WHERE finished_on IS NULL ORDER BY object"
TECHNIQUES = "SELECT technique FROM techniques WHERE retired_on IS NULL ORDER BY technique"
works = [row[0] for row in con.execute(WORKS).fetchall()]
techniques = [row[0] for row in con.execute(TECHNIQUES).fetchall()]
st.title("At the bench")
st.selectbox("Work", works)
st.selectbox("Technique", techniques)
st.text_input("Hours")
st.radio("How far", ["", "1/4", "1/2", "3/4", "done"], horizontal=True)
st.text_input("Quantity")
st.text_area("Note")
st.radio("Charge", ["quoted", "extra", "own cost"], horizontal=True)
st.button("Begin")
"""


def main() -> int:
    with tempfile.TemporaryDirectory(prefix="bench-hours-form-") as name, sync_playwright() as play:
        folder = Path(name)
        browser = play.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
        if "posts" not in sys.argv:
            _cold(browser, folder)
        if "cold" not in sys.argv:
            _posts(browser, folder)
        browser.close()
    return 0


# --- cold


def leave_on_the_bench(store: Store, works: int, techniques: int) -> None:
    """The invented studio with its last works on the bench again, and as many words as a studio uses."""
    with store.writing() as con:
        con.execute("UPDATE objects SET finished_on = NULL")
        con.execute(
            "UPDATE objects SET finished_on = DATE '2020-01-01' WHERE object NOT IN (SELECT object FROM"
            " objects ORDER BY received_on DESC NULLS LAST, object LIMIT ?)",
            [works],
        )
        con.execute(
            "UPDATE techniques SET retired_on = DATE '2020-01-01' WHERE technique NOT IN (SELECT technique"
            " FROM techniques ORDER BY technique LIMIT ?)",
            [techniques],
        )


def _cold(browser: Browser, folder: Path) -> None:
    db = folder / "demo.duckdb"
    with fresh(db) as store:
        leave_on_the_bench(store, WORKS, TECHNIQUES)
    (folder / "form.py").write_text(AS_A_PAGE)
    ours = serve(db)
    address = next(ours)
    new = [_opened(browser.new_context(service_workers="block"), f"{address}/log") for _ in range(TURNS)]
    known = []
    for _ in range(TURNS):
        context = browser.new_context(service_workers="block")
        page = context.new_page()
        page.goto(f"{address}/log")
        page.get_by_role("button").first.click()
        page.get_by_role("heading", name="At the bench").wait_for()
        page.close()
        known.append(_opened(context, f"{address}/log"))
    next(ours, None)
    page_server = serve(db, program=("-c", SERVE_BARE, str(folder / "form.py")))
    there = next(page_server)
    bare = [_opened(browser.new_context(), there, "Begin") for _ in range(3)]
    next(page_server, None)
    rival = statistics.median(seconds for seconds, _ in bare)
    for what, some in (("a phone that is new", new), ("a phone that is known", known)):
        seconds = statistics.median(one for one, _ in some)
        print(
            f"{WORKS} works, {TECHNIQUES} techniques, cold, slow network, processor {SLOWER} times slower;"
            f" {what}: usable after {seconds:.2f} s (slowest of {TURNS}: {max(one for one, _ in some):.2f}"
            f" s), the page of Streamlit {rival:.1f} s: {seconds / rival:.3f}"
        )
    size, theirs = new[0][1], bare[0][1]
    print(
        f"  sent, compressed: {size:,} bytes with heads, the page of Streamlit {theirs:,}:"
        f" {size / theirs:.4f}",
        flush=True,
    )


def _opened(context: BrowserContext, address: str, button: str = "") -> tuple[float, int]:
    """Seconds from the call of an address until it can be used, and bytes that came over the network."""
    page = context.new_page()
    devtools = context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.send("Network.setCacheDisabled", {"cacheDisabled": True})
    devtools.send("Network.emulateNetworkConditions", SLOW)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    came: dict[str, int] = {}
    names: dict[str, str] = {}
    devtools.on(
        "Network.requestWillBeSent", lambda sent: names.update({sent["requestId"]: sent["request"]["url"]})
    )
    devtools.on(
        "Network.loadingFinished",
        lambda done: came.update({done["requestId"]: int(done["encodedDataLength"])}),
    )
    begun = time.perf_counter()
    page.goto(address, wait_until="commit")
    if button:
        page.get_by_role("button", name=button).wait_for(timeout=120_000)
        seconds = time.perf_counter() - begun
    else:
        page.wait_for_selector("html[data-ready]", state="attached")
        # drawn
        page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        seconds = time.perf_counter() - begun
    page.wait_for_timeout(300)
    size = (
        sum(came.values())
        if button
        else sum(size for request, size in came.items() if names.get(request, "").endswith("/log"))
    )
    context.close()
    return seconds, size


# --- posts


def _posts(browser: Browser, folder: Path) -> None:
    with Store(folder / "large.duckdb") as store:
        big_studio.fill(store, folder, 500, 20_000)
        works = [row[0] for row in store.cursor().execute("SELECT object FROM objects LIMIT 40").fetchall()]
    served = serve(folder / "large.duckdb")
    address = next(served)
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(f"{address}/where-the-hours-went")
    page.wait_for_selector("[data-testid=stVegaLiteChart] svg path", state="attached")
    port = int(address.rpartition(":")[2])
    for pause, posts in PAUSES.items():
        took: dict[str, list[float]] = {"post": [], "file": []}
        threads = [
            threading.Thread(target=_phone, args=(port, works, took, number, pause, posts))
            for number in range(PHONES)
        ]
        for thread in threads:
            thread.start()
        turns = _use(page, threads)
        _tell(pause, turns, took)
    page.close()
    next(served, None)


def _tell(pause: int, turns: int, took: dict[str, list[float]]) -> None:
    said = {
        what: (statistics.median(some), statistics.quantiles(some, n=20)[-1], max(some))
        for what, some in took.items()
    }
    (middle, late, slowest), (plain, late_plain, slowest_plain) = said["post"], said["file"]
    print(
        f"{PHONES} phones, {len(took['post'])} posts, each phone one in {pause} s, the pages of 500 works"
        f" used meanwhile ({turns} changed filters): a post's median {middle * 1000:.0f} ms, p95"
        f" {late * 1000:.0f} ms, slowest {slowest * 1000:.0f} ms; a small file of the same server"
        f" {plain * 1000:.0f}, {late_plain * 1000:.0f}, {slowest_plain * 1000:.0f} ms; p95 to p95:"
        f" {late / late_plain:.1f}"
    )


def _phone(
    port: int, works: list[str], took: dict[str, list[float]], number: int, pause: int, posts: int
) -> None:
    """Somebody who logs without a rest: a post, and a small file after it."""
    rng = random.Random(f"{number} {pause}")
    phone = str(uuid.UUID(int=rng.getrandbits(128), version=4))
    for count in range(posts):
        time.sleep(rng.random() * 2 * pause)
        now = ms(datetime.now(UTC).replace(tzinfo=None))
        row = {
            "object": rng.choice(works),
            "technique": "retouching",
            "person": f"Person {number}",
            "date": "2014-05-05",
            "hours": "0.5",
            "note": f"{number} {count}",
        }
        made = {
            "action": str(uuid.uuid4()),
            "entry": str(uuid.uuid4()),
            "number": count,
            "made_at": now,
            "state": "logged",
            "person": f"Person {number}",
            "row": row,
        }
        body = json.dumps({"version": 1, "phone": phone, "clock": now, "actions": [made]}).encode()
        for what, call in (
            ("post", ("POST", "/log/v1/actions", body, {"Content-Type": "application/json"})),
            ("file", ("GET", "/log/icon.svg")),
        ):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
            begun = time.perf_counter()
            connection.request(*call)
            answer = connection.getresponse()
            answer.read()
            took[what].append(time.perf_counter() - begun)
            assert answer.status == 200
            connection.close()


def _use(page: Page, phones: list[threading.Thread]) -> int:
    """Somebody who looks at the figures: another period every few seconds."""
    turns = 0
    while any(phone.is_alive() for phone in phones):
        page.get_by_role("combobox", name="Period").click()
        page.get_by_role("option", name=str(2012 + turns % 2), exact=True).click()
        page.wait_for_timeout(3000)
        turns += 1
    return turns


if __name__ == "__main__":
    raise SystemExit(main())
