"""The form for a phone beside the server of the pages: stopped, killed, gone back to a backup, on a full
disk; and the pages that lead to it.
"""

from __future__ import annotations

import contextlib
import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from tests import ready
from tests.browser.phone.conftest import (
    PHONE,
    Studio,
    add_line,
    begin_line,
    done,
    finish_line,
    founded,
    new_line,
    opened,
    picture,
    shows,
)
from tests.tight_places import only_to_read, small_disk


def test_it_opens_again_without_the_studio_and_sends_when_the_studio_is_back(
    whole_studio: Studio, handset: BrowserContext, tmp_path: Path
) -> None:
    """On this machine: a browser keeps pages for offline use only of an address it trusts."""
    page = opened(handset, whole_studio)
    shows(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.close()
    whole_studio.stop()
    page = handset.new_page()
    page.goto(f"{whole_studio.address}/log")  # nobody serves it
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    begin_line(page)
    shows(page, "1 thing is saved here, not in the studio yet")
    page.close()
    page = handset.new_page()
    page.goto(f"{whole_studio.address}/log")
    expect(
        page.get_by_role("button", name="Finish retouching on 24-001")
    ).to_be_visible()  # shut and opened again: it is still in hand
    page.wait_for_timeout(1100)
    finish_line(page)
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    shows(page, "2 things are saved here")
    whole_studio.start()  # as after an update: the form that stands open is the old one
    shows(page)
    assert [row["technique"] for row in whole_studio.entries(tmp_path / "out") if row["started_at"]] == [
        "retouching"
    ]


def test_a_server_that_is_killed_just_after_it_acknowledged_has_lost_nothing(
    whole_studio: Studio, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, whole_studio)
    page.get_by_role("link", name="My day").click()
    with page.expect_response("**/log/v1/actions"):
        add_line(page, "24-001", "filling", "1.5")
    whole_studio.discard()
    add_line(page, "24-001", "texturing", "1")
    whole_studio.start()
    shows(page)
    assert sorted(
        (row["technique"], row["hours"])
        for row in whole_studio.entries(tmp_path / "out")
        if row["technique"] in ("filling", "texturing")
    ) == [("filling", "1.5"), ("texturing", "1")]


def test_what_arrived_and_went_with_a_return_to_a_backup_is_sent_again(
    whole_studio: Studio, browser: Browser, tmp_path: Path
) -> None:
    founded(tmp_path).close()  # as the studio was before any phone came
    # one of them would keep the test from holding answers back
    handset = browser.new_context(**PHONE, service_workers="block")
    page = opened(handset, whole_studio)
    shows(page)
    # the phone does not hear yet what became of it
    page.route("**/log/v1/outcomes", lambda route: route.abort())
    page.get_by_role("link", name="My day").click()
    with page.expect_response("**/log/v1/actions"):
        add_line(page, "24-001", "levelling fills", "1.5")
    shows(page, "1 thing is in the studio and being checked")
    whole_studio.stop()
    shutil.copy(tmp_path / "studio.duckdb", whole_studio.db)
    whole_studio.start()
    page.unroute("**/log/v1/outcomes")
    shows(page)
    handset.close()
    assert [
        row["hours"]
        for row in whole_studio.entries(tmp_path / "out")
        if row["technique"] == "levelling fills"
    ] == ["1.5"]


def test_the_pages_lead_to_the_form_and_show_what_it_refused(whole_studio: Studio, browser: Browser) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.goto(whole_studio.address)
    page.get_by_role("link", name="Log hours").click()
    page.get_by_role("button", name="Ilse", exact=True).click()
    page.get_by_role("link", name="My day").click()
    add_line(page, "24-001", "filling", "1:75")
    shows(page, "1 entry was refused: to be mended.")
    page.get_by_role("link", name="Studio's pages").click()
    page.get_by_role("link", name="1 entry from the form to log hours refused: see why.").click()
    expect(page.get_by_role("heading", name="To mend in the form: 1 entry")).to_be_visible()
    expect(
        page.get_by_role("listitem").filter(
            has_text=re.compile(
                r'24-001, filling, Ilse, [\d-]+, 1:75 h\. Hours "1:75" cannot be read as hours\. Write it'
                r" like 1\.5"
            )
        )
    ).to_be_visible()
    picture(page, "refused-on-the-pages")
    page.get_by_role("link", name="Mend them in the form").click()
    page.get_by_role("button", name=re.compile("filling Refused")).click()
    page.get_by_role("button", name="Strike it out").click()
    done(page, "Struck out: filling")
    shows(page)
    page.goto(f"{whole_studio.address}/bring-in-logs")
    expect(page.get_by_text("What the files look like")).to_be_visible()
    expect(page.get_by_role("heading", name="To mend in the form")).to_have_count(0)
    page.close()


def test_on_a_full_disk_the_phone_keeps_what_it_has_says_why_and_sends_it_once_there_is_room(
    handset: BrowserContext, tmp_path: Path
) -> None:
    with small_disk(tmp_path / "disk", 40_000) as disk:
        if not disk.is_mount():
            pytest.skip("this machine lets nobody make a small disk")
        founded(disk).close()
        whole_studio = Studio(disk / "studio.duckdb")
        try:
            page = opened(handset, whole_studio)
            shows(page)
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
            shows(
                page,
                "The studio's file cannot be written (the disk is full). Nothing is lost: the phone keeps it"
                " and sends it again.",
            )
            shows(page, "saved here, not in the studio yet")
            picture(page, "full-disk")
            (disk / "other").unlink()
            page.reload()
            shows(page)
        finally:
            whole_studio.stop()
        rows = [
            (row["technique"], row["hours"])
            for row in whole_studio.entries(tmp_path / "out")
            if row["person"] == "Ilse" and row["date"] > "2026-06"
        ]
    assert sorted(rows) == [("facing", "3"), ("filling", "1"), ("filling", "2")]


def test_a_record_that_may_only_be_read_is_not_served_and_the_phone_keeps_what_it_has_until_it_is(
    whole_studio: Studio, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, whole_studio)
    shows(page)
    whole_studio.stop()
    with only_to_read(tmp_path / "only to read", [whole_studio.db]) as folder:
        tried = ready.command(
            "serve", "--db", str(folder / whole_studio.db.name), "--port", str(whole_studio.port)
        )
        assert tried.returncode == 2 and "cannot be opened (the disk may only be read)" in tried.stderr
        page.get_by_role("link", name="My day").click()
        add_line(page, "24-001", "sampling", "1.5")
        shows(page, "1 thing is saved here, not in the studio yet. The studio cannot be reached just now")
    whole_studio.start()
    shows(page)
    assert [
        row["hours"] for row in whole_studio.entries(tmp_path / "out") if row["technique"] == "sampling"
    ] == ["1.5"]
