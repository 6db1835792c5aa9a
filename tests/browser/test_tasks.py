"""What a conservator and her assistant come for, walked on the invented studio as they would walk it."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Download, Page, expect

from tests.browser.conftest import act, choose, keep, serve, settled
from tests.browser.steps import choose_cell, done, go, press, press_until, row_of, unfold, write_cell


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An invented studio to change; each task has works of its own."""
    yield from serve(tmp_path_factory.mktemp("tasks") / "demo.duckdb", "demo")


def test_the_worst_phase_of_last_year_is_found_and_the_view_can_be_sent(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    choose(laptop, "Period", "2025")
    expect(laptop.get_by_text("Most over:")).to_contain_text("retouching")
    over = laptop.get_by_text("Most over:").inner_text()
    assert "period=2025" in laptop.url
    sent = laptop.url
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    assert laptop.get_by_text("Most over:").inner_text() != over
    go(laptop, sent, "Where the hours went")
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
    there = row_of(laptop, "Lines of this work", said[1], said[3], said[4])
    # estimated, actual, difference and its four parts are the same figures on both pages
    assert there[1:8] == said[3:10]
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


def test_rows_held_back_are_decided_row_by_row_and_all_at_once(
    laptop: Page, studio: str, tmp_path: Path
) -> None:
    head = "object,phase,technique,person,date,hours\n"
    path = tmp_path / "day.csv"
    go(laptop, f"{studio}/bring-in-logs", "Bring in logs")
    for hours, left in ((1, 0), (2, 3)):
        expect(laptop.locator("input[type=file]")).to_have_count(1)
        path.write_text(
            head
            + "".join(
                f"26-063,,{technique},Bram,2026-05-04,{hours}\n"
                for technique in ("packing", "travel", "unframing")
            )
        )
        laptop.locator("input[type=file]").set_input_files(path)
        settled(laptop)
        press(laptop, "Bring in")
        expect(laptop.get_by_text("3 rows in the file.")).to_be_visible()
        expect(laptop.get_by_role("radiogroup")).to_have_count(left)
    first = laptop.get_by_role("radiogroup", name=re.compile("packing"))
    expect(first).to_be_visible()
    keep(laptop, "task-held-back")
    first.get_by_text("new hours").click()
    laptop.get_by_role("radiogroup", name=re.compile("travel")).get_by_text("a correction").click()
    press(laptop, "Decide as chosen")
    done(laptop, "Decided: 2 rows.")
    press(laptop, "Leave all out")
    done(laptop, "Decided: 1 row.")
    go(laptop, f"{studio}/one-work?object=26-063", "One work")
    laptop.get_by_text("Show all").click()
    settled(laptop)
    entries = (
        laptop.get_by_role("region", name="Time entries, the latest first")
        .get_by_role("row")
        .filter(has_text="4 May 2026")
    )
    told = sorted(
        (row.get_by_role("cell").nth(1).inner_text(), row.get_by_role("cell").nth(2).inner_text())
        for row in entries.all()
    )
    assert told == [("packing", "1.0"), ("packing", "2.0"), ("travel", "2.0"), ("unframing", "1.0")]


def test_an_entry_is_corrected_taken_back_and_put_back_and_the_figures_follow(
    laptop: Page, studio: str
) -> None:
    go(laptop, f"{studio}/one-work?object=26-065", "One work")
    before = float(laptop.locator(".figures dd").nth(1).inner_text().split()[0])
    unfold(laptop, "Correct an entry, or take one back")
    choose(laptop, "Entry", "treatment proposal")
    expect(laptop.get_by_role("textbox", name="To", exact=True)).to_have_value(re.compile(r"20\d\d-"))
    start = laptop.get_by_role("textbox", name="From").input_value()
    end = laptop.get_by_role("textbox", name="To", exact=True).input_value()
    later = f"{end[:11]}{int(end[11:13]) + 1:02d}{end[13:]}"
    laptop.get_by_role("textbox", name="To", exact=True).fill(start)
    press(laptop, "Save the correction")
    expect(laptop.get_by_text("is not after the start")).to_contain_text("What you typed is still here.")
    laptop.get_by_role("textbox", name="To", exact=True).fill(later)
    laptop.get_by_role(
        "textbox", name="Why it is corrected or taken back (kept with the earlier version)"
    ).fill("forgot the afternoon")
    press(laptop, "Save the correction")
    done(laptop, "The entry is corrected")
    assert float(laptop.locator(".figures dd").nth(1).inner_text().split()[0]) == pytest.approx(
        before + 1.0, abs=0.11
    )
    unfold(laptop, re.compile("What was said before: "))
    assert row_of(laptop, "What entries said before", "forgot the afternoon")[1] == "corrected"
    choose(laptop, "Entry", "treatment proposal")
    press(laptop, "Take this entry back")
    done(laptop, "The entry is taken back.")
    unfold(laptop, re.compile("What was said before: "))
    laptop.get_by_role("button", name=re.compile("Put back: ")).press("Enter")
    done(laptop, "The entry is in the record again.")
    assert float(laptop.locator(".figures dd").nth(1).inner_text().split()[0]) == pytest.approx(
        before + 1.0, abs=0.11
    )


def test_a_technique_is_retired_after_its_effect_is_said_and_is_offered_no_more(
    laptop: Page, studio: str
) -> None:
    go(laptop, f"{studio}/studio?part=techniques", "Studio")
    choose(laptop, "Change a technique", "texturing")
    expect(
        laptop.get_by_text(re.compile(r"\d+ entries on \d+ works and \d+ lines of estimates name it\."))
    ).to_be_visible()
    expect(laptop.get_by_text("Retired, texturing is offered no more for new work.")).to_be_visible()
    keep(laptop, "task-technique")
    press(laptop, "Retire it, as of today")
    done(laptop, "texturing is retired. Nothing that names it has changed.")
    press(laptop, "Take it back into use")
    done(laptop, "texturing is in use again.")


def test_a_technique_is_renamed_and_one_is_added_with_its_cautions(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/studio?part=techniques", "Studio")
    choose(laptop, "Change a technique", "toning gilding")
    laptop.get_by_role("textbox", name="New name").fill("toning of gilding")
    press(laptop, "Rename")
    done(laptop, "toning gilding is now toning of gilding.")
    unfold(laptop, "Add a technique")
    laptop.get_by_role("textbox", name="Name", exact=True).fill("loss map tracing")
    press(laptop, "Add")
    done(laptop, "loss map tracing is among the techniques.")


def test_a_milestone_is_set_and_taken_back(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?object=26-066", "Works")
    choose(laptop, "What is finished", "all of stabilisation")
    press(laptop, "Set the milestone")
    done(laptop, "Set: all of stabilisation finished on")
    go(laptop, f"{studio}/one-work?object=26-066", "One work")
    assert row_of(laptop, "Lines of this work", "consolidation")[-1] == "finished"
    go(laptop, f"{studio}/works?object=26-066", "Works")
    held = (
        laptop.locator("[data-testid=stHorizontalBlock], [data-testid=stVerticalBlock]")
        .filter(has_text="all of stabilisation finished")
        .last
    )
    held.get_by_role("button", name="Take back").click()
    done(laptop, "Taken back: all of stabilisation.")


def test_a_person_is_added_renamed_and_joined(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/studio?part=people", "Studio")
    laptop.get_by_role("textbox", name="Add a person: name").fill("Tamsinn")
    press(laptop, "Add")
    done(laptop, "Tamsinn is added.")
    choose(laptop, "Change a person", "Tamsinn")
    choose(laptop, "It is really", "Tamsin")
    expect(laptop.get_by_text("0 entries of Tamsinn become Tamsin's")).to_be_visible()
    press(laptop, "Join Tamsinn with Tamsin")
    done(laptop, "Tamsinn is now only a spelling of Tamsin.")
    assert row_of(laptop, "People", "Tamsin")[3] == "Tamsinn"


def test_a_setting_that_cannot_be_is_refused_and_nothing_typed_is_lost(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/studio", "Studio")
    laptop.get_by_role("textbox", name="Rate per hour, EUR").fill("seventy")
    laptop.get_by_role("textbox", name="Name of the studio").fill("Tidewell Lane")
    press(laptop, "Save")
    expect(laptop.get_by_text("Not done:")).to_be_visible()
    expect(laptop.get_by_role("textbox", name="Rate per hour, EUR")).to_have_value("seventy")
    laptop.get_by_role("textbox", name="Rate per hour, EUR").fill("70")
    press(laptop, "Save")
    done(laptop, "Saved; what was said before is kept in the history.")
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    expect(laptop.get_by_text("Tidewell Lane, as of")).to_be_visible()
    # 61,000 € by 1.15 h are fifty times the rate and more: asked about, and nothing typed is lost
    go(laptop, f"{studio}/studio?part=quotes", "Studio")
    laptop.get_by_role("textbox", name="Hours of a year that can be charged").fill("1.15")
    press(laptop, "Save")
    expect(
        laptop.get_by_text(
            "61,000.00 a year by 1.15 h that can be charged is €53,043.48 an hour, 758 times more than the"
            " studio’s rate of €70.00."
        )
    ).to_be_visible()
    expect(laptop.get_by_role("textbox", name="Hours of a year that can be charged")).to_have_value("1.15")
    keep(laptop, "task-absurd")
    expect(laptop.get_by_role("button", name="It is meant so: save it")).to_be_visible()
    laptop.get_by_role("textbox", name="Hours of a year that can be charged").fill("1150")
    laptop.get_by_role("textbox", name="Tax on top, per cent").fill("19")
    press(laptop, "Save")
    done(laptop, "Saved; what was said before is kept in the history.")
    go(laptop, f"{studio}/the-year", "The year")
    expect(
        laptop.get_by_text(
            re.compile(r"prices do not say whether tax is in them, so no money is reckoned with them")
        )
    ).to_be_visible()
    keep(laptop, "task-year-asks")
    laptop.get_by_role("link", name="Say it, for all of them").click()
    choose(laptop, "Is tax in prices of estimates that do not say it", "tax is in them")
    press(laptop, "Save")
    done(laptop, "Saved; what was said before is kept in the history.")
    go(laptop, f"{studio}/the-year", "The year")
    expect(laptop.get_by_text(re.compile(r"An hour earned €[\d.]+ without tax, over"))).to_be_visible()
    keep(laptop, "task-year-net")
    go(laptop, f"{studio}/studio?part=quotes", "Studio")  # as the other tasks expect it
    laptop.get_by_role("textbox", name="Tax on top, per cent").fill("")
    laptop.get_by_role("textbox", name="Hours of a year that can be charged").fill("1290")
    laptop.get_by_role("textbox", name="Tax of those prices").fill("")
    press(laptop, "Save")
    expect(
        laptop.get_by_text("Not saved: say also how many per cent of tax is in those prices.")
    ).to_be_visible()
    laptop.get_by_role("textbox", name="Tax of those prices").fill("19")
    press(laptop, "Save")
    done(laptop, "Saved; what was said before is kept in the history.")


def test_the_statement_names_no_person_no_owner_and_no_title(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/one-work?object=25-041", "One work")
    with laptop.expect_download() as given:
        laptop.get_by_role("button", name="Statement to print").click()
    page = text_of(given.value)
    assert "Hours of treatment: 25-041" in page and '<td class="n">25.0</td>' in page
    for private in ("Ilse", "Bram", "Tamsin", "Okell", "blue shawl"):
        assert private not in page


def test_works_are_found_by_any_word(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works", "Works")
    laptop.get_by_role("textbox", name=re.compile("Search code")).fill("lamplight frame")
    laptop.keyboard.press("Enter")
    settled(laptop)
    expect(laptop.get_by_role("region", name="Works", exact=True).get_by_role("row")).to_have_count(2)
    laptop.get_by_role("textbox", name=re.compile("Search code")).fill("no such thing")
    laptop.keyboard.press("Enter")
    expect(laptop.get_by_text("No work fits.")).to_be_visible()


def test_a_form_that_is_older_than_the_record_is_refused_and_loses_nothing_typed(
    browser: Browser, laptop: Page, studio: str
) -> None:
    go(laptop, f"{studio}/works?object=26-062", "Works")
    other = browser.new_page(viewport={"width": 1280, "height": 800})
    go(other, f"{studio}/works?object=26-062", "Works")
    other.get_by_role("textbox", name="Maker").fill("A. Vane")
    press(other, "Save")
    done(other, "Saved; what was said before is kept in the history.")
    other.close()
    laptop.get_by_role("textbox", name="Title").fill("Chalk pit, evening")
    press(laptop, "Save")
    expect(laptop.get_by_text("Not saved: 26-062 was changed elsewhere since you opened it.")).to_be_visible()
    expect(laptop.get_by_role("textbox", name="Title")).to_have_value("Chalk pit, evening")
    laptop.reload()
    expect(laptop.get_by_role("textbox", name="Maker")).to_have_value("A. Vane")


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
