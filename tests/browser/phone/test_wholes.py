"""The form for a phone: phases and works as a whole are logged in no more taps than a technique, and a studio
that names techniques finds them where they were.

Common practice, no source: many studios log by phase of a treatment, and small jobs by the work.
"""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from tests.browser.phone.conftest import PHONE, Form, correct, done, line, opened, shows
from tests.conftest import bring_into

HEAD = "object,version,made_on,phase,technique,part,hours\n"


class Taps:
    """Counts what is tapped."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self, *targets: Locator) -> None:
        for target in targets:
            target.click()
            self.count += 1


def offers(page: Page, *lines: str) -> None:
    """A work's page offers these lines alone, in this order, whatever stands below each."""
    expect(page.locator("#view .list button")).to_have_text(
        [re.compile(f"^{re.escape(name)}") for name in lines]
    )


def work_button(page: Page, code: str) -> Locator:
    return page.get_by_role("button", name=re.compile(f"^{code}"))


def test_a_phase_of_the_estimate_is_begun_in_one_tap_less_than_a_technique(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    bring_into(
        studio.store,
        tmp_path,
        "estimates.csv",
        f"{HEAD}24-002,1,2026-01-03,cleaning,,,9\n24-002,1,2026-01-03,filling,,,4\n",
    )
    page = opened(handset, studio)
    by_technique, by_phase = Taps(), Taps()
    by_technique(work_button(page, "24-001 Ferry"), page.get_by_label("Find a technique"))
    page.keyboard.type("filli")
    by_technique(page.get_by_role("button", name=re.compile("^filling filling")))
    done(page, "Begun: filling on 24-001")
    by_phase(work_button(page, "24-002 Weir"))
    offers(page, "facing", "cleaning as a whole", "filling as a whole", "the work as a whole")
    expect(page.get_by_role("button", name="the work as a whole")).to_have_class("plain")
    by_phase(page.get_by_role("button", name="cleaning as a whole"))
    done(page, "Begun: cleaning as a whole on 24-002")
    assert by_phase.count == by_technique.count - 1
    page.get_by_role("button", name="Finish cleaning as a whole on 24-002").click()
    expect(page.get_by_role("heading", name="cleaning as a whole, less than a minute")).to_be_visible()
    expect(page.get_by_label(re.compile("^How much was treated"))).to_be_hidden()
    page.get_by_text("done", exact=True).click()
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: cleaning as a whole on 24-002")
    shows(page)
    # the next time it is on the bench itself
    expect(page.get_by_role("button", name="Begin cleaning as a whole on 24-002")).to_be_visible()
    rows = [
        row for row in studio.entries(tmp_path / "out") if row["started_at"] and row["object"] == "24-002"
    ]
    assert [
        (row["phase"], row["technique"], row["mode"], row["quantity"], row["unit"], row["done"])
        for row in rows
    ] == [("cleaning", "", "hands_on", "", "", "100")]


def test_a_work_that_is_estimated_as_a_whole_is_begun_first_and_any_other_last(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    bring_into(studio.store, tmp_path, "estimates.csv", f"{HEAD}24-002,1,2026-01-03,,,,20\n")
    page = opened(handset, studio)
    work_button(page, "24-002 Weir").click()
    offers(page, "the work as a whole", "facing")
    page.get_by_role("button", name="the work as a whole").click()
    done(page, "Begun: the work as a whole on 24-002")
    work_button(page, "24-001 Ferry").click()
    offers(page, "retouching", "facing", "the work as a whole")
    # in the search it is found by its name, as phases are, behind every technique
    page.get_by_label("Find a technique").fill("fil")
    buttons = page.locator("#view .list button")
    expect(buttons.first).to_have_text("fillingfilling")  # the technique, and its phase below it
    expect(buttons.last).to_have_text("filling as a whole")
    page.get_by_label("Find a technique").fill("the work")
    offers(page, "the work as a whole")
    page.get_by_label("Find a technique").fill("whole")  # which all of them are
    expect(page.get_by_text("No technique or phase is called so.")).to_be_visible()
    page.get_by_role("link", name="At the bench").click()
    page.get_by_role("button", name="Studio time").click()
    expect(buttons.last).to_have_text("studio time as a whole")
    expect(buttons.filter(has_text="the work as a whole")).to_have_count(0)


def test_lines_of_a_work_that_is_open_come_with_a_late_answer(studio: Form, browser: Browser) -> None:
    context = browser.new_context(**PHONE, service_workers="block")
    page = context.new_page()
    late: list[Route] = []
    page.route("**/log/v1/bench*", lambda route: late.extend([route]))
    page.goto(f"{studio.address}/log#work=24-001")
    offers(page, "retouching", "the work as a whole")  # as the first page has it, to be small
    page.wait_for_function("document.documentElement.dataset.ready")
    while not late:
        page.wait_for_timeout(20)
    page.get_by_role("button", name="the work as a whole").focus()
    late[0].continue_()
    offers(page, "retouching", "facing", "the work as a whole")
    expect(page.get_by_role("button", name="the work as a whole")).to_be_focused()
    context.close()


def test_the_day_sheet_takes_the_name_of_a_phase_and_a_technique_of_that_name_stays_one(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("alert")).to_have_text("Say which technique or phase.")
    field = page.get_by_label("Technique", exact=True)
    field.fill("clean")
    choices = page.locator("#view form .choices").filter(has_text="surface cleaning").get_by_role("button")
    expect(choices).to_have_count(7)  # techniques as ever, and their phase behind them
    expect(choices.last).to_have_text("cleaning as a whole")
    for typed, known, hours in (("Cleaning", "cleaning as a whole", "1"), ("Retouching", "retouching", "2")):
        page.get_by_label("Work", exact=True).fill("24-001")
        field.fill(typed)
        page.get_by_label("Hours", exact=True).fill(hours)
        page.keyboard.press("Enter")
        done(page, f"Added: {known} on 24-001, {hours} h")
    field.fill("the wo")
    page.get_by_role("button", name="the work as a whole", exact=True).click()
    page.get_by_label("Work", exact=True).fill("24-002")
    page.get_by_label("Hours", exact=True).fill("3")
    page.keyboard.press("Enter")
    done(page, "Added: the work as a whole on 24-002, 3 h")
    shows(page)
    # a phase becomes a technique of it, and is measured then; a technique becomes its phase, and is not
    correct(page, line(page, "24-001 Ferry in snow: cleaning as a whole"))
    much = page.get_by_label(re.compile("^How much was treated"))
    page.get_by_text("How far, how much, note and more").click()
    expect(much).to_be_hidden()
    field.fill("retouching")
    expect(page.get_by_text("How much was treated, dm²")).to_be_visible()  # as a technique is measured
    much.fill("2")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: retouching on 24-001")
    correct(page, line(page, "retouching.*2 h"))
    field.fill("retouching as a whole")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: retouching as a whole on 24-001")
    shows(page)
    today = [row for row in studio.entries(tmp_path / "out") if not row["date"].startswith("2026-05")]
    assert sorted(
        (row["object"], row["phase"], row["technique"], row["quantity"], row["hours"]) for row in today
    ) == [
        ("24-001", "retouching", "", "", "2"),
        ("24-001", "retouching", "retouching", "2", "1"),
        ("24-002", "", "", "", "3"),
    ]
