"""The first page over many entries beside a bare page with one Altair chart: `python -m
tests.benchmarks.pages [ENTRIES]`.

Both run side by side in the same browser: time to the first chart drawn, and time from a changed filter to
the figures that follow.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from ingest.store import Store
from tests import big_studio
from tests.browser.conftest import serve
from tests.chromium import find_chromium

TURNS = 9
# As little as a page with a chart can be: the same server, look and library, a choice, and one chart of
# thirteen bars.
BARE = """
import altair as alt, pandas as pd, streamlit as st
chosen = st.selectbox("Period", ["everything", "2012", "2013"])
st.html(f"<p id=said>{chosen}</p>")
data = pd.DataFrame({"phase": [f"phase {n}" for n in range(13)], "hours": range(13)})
chart = alt.Chart(data).mark_bar().encode(x="hours", y="phase")
st.altair_chart(chart.properties(usermeta={"embedOptions": {"renderer": "svg"}}), theme=None)
"""
SERVE_BARE = """
import sys
from pathlib import Path
from dashboard.cli import main
from dashboard.server import run
run._SCRIPT = Path(sys.argv.pop(1))
raise SystemExit(main.main(sys.argv[1:]))
"""


def main(entries: int) -> None:
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        with Store(folder / "s.duckdb") as store:
            big_studio.fill(store, folder, 500, entries)
        (folder / "bare.py").write_text(BARE)
        ours = serve(folder / "s.duckdb")
        bare = serve(folder / "empty.duckdb", program=("-c", SERVE_BARE, str(folder / "bare.py")))
        addresses = {"bare": next(bare), "ours": f"{next(ours)}/where-the-hours-went"}
        browser = play.chromium.launch(executable_path=find_chromium(), args=["--no-sandbox"])
        first: dict[str, list[float]] = {"bare": [], "ours": []}
        again: dict[str, list[float]] = {"bare": [], "ours": []}
        for turn in range(TURNS):
            for label, address in addresses.items():
                page = browser.new_page(bypass_csp=True, viewport={"width": 1280, "height": 900})
                begin = time.perf_counter()
                page.goto(address)
                page.wait_for_selector("[data-testid=stVegaLiteChart] svg path", state="attached")
                first[label].append(time.perf_counter() - begin)
                page.wait_for_timeout(1500)
                again[label].append(_changed(page, label, str(2012 + turn % 2)))
                page.close()
        browser.close()
        for served in (ours, bare):
            next(served, None)
    # the first turn of each server loads its modules
    cold = {label: some[0] for label, some in first.items()}
    to_chart = {label: statistics.median(some[1:]) for label, some in first.items()}
    to_filter = {label: statistics.median(some[1:]) for label, some in again.items()}
    print(
        f"{entries:,} entries, 500 works; time to the first chart, median of {TURNS - 1}: ours"
        f" {to_chart['ours']:.2f} s, bare {to_chart['bare']:.2f} s: {to_chart['ours'] / to_chart['bare']:.2f}"
    )
    print(
        f"  the very first visit: ours {cold['ours']:.2f} s, bare {cold['bare']:.2f} s:"
        f" {cold['ours'] / cold['bare']:.2f}"
    )
    print(
        f"  a changed filter: ours {to_filter['ours'] * 1000:.0f} ms, bare {to_filter['bare'] * 1000:.0f} ms:"
        f" {(to_filter['ours'] - to_filter['bare']) * 1000:+.0f} ms"
    )


def _changed(page: Page, label: str, year: str) -> float:
    """Seconds from choosing a year to its figures (ours) or its word (bare), the script run to its end."""
    said = ".figures dd" if label == "ours" else "#said"
    before = page.locator(said).first.inner_text()
    page.get_by_role("combobox", name="Period").click()
    option = page.get_by_role("option", name=year, exact=True)
    option.wait_for()
    begin = time.perf_counter()
    option.click()
    page.wait_for_function(
        """([said, before]) => { const e = document.querySelector(said);
        return e && e.innerText !== before
            && document.querySelector('[data-testid=stApp]').dataset.testScriptState === 'notRunning' }""",
        arg=[said, before],
        polling=10,
    )
    return time.perf_counter() - begin


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
