"""The form for a phone, in a phone's browser: a whole day of it, without network, by keyboard, at twice the text size."""

from __future__ import annotations

import contextlib
import csv
import json
import os
import re
import shutil
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from dashboard.command import main
from dashboard.demo import fresh
from ingest.settings import write_settings
from ingest.store import Store
from tests import phones, ready
from tests.browser.conftest import SCREENSHOTS, until
from tests.conftest import bring_into
from tests.served import Server
from tests.tight_places import only_to_read, small_disk

WORKS = """object,title,shape,height_cm,width_cm,received_on
24-001,Ferry in snow,rectangle,60,80,2026-01-03
24-002,Weir at dusk,rectangle,30,40,2026-01-02
24-003,</script><b>Odd & ends</b>,rectangle,30,40,2026-01-01
"""


class Studio(Server):
    """A studio that is served, and what is in it."""

    def entries(self, folder: Path) -> list[dict[str, str]]:
        """The time entries as an export gives them, in the order of their days and times."""
        assert main(["export", str(folder), "--db", str(self.db)]) == 0
        with (folder / "time_entries.csv").open(newline="", encoding="utf-8") as file:
            return list(csv.DictReader(file))


def founded(folder: Path, fill: Callable[[Store, Path], None]) -> Studio:
    """A new studio in a folder."""
    with Store(folder / "studio.duckdb") as store:
        with store.writing() as con:
            write_settings(con, {"zone": "Europe/Berlin"})
        fill(store, folder)
    return Studio(folder / "studio.duckdb")


def of_works(store: Store, folder: Path) -> None:
    bring_into(store, folder, "objects.csv", WORKS)
    log = "object,phase,technique,person,date,hours\n24-001,,retouching,Ilse,2026-05-20,2\n24-001,,facing,Ilse,2026-05-19,2\n24-002,,facing,Maud,2026-05-18,1\n"
    bring_into(store, folder, "log.csv", log)


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    opened = founded(tmp_path, of_works)
    yield opened
    opened.discard()


@pytest.fixture(scope="module")
def demo_studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """The invented studio, to look at."""
    db = tmp_path_factory.mktemp("demo") / "studio.duckdb"
    fresh(db).close()
    opened = Studio(db)
    yield opened
    opened.discard()


PHONE = {"viewport": {"width": 360, "height": 640}, "is_mobile": True, "has_touch": True, "timezone_id": "Asia/Tokyo"}  # a phone may think it is anywhere


@pytest.fixture
def handset(browser: Browser) -> Iterator[BrowserContext]:
    """A phone; its pages must not fail, and ask nobody but the studio."""
    context = browser.new_context(**PHONE)
    wrong: list[str] = []
    context.on("weberror", lambda error: wrong.append(str(error.error)))
    context.on("console", lambda message: wrong.append(message.text) if message.type == "error" and "Failed to load resource" not in message.text else None)
    context.on("request", lambda sent: wrong.append(sent.url) if not sent.url.startswith(("http://localhost:", "data:", "blob:")) else None)
    yield context
    context.close()
    assert wrong == []


def opened(handset: BrowserContext, studio: Studio, who: str | None = "Ilse", at: str = "") -> Page:
    page = handset.new_page()
    page.goto(f"{studio.address}/log{at}")
    expect(page.locator("html[data-ready]")).to_be_attached()
    if who:
        page.get_by_role("button", name=who, exact=True).click()
        expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    return page


def told(page: Page, words: str | re.Pattern[str] = "All is saved in the studio.") -> None:
    """What the page says of its sending. What was tapped just before is written on the phone first: wait for `done`, or this may be what was said before it."""
    expect(page.locator("#told")).to_contain_text(words)


def new_line(page: Page) -> None:
    """Open the form of a new line with times; the day sheet, which has fields of the same names, is gone then."""
    page.get_by_role("button", name="With times and more …").click()
    expect(page.get_by_role("heading", name="A new line")).to_be_visible()


def done(page: Page, words: str) -> None:
    expect(page.locator("#just")).to_contain_text(words)


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


def at_work(rows: list[dict[str, str]]) -> list[tuple[str, ...]]:
    return sorted((row["object"], row["technique"], row["person"], row["mode"], row["charge"], row["done"], row["discovery"], row["note"]) for row in rows)


def a_morning_at_the_bench(page: Page) -> None:
    """Retouching, pressing beside it, over to facing in one tap, finished with all that can be said."""
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    done(page, "Begun: retouching on 24-001")
    expect(page.get_by_text("began less than a minute ago")).to_be_visible()
    # pressing beside other work: begun from the work's own page by search, the retouching goes on
    page.get_by_role("button", name=re.compile("^24-002 Weir at dusk")).click()
    page.get_by_label("Find a technique").fill("pres")
    page.get_by_role("button", name=re.compile("^pressing")).click()
    done(page, "Begun: pressing on 24-002")
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    told(page)
    page.wait_for_timeout(1200)
    # one tap goes over to the other work
    page.get_by_role("button", name="Begin facing on 24-002").click()
    done(page, "Begun: facing on 24-002")
    done(page, "retouching on 24-001 finished")
    told(page)
    page.wait_for_timeout(1200)
    page.get_by_role("button", name="Finish facing on 24-002").click()
    page.get_by_text("¾").click()
    page.get_by_label("How much was treated, dm²").fill("2,5")
    page.get_by_text("Nobody foresaw this").click()
    page.get_by_label("Note").fill("blisters below")
    page.get_by_text("extra, agreed").click()
    picture(page, "finished")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: facing on 24-002")
    told(page)


def an_afternoon_without_network(page: Page, handset: BrowserContext) -> None:
    """The day sheet, five lines, and a reload in between."""
    handset.set_offline(True)
    page.get_by_role("link", name="My day").click()
    for work, technique, hours in (("24-001", "filling", "1h30"), ("24-001", "levelling fills", "1:15"), ("24-002", "sampling", "20 min")):
        add_line(page, work, technique, hours)
    page.reload()
    told(page, "saved here, not in the studio yet")
    add_line(page, "", "accounts", "0,5")
    add_line(page, "24-003", "solvent tests", "1.25")
    told(page, "5 things are saved here, not in the studio yet")
    picture(page, "day")
    handset.set_offline(False)
    told(page)


def test_a_whole_day_at_the_bench_ends_in_exactly_its_rows(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    began = time.time()
    a_morning_at_the_bench(page)
    took = time.time() - began
    an_afternoon_without_network(page, handset)
    # one is corrected, one struck out
    correct(page, line(page, "levelling fills"))
    page.get_by_label("Hours", exact=True).fill("45 min")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: levelling fills")
    correct(page, line(page, "sampling"))
    page.get_by_role("button", name="Strike it out").click()
    done(page, "Struck out: sampling")
    expect(line(page, "sampling")).to_have_count(0)
    told(page)
    expect(page.get_by_text("4 h said for this day")).to_be_visible()  # 1.5 + 0.75 + 0.5 + 1.25, and seconds at the bench
    rows = [row for row in studio.entries(tmp_path / "out") if row["date"] != "2026-05-20" and not (row["date"] or "9").startswith("2026-05")]
    assert at_work(rows) == [
        ("", "accounts", "Ilse", "hands_on", "quoted", "", "", ""),
        ("24-001", "filling", "Ilse", "hands_on", "quoted", "", "", ""),
        ("24-001", "levelling fills", "Ilse", "hands_on", "quoted", "", "", ""),
        ("24-001", "retouching", "Ilse", "hands_on", "quoted", "", "", ""),
        ("24-002", "facing", "Ilse", "hands_on", "extra", "75", "yes", "blisters below"),
        ("24-003", "solvent tests", "Ilse", "hands_on", "quoted", "", "", ""),
    ]
    hours = {row["technique"]: row["hours"] for row in rows if row["hours"]}
    assert hours == {"accounts": "0.5", "filling": "1.5", "levelling fills": "0.75", "solvent tests": "1.25"}
    spells = sorted((row["started_at"], row["ended_at"], row["technique"]) for row in rows if row["started_at"])
    assert [technique for *_, technique in spells] == ["retouching", "facing"] and spells[0][1] == spells[1][0]  # one ends as the other begins
    length = sum((datetime.fromisoformat(end) - datetime.fromisoformat(start)).total_seconds() for start, end, _ in spells)
    assert 2 <= length <= took + 2
    told_now = json.load(urllib.request.urlopen(f"{studio.address}/log/v1/bench?person=Ilse"))
    assert [(one["row"]["object"], one["row"]["technique"]) for one in told_now["in_hand"]] == [("24-002", "pressing")]


def test_a_day_sheet_of_the_evening_is_written_in_under_a_minute_from_what_is_suggested(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    began = time.monotonic()
    taps = 0
    for line, hours in (("24-001 retouching", "2:15"), ("24-001 facing", "1h"), ("24-002 facing", "45'")):
        page.locator(".chips").get_by_role("button", name=line).click()
        page.keyboard.type(hours)
        page.keyboard.press("Enter")
        done(page, f"Added: {line.split(' ', 1)[1]} on {line.split(' ', maxsplit=1)[0]}, {hours}")
        taps += 2
    # a line with times, and what lies between two of them is said
    new_line(page)
    page.get_by_label("Work", exact=True).fill("24-002")
    page.get_by_label("Technique", exact=True).fill("filling")
    yesterday = (datetime.now(UTC) - timedelta(days=1)).strftime("%Y-%m-%d")
    page.get_by_label("Day", exact=True).fill(yesterday)
    page.get_by_label("From", exact=True).fill("09:00")
    page.get_by_label("To", exact=True).fill("10:30")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: filling on 24-002")
    expect(page.get_by_text("1 h 30 min", exact=True)).to_be_visible()
    new_line(page)
    page.get_by_label("Technique", exact=True).fill("facing")
    page.get_by_label("Work", exact=True).fill("24-001")
    page.get_by_label("From", exact=True).fill("11:15")
    page.get_by_label("To", exact=True).fill("12:00")
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_role("button", name="10:30–11:15 nothing said for 45 minutes").click()
    expect(page.get_by_label("From", exact=True)).to_have_value("10:30")
    page.get_by_label("Technique", exact=True).fill("enquir")
    page.get_by_role("button", name="enquiries").click()
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: enquiries on studio time")
    assert taps <= 2 * 3 and time.monotonic() - began < 60
    told(page)
    picture(page, "day-sheet")
    rows = [row for row in studio.entries(tmp_path / "out") if not (row["date"] or "9").startswith("2026-05")]
    assert sorted((row["object"], row["technique"], row["hours"]) for row in rows if row["hours"]) == [
        ("24-001", "facing", "1"),
        ("24-001", "retouching", "2.25"),
        ("24-002", "facing", "0.75"),
    ]
    assert sorted((row["object"], row["technique"], row["started_at"], row["ended_at"]) for row in rows if not row["hours"]) == [
        ("", "enquiries", f"{yesterday} 10:30:00", f"{yesterday} 11:15:00"),
        ("24-001", "facing", f"{yesterday} 11:15:00", f"{yesterday} 12:00:00"),
        ("24-002", "filling", f"{yesterday} 09:00:00", f"{yesterday} 10:30:00"),
    ]


def test_it_opens_again_without_the_studio_and_sends_when_the_studio_is_back(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    """On this machine: a browser keeps pages for offline use only of an address it trusts."""
    page = opened(handset, studio)
    told(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.close()
    studio.stop()
    page = handset.new_page()
    page.goto(f"{studio.address}/log")  # nobody serves it
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    done(page, "Begun: retouching on 24-001")
    told(page, "1 thing is saved here, not in the studio yet")
    page.close()
    page = handset.new_page()
    page.goto(f"{studio.address}/log")
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()  # shut and opened again: it is still in hand
    page.wait_for_timeout(1100)
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_role("button", name="Skip").click()
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    told(page, "2 things are saved here")
    studio.start()  # as after an update: the form that stands open is the old one
    told(page)
    assert [row["technique"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == ["retouching"]


def test_a_server_that_is_killed_just_after_it_acknowledged_has_lost_nothing(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    with page.expect_response("**/log/v1/actions"):
        add_line(page, "24-001", "filling", "1.5")
    studio.discard()
    add_line(page, "24-001", "texturing", "1")
    studio.start()
    told(page)
    assert sorted(row["technique"] for row in studio.entries(tmp_path / "out") if row["hours"] in ("1.5", "1") and row["technique"] != "facing") == [
        "filling",
        "texturing",
    ]


def test_what_arrived_and_went_with_a_return_to_a_backup_is_sent_again(studio: Studio, browser: Browser, tmp_path: Path) -> None:
    studio.stop()
    shutil.copy(studio.db, tmp_path / "before.duckdb")
    studio.start()
    handset = browser.new_context(**PHONE, service_workers="block")  # one of them would keep the test from holding answers back
    page = opened(handset, studio)
    told(page)
    page.route("**/log/v1/outcomes", lambda route: route.abort())  # the phone does not hear yet what became of it
    page.get_by_role("link", name="My day").click()
    with page.expect_response("**/log/v1/actions"):
        add_line(page, "24-001", "filling", "1.5")
    told(page, "1 thing has arrived in the studio and is being checked")
    studio.stop()
    shutil.copy(tmp_path / "before.duckdb", studio.db)
    studio.start()
    page.unroute("**/log/v1/outcomes")
    told(page)
    handset.close()
    assert [row["hours"] for row in studio.entries(tmp_path / "out") if row["technique"] == "filling"] == ["1.5"]


def test_the_pages_lead_to_the_form_and_show_what_it_refused(studio: Studio, browser: Browser) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(studio.address)
    page.get_by_role("link", name="Log hours").click()
    page.get_by_role("button", name="Ilse", exact=True).click()
    page.get_by_role("link", name="My day").click()
    add_line(page, "24-001", "filling", "1:75")
    told(page, "1 entry was refused: to be mended.")
    page.get_by_role("link", name="Studio's pages").click()
    page.get_by_role("link", name="1 entry from the form to log hours refused: see why.").click()
    expect(page.get_by_role("heading", name="To mend in the form: 1 entry")).to_be_visible()
    expect(
        page.get_by_role("listitem").filter(
            has_text=re.compile(r'24-001, filling, Ilse, [\d-]+, 1:75 h\. Hours "1:75" cannot be read as hours\. Write it like 1\.5')
        )
    ).to_be_visible()
    picture(page, "refused-on-the-pages")
    page.get_by_role("link", name="Mend them in the form").click()
    page.get_by_role("button", name=re.compile("filling Refused")).click()
    page.get_by_role("button", name="Strike it out").click()
    done(page, "Struck out: filling")
    told(page)
    page.goto(f"{studio.address}/bring-in-logs")
    expect(page.get_by_text("What the files look like")).to_be_visible()
    expect(page.get_by_role("heading", name="To mend in the form")).to_have_count(0)
    page.goto(f"{studio.address}/?studio=invented")
    expect(page.get_by_text("This is an invented studio")).to_be_visible()
    expect(page.get_by_role("link", name="Log hours")).to_have_count(0)
    page.close()


def test_on_a_full_disk_the_phone_keeps_what_it_has_says_why_and_sends_it_once_there_is_room(handset: BrowserContext, tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 40_000) as disk:
        if not disk.is_mount():
            pytest.skip("this machine lets nobody make a small disk")
        studio = founded(disk, of_works)
        try:
            page = opened(handset, studio)
            told(page)
            with (disk / "other").open("wb", buffering=0) as file, contextlib.suppress(OSError):
                while True:
                    file.write(b"x" * 4096)
            page.get_by_role("link", name="My day").click()
            for hours in ("1", "2"):
                page.get_by_label("Work", exact=True).fill("24-001")
                page.get_by_label("Technique", exact=True).fill("filling")
                page.get_by_label("Hours", exact=True).fill(hours)
                page.keyboard.press("Enter")
                done(page, "Added: filling")
            new_line(page)
            page.get_by_label("Work", exact=True).fill("24-001")
            page.get_by_label("Note").fill("a long story " * 300)
            page.get_by_label("Technique", exact=True).fill("facing")
            page.get_by_label("Hours", exact=True).fill("3")
            page.get_by_role("button", name="Save", exact=True).click()
            done(page, "Added: facing")
            told(page, "The studio's file cannot be written (the disk is full). Nothing is lost: the phone keeps it and sends it again.")
            told(page, "saved here, not in the studio yet")
            picture(page, "full-disk")
            (disk / "other").unlink()
            page.reload()
            told(page)
        finally:
            studio.stop()
        rows = [(row["technique"], row["hours"]) for row in studio.entries(tmp_path / "out") if row["person"] == "Ilse" and row["date"] > "2026-06"]
    assert sorted(rows) == [("facing", "3"), ("filling", "1"), ("filling", "2")]


def test_a_record_that_may_only_be_read_is_not_served_and_the_phone_keeps_what_it_has_until_it_is(
    studio: Studio, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio)
    told(page)
    studio.stop()
    with only_to_read(tmp_path / "only to read", [studio.db]) as folder:
        tried = ready.command("serve", "--db", str(folder / studio.db.name), "--port", str(studio.port))
        assert tried.returncode == 2 and "cannot be opened (the disk may only be read)" in tried.stderr
        page.get_by_role("link", name="My day").click()
        add_line(page, "24-001", "filling", "1.5")
        told(page, "1 thing is saved here, not in the studio yet. The studio cannot be reached just now")
    studio.start()
    told(page)
    assert [row["hours"] for row in studio.entries(tmp_path / "out") if row["technique"] == "filling"] == ["1.5"]


def test_what_is_half_written_is_there_again_after_a_reload(studio: Studio, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Technique", exact=True).fill("gilding")
    page.get_by_label("Hours", exact=True).fill("2:")
    page.reload()
    expect(page.get_by_label("Technique", exact=True)).to_have_value("gilding")
    expect(page.get_by_label("Hours", exact=True)).to_have_value("2:")
    new_line(page)
    page.get_by_label("Note").fill("a long story")
    page.wait_for_timeout(200)
    page.reload()
    expect(page.get_by_label("Note")).to_have_value("a long story")
    expect(page.get_by_text("did not save is here again")).to_be_visible()


def test_what_the_studio_refuses_is_shown_with_its_reason_and_mended(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    add_line(page, "24-001", "filling", "1:75")
    told(page, "1 entry was refused: to be mended.")
    expect(page.get_by_text("Refused: Hours “1:75” cannot be read as hours. Write it like 1.5, 1:30, 1h30, 90 min or PT1H30M.")).to_be_visible()
    page.reload()
    page.get_by_role("link", name="1 entry was refused").click()
    page.get_by_role("button", name=re.compile("filling Refused")).click()
    expect(page.get_by_role("alert").filter(has_text="cannot be read as hours")).to_be_visible()
    page.get_by_label("Hours", exact=True).fill("1:45")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: filling on 24-001")
    told(page)
    expect(page.get_by_text("refused")).to_have_count(0)
    assert [row["hours"] for row in studio.entries(tmp_path / "out") if row["technique"] == "filling"] == ["1.75"]


def test_what_will_hardly_be_understood_is_asked_about_once_before_anything_is_sent(studio: Studio, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    for work, technique, hours, doubt in (
        ("24-001", "retuoching", "1", "No technique is called “retuoching” here."),
        ("24-01", "retouching", "1", "No work “24-01” is on the bench."),
        ("24-001", "retouching", "a while", "“a while” does not look like the hours of a day."),
        ("24-001", "retouching", "1;5", "“1;5” does not look like the hours of a day."),
        ("24-001", "retouching", "1,150", "“1,150” may be 1150 or 1,1500."),
        ("24-001", "retouching", "45", "“45” does not look like the hours of a day."),
    ):
        for label, text in (("Work", work), ("Technique", technique), ("Hours", hours)):
            page.get_by_label(label, exact=True).fill(text)
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_role("alert")).to_have_text(f"{doubt} Mend it, or tap Add again to send it so.")
    expect(page.locator("#just")).to_be_empty()
    page.get_by_role("button", name="Add", exact=True).click()
    done(page, "Added: retouching on 24-001, 45 h")
    told(page, re.compile("1 entry was refused: to be mended. All else is saved in the studio."))
    expect(page.locator(".total")).to_have_text("No hours said for this day; 1 line is not in it yet.")
    expect(page.locator(".chips").get_by_role("button", name="24-01 ")).to_have_count(0)


def test_a_name_in_other_letters_is_the_person_whom_the_studio_knows(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio, who=None)
    page.get_by_role("button", name="This is me").click()
    expect(page.get_by_role("alert")).to_have_text("Say who you are: a name above, or your own.")
    page.get_by_label("Somebody new").fill(" ILSE")
    page.get_by_role("button", name="This is me").click()
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    told(page)
    page.reload()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    expect(page.get_by_role("link", name="Ilse is logging; change")).to_be_visible()
    page.get_by_role("button", name="Pause retouching on 24-001").click()  # within a second or two of its beginning, as the studio has told it meanwhile
    done(page, "Paused: retouching on 24-001")
    expect(page.get_by_role("button", name="Go on: retouching on 24-001")).to_be_visible()
    told(page)
    assert [row["person"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == ["Ilse"]


def test_a_finish_is_sent_once_its_page_is_left_and_what_is_half_written_of_it_is_said(studio: Studio, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_label("Note").fill("two colours more")
    told(page, "1 thing is saved here")
    page.get_by_text("One spell over several works").click()
    expect(page.get_by_label("24-002", exact=True)).to_have_count(1)
    expect(page.get_by_label("24-001", exact=True)).to_have_count(0)  # it is not beside itself
    page.get_by_role("link", name="My day").click()
    told(page, "All is saved in the studio.")  # long before the two minutes are over
    # the studio puts the times right by seconds: they are its own, as they were not written
    page.evaluate("""state.entries.forEach((one) => {
        for (const name of ["started_at", "ended_at"]) if (one.row[name]) one.row[name] = instant(Date.parse(one.row[name]) + 60000);
    })""")
    page.get_by_role("link", name="What you wrote of an entry is not saved yet.").click()
    expect(page.get_by_label("Note")).to_have_value("two colours more")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: retouching on 24-001")
    told(page)
    expect(page.get_by_text("is not saved yet")).to_have_count(0)


def test_what_another_phone_said_later_stands_and_this_one_is_told(studio: Studio, handset: BrowserContext, browser: Browser) -> None:
    page = opened(handset, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    done(page, "Begun: retouching on 24-001")
    told(page)
    second = browser.new_context(timezone_id="Europe/Berlin")
    beside = opened(second, studio)
    expect(beside.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    handset.set_offline(True)
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_role("button", name="Skip").click()
    page.wait_for_timeout(1500)
    beside.get_by_role("button", name="Finish retouching on 24-001").click()
    beside.get_by_role("button", name="Skip").click()
    told(beside)
    second.close()
    handset.set_offline(False)
    told(page)
    page.get_by_role("link", name="My day").click()
    expect(line(page, "it was said otherwise elsewhere, later. Correct it here if that is wrong.")).to_be_visible()


def test_a_late_answer_about_nobody_does_not_hide_what_is_ones_own(studio: Studio, handset: BrowserContext, browser: Browser) -> None:
    page = opened(handset, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    done(page, "Begun: retouching on 24-001")
    told(page)
    context = browser.new_context(service_workers="block")
    beside = context.new_page()
    late: list[Route] = []
    beside.route("**/log/v1/bench*", lambda route: route.continue_() if late else late.append(route))
    beside.goto(f"{studio.address}/log")
    beside.get_by_role("button", name="Ilse", exact=True).click()
    until(beside, "location.hash === '#bench'")
    beside.wait_for_timeout(500)
    assert late[0].request.url.endswith("bench?")
    with beside.expect_response(lambda answer: answer.url.endswith("bench?")):
        late[0].continue_()
    beside.wait_for_timeout(500)
    expect(beside.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    context.close()


def test_every_doing_can_be_undone_in_one_tap(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("heading", name="In hand")).to_have_count(0)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    done(page, "Begun: retouching on 24-001")
    told(page)
    page.wait_for_timeout(1100)
    page.get_by_role("button", name="Begin facing on 24-002").click()
    done(page, "retouching on 24-001 finished")
    told(page)
    page.get_by_role("button", name="Undo").click()  # the switch: the first is in hand again, as if nothing had been
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    expect(page.get_by_role("button", name="Finish facing on 24-002")).to_have_count(0)
    told(page)
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    page.get_by_role("button", name="Pause retouching on 24-001").click()
    done(page, "Paused: retouching on 24-001")
    page.get_by_role("button", name="Go on: retouching on 24-001").click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    told(page)
    assert [row["technique"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == ["retouching"]  # the one that was paused


def test_two_tabs_and_two_phones_of_one_person_end_in_one_record(studio: Studio, handset: BrowserContext, browser: Browser, tmp_path: Path) -> None:
    page = opened(handset, studio)
    twin = opened(handset, studio, who=None)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(twin.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()  # the other tab knows at once
    told(page)
    second = browser.new_context(**PHONE)
    other = opened(second, studio)
    expect(other.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    page.wait_for_timeout(1100)
    other.get_by_role("button", name="Finish retouching on 24-001").click()
    other.get_by_role("button", name="Skip").click()
    told(other)
    twin.get_by_role("button", name="Finish retouching on 24-001").click()  # it has not heard of that yet: the later tap stands
    twin.get_by_role("button", name="Skip").click()
    told(twin)
    told(page)
    second.close()
    assert [row["technique"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == ["retouching"]


def test_times_the_wrong_way_round_are_asked_about_and_a_spell_past_midnight_is_not(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    page.get_by_role("button", name="Day before").click()
    page.get_by_role("button", name="Day before").click()
    new_line(page)
    page.get_by_label("Technique", exact=True).fill("accounts")
    for begin, end in (("14:00", "13:00"), ("14:00", "14:00")):
        page.get_by_label("From", exact=True).fill(begin)
        page.get_by_label("To", exact=True).fill(end)
        page.get_by_role("button", name="Save", exact=True).click()
        expect(page.get_by_role("alert")).to_contain_text("into the next day: see the times.")
    page.get_by_label("From", exact=True).fill("22:30")
    page.get_by_label("To", exact=True).fill("00:15")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: accounts")
    told(page)
    assert [(row["started_at"][11:16], row["ended_at"][11:16]) for row in studio.entries(tmp_path / "out") if row["technique"] == "accounts"] == [
        ("22:30", "00:15")
    ]


def test_the_day_sheet_counts_a_persons_hours_once_as_the_record_does(studio: Studio, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    page.get_by_role("button", name="Day before").click()
    for technique, begin, end, kind in (
        ("retouching", "09:30", "10:15", "as usual"),
        ("filling", "09:00", "11:00", "waiting beside it"),  # hands on at the retouching for 45 minutes of it
        ("facing", "10:30", "11:25", "waiting beside it"),  # beside the other wait until 11:00
        ("pressing", "08:00", "18:00", "waits by itself"),
    ):
        new_line(page)
        page.get_by_label("Work", exact=True).fill("24-001")
        page.get_by_label("Technique", exact=True).fill(technique)
        page.get_by_label("From", exact=True).fill(begin)
        page.get_by_label("To", exact=True).fill(end)
        page.get_by_text(kind, exact=True).click()
        page.get_by_role("button", name="Save", exact=True).click()
        done(page, f"Added: {technique} on 24-001")
    expect(page.get_by_text("2 h 25 min said for this day.")).to_be_visible()  # 2 h, then 25 minutes
    told(page)
    studio.stop()
    with Store(studio.db) as store:
        assert store.cursor().execute("SELECT round(sum(counted_hours) * 60) FROM spells WHERE started_at IS NOT NULL").fetchall() == [(145.0,)]


def twice(target: Locator) -> None:
    """Two taps before anything could come of the first."""
    target.evaluate("one => { one.click(); one.click(); }")


def test_a_tap_that_comes_twice_is_done_once(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    twice(page.get_by_role("button", name="Begin retouching on 24-001"))
    done(page, "Begun: retouching on 24-001")
    expect(page.locator(".card")).to_have_count(1)
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Technique", exact=True).fill("accounts")
    page.get_by_label("Hours", exact=True).fill("1")
    twice(page.get_by_role("button", name="Add", exact=True))
    done(page, "Added: accounts")
    new_line(page)
    page.get_by_label("Technique", exact=True).fill("enquiries")
    page.get_by_label("Hours", exact=True).fill("2")
    twice(page.get_by_role("button", name="Save", exact=True))
    done(page, "Added: enquiries")
    told(page)
    assert sorted((row["technique"], row["hours"]) for row in studio.entries(tmp_path / "out") if not row["object"]) == [("accounts", "1"), ("enquiries", "2")]


def test_what_is_half_written_in_two_tabs_is_kept_of_both(studio: Studio, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    beside = opened(handset, studio, who=None)
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Hours", exact=True).fill("1:")
    beside.goto(f"{studio.address}/log#new={datetime.now(ZoneInfo('Europe/Berlin')):%Y-%m-%d}")
    beside.get_by_label("Note").fill("a long story")
    page.get_by_label("Hours", exact=True).fill("1:3")
    page.wait_for_timeout(200)
    for tab in (page, beside):
        tab.reload()
    expect(page.get_by_label("Hours", exact=True)).to_have_value("1:3")
    expect(beside.get_by_label("Note")).to_have_value("a long story")


def test_one_spell_over_three_works_is_shared_out_by_area(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio, at="")
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Technique", exact=True).fill("varnishing by spray")
    page.get_by_label("Work", exact=True).fill("Ferry in snow")  # by its title
    page.get_by_label("Hours", exact=True).fill("1.5")
    new_line(page)
    expect(page.get_by_label("Hours", exact=True)).to_have_value("1.5")
    page.get_by_text("One spell over several works").click()
    page.get_by_text("by area").click()
    page.get_by_label("24-002", exact=True).check(force=True)
    page.get_by_label("24-003", exact=True).check(force=True)
    picture(page, "several-works")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: varnishing by spray on 24-001, 24-002, 24-003")
    told(page)
    rows = [row for row in studio.entries(tmp_path / "out") if row["technique"] == "varnishing by spray"]
    assert sorted((row["object"], float(row["hours"])) for row in rows) == [("24-001", 1.0), ("24-002", 0.25), ("24-003", 0.25)]  # 48, 12 and 12 dm²


def test_shares_stay_with_their_works_and_what_is_refused_of_several_is_mended_whole(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    new_line(page)
    page.get_by_label("Work", exact=True).fill("24-001")
    page.get_by_label("Technique", exact=True).fill("facing")
    page.get_by_label("Hours", exact=True).fill("6")
    page.get_by_text("One spell over several works").click()
    page.get_by_text("by shares of my own").click()
    for code in ("24-002", "24-003"):
        page.get_by_label(code, exact=True).check(force=True)
    for code, share in (("24-001", "1"), ("24-002", "2"), ("24-003", "none")):
        page.get_by_label(f"Share of {code}").fill("")
        page.get_by_label(f"Share of {code}").press_sequentially(share)  # each key, the field keeps the cursor
    page.wait_for_timeout(200)
    page.reload()
    expect(page.get_by_label("Share of 24-003")).to_have_value("none")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: facing on 24-001, 24-002, 24-003")
    told(page, "1 entry was refused")
    line(page, "24-001, 24-002, 24-003: facing").click()
    expect(page.get_by_role("alert").filter(has_text="Refused: Share “none”")).to_be_visible()
    expect(page.get_by_label("Share of 24-002")).to_have_value("2")
    page.get_by_label("24-002", exact=True).uncheck(force=True)
    expect(page.get_by_label("Share of 24-003")).to_have_value("none")
    page.get_by_label("Share of 24-003").fill("5")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: facing on 24-001, 24-003")
    told(page)
    shared = [(row["object"], row["hours"]) for row in studio.entries(tmp_path / "out") if row["note"].startswith("one of 2 works")]
    assert sorted(shared) == [("24-001", "1"), ("24-003", "5")]
    correct(page, line(page, "24-001.*: facing").first)
    page.get_by_label("Hours", exact=True).fill("2")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: facing on 24-001.")
    told(page)
    shared = [(row["object"], row["hours"]) for row in studio.entries(tmp_path / "out2") if row["note"].startswith("one of 2 works")]
    assert sorted(shared) == [("24-001", "2"), ("24-003", "5")]


def test_a_forgotten_spell_is_asked_about_and_ends_only_as_it_is_said(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    now = datetime.now(UTC).replace(tzinfo=None)
    began = now - timedelta(hours=20)
    running = {"taps": {"started_at": phones.ms(began)}}
    sent = [
        phones.action("forgotten", "running", at=began, **running),
        phones.action("pressing", "running", at=began, row={"object": "24-002", "technique": "pressing"}, **running),
    ]
    body = json.dumps({"version": 1, "phone": phones.PHONE, "clock": phones.ms(now), "actions": sent}).encode()
    urllib.request.urlopen(urllib.request.Request(f"{studio.address}/log/v1/actions", body, {"Content-Type": "application/json"})).close()
    patience = time.monotonic() + 30
    while len(json.load(urllib.request.urlopen(f"{studio.address}/log/v1/bench"))["in_hand"]) < 2 and time.monotonic() < patience:
        time.sleep(0.1)  # what is sent is kept at once and settled right after
    page = opened(handset, studio)
    expect(page.get_by_text("Is it still in hand, or was the end forgotten?")).to_have_count(1)  # of the retouching; pressing may last for days
    picture(page, "forgotten")
    page.get_by_role("button", name="Save this end").click()
    expect(page.get_by_role("alert").filter(has_text="Say at what time it ended.")).to_be_visible()
    ended = (began + timedelta(hours=1)).replace(tzinfo=UTC).astimezone(ZoneInfo("Europe/Berlin"))
    page.get_by_label("It ended at", exact=True).fill(f"{ended:%H:%M}")
    page.evaluate("state.in_hand.forEach((one) => { one.since += 120000; }); show()")  # the card is drawn anew: nothing typed is lost by that
    expect(page.get_by_text(re.compile(r"began 19 h 5\d min ago")).first).to_be_visible()
    expect(page.get_by_role("alert").filter(has_text="Say at what time it ended.")).to_be_visible()
    expect(page.get_by_label("It ended at", exact=True)).to_have_value(f"{ended:%H:%M}")
    page.get_by_role("button", name="Save this end").click()
    done(page, "Finished: retouching on 24-001")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_label("It ended at", exact=True)).to_have_value(f"{ended:%H:%M}")
    expect(page.get_by_role("alert").filter(has_text="Say at what time it ended.")).to_have_count(0)
    page.get_by_role("button", name="Save this end").click()
    done(page, "Finished: retouching on 24-001")
    told(page)
    rows = [row for row in studio.entries(tmp_path / "out") if row["started_at"]]
    assert [(row["technique"], row["ended_at"][:16]) for row in rows] == [("retouching", f"{ended:%Y-%m-%d %H:%M}")]


def test_a_shared_tablet_asks_who_at_each_beginning_in_one_tap_and_shows_no_titles(studio: Studio, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio, who=None)
    page.get_by_label("Several people use this device", exact=False).check()
    page.get_by_role("button", name="Ilse", exact=True).click()
    expect(page.get_by_text("Ferry in snow")).to_have_count(0)
    for who, technique, code in (("Maud", "retouching", "24-001"), ("Ilse", "facing", "24-002")):
        page.get_by_role("button", name=f"Begin {technique} on {code}").click()
        page.get_by_role("button", name=who, exact=True).click()
        done(page, f"Begun: {technique} on {code}")
    told(page)
    page.wait_for_timeout(1100)
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_role("button", name="Skip").click()
    page.get_by_role("button", name="Finish facing on 24-002").click()
    page.get_by_role("button", name="Skip").click()
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    told(page)
    assert sorted((row["technique"], row["person"]) for row in studio.entries(tmp_path / "out") if row["started_at"]) == [
        ("facing", "Ilse"),
        ("retouching", "Maud"),
    ]


def test_a_browser_that_keeps_nothing_says_so_and_still_sends(studio: Studio, browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context(**PHONE)
    context.add_init_script("Object.defineProperty(window, 'indexedDB', { value: undefined })")
    page = opened(context, studio)
    told(page, "This browser keeps nothing")
    page.get_by_role("link", name="My day").click()
    add_line(page, "24-001", "filling", "1.5")
    told(page)
    context.close()
    assert [row["hours"] for row in studio.entries(tmp_path / "out") if row["technique"] == "filling"] == ["1.5"]


def test_a_phone_clock_that_is_wrong_is_said_and_put_right(studio: Studio, browser: Browser, tmp_path: Path) -> None:
    context = browser.new_context(**PHONE)
    context.add_init_script("const right = Date.now; Date.now = () => right() - 26 * 36e5")
    page = opened(context, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    done(page, "Begun: retouching on 24-001")
    told(page, "This phone's clock is 26 h slow; times are put right.")
    expect(page.get_by_text("began less than a minute ago")).to_be_visible()
    page.wait_for_timeout(1100)
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_role("button", name="Skip").click()
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    told(page)
    context.close()
    row = next(row for row in studio.entries(tmp_path / "out") if row["started_at"])
    here = datetime.now(ZoneInfo("Europe/Berlin")).replace(tzinfo=None)
    assert here - timedelta(minutes=2) < datetime.fromisoformat(row["started_at"]) < here


def test_an_empty_studio_says_what_to_do_and_lets_studio_time_be_logged(tmp_path: Path, handset: BrowserContext) -> None:
    studio = founded(tmp_path, lambda *_: None)
    page = opened(handset, studio, who=None)
    page.get_by_label("Your name, as it should stand in the record").fill("Ilse")
    page.get_by_role("button", name="This is me").click()
    expect(page.get_by_text("No work is on the bench yet: add it under Works, on the studio's pages.")).to_be_visible()
    picture(page, "empty")
    page.get_by_role("button", name="Studio time").click()
    page.get_by_role("button", name="enquiries").click()
    done(page, "Begun: enquiries on studio time")
    told(page)
    studio.stop()


# --- for everybody


VIEWS = ("", "#day", "#who", "#new", "#work=")


def calm(page: Page) -> None:
    """Nothing wider than the screen, nothing that axe finds."""
    until(page, "document.documentElement.scrollWidth <= 360", 5)
    found = Axe().run(page)
    assert [one["id"] for one in found.response["violations"]] == []


@pytest.mark.parametrize("text", [100, 200])
def test_every_view_is_readable_and_without_fault_for_axe_at_a_phone_width(demo_studio: Studio, handset: BrowserContext, text: int) -> None:
    page = opened(handset, demo_studio, who="Tamsin")
    page.get_by_role("button", name=re.compile("^Begin ")).first.click()
    code = page.locator(".works .work").nth(1).inner_text().split()[0]
    for view in (*VIEWS, f"#work={code}", f"#day={(datetime.now(UTC) - timedelta(days=1)):%Y-%m-%d}"):
        page.goto(f"{demo_studio.address}/log{view}")
        expect(page.locator("html[data-ready]")).to_be_attached()
        page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
        page.wait_for_timeout(100)
        calm(page)
        picture(page, f"{view.strip('#').replace('=', '-') or 'bench'}-{text}")
    page.goto(f"{demo_studio.address}/log")
    page.get_by_role("button", name=re.compile("^Finish ")).first.click()
    page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
    calm(page)
    page.evaluate(
        "document.querySelector('#title').textContent = 'consolidation, less than a minute'"
    )  # a long word is broken, whichever work is in hand today
    calm(page)
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Undo").wait_for(state="detached")


def test_what_is_tapped_at_the_bench_is_large_and_the_first_of_it_within_reach_of_a_thumb(demo_studio: Studio, handset: BrowserContext) -> None:
    page = opened(handset, demo_studio, who="Ilse")
    page.get_by_role("button", name=re.compile("^Begin ")).first.click()
    for view in ("", "#day", "#work="):
        page.goto(f"{demo_studio.address}/log{view}")
        expect(page.locator("html[data-ready]")).to_be_attached()
        sizes = page.evaluate(
            "[...document.querySelectorAll('button, nav a, header a, input, summary')].filter((one) => one.offsetParent).map((one) => [one.innerText || one.id, one.offsetHeight])"
        )
        assert [one for one in sizes if one[1] < 56] == []
    page.goto(f"{demo_studio.address}/log")
    finish = page.get_by_role("button", name=re.compile("^Finish ")).first.bounding_box()
    ways = page.get_by_role("link", name="My day").bounding_box()
    assert finish and ways and finish["y"] + finish["height"] <= 640 and 480 < ways["y"] < 640  # the ways lie at the thumb


def test_a_spell_is_begun_and_finished_by_keyboard_alone_and_a_screen_reader_hears_it(studio: Studio, browser: Browser) -> None:
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.goto(f"{studio.address}/log")
    expect(page.locator("html[data-ready]")).to_be_attached()

    def reach(name: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate(
                "(document.activeElement.getAttribute('aria-label') || document.activeElement.innerText || '').replace(/\\s+/g, ' ').trim()"
            ).startswith(name):
                page.keyboard.press("Enter")
                return
        raise AssertionError(f"{name} cannot be reached by keyboard")

    reach("Ilse")
    expect(page.get_by_role("heading", name="At the bench")).to_be_focused()
    reach("Begin retouching on 24-001")
    expect(page.get_by_role("status").filter(has_text="Begun: retouching on 24-001")).to_be_visible()
    page.wait_for_timeout(1100)
    reach("Finish retouching on 24-001")
    expect(page.get_by_role("status").filter(has_text="Finished: retouching on 24-001")).to_be_visible()
    reach("Skip")
    expect(page.get_by_role("status").filter(has_text="All is saved in the studio.")).to_be_visible()
    page.context.close()


# --- over HTTP


def asked(address: str, body: bytes | None = None, **headers: str) -> tuple[int, dict[str, Any]]:
    request = urllib.request.Request(address, body, {name.replace("_", "-"): value for name, value in headers.items()})
    try:
        with urllib.request.urlopen(request) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)


def test_no_other_site_can_read_or_send(demo_studio: Studio) -> None:
    sent = json.dumps({"phone": phones.PHONE, "clock": 1, "actions": []}).encode()
    at, kind = f"{demo_studio.address}/log/v1/", "application/json"
    assert asked(f"{at}actions", sent, Content_Type=kind)[0] == 200
    assert asked(f"{at}actions", sent, Content_Type=kind, Origin=demo_studio.address)[0] == 200
    for wrong, code in (
        ({"Content_Type": kind, "Origin": "https://elsewhere.example"}, "other_site"),
        ({"Content_Type": kind, "Sec_Fetch_Site": "cross-site"}, "other_site"),
        ({"Content_Type": "text/plain"}, "not_json"),
        ({"Content_Type": kind, "Host": "elsewhere.example"}, "wrong_address"),
    ):
        status, said = asked(f"{at}actions", sent, **wrong)
        assert status >= 400 and said["error"]["code"] == code and said["error"]["mend"], wrong
    assert asked(f"{at}bench", None, Host="elsewhere.example")[1]["error"]["code"] == "wrong_address"
    assert asked(f"{at}actions", b"{", Content_Type=kind)[1]["error"]["code"] == "not_json"
    assert asked(f"{at}actions", b"[]", Content_Type=kind)[1]["error"]["code"] == "not_understood"
    assert asked(f"{at}actions", b" " * 1_000_001, Content_Type=kind)[1]["error"]["code"] == "too_large"
    assert asked(f"{at}outcomes", b'{"actions": [1]}', Content_Type=kind)[1]["error"]["code"] == "not_understood"


def test_the_form_is_one_answer_whose_script_and_style_are_named_by_their_hashes(demo_studio: Studio) -> None:
    with urllib.request.urlopen(urllib.request.Request(f"{demo_studio.address}/log", headers={"Accept": "text/html"})) as answer:
        policy, page = answer.headers["content-security-policy"], answer.read().decode()
    assert "default-src 'none'" in policy and "unsafe" not in policy and policy.count("'sha256-") == 2
    assert re.findall(r'(?:src|href)="([^"]+)"', page.split("<script")[0]) == ["/log/icon.svg", "/log/manifest.json", "#who", "#bench", "#day", "/"]
    assert "__streamlit" not in page
