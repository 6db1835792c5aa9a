"""How soon the page *On the bench* says what it says: `python -m tests.benchmarks.bench [--works 1000 --open
30] [--times 9] [--starts 3]`; without more 40 open works of 500.

- In a browser that asks a server just started, with nothing cached: the first figures, the first work of
  which it is told where it ends, and the whole page, each by the bare page of the library with nothing on it,
  in the same browser, in turn.
- In this process: the bench reckoned at first, by what is known of it with nothing foretold, and anew with
  nothing new; seconds of the processor.
- In the open page: what a phone logs, from the answer to the phone until the words of the page change.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from dashboard import queries
from dashboard.services import forecast as forecast_service
from dashboard.services import forecast_works
from dashboard.services.result_cache import ResultCache
from ingest.store import Store
from tests.benchmarks.pages import SERVE_BARE
from tests.benchmarks.timing import best
from tests.browser.conftest import serve
from tests.browser.test_on_the_bench import OPEN, WORKS, log_from_a_phone, of_open_works
from tests.chromium import find_chromium
from tests.served import Server

BARE = 'import streamlit as st; st.write("Nothing here")'
# What shows, and by what it is known to be there; the first forecast stands where the page leaves off saying
# that it learns.
SHOWS = {
    "the first figures": "dl.figures dd",
    "the first end of a work": "text=/where \\d+ of \\d+ works end is known/",
    "the whole page": "h3 a",
}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--works", type=int, default=WORKS)
    parser.add_argument("--open", type=int, default=OPEN)
    parser.add_argument("--times", type=int, default=9)
    parser.add_argument("--starts", type=int, default=3)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        file = of_open_works(Path(name), said.works, said.open)
        browser = play.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
        print(f"{said.open} open works of {said.works}")
        _started(browser, file, said.starts)
        _reckoned(file)
        _logged(browser, file, said.times)
        browser.close()


def _started(browser: Browser, file: Path, starts: int) -> None:
    shown: dict[str, list[float]] = {name: [] for name in SHOWS}
    bare: list[float] = []
    for _ in range(starts):
        bare.append(_bare(browser, file.parent))
        server = Server(file)
        with browser.new_context() as context:
            for name, seconds in _until_shown(
                context.new_page(), f"http://127.0.0.1:{server.port}/on-the-bench", SHOWS
            ).items():
                shown[name].append(seconds)
        server.discard()
    beside = statistics.median(bare)
    print(f"a bare page of the library is there after {beside:.2f} s in the middle of {starts}")
    for name, moments in shown.items():
        if moments:
            middle = statistics.median(moments)
            print(
                f"{name}: after {middle:.2f} s, at most {max(moments):.2f} s, {middle / beside:.1f} times a"
                " bare page"
            )


def _until_shown(
    page: Page, address: str, shows: dict[str, str], patience_s: float = 180.0
) -> dict[str, float]:
    """Seconds from the asking until each shows; of what came and went between two looks nothing."""
    began, found = time.perf_counter(), dict[str, float]()
    page.goto(address)
    last = list(shows)[-1]
    while last not in found:
        assert time.perf_counter() - began < patience_s, "it never shows"
        for name, sign in shows.items():
            if name not in found and page.locator(sign).count():
                found[name] = time.perf_counter() - began
        page.wait_for_timeout(20)
    return found


def _bare(browser: Browser, folder: Path) -> float:
    """Likewise a page of one line of words, served by a server of ours that was just started."""
    (folder / "bare.py").write_text(BARE)
    server = Server(folder / "bare.duckdb", program=("-c", SERVE_BARE, str(folder / "bare.py")))
    with browser.new_context() as context:
        found = _until_shown(
            context.new_page(), f"http://127.0.0.1:{server.port}/", {"words": "text=Nothing here"}
        )
    server.discard()
    return found["words"]


def _reckoned(file: Path) -> None:
    with Store(file) as store:
        con, memory = store.cursor(), ResultCache()
        today = queries.today(con)
        known = best(lambda: forecast_works.so_far(con, today), 3, time.process_time)
        first = best(lambda: forecast_service.bench(con, today, ResultCache()), 3, time.process_time)
        again = best(lambda: forecast_service.bench(con, today, memory), 3, time.process_time)
    print(
        f"what is known is read in {known:.2f} s of the processor; all is foretold in {first:.2f} s at first,"
        f" {first / known:.0f} times that; in {again:.2f} s with nothing new, {first / again:.1f} times less"
    )


def _logged(browser: Browser, file: Path, times: int) -> None:
    served = serve(file)
    address = next(served)
    page = browser.new_page()
    page.goto(f"{address}/on-the-bench")
    page.wait_for_selector("h3", timeout=120_000)
    page.wait_for_timeout(4000)
    code, block = page.locator("h3 a").first.inner_text(), page.get_by_text("that it ends above").first
    waited = []
    for number in range(times):
        before = block.inner_text()
        log_from_a_phone(address, code, f"{1 + number / 4}")
        began = time.perf_counter()
        while block.inner_text() == before:
            page.wait_for_timeout(20)
        waited.append(time.perf_counter() - began)
        page.wait_for_timeout(1500)
    next(served, None)
    print(
        f"what a phone logs is shown after {statistics.median(waited):.2f} s in the middle of {len(waited)},"
        f" at most {max(waited):.2f} s"
    )


if __name__ == "__main__":
    main()
