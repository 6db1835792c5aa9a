"""How long what a phone logs takes to show in the open page *On the bench*, at 40 open works of 500: `python -m tests.benchmarks.bench [--times 9]`.

From the answer to the phone until the words of the page change; and beside it what the server itself takes to reckon the bench anew, in this process.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from dashboard import forecasting, reading
from dashboard.remembered import Memory
from ingest.store import Store
from tests.browser.conftest import serve
from tests.browser.test_on_the_bench import log_from_a_phone, of_forty_open_works
from tests.chromium import find_chromium


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=9)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        file = of_forty_open_works(Path(name))
        with Store(file) as store:
            con, memory = store.cursor(), Memory()
            seconds = []
            for _ in range(3):
                began = time.perf_counter()
                forecasting.bench(con, reading.today(con), memory)
                seconds.append(time.perf_counter() - began)
        served = serve(file)
        address = next(served)
        browser = play.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(f"{address}/on-the-bench")
        page.wait_for_selector("h3", timeout=120_000)
        page.wait_for_timeout(4000)
        code, block = page.locator("h3 a").first.inner_text(), page.get_by_text("that it ends above").first
        waited = []
        for number in range(said.times):
            before = block.inner_text()
            log_from_a_phone(address, code, f"{1 + number / 4}")
            began = time.perf_counter()
            while block.inner_text() == before:
                page.wait_for_timeout(20)
            waited.append(time.perf_counter() - began)
            page.wait_for_timeout(1500)
        browser.close()
        next(served, None)
    print(f"shown after {statistics.median(waited):.2f} s in the middle of {len(waited)}, at most {max(waited):.2f} s")
    print(f"reckoned in {seconds[0]:.2f} s at first, {seconds[-1]:.2f} s with nothing new: {seconds[0] / seconds[-1]:.0f} times")


if __name__ == "__main__":
    main()
