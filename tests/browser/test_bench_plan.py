"""The bench plan, the year and hours worth a pause in a browser: what a person comes for, and who sees whose
hours.
"""

import re
import shutil
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import icalendar
import pandas as pd
import pytest
from playwright.sync_api import Page, TimeoutError, expect

from tests.browser.conftest import act, choose, keep, serve, settled
from tests.browser.steps import go, press, turned


@pytest.fixture(scope="module")
def studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An invented studio to plan in."""
    yield from serve(shutil.copyfile(invented, tmp_path_factory.mktemp("plan") / "demo.duckdb"))


def typed(page: Page, label: str, text: str) -> None:
    """Fill a field and leave it."""
    field = page.get_by_label(label, exact=True)
    field.fill(text)
    act(page, lambda: field.press("Tab"), must=False)


def chosen(page: Page, label: str, day: date) -> None:
    """Type a day into a field for days, piece by piece."""
    field = page.get_by_role("group", name=label, exact=True)
    for piece, text in (("year", f"{day.year}"), ("month", f"{day.month}"), ("day", f"{day.day}")):
        spin = field.get_by_role("spinbutton", name=re.compile(f"^{piece}, "))
        spin.click()
        page.keyboard.type(text)
    act(page, lambda: page.keyboard.press("Tab"), must=False)


def row_days(page: Page) -> dict[str, str]:
    """Each work with the day on which it is ready at even chance."""
    rows = page.get_by_role("region", name="When works are ready", exact=True).get_by_role("row").all()[1:]
    cells = [row.get_by_role("cell").all_inner_texts() for row in rows]
    return {row[0]: row[1] for row in cells}


def test_a_work_put_first_and_a_holiday_move_the_plan_and_a_new_work_is_told(
    studio: str, phone: Page
) -> None:
    go(phone, f"{studio}/bench-plan", "Bench plan")
    settled(phone)
    before = row_days(phone)
    assert next(iter(before)) == "26-063" and len(before) == 5
    keep(phone, "plan-demo")
    first = phone.get_by_role("combobox", name=re.compile("Take up before all others"))
    option = phone.get_by_role("option", name="26-066", exact=True)
    for _ in range(3):  # a field that is drawn anew just then closes its list
        first.click()
        try:
            option.click(timeout=8_000)
            break
        except TimeoutError:
            settled(phone)
    phone.keyboard.press("Escape")
    press(phone, "Plan it so")
    expect(phone.get_by_text("The plan follows that order.")).to_be_visible()
    settled(phone)
    after = row_days(phone)
    assert next(iter(after)) == "26-066" and pd.Timestamp(after["26-066"]) < pd.Timestamp(before["26-066"])
    tomorrow = date.today() + timedelta(days=1)
    press(phone, "Add")
    expect(phone.get_by_text("Not added: choose the first day", exact=False)).to_be_visible()
    chosen(phone, "First day", tomorrow)
    chosen(phone, "Last day (empty: the same)", tomorrow - timedelta(days=1))
    press(phone, "Add")
    expect(
        phone.get_by_text(f"Not added: {tomorrow - timedelta(days=1)} is before {tomorrow}.", exact=False)
    ).to_be_visible()
    chosen(phone, "Last day (empty: the same)", tomorrow + timedelta(days=60))
    press(phone, "Add")
    expect(phone.get_by_text("The plan keeps clear of it.", exact=False)).to_be_visible()
    settled(phone)
    away = row_days(phone)
    assert pd.Timestamp(away["26-066"]) > pd.Timestamp(tomorrow + timedelta(days=60))
    expect(phone.get_by_role("region", name="Holidays and absences to come")).to_contain_text(
        "the whole studio"
    )
    with phone.expect_download() as given:
        phone.get_by_role("button", name="The plan for a calendar (iCalendar)").click()
    read = icalendar.Calendar.from_ical(Path(given.value.path()).read_bytes())
    words = [str(event["summary"]) for event in read.walk("VEVENT")]
    assert "studio closed" in words and any(word.startswith("26-066 ready") for word in words)
    keep(phone, "plan-away")


def test_a_new_work_stands_behind_all_or_before_all(demo_address: str, phone: Page) -> None:
    go(phone, f"{demo_address}/bench-plan", "Bench plan")
    settled(phone)
    told = phone.get_by_text(
        re.compile("^(Behind all that is promised|Taken up before all others), it would be ready by")
    )
    turned(phone)
    behind = told.inner_text()
    assert behind.startswith("Behind all that is promised")
    act(phone, lambda: phone.get_by_text("Taken up before all others", exact=True).click())
    expect(told).to_contain_text("Taken up before all others")
    assert told.inner_text().split("by ")[1] != behind.split("by ")[1]
    turned(phone)
    expect(told).to_be_visible()


def test_the_year_tells_what_an_hour_earned_and_each_earlier_one_too(demo_address: str, laptop: Page) -> None:
    go(laptop, f"{demo_address}/the-year", "The year")
    settled(laptop)
    expect(laptop.get_by_text("an hour that is charged would have to earn", exact=False)).to_be_visible()
    works = laptop.get_by_role("region", name="What an hour earned, work by work")
    now = works.get_by_role("row").count()
    keep(laptop, "year-demo")
    turned(laptop)
    last_year = f"{date.today().year - 1}"
    choose(laptop, "Year", last_year)
    expect(
        laptop.get_by_text(f"From 1 January {last_year} to 31 December {last_year}", exact=True)
    ).to_be_visible()
    assert works.get_by_role("row").count() != now
    with laptop.expect_download() as given:
        laptop.get_by_role("button", name="The works as CSV").click()
    assert given.value.suggested_filename == f"year-{last_year}.csv"
    assert pd.read_csv(given.value.path())["object"].notna().all()


def test_limits_are_the_studio_s_own_and_the_page_goes_where_it_is_not_wanted(
    studio: str, laptop: Page
) -> None:
    go(laptop, f"{studio}/hours-worth-a-pause", "Hours worth a pause")
    expect(laptop.get_by_text("Choose whose hours to look at", exact=False)).to_be_visible()
    choose(laptop, "Whose", "Tamsin")
    expect(laptop.get_by_text("beyond 60 minutes without a break of 10 minutes", exact=False)).to_be_visible()
    expect(
        laptop.get_by_text("Logged hours are working time, not measured exposure", exact=False)
    ).to_be_visible()
    keep(laptop, "pauses-demo")
    go(laptop, f"{studio}/studio?part=bench", "Studio")
    typed(laptop, "Blade work is late from this time of day on", "25:00")
    press(laptop, "Save")
    expect(laptop.get_by_text('"25:00" is no time of day', exact=False)).to_be_visible()
    expect(laptop.get_by_label("Blade work is late from this time of day on", exact=True)).to_have_value(
        "25:00"
    )
    typed(laptop, "Blade work is late from this time of day on", "16:00")
    typed(laptop, "Repetitive handwork without a break, minutes, beyond which it is shown", "90")
    press(laptop, "Save")
    expect(laptop.get_by_text("Saved; what was said before is kept in the history.")).to_be_visible()
    laptop.get_by_text("Show them, to each person their own").click()
    press(laptop, "Save")
    expect(laptop.locator(".st-key-pages").get_by_role("link", name="Hours worth a pause")).to_have_count(0)
    laptop.get_by_text("Show them, to each person their own").click()
    expect(laptop.get_by_role("checkbox", name="Show them, to each person their own")).to_be_checked()
    press(laptop, "Save")
    expect(laptop.locator(".st-key-pages").get_by_role("link", name="Hours worth a pause")).to_have_count(1)
