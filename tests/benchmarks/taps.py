"""Somebody taps at random in two tabs of the form, on a network that comes and goes: `python -m
tests.benchmarks.taps [--taps --seed]`.

Stops where the page fails, where something is never settled, or where the record is not whole in the end.
What was refused is printed, to be read: each refusal should be right, and say how to mend it.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

from playwright.sync_api import BrowserContext, Error, Page, sync_playwright

from ingest.safekeeping.integrity import faults
from ingest.store import Store
from tests.browser.phone.conftest import Studio, founded
from tests.chromium import find_chromium

TIMES = ("09:00", "10:15", "23:50", "00:10", "")
WORDS = (
    "",
    " ",
    "24-001",
    "24-002",
    "retouching",
    "filling",
    "1:30",
    "1,5",
    "1½",
    "0",
    "-3",
    "25 pcs",
    "<b>x</b>",
    "Ilse",
    "Maud",
    "zz",
)
FIELDS = "#view input:not([type=radio]):not([type=checkbox]):visible, #view textarea:visible"
TAPPED = (
    "button:visible, nav a[href^='#']:visible, #who, #told a, summary:visible, .choices label:visible,"
    " label.tick:visible"
)
ONE_TAP_MS = 800
SETTLED_WITHIN_S = 180  # what is still to be said of a spell just finished is waited for
MOST_TABS = 2


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--taps", type=int, default=700)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-hours-taps-") as name, sync_playwright() as play:
        founded(Path(name)).close()
        studio = Studio(Path(name) / "studio.duckdb")
        try:
            browser = play.chromium.launch(executable_path=find_chromium())
            handset = browser.new_context(
                viewport={"width": 360, "height": 640},
                has_touch=True,
                is_mobile=True,
                timezone_id="Europe/Berlin",
            )
            _Hand(studio, handset, random.Random(said.seed)).play(said.taps)
            browser.close()
        finally:
            studio.stop()
        with Store(studio.db) as store:
            con = store.cursor()
            assert faults(con) == []
            counts = dict(
                con.execute(
                    "SELECT outcome, count(*) FROM phone_outcomes GROUP BY outcome ORDER BY outcome"
                ).fetchall()
            )
            refused = con.execute(
                "SELECT told FROM phone_outcomes WHERE outcome = 'refused' ORDER BY settled_at"
            ).fetchall()
    print(f"{said.taps} taps, no failure of the page; actions: {counts}")
    for (told,) in refused:
        print(
            *(
                f"  {load['column']} “{load['value']}” {load['reason']}. {load['mend']}"
                for load in json.loads(told)["faults"]
            ),
            sep="\n",
        )
    return 0


class _Hand:
    """What taps, and the tabs it has open."""

    def __init__(self, studio: Studio, handset: BrowserContext, rng: random.Random) -> None:
        self.studio, self.handset, self.rng = studio, handset, rng
        self.tabs: list[Page] = []
        self.trail: list[str] = []
        self.failed: list[str] = []
        self.away = False

    def play(self, taps: int) -> None:
        self._another_tab()
        for _ in range(taps):
            try:
                self._once(self.rng.choice(self.tabs))
            except Error as error:  # what was to be tapped is covered or has gone: a person misses, too
                self.trail.append(f"missed: {error.message.splitlines()[0]}")
            assert not self.failed, (self.failed, self.trail[-12:])
        self.handset.set_offline(False)
        for tab in self.tabs:
            tab.goto(f"{self.studio.address}/log#bench")
            tab.reload()
        until = time.monotonic() + SETTLED_WITHIN_S
        while any(tab.evaluate("queue.filter((one) => !one.refused).length") for tab in self.tabs):
            assert time.monotonic() < until, "something is never settled"
            time.sleep(1)
        assert not self.failed, self.failed

    def _another_tab(self) -> None:
        tab = self.handset.new_page()
        tab.on("pageerror", lambda error: self.failed.append(str(error)))
        tab.goto(f"{self.studio.address}/log")
        self.tabs.append(tab)

    def _once(self, tab: Page) -> None:
        what = self.rng.choices(("network", "reload", "back", "tab", "fill", "tap"), (3, 2, 2, 1, 27, 65))[0]
        self.trail.append(what)
        if what == "network":
            self.away = not self.away
            self.handset.set_offline(self.away)
        elif what == "reload":
            tab.reload()
        elif what == "back":
            tab.go_back(timeout=ONE_TAP_MS)
        elif what == "tab" and len(self.tabs) < MOST_TABS:
            self._another_tab()
        elif what == "fill" and (fields := tab.locator(FIELDS).all()):
            field = self.rng.choice(fields)
            day = f"{datetime.now() - timedelta(days=self.rng.randrange(3)):%Y-%m-%d}"
            field.fill(
                {"time": self.rng.choice(TIMES), "date": day}.get(
                    field.get_attribute("type") or "", self.rng.choice(WORDS)
                ),
                timeout=ONE_TAP_MS,
            )
        elif what == "tap" and (found := tab.locator(TAPPED).all()):
            one = self.rng.choice(found)
            self.trail.append(one.inner_text(timeout=ONE_TAP_MS))
            if self.rng.random() < 0.15:
                one.evaluate("one => { one.click(); one.click(); }", timeout=ONE_TAP_MS)
            else:
                one.click(timeout=ONE_TAP_MS)


if __name__ == "__main__":
    raise SystemExit(main())
