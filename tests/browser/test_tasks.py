"""What a conservator and her assistant come for, walked on the invented studio as they would walk it."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Download, Locator, Page, expect

from tests.browser.conftest import act, choose, keep, leave, serve, settled


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An invented studio to change; each task has works of its own."""
    yield from serve(tmp_path_factory.mktemp("tasks") / "demo.duckdb", "demo")


def unfold(page: Page, name: str | re.Pattern[str]) -> None:
    """Open what is folded away, and wait until it lies open."""
    folded = page.get_by_test_id("stExpander").filter(has=page.locator("summary").filter(has_text=name))
    folded.locator("summary").click()
    expect(folded.locator("details")).to_have_attribute("open", "")
    page.wait_for_timeout(400)
    settled(page)


def go(page: Page, address: str, title: str) -> None:
    page.goto(address)
    expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible()
    settled(page)


def press(page: Page, name: str) -> None:
    button = page.get_by_role("button", name=name, exact=True).first
    expect(button).to_be_enabled()
    button.focus()  # a field that was left is sent first: a page that is drawn anew just then takes the press with it
    settled(page)
    act(page, lambda: button.press("Enter"))


def press_until(page: Page, name: str, sentence: str) -> None:
    """Press what may be pressed twice without harm until it is said to be done: a sheet beside it that is drawn anew just then takes the press, or the word of it."""
    for attempt in range(3):
        press(page, name)
        try:
            expect(page.get_by_text(sentence).first).to_be_visible(timeout=8_000)
            return
        except AssertionError:
            assert attempt < 2, sentence


def done(page: Page, sentence: str) -> None:
    expect(page.get_by_text(sentence).first).to_be_visible()
    settled(page)


def row_of(page: Page, table: str, *cells: str) -> list[str]:
    """The cells of the first row of a table that has all these texts."""
    row = page.get_by_role("region", name=table, exact=True).get_by_role("row")
    for text in cells:
        row = row.filter(has_text=text)
    expect(row.first).to_be_visible()  # cells are read as they stand, without waiting
    return row.first.get_by_role("cell").all_inner_texts()


def choose_cell(page: Page, row: int, x: int) -> None:
    """Click into a row of the last sheet, so far from its left; once more where it was just being drawn anew and has no cell chosen."""
    for _ in range(3):
        sheet = page.get_by_test_id("stDataFrame").last
        sheet.scroll_into_view_if_needed()
        box = sheet.bounding_box()
        assert box
        page.mouse.click(box["x"] + x, box["y"] + 52 + 35 * row)
        if told(page.locator(f"[role=gridcell][id$='-{row}'][aria-selected=true]"), None):
            return


def told(cell: Locator, text: str | None) -> bool:
    """The sheet says in words, a moment later, that a cell is there, and what it holds."""
    try:
        expect(cell.first).to_be_attached(timeout=2_000)
        if text is not None:
            expect(cell.first).to_have_text(text, timeout=2_000)
    except AssertionError:
        return False
    return True


def write_cell(page: Page, cell: str, text: str, leave_by: str) -> None:
    """Overwrite the chosen cell and leave it: emptied, then opened, typed once its field is there, and looked at afterwards; once more where a slow machine lost it."""
    field = page.locator(".gdg-input, .gdg-growing-entry textarea, [class*=gdg-overlay] input, #portal input, #portal textarea").first
    back = {"Tab": "Shift+Tab", "Enter": "ArrowUp"}[leave_by]
    for attempt in range(3):
        page.keyboard.press("Delete")
        page.wait_for_timeout(100)
        page.keyboard.press("Enter")
        expect(field).to_be_attached()
        page.wait_for_timeout(100)
        page.keyboard.type(text, delay=45)
        page.wait_for_timeout(150)
        page.keyboard.press(leave_by)
        page.wait_for_timeout(250)
        settled(page)
        if told(page.locator(f"#{cell}"), text):
            return
        assert attempt < 2, f"{cell}: {text}"
        page.keyboard.press(back)


def write_cells(page: Page, row: int, cells: list[str]) -> None:
    """Fill a line of the sheet from its first cell on, by keyboard, at the pace of a person."""
    choose_cell(page, row, 120)
    for column, text in enumerate(cells, 1):
        if text:
            write_cell(page, f"glide-cell-{column}-{row}", text, "Tab")
        else:
            page.keyboard.press("Tab")
            page.wait_for_timeout(150)
    settled(page)


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


def test_a_bar_leads_into_its_phase_and_from_there_to_the_work_that_ran_over_and_why(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    bar = laptop.get_by_test_id("stVegaLiteChart").first.locator("path[aria-label*='actual_hours'][aria-label*='retouching']").first
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
    assert there[1:8] == said[3:10]  # estimated, actual, difference and its four parts are the same figures on both pages
    expect(laptop.get_by_text(re.compile("Most over: .*, mostly"))).to_be_visible()


def test_an_estimate_is_written_survives_a_reload_is_saved_approved_and_revised(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?add=work", "Works")
    laptop.get_by_role("textbox", name="Code").fill("27-001")
    laptop.get_by_role("textbox", name="Title", exact=True).fill("Mill race")
    laptop.get_by_role("textbox", name="Height, cm").fill('24"')
    laptop.get_by_role("textbox", name="Width, cm").fill("50")
    press(laptop, "Save")
    done(laptop, "The work is added.")
    expect(laptop.get_by_text("Area: 30.5 dm², by its shape and size.")).to_be_visible()
    go(laptop, f"{studio}/estimate?object=27-001", "Estimate")
    press(laptop, "Begin with an empty sheet")
    write_cells(laptop, 0, ["surface cleaning dry", "", "2,5", "30"])
    write_cells(laptop, 1, ["varnish removal with solvent gel", "", "two"])
    expect(laptop.get_by_text('Line 2, hours "two": cannot be read as hours.')).to_be_visible()
    expect(laptop.get_by_text("Usual caution with")).to_contain_text(
        "follow the safety data sheet of the product, the law where you work and licensed practice"
    )
    laptop.reload()
    expect(laptop.get_by_text('Line 2, hours "two": cannot be read as hours.')).to_be_visible()
    settled(laptop)
    laptop.get_by_role("link", name="Works", exact=True).click()  # and another page in between loses nothing either
    expect(laptop.get_by_text("those on the bench first")).to_be_visible()
    laptop.get_by_role("link", name="Estimate", exact=True).click()
    expect(laptop.get_by_role("heading", name="Estimate", exact=True)).to_be_visible()
    settled(laptop)
    choose(laptop, "Work", "27-001")
    expect(laptop.get_by_text('Line 2, hours "two": cannot be read as hours.')).to_be_visible()
    press(laptop, "Save as version 1")
    expect(laptop.get_by_text('Not saved: line 2, hours "two"')).to_contain_text("The draft is kept as it is.")
    write_cells(laptop, 1, ["", "", "1h30"])
    keep(laptop, "task-estimate")
    expect(laptop.get_by_text("at €68.00 an hour: €272.00.")).to_be_visible()
    press(laptop, "Save as version 1")
    done(laptop, "Saved as version 1.")
    press(laptop, "Note the approval")
    done(laptop, "Version 1 of 27-001 is approved on")
    press(laptop, "Begin with the latest version")
    laptop.get_by_role("textbox", name="Reason (what was found)").fill("an older varnish under the first")
    leave(laptop)
    write_cells(laptop, 1, ["", "", "4"])
    press(laptop, "Save as version 2")
    done(laptop, "Saved as version 2.")
    assert row_of(laptop, "Versions of the estimate", "an older varnish")[4:6] == ["2", "6.5"]
    press(laptop, "Note the approval")
    done(laptop, "Version 2 of 27-001 is approved on")
    go(laptop, f"{studio}/one-work?object=27-001", "One work")
    expect(laptop.get_by_text("First approved 4.0 h, latest approved 6.5 h; 1 line changed.")).to_be_visible()


def test_a_new_work_half_written_waits_through_a_reload_and_another_page(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?add=work", "Works")
    laptop.get_by_role("textbox", name="Code").fill("27-005")
    laptop.get_by_role("textbox", name="Kind").fill("easel paintng")
    leave(laptop)
    laptop.get_by_role("radio", name="canvas", exact=True).click()
    settled(laptop)
    laptop.reload()
    expect(laptop.get_by_role("textbox", name="Kind")).to_have_value("easel paintng")
    settled(laptop)
    laptop.get_by_role("link", name="Studio", exact=True).click()
    expect(laptop.get_by_role("textbox", name="Name of the studio")).to_be_visible()
    go(laptop, f"{studio}/works?add=work", "Works")
    expect(laptop.get_by_role("textbox", name="Code")).to_have_value("27-005")
    expect(laptop.get_by_role("textbox", name="Support")).to_have_value("canvas")
    press(laptop, "Save")
    done(laptop, 'The work is added. Kind "easel paintng" is new here, and near to "easel painting": if it is the same, say it alike.')
    press(laptop, "Add another work")
    expect(laptop.get_by_role("heading", name="A new work")).to_be_visible()
    settled(laptop)
    expect(laptop.get_by_role("textbox", name="Code")).to_have_value("")
    for code in ("27-00", "", "27-007"):  # emptied in between, it is kept again all the same
        laptop.get_by_role("textbox", name="Code").fill(code)
        leave(laptop)
    laptop.get_by_role("textbox", name="Title", exact=True).fill("Weir")
    for _ in range(2):  # as a person clicks, with a field not left yet; once more where a slow machine was still busy with the field
        laptop.get_by_role("link", name="Works", exact=True).click(delay=250)  # a busy server joins two messages that come in one moment, and drops the field
        settled(laptop)
        if laptop.get_by_role("heading", name="A new work").count() == 0:
            break
    press(laptop, "Go on with the new work 27-007")
    expect(laptop.get_by_role("textbox", name="Title", exact=True)).to_have_value("Weir")
    press(laptop, "Save")
    done(laptop, "The work is added.")
    assert "object=27-007" in laptop.url
    laptop.get_by_role("link", name="Works", exact=True).click()
    expect(laptop.get_by_role("button", name="Add a work")).to_be_visible()
    laptop.get_by_role("textbox", name=re.compile("Search code")).fill("27-00")
    laptop.keyboard.press("Enter")
    settled(laptop)
    assert row_of(laptop, "Works", "27-005")[0] == "27-005" and row_of(laptop, "Works", "27-007")[2] == "Weir"


def test_an_estimate_is_put_together_by_choosing_on_a_phone(phone: Page, studio: str) -> None:
    go(phone, f"{studio}/works?add=work", "Works")
    phone.get_by_role("textbox", name="Code").fill("27-006")
    press(phone, "Save")
    done(phone, "The work is added.")
    phone.get_by_role("link", name="Write its estimate").click()
    expect(phone.get_by_role("heading", name="Write its estimate")).to_be_visible()
    settled(phone)
    press(phone, "Begin with an empty sheet")
    unfold(phone, "Add a line by choosing its technique")
    for technique, spent, quantity in (("varnish removal with solvent gel", "4", "30"), ("packing", "1h30", "")):
        choose(phone, "Technique", technique)
        phone.get_by_role("textbox", name="Hours", exact=True).fill(spent)
        if quantity:
            phone.get_by_role("textbox", name="Quantity, dm²").fill(quantity)
        press(phone, "Add it to the sheet")
        expect(phone.get_by_role("region", name="Lines of the sheet").get_by_role("cell", name=technique)).to_be_visible()
    assert row_of(phone, "Lines of the sheet", "solvent gel") == ["varnish removal with solvent gel", "30 dm²", "4.0"]
    phone.get_by_role("textbox", name="Price").fill("1,450")
    leave(phone)
    expect(phone.get_by_text('Price "1,450": may be 1450 or 1.45.')).to_be_visible()
    settled(phone)
    phone.get_by_role("textbox", name="Price").fill("1450")
    leave(phone)
    expect(phone.get_by_text("Price: €1,450.00.")).to_be_visible()
    settled(phone)
    keep(phone, "task-sheet")
    press(phone, "Save as version 1")
    done(phone, "Saved as version 1.")
    expect(phone.get_by_role("combobox", name="Version").last).to_have_value("1: 5.5 h, €1,450.00")  # read once more beside the approval


def test_lines_are_copied_from_another_work(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?add=work", "Works")
    laptop.get_by_role("textbox", name="Code").fill("27-002")
    press(laptop, "Save")
    done(laptop, "The work is added.")
    go(laptop, f"{studio}/estimate?object=27-002", "Estimate")
    choose(laptop, "Copy from another work", "25-041")
    press(laptop, "Begin with its lines")
    expect(laptop.get_by_text("21 lines.")).to_be_visible()
    press(laptop, "Throw the draft away")
    press(laptop, "Yes, throw it away")
    done(laptop, "The draft is thrown away.")
    expect(laptop.get_by_text("It has no estimate yet.")).to_be_visible()


def test_a_file_with_three_faults_comes_in_and_they_are_mended_on_the_page(laptop: Page, studio: str, tmp_path: Path) -> None:
    path = tmp_path / "week.csv"
    path.write_text(
        "object,phase,technique,person,date,hours\n26-061,,packing,Ilse,2026-06-01,1\n26-061,,paking,Ilse,2026-06-02,1\n26-061,,packing,Ilse,2026-06-03,an hour\n26-06l,,packing,Ilse,2026-06-04,1\n"
    )
    go(laptop, f"{studio}/bring-in-logs", "Bring in logs")
    laptop.locator("input[type=file]").set_input_files(path)
    settled(laptop)
    press(laptop, "Only check")
    expect(laptop.get_by_text("would be stored")).to_be_visible()
    press(laptop, "Bring in")
    expect(laptop.get_by_role("heading", name="What was rejected, and the mend")).to_be_visible()
    assert row_of(laptop, "Faults", "paking") == ["3", "technique", "paking", "is not a known technique", 'Did you mean "packing"?']
    assert row_of(laptop, "Faults", "an hour")[0] == "4" and row_of(laptop, "Faults", "26-06l")[4].startswith('Did you mean "26-06')
    with laptop.expect_download() as given:
        laptop.get_by_role("button", name="Download them, with reasons").click()
    assert text_of(given.value).startswith("rejected_line,rejected_column,rejected_reason,rejected_mend,object,")
    keep(laptop, "task-faults")
    mend_cell(laptop, 0, 4, "packing")
    laptop.get_by_role("link", name="Studio", exact=True).click()  # neither another page nor a reload in between loses what is mended
    expect(laptop.get_by_role("textbox", name="Name of the studio")).to_be_visible()
    go(laptop, f"{studio}/bring-in-logs", "Bring in logs")
    expect(laptop.get_by_role("heading", name="To mend: 3 rows of week.csv")).to_be_visible()
    mend_cell(laptop, 1, 7, "1")
    unfold(laptop, "Mend one row by fields")
    choose(laptop, "Row", "line 5: object")
    laptop.get_by_role("textbox", name="object").fill("26-061")
    press_until(laptop, "Keep this row so", "Line 5 is kept as it stands now; it comes in with the mended rows.")
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


def text_of(given: Download) -> str:
    return Path(given.path()).read_text(encoding="utf-8")


def test_rows_held_back_are_decided_row_by_row_and_all_at_once(laptop: Page, studio: str, tmp_path: Path) -> None:
    head = "object,phase,technique,person,date,hours\n"
    path = tmp_path / "day.csv"
    go(laptop, f"{studio}/bring-in-logs", "Bring in logs")
    for hours, left in ((1, 0), (2, 3)):
        expect(laptop.locator("input[type=file]")).to_have_count(1)
        path.write_text(head + "".join(f"26-063,,{technique},Bram,2026-05-04,{hours}\n" for technique in ("packing", "travel", "unframing")))
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
    entries = laptop.get_by_role("region", name="Time entries, the latest first").get_by_role("row").filter(has_text="4 May 2026")
    told = sorted((row.get_by_role("cell").nth(1).inner_text(), row.get_by_role("cell").nth(2).inner_text()) for row in entries.all())
    assert told == [("packing", "1.0"), ("packing", "2.0"), ("travel", "2.0"), ("unframing", "1.0")]


def test_an_entry_is_corrected_taken_back_and_put_back_and_the_figures_follow(laptop: Page, studio: str) -> None:
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
    laptop.get_by_role("textbox", name="Why it is corrected or taken back (kept with the earlier version)").fill("forgot the afternoon")
    press(laptop, "Save the correction")
    done(laptop, "The entry is corrected")
    assert float(laptop.locator(".figures dd").nth(1).inner_text().split()[0]) == pytest.approx(before + 1.0, abs=0.11)
    unfold(laptop, re.compile("What was said before: "))
    assert row_of(laptop, "What entries said before", "forgot the afternoon")[1] == "corrected"
    choose(laptop, "Entry", "treatment proposal")
    press(laptop, "Take this entry back")
    done(laptop, "The entry is taken back.")
    unfold(laptop, re.compile("What was said before: "))
    laptop.get_by_role("button", name=re.compile("Put back: ")).press("Enter")
    done(laptop, "The entry is in the record again.")
    assert float(laptop.locator(".figures dd").nth(1).inner_text().split()[0]) == pytest.approx(before + 1.0, abs=0.11)


def test_a_technique_is_retired_after_its_effect_is_said_and_is_offered_no_more(laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/studio?part=techniques", "Studio")
    choose(laptop, "Change a technique", "texturing")
    expect(laptop.get_by_text(re.compile(r"\d+ entries on \d+ works and \d+ lines of estimates name it\."))).to_be_visible()
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
    held = laptop.locator("[data-testid=stHorizontalBlock], [data-testid=stVerticalBlock]").filter(has_text="all of stabilisation finished").last
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
        laptop.get_by_text("61,000.00 a year by 1.15 h that can be charged is €53,043.48 an hour, 758 times more than the studio’s rate of €70.00.")
    ).to_be_visible()
    expect(laptop.get_by_role("textbox", name="Hours of a year that can be charged")).to_have_value("1.15")
    keep(laptop, "task-absurd")
    expect(laptop.get_by_role("button", name="It is meant so: save it")).to_be_visible()
    laptop.get_by_role("textbox", name="Hours of a year that can be charged").fill("1150")
    laptop.get_by_role("textbox", name="Tax on top, per cent").fill("19")
    press(laptop, "Save")
    done(laptop, "Saved; what was said before is kept in the history.")
    go(laptop, f"{studio}/the-year", "The year")
    expect(laptop.get_by_text(re.compile(r"prices do not say whether tax is in them, so no money is reckoned with them"))).to_be_visible()
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
    expect(laptop.get_by_text("Not saved: say also how many per cent of tax is in those prices.")).to_be_visible()
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


def test_two_windows_on_one_draft_do_not_overwrite_each_other_without_a_word(browser: Browser, laptop: Page, studio: str) -> None:
    go(laptop, f"{studio}/works?add=work", "Works")
    laptop.get_by_role("textbox", name="Code").fill("27-003")
    press(laptop, "Save")
    done(laptop, "The work is added.")
    go(laptop, f"{studio}/estimate?object=27-003", "Estimate")
    press(laptop, "Begin with an empty sheet")
    write_cells(laptop, 0, ["packing", "", "1"])
    other = browser.new_page(viewport={"width": 1280, "height": 800})
    go(other, f"{studio}/estimate?object=27-003", "Estimate")
    expect(other.get_by_text("1 line.")).to_be_visible()
    write_cells(other, 0, ["", "", "2"])
    expect(other.get_by_role("cell", name="2.0").first).to_be_visible()
    choose_cell(laptop, 0, 120)
    laptop.keyboard.press("Delete")
    expect(laptop.get_by_text("This draft was changed from another window.")).to_be_visible()
    press(laptop, "Show it as it is now, and go on here")
    expect(laptop.get_by_role("cell", name="2.0").first).to_be_visible()
    other.close()


def test_a_form_that_is_older_than_the_record_is_refused_and_loses_nothing_typed(browser: Browser, laptop: Page, studio: str) -> None:
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
    laptop.get_by_role("textbox", name="Title").fill("![x](http://127.0.0.1:9/x.png) *star* <b>bold</b> $a$ :red[b]")
    press(laptop, "Save")
    done(laptop, "The work is added.")
    expect(laptop.get_by_role("heading", name="27-004")).to_contain_text("![x](http://127.0.0.1:9/x.png) *star* <b>bold</b> $a$ :red[b]")
    assert laptop.locator("img").count() == 0
