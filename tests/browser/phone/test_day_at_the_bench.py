"""The form for a phone: a whole day at the bench and the day sheet, each doing undone, each tap once."""

from __future__ import annotations

import json
import re
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests import phones
from tests.browser.phone.conftest import (
    Form,
    add_line,
    begin_line,
    correct,
    done,
    line,
    new_line,
    opened,
    picture,
    shows,
)


def a_morning_at_the_bench(page: Page) -> None:
    """Retouching, pressing beside it, over to facing in one tap, finished with all that can be said."""
    begin_line(page)
    expect(page.get_by_text("began less than a minute ago")).to_be_visible()
    # pressing beside other work: begun from the work's own page by search, the retouching goes on
    page.get_by_role("button", name=re.compile("^24-002 Weir at dusk")).click()
    page.get_by_label("Find a technique").fill("pres")
    page.get_by_role("button", name=re.compile("^pressing")).click()
    done(page, "Begun: pressing on 24-002")
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    shows(page)
    page.wait_for_timeout(1200)
    # one tap goes over to the other work
    page.get_by_role("button", name="Begin facing on 24-002").click()
    done(page, "Begun: facing on 24-002")
    done(page, "retouching on 24-001 finished")
    shows(page)
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
    shows(page)


def an_afternoon_without_network(page: Page, handset: BrowserContext) -> None:
    """The day sheet, five lines, and a reload in between."""
    handset.set_offline(True)
    page.get_by_role("link", name="My day").click()
    for work, technique, hours in (
        ("24-001", "filling", "1h30"),
        ("24-001", "levelling fills", "1:15"),
        ("24-002", "sampling", "20 min"),
    ):
        add_line(page, work, technique, hours)
    page.reload()
    shows(page, "saved here, not in the studio yet")
    add_line(page, "", "accounts", "0,5")
    add_line(page, "24-003", "solvent tests", "1.25")
    shows(page, "5 things are saved here, not in the studio yet")
    picture(page, "day")
    handset.set_offline(False)
    # Chromium does not say so of a page that was opened anew without network, as it does on a phone
    page.evaluate("dispatchEvent(new Event('online'))")
    shows(page)


def at_work(rows: list[dict[str, str]]) -> list[tuple[str, ...]]:
    return sorted(
        (
            row["object"],
            row["technique"],
            row["person"],
            row["mode"],
            row["charge"],
            row["done"],
            row["discovery"],
            row["note"],
        )
        for row in rows
    )


def test_a_whole_day_at_the_bench_ends_in_exactly_its_rows(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
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
    shows(page)
    expect(
        page.get_by_text("4 h said for this day")
    ).to_be_visible()  # 1.5 + 0.75 + 0.5 + 1.25, and seconds at the bench
    rows = [
        row
        for row in studio.entries(tmp_path / "out")
        if row["date"] != "2026-05-20" and not (row["date"] or "9").startswith("2026-05")
    ]
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
    spells = sorted(
        (row["started_at"], row["ended_at"], row["technique"]) for row in rows if row["started_at"]
    )
    # one ends as the other begins
    assert [technique for *_, technique in spells] == ["retouching", "facing"] and spells[0][1] == spells[1][
        0
    ]
    length = sum(
        (datetime.fromisoformat(end) - datetime.fromisoformat(start)).total_seconds()
        for start, end, _ in spells
    )
    assert 2 <= length <= took + 2
    told_now = json.load(urllib.request.urlopen(f"{studio.address}/log/v1/bench?person=Ilse"))
    assert [(item["row"]["object"], item["row"]["technique"]) for item in told_now["in_hand"]] == [
        ("24-002", "pressing")
    ]


def test_a_day_sheet_of_the_evening_is_written_in_under_a_minute_from_what_is_suggested(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    began = time.monotonic()
    taps = 0
    for offer, hours in (("24-001 retouching", "2:15"), ("24-001 facing", "1h"), ("24-002 facing", "45'")):
        page.locator(".chips").get_by_role("button", name=offer).click()
        page.keyboard.type(hours)
        page.keyboard.press("Enter")
        done(page, f"Added: {offer.split(' ', 1)[1]} on {offer.split(' ', maxsplit=1)[0]}, {hours}")
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
    shows(page)
    picture(page, "day-sheet")
    rows = [row for row in studio.entries(tmp_path / "out") if not (row["date"] or "9").startswith("2026-05")]
    assert sorted((row["object"], row["technique"], row["hours"]) for row in rows if row["hours"]) == [
        ("24-001", "facing", "1"),
        ("24-001", "retouching", "2.25"),
        ("24-002", "facing", "0.75"),
    ]
    assert sorted(
        (row["object"], row["technique"], row["started_at"], row["ended_at"])
        for row in rows
        if not row["hours"]
    ) == [
        ("", "enquiries", f"{yesterday} 10:30:00", f"{yesterday} 11:15:00"),
        ("24-001", "facing", f"{yesterday} 11:15:00", f"{yesterday} 12:00:00"),
        ("24-002", "filling", f"{yesterday} 09:00:00", f"{yesterday} 10:30:00"),
    ]


def test_every_doing_can_be_undone_in_one_tap(studio: Form, handset: BrowserContext, tmp_path: Path) -> None:
    page = opened(handset, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("heading", name="In hand")).to_have_count(0)
    begin_line(page)
    shows(page)
    page.wait_for_timeout(1100)
    page.get_by_role("button", name="Begin facing on 24-002").click()
    done(page, "retouching on 24-001 finished")
    shows(page)
    page.get_by_role(
        "button", name="Undo"
    ).click()  # the switch: the first is in hand again, as if nothing had been
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    expect(page.get_by_role("button", name="Finish facing on 24-002")).to_have_count(0)
    shows(page)
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    page.get_by_role("button", name="Pause retouching on 24-001").click()
    done(page, "Paused: retouching on 24-001")
    page.get_by_role("button", name="Go on: retouching on 24-001").click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    shows(page)
    # the one that was paused
    assert [row["technique"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == [
        "retouching"
    ]


def test_times_the_wrong_way_round_are_asked_about_and_a_spell_past_midnight_is_not(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
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
    shows(page)
    assert [
        (row["started_at"][11:16], row["ended_at"][11:16])
        for row in studio.entries(tmp_path / "out")
        if row["technique"] == "accounts"
    ] == [("22:30", "00:15")]


def test_the_day_sheet_counts_a_persons_hours_once_as_the_record_does(
    studio: Form, handset: BrowserContext
) -> None:
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
    shows(page)
    counted = "SELECT round(sum(counted_hours) * 60) FROM spells WHERE started_at IS NOT NULL"
    assert studio.store.cursor().execute(counted).fetchall() == [(145.0,)]


def twice(target: Locator) -> None:
    """Two taps before anything could come of the first."""
    target.evaluate("one => { one.click(); one.click(); }")


def test_a_tap_that_comes_twice_is_done_once(studio: Form, handset: BrowserContext, tmp_path: Path) -> None:
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
    shows(page)
    assert sorted(
        (row["technique"], row["hours"]) for row in studio.entries(tmp_path / "out") if not row["object"]
    ) == [("accounts", "1"), ("enquiries", "2")]


def test_a_forgotten_spell_is_asked_about_and_ends_only_as_it_is_said(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    now = datetime.now(UTC).replace(tzinfo=None)
    began = now - timedelta(hours=20)
    running: dict[str, Any] = {"taps": {"started_at": phones.ms(began)}}
    sent = [
        phones.action("forgotten", "running", at=began, **running),
        phones.action(
            "pressing", "running", at=began, row={"object": "24-002", "technique": "pressing"}, **running
        ),
    ]
    body = json.dumps(
        {"version": 1, "phone": phones.PHONE, "clock": phones.ms(now), "actions": sent}
    ).encode()
    urllib.request.urlopen(
        urllib.request.Request(f"{studio.address}/log/v1/actions", body, {"Content-Type": "application/json"})
    ).close()
    patience = time.monotonic() + 30
    while (
        len(json.load(urllib.request.urlopen(f"{studio.address}/log/v1/bench"))["in_hand"]) < 2
        and time.monotonic() < patience
    ):
        time.sleep(0.1)  # what is sent is kept at once and settled right after
    page = opened(handset, studio)
    # of the retouching; pressing may last for days
    expect(page.get_by_text("Is it still in hand, or was the end forgotten?")).to_have_count(1)
    picture(page, "forgotten")
    page.get_by_role("button", name="Save this end").click()
    expect(page.get_by_role("alert").filter(has_text="Say at what time it ended.")).to_be_visible()
    ended = (began + timedelta(hours=1)).replace(tzinfo=UTC).astimezone(ZoneInfo("Europe/Berlin"))
    page.get_by_label("It ended at", exact=True).fill(f"{ended:%H:%M}")
    # the card is drawn anew: nothing typed is lost by that
    page.evaluate("state.in_hand.forEach((one) => { one.since += 120000; }); show()")
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
    shows(page)
    rows = [row for row in studio.entries(tmp_path / "out") if row["started_at"]]
    assert [(row["technique"], row["ended_at"][:16]) for row in rows] == [
        ("retouching", f"{ended:%Y-%m-%d %H:%M}")
    ]
