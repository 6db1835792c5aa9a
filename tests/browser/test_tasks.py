"""What a conservator and her assistant come for, walked on the invented studio as they would walk it: in a
browser, or, where only words are asked for and fields and buttons do what they do everywhere, on pages that
are drawn in this process.
"""

import re
import shutil
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from playwright.sync_api import Download, Page, expect
from streamlit.testing.v1 import AppTest

from ingest.store import Store
from tests.browser.conftest import act, choose, keep, serve, settled
from tests.browser.steps import choose_cell, done, go, press, press_until, row_of, unfold, write_cell
from tests.drawn import cells_of, checked, choose_option, field_of, fill_field, press_button, spent, words_of
from tests.drawn import draw as draw_page


@pytest.fixture(scope="module")
def studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An invented studio to change; each task has works of its own."""
    db = tmp_path_factory.mktemp("tasks") / "studio.duckdb"
    shutil.copy(invented, db)
    yield from serve(db)


SAVED = "Saved; what was said before is kept in the history."
Draw = Callable[..., AppTest]


@pytest.fixture
def draw(invented: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Draw]:
    """`draw("works", object="26-066")`: a page of an invented studio."""
    shutil.copy(invented, tmp_path / "studio.duckdb")
    with Store(tmp_path / "studio.duckdb") as store:
        yield partial(draw_page, monkeypatch, store)


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


def test_an_entry_is_corrected_taken_back_and_put_back_and_the_figures_follow(draw: Draw) -> None:
    page = draw("one_work", object="26-065")
    before = spent(page)
    page.session_state["correcting"] = True  # unfolded, as the test of the statement does it by hand
    checked(page.run())
    choose_option(page, "Entry", "treatment proposal")
    start, end = field_of(page, "From").value, field_of(page, "To").value
    assert re.match(r"20\d\d-", end)
    fill_field(page, "To", start)
    press_button(page, "Save the correction")
    assert re.search(r"is not after the start.*What you typed is still here\.", words_of(page))
    assert field_of(page, "To").value == start
    fill_field(page, "To", f"{end[:11]}{int(end[11:13]) + 1:02d}{end[13:]}")
    fill_field(page, "Why it is corrected or taken back", "forgot the afternoon")
    press_button(page, "Save the correction")
    assert "The entry is corrected" in words_of(page)
    assert spent(page) == pytest.approx(before + 1.0, abs=0.11)
    assert cells_of(page, "What entries said before", "forgot the afternoon")[1] == "corrected"
    choose_option(page, "Entry", "treatment proposal")
    press_button(page, "Take this entry back")
    assert "The entry is taken back." in words_of(page)
    assert spent(page) < before
    press_button(page, "Put back")
    assert "The entry is in the record again." in words_of(page)
    assert spent(page) == pytest.approx(before + 1.0, abs=0.11)


def test_a_technique_is_retired_after_its_effect_is_said_and_is_offered_no_more(draw: Draw) -> None:
    page = draw("studio", part="techniques")
    choose_option(page, "Change a technique", "texturing")
    said = words_of(page)
    assert re.search(r"\d+ entries on \d+ works and \d+ lines of estimates name it\.", said)
    assert "Retired, texturing is offered no more for new work." in said
    press_button(page, "Retire it, as of today")
    assert "texturing is retired. Nothing that names it has changed." in words_of(page)
    press_button(page, "Take it back into use")
    assert "texturing is in use again." in words_of(page)


def test_a_technique_is_renamed_and_one_is_added_with_its_cautions(draw: Draw) -> None:
    page = draw("studio", part="techniques")
    choose_option(page, "Change a technique", "toning gilding")
    fill_field(page, "New name", "toning of gilding")
    press_button(page, "Rename")
    assert "toning gilding is now toning of gilding." in words_of(page)
    page = draw("studio", part="techniques")
    fill_field(page, "Name", "loss map tracing")
    press_button(page, "Add")
    assert "loss map tracing is among the techniques." in words_of(page)


def test_a_milestone_is_set_and_taken_back(draw: Draw) -> None:
    page = draw("works", object="26-066")
    choose_option(page, "What is finished", "all of stabilisation", in_form=True)
    press_button(page, "Set the milestone")
    assert "Set: all of stabilisation finished on" in words_of(page)
    assert (
        cells_of(draw("one_work", object="26-066"), "Lines of this work", "consolidation")[-1] == "finished"
    )
    page = draw("works", object="26-066")
    held = [item.value for item in page.markdown if ": all of " in item.value.replace("\\", "")]
    at = next(at for at, text in enumerate(held) if "all of stabilisation finished" in text)
    [button for button in page.button if button.label == "Take back"][at].click()
    assert "Taken back: all of stabilisation." in words_of(checked(page.run()))


def test_a_person_is_added_renamed_and_joined(draw: Draw) -> None:
    page = draw("studio", part="people")
    fill_field(page, "Add a person: name", "Tamsinn")
    press_button(page, "Add")
    assert "Tamsinn is added." in words_of(page)
    choose_option(page, "Change a person", "Tamsinn")
    choose_option(page, "It is really", "Tamsin")
    assert "0 entries of Tamsinn become Tamsin's" in words_of(page)
    press_button(page, "Join Tamsinn with Tamsin")
    assert "Tamsinn is now only a spelling of Tamsin." in words_of(page)
    assert cells_of(page, "People", "Tamsin")[3] == "Tamsinn"


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


def test_a_yearly_cost_that_is_absurd_is_asked_about_and_no_money_is_reckoned_before_tax_is_said(
    draw: Draw,
) -> None:
    # 61,000 € by 1.15 h are fifty times the rate and more: asked about, and nothing typed is lost
    page = draw("studio", part="quotes")
    fill_field(page, "Hours of a year that can be charged", "1.15")
    press_button(page, "Save")
    assert (
        "61,000.00 a year by 1.15 h that can be charged is €53,043.48 an hour, 780 times more than the"
        " studio’s rate of €68.00." in words_of(page)
    )
    assert field_of(page, "Hours of a year that can be charged").value == "1.15"
    assert "It is meant so: save it" in [button.label for button in page.button]
    fill_field(page, "Hours of a year that can be charged", "1150")
    fill_field(page, "Tax on top, per cent", "19")
    press_button(page, "Save")
    assert SAVED in words_of(page)
    year = draw("the_year")
    assert "prices do not say whether tax is in them, so no money is reckoned with them" in words_of(year)
    assert "Say it, for all of them" in [link.proto.label for link in year.get("page_link")]
    page = draw("studio", part="quotes")
    choose_option(page, "Is tax in prices", "tax is in them", in_form=True)
    press_button(page, "Save")
    assert SAVED in words_of(page)
    assert re.search(r"An hour earned €[\d.]+ without tax, over", words_of(draw("the_year")))
    page = draw("studio", part="quotes")
    fill_field(page, "Tax on top, per cent", "")
    fill_field(page, "Tax of those prices", "")
    press_button(page, "Save")
    assert "Not saved: say also how many per cent of tax is in those prices." in words_of(page)
    fill_field(page, "Tax of those prices", "19")
    press_button(page, "Save")
    assert SAVED in words_of(page)


def test_the_statement_names_no_person_no_owner_and_no_title(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/one-work?object=25-041", "One work")
    with laptop.expect_download() as given:
        laptop.get_by_role("button", name="Statement to print").click()
    page = text_of(given.value)
    assert "Hours of treatment: 25-041" in page and '<td class="n">25.0</td>' in page
    for private in ("Ilse", "Bram", "Tamsin", "Okell", "blue shawl"):
        assert private not in page
    unfold(laptop, "Correct an entry, or take one back")
    expect(laptop.get_by_role("combobox", name="Entry")).to_be_visible()


def test_works_are_found_by_any_word(draw: Draw) -> None:
    page = draw("works")
    for words, found in (("lamplight frame", 2), ("no such thing", 0)):
        fill_field(page, "Search code", words)
        checked(page.run())
        rows = [
            item.proto.body.count("<tr") for item in page.get("html") if 'label="Works"' in item.proto.body
        ]
        assert rows == ([found] if found else [])
    assert "No work fits." in words_of(page)


def test_a_form_that_is_older_than_the_record_is_refused_and_loses_nothing_typed(
    laptop: Page, studio: str
) -> None:
    go(laptop, f"{studio}/works?object=26-062", "Works")
    other = laptop.context.new_page()
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
