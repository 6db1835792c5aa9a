"""What a conservator and her assistant come for, walked on the invented studio as they would walk it, in a
browser: what only a browser shows. What is asked of words and figures alone is in `tests/dashboard/pages/`.
"""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Download, Page, expect

from tests.browser.conftest import act, choose, keep, serve, settled
from tests.browser.steps import choose_cell, done, go, press, press_until, row_of, unfold, write_cell


@pytest.fixture(scope="module")
def studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An invented studio to change; each task has works of its own."""
    db = tmp_path_factory.mktemp("tasks") / "studio.duckdb"
    shutil.copy(invented, db)
    yield from serve(db)


def test_the_worst_phase_of_last_year_is_found_and_the_view_can_be_sent(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    unasked = laptop.get_by_text("Most over:").inner_text()
    choose(laptop, "Period", "2025")
    expect(laptop.get_by_text("Most over:")).to_contain_text("retouching")
    over = laptop.get_by_text("Most over:").inner_text()
    assert over != unasked and "period=2025" in laptop.url
    go(laptop, laptop.url, "Where the hours went")
    assert laptop.get_by_text("Most over:").inner_text() == over


def test_a_bar_leads_into_its_phase_and_from_there_to_the_work_that_ran_over_and_why(
    laptop: Page, studio: str
) -> None:
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    bar = (
        laptop.get_by_test_id("stVegaLiteChart")
        .first.locator("path[aria-label*='actual_hours'][aria-label*='retouching']")
        .first
    )
    act(laptop, bar.click)
    expect(laptop.get_by_role("heading", name="retouching: lines, the most over first")).to_be_visible()
    assert "phase=retouching" in laptop.url
    first = laptop.get_by_role("region", name="Lines of retouching").get_by_role("link").first
    code = first.inner_text()
    said = row_of(laptop, "Lines of retouching", code)
    first.click()
    expect(laptop.get_by_role("heading", name="Its lines")).to_be_visible()
    assert f"object={code}" in laptop.url
    # behind work, title, technique and part
    there = row_of(laptop, "Lines of this work", said[2], said[4], said[5])
    # estimated, actual, difference and its four parts are the same figures on both pages
    assert there[1:8] == said[4:11]
    expect(laptop.get_by_text(re.compile("Most over: .*, mostly"))).to_be_visible()


def test_a_file_with_three_faults_comes_in_and_they_are_mended_on_the_page(
    laptop: Page, studio: str, tmp_path: Path
) -> None:
    path = tmp_path / "week.csv"
    path.write_text(
        "object,phase,technique,person,date,hours\n26-061,,packing,Ilse,2026-06-01,1\n26-061,,paking,Ilse,2026-06-02,1\n26-061,,packing,Ilse,2026-06-03,an"
        " hour\n26-06l,,packing,Ilse,2026-06-04,1\n"
    )
    go(laptop, f"{studio}/bring-in-logs", "Bring in logs")
    laptop.locator("input[type=file]").set_input_files(path)
    settled(laptop)
    press(laptop, "Only check")
    expect(laptop.get_by_text("would be stored")).to_be_visible()
    press(laptop, "Bring in")
    expect(laptop.get_by_role("heading", name="What was rejected, and the mend")).to_be_visible()
    assert row_of(laptop, "Faults", "paking") == [
        "3",
        "technique",
        "paking",
        "is not a known technique",
        'Did you mean "packing"?',
    ]
    assert row_of(laptop, "Faults", "an hour")[0] == "4" and row_of(laptop, "Faults", "26-06l")[4].startswith(
        'Did you mean "26-06'
    )
    with laptop.expect_download() as given:
        laptop.get_by_role("button", name="Download them, with reasons").click()
    assert text_of(given.value).startswith(
        "rejected_line,rejected_column,rejected_reason,rejected_mend,object,"
    )
    keep(laptop, "task-faults")
    mend_cell(laptop, 0, 4, "packing")
    laptop.get_by_role(
        "link", name="Studio", exact=True
    ).click()  # neither another page nor a reload in between loses what is mended
    expect(laptop.get_by_role("textbox", name="Name of the studio")).to_be_visible()
    go(laptop, f"{studio}/bring-in-logs", "Bring in logs")
    expect(laptop.get_by_role("heading", name="To mend: 3 rows of week.csv")).to_be_visible()
    mend_cell(laptop, 1, 7, "1")
    unfold(laptop, "Mend one row by fields")
    choose(laptop, "Row", "line 5: object")
    laptop.get_by_role("textbox", name="object").fill("26-061")
    press_until(
        laptop, "Keep this row so", "Line 5 is kept as it stands now; it comes in with the mended rows."
    )
    press_until(laptop, "Bring in the mended rows", "week.rejects.csv: time entries")
    expect(laptop.get_by_role("heading", name=re.compile("What was rejected|To mend"))).to_have_count(0)
    go(laptop, f"{studio}/one-work?object=26-061", "One work")
    expect(laptop).to_have_title("One work – bench-hours")
    for day in ("1 Jun 2026", "2 Jun 2026", "3 Jun 2026", "4 Jun 2026"):
        assert row_of(laptop, "Time entries, the latest first", day, "packing")[2] == "1.0"


def mend_cell(page: Page, row: int, tabs: int, text: str) -> None:
    """Overwrite one cell of the rejected rows, so many cells right of the first."""
    choose_cell(page, row, 30)
    for _ in range(tabs):
        page.keyboard.press("ArrowRight")
    write_cell(page, f"glide-cell-{tabs}-{row}", text, "Enter")


def text_of(download: Download) -> str:
    return Path(download.path()).read_text(encoding="utf-8")


def test_a_title_is_shown_as_it_is_written_and_fetches_nothing(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?add=work", "Works")
    laptop.get_by_role("textbox", name="Code").fill("27-004")
    laptop.get_by_role("textbox", name="Title").fill(
        "![x](http://127.0.0.1:9/x.png) *star* <b>bold</b> $a$ :red[b]"
    )
    press(laptop, "Save")
    done(laptop, "The work is added.")
    expect(laptop.get_by_role("heading", name="27-004")).to_contain_text(
        "![x](http://127.0.0.1:9/x.png) *star* <b>bold</b> $a$ :red[b]"
    )
    assert laptop.locator("img").count() == 0
