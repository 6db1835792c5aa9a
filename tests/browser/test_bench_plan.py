"""The bench plan, the year and hours worth a pause in a browser: what a person comes for, and who sees whose
hours.
"""

import re
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from playwright.sync_api import Page, expect

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


def test_a_new_work_stands_behind_all_or_before_all(demo_address: str, phone: Page) -> None:
    go(phone, f"{demo_address}/bench-plan", "Bench plan")
    settled(phone)
    keep(phone, "plan-demo")
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
