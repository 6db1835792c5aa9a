"""The form for a phone: two phones and two tabs, a shared tablet, a phone that keeps nothing or whose clock
is wrong.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.browser.conftest import until
from tests.browser.phone.conftest import (
    PHONE,
    Form,
    add_line,
    begin_line,
    done,
    finish_line,
    founded,
    line,
    opened,
    picture,
    shows,
)


def at_work(handset: BrowserContext, studio: Form) -> Page:
    """A phone on which a line is begun, as the studio knows."""
    page = opened(handset, studio)
    begin_line(page)
    shows(page)
    return page


def test_what_another_phone_said_later_stands_and_this_one_is_told(
    studio: Form, handset: BrowserContext, browser: Browser
) -> None:
    page = at_work(handset, studio)
    second = browser.new_context(timezone_id="Europe/Berlin")
    beside = opened(second, studio)
    expect(beside.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    handset.set_offline(True)
    finish_line(page)
    page.wait_for_timeout(1500)
    finish_line(beside)
    shows(beside)
    second.close()
    handset.set_offline(False)
    shows(page)
    page.get_by_role("link", name="My day").click()
    expect(
        line(page, "it was said otherwise elsewhere, later. Correct it here if that is wrong.")
    ).to_be_visible()


def test_a_late_answer_about_nobody_does_not_hide_what_is_ones_own(
    studio: Form, handset: BrowserContext, browser: Browser
) -> None:
    at_work(handset, studio)
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


def test_two_tabs_and_two_phones_of_one_person_end_in_one_record(
    studio: Form, handset: BrowserContext, browser: Browser, tmp_path: Path
) -> None:
    page = opened(handset, studio)
    twin = opened(handset, studio, who=None)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(
        twin.get_by_role("button", name="Finish retouching on 24-001")
    ).to_be_visible()  # the other tab knows at once
    shows(page)
    second = browser.new_context(**PHONE)
    other = opened(second, studio)
    expect(other.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    page.wait_for_timeout(1100)
    finish_line(other)
    shows(other)
    finish_line(twin)  # it has not heard of that yet: the later tap stands
    shows(twin)
    shows(page)
    second.close()
    assert [row["technique"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == [
        "retouching"
    ]


def test_a_shared_tablet_asks_who_at_each_beginning_in_one_tap_and_shows_no_titles(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio, who=None)
    page.get_by_label("Several people use this device", exact=False).check()
    page.get_by_role("button", name="Ilse", exact=True).click()
    expect(page.get_by_text("Ferry in snow")).to_have_count(0)
    for who, technique, code in (("Maud", "retouching", "24-001"), ("Ilse", "facing", "24-002")):
        page.get_by_role("button", name=f"Begin {technique} on {code}").click()
        page.get_by_role("button", name=who, exact=True).click()
        done(page, f"Begun: {technique} on {code}")
    shows(page)
    page.wait_for_timeout(1100)
    finish_line(page)
    finish_line(page, "facing", "24-002")
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    shows(page)
    assert sorted(
        (row["technique"], row["person"]) for row in studio.entries(tmp_path / "out") if row["started_at"]
    ) == [("facing", "Ilse"), ("retouching", "Maud")]


def test_a_browser_that_keeps_nothing_says_so_and_still_sends(
    studio: Form, browser: Browser, tmp_path: Path
) -> None:
    context = browser.new_context(**PHONE)
    context.add_init_script("Object.defineProperty(window, 'indexedDB', { value: undefined })")
    page = opened(context, studio)
    shows(page, "This browser keeps nothing")
    page.get_by_role("link", name="My day").click()
    add_line(page, "24-001", "filling", "1.5")
    shows(page)
    context.close()
    assert [row["hours"] for row in studio.entries(tmp_path / "out") if row["technique"] == "filling"] == [
        "1.5"
    ]


def test_a_phone_clock_that_is_wrong_is_said_and_put_right(
    studio: Form, browser: Browser, tmp_path: Path
) -> None:
    context = browser.new_context(**PHONE)
    context.add_init_script("const right = Date.now; Date.now = () => right() - 26 * 36e5")
    page = opened(context, studio)
    begin_line(page)
    shows(page, "This phone's clock is 26 h slow; times are put right.")
    expect(page.get_by_text("began less than a minute ago")).to_be_visible()
    page.wait_for_timeout(1100)
    finish_line(page)
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    shows(page)
    context.close()
    row = next(row for row in studio.entries(tmp_path / "out") if row["started_at"])
    here = datetime.now(ZoneInfo("Europe/Berlin")).replace(tzinfo=None)
    assert here - timedelta(minutes=2) < datetime.fromisoformat(row["started_at"]) < here


def test_an_empty_studio_says_what_to_do_and_lets_studio_time_be_logged(
    tmp_path: Path, handset: BrowserContext
) -> None:
    with founded(tmp_path, lambda *_: None) as store, Form(store) as studio:
        page = opened(handset, studio, who=None)
        page.get_by_label("Your name, as it should stand in the record").fill("Ilse")
        page.get_by_role("button", name="This is me").click()
        expect(
            page.get_by_text("No work is on the bench yet: add it under Works, on the studio's pages.")
        ).to_be_visible()
        picture(page, "empty")
        page.get_by_role("button", name="Studio time").click()
        page.get_by_role("button", name="enquiries").click()
        done(page, "Begun: enquiries on studio time")
        shows(page)
