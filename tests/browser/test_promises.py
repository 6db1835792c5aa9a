"""The whole loop on the invented studio, on a phone and on a laptop: quoted, saved, sent, approved, logged
from the phone form, something found, revised, finished, scored, and what it taught.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from ingest.editing.quote_drafts import Quote, QuotedWork
from tests.browser.conftest import act, keep, settled
from tests.browser.steps import done, go, press, row_of, unfold
from tests.browser.test_quote_a_work import DESCRIBED, Studio, fill, open_quote, serve_quotes, total

CODE = "26-099"
QUOTED = ("condition report", "surface cleaning aqueous", "filling", "retouching", "final report")
BEGUN = Quote(
    works=[QuotedWork(described=DESCRIBED, lines=[{"technique": technique} for technique in QUOTED])],
    letter={"addressee": "Family Brandreth"},
)


@pytest.fixture(scope="module")
def quoting(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """An invented studio with a quote that is described and has its lines."""
    yield from serve_quotes(invented, tmp_path_factory.mktemp("promises"), {"mill": BEGUN})


def hours_of(cell: str) -> float:
    found = re.search(r"[\d,]+\.\d", cell)
    assert found, cell
    return float(found[0].replace(",", ""))


def quoted_and_saved(page: Page, quoting: Studio) -> float:
    """A new work that is quoted is given its code, its letter taken, and saved as version 1; the hours
    promised.
    """
    open_quote(page, quoting, "mill")
    promised = hours_of(total(page)[1])
    expect(page.get_by_text("is not among the works yet. Give it its code")).to_be_visible()
    page.get_by_label("Its code", exact=True).fill(CODE)
    press(page, "Add it to the works")
    expect(page.get_by_role("heading", name=f"Quote 1: {CODE}")).to_be_visible()
    assert hours_of(total(page)[1]) == promised  # it is the same work, and it says the same
    with page.expect_download() as given:
        page.get_by_role("button", name="The letter as PDF").click()
    assert Path(given.value.path()).read_bytes().startswith(b"%PDF")
    expect(page.get_by_text("It becomes version 1 of 26-099, with all that it stood on")).to_be_visible()
    keep(page, "quote-save")
    press(page, f"Save as version 1 of {CODE}")
    done(page, f"Saved as version 1 of {CODE}")
    return promised


def logged_from_the_phone_form(page: Page, studio: str) -> None:
    """Two lines of the day sheet: one that was quoted, and one that nobody foresaw."""
    page.goto(f"{studio}/log")
    expect(page.locator("html[data-ready]")).to_be_attached()
    page.get_by_role("button", name="Ilse", exact=True).click()
    page.get_by_role("link", name="My day").click()
    for technique, hours in (("condition report", "2:15"), ("retouching", "3h"), ("inlay", "1h30")):
        page.get_by_label("Work", exact=True).fill(CODE)
        page.get_by_label("Technique", exact=True).fill(technique)
        page.get_by_label("Hours", exact=True).fill(hours)
        page.keyboard.press("Enter")
        expect(page.locator("#just")).to_contain_text(f"Added: {technique}")
    expect(page.locator("#told")).to_contain_text("All is saved in the studio.")


def approved(page: Page, studio: str) -> None:
    """Its version says what it stood on, and is approved with the price agreed."""
    go(page, f"{studio}/estimate?object={CODE}", "Estimate")
    assert row_of(page, "Versions of the estimate", "(4 in 5)")[2] == "not approved"
    unfold(page, "The lines of a version")
    expect(page.get_by_text("the same to the digit")).to_be_visible()
    expect(
        page.get_by_text(
            re.compile(r"finished lines on 6\d works\. Nothing that was logged or changed later")
        )
    ).to_be_visible()
    expect(page.get_by_role("button", name="Its letter as PDF")).to_be_visible()
    keep(page, "estimate-stood-on")
    page.get_by_label("Price agreed", exact=True).fill("2900")
    press(page, "Note the approval")
    done(page, f"Version 1 of {CODE} is approved")
    assert row_of(page, "Versions of the estimate", "(4 in 5)")[-1] == "€2,900.00"


def revised_and_approved(page: Page, studio: str) -> None:
    """Something was found: what was approved stays, what was found is added, with a letter of change; and
    that is approved.
    """
    go(page, f"{studio}/estimate?object={CODE}", "Estimate")
    press(page, "Quote the rest anew")
    expect(page.get_by_role("heading", name=f"Quote 2: {CODE}")).to_be_visible()
    settled(page)
    expect(page.get_by_text("This work is under way, so this is a revision")).to_be_visible()
    total(page)
    assert "found on the way, 1.5 h so far" in row_of(page, "Lines of the quote", "inlay")[-1] and row_of(
        page, "Lines of the quote", "retouching", "3.0 h so far"
    )
    press(page, f"Save as version 2 of {CODE}")
    expect(page.get_by_text("Not saved: write first what was found")).to_be_visible()
    fill(page, "What was found: why there is another version", "An old lining under the frame's rebate")
    expect(
        page.get_by_role("radio", name="what changed")
    ).to_be_checked()  # a revision is told as what changed
    expect(
        page.get_by_text(
            re.compile(r"What was approved stays: [\d.]+ h, €2,900\.00\. Found and added: [\d.]+ h, €")
        ).first
    ).to_be_visible()
    act(page, page.get_by_text("The whole anew", exact=True).click)
    expect(
        page.get_by_text("€2,900.00 was agreed").first
    ).to_be_visible()  # which does not carry a price agreed over in silence
    settled(page)
    price = page.get_by_role("radiogroup", name="The price of the change")
    expect(price).to_have_count(1)  # the one of the page before stays a moment longer
    act(page, price.get_by_text("What was approved stays, and what was found is added", exact=True).click)
    expect(page.get_by_text("€2,900.00 was agreed")).to_have_count(0)
    with page.expect_download() as given:
        page.get_by_role("button", name="The letter as a page (HTML)").click()
    letter = Path(given.value.path()).read_text(encoding="utf-8")
    assert (
        "A change in the treatment of A mill at Marrowby" in letter
        and "An old lining under the frame&#39;s rebate" in letter
        and "What was approved stays as it was approved" in letter
        and "€2,900.00" in letter
        and "inlay" in letter
    )
    keep(page, "quote-revision")
    press(page, f"Save as version 2 of {CODE}")
    done(page, f"Saved as version 2 of {CODE}")
    go(page, f"{studio}/estimate?object={CODE}", "Estimate")
    press(page, "Note the approval")
    done(page, f"Version 2 of {CODE} is approved")


def finished_and_scored(page: Page, studio: str, promised: float) -> None:
    """Finished, it is held against the promise with which it began, and says what it taught."""
    go(page, f"{studio}/works?object={CODE}", "Works")
    page.get_by_label("Finished on", exact=True).fill(page.evaluate("new Date().toISOString().slice(0, 10)"))
    press(page, "Save")
    done(page, "Saved; what was said before is kept in the history.")
    act(page, page.get_by_role("link", name="What it taught").click)
    expect(page.get_by_role("heading", name=f"What {CODE} taught")).to_be_visible()
    settled(page)
    shown = page.locator("dl.figures dd").all_inner_texts()
    assert hours_of(shown[0]) == promised and shown[1:] == ["6.8 h", "kept"]
    expect(
        page.get_by_text(f"Promised {promised:.1f} h (4 in 5), took 6.8 h: kept, and below the range")
    ).to_be_visible()
    expect(page.get_by_text("which is not scored: it took over what was worked already")).to_be_visible()
    expect(
        page.get_by_text(re.compile(r"Turned up unquoted: .*inlay \(1\.5 h\)"))
    ).to_be_visible()  # whatever the revision said since
    assert row_of(page, "Rates without it and with it", "retouching")[1] == "3.0"
    keep(page, "taught")
    go(page, f"{studio}/promised-and-kept", "Promised and kept")
    expect(page.get_by_text("Promised at 4 in 5: kept on 1 of 1")).to_be_visible()
    expect(page.get_by_text("1 work is too few to say whether that chance holds.")).to_be_visible()
    assert row_of(page, "Promises, the latest finished first", CODE)[3] == "4 in 5"
    with page.expect_download() as given:
        page.get_by_role("button", name="The page as HTML").click()
    sheet = Path(given.value.path()).read_text(encoding="utf-8")
    assert (
        "How our promises have held" in sheet
        and CODE not in sheet
        and "Brandreth" not in sheet
        and "Ilse" not in sheet
        and "€" not in sheet
    )
    keep(page, "promised-and-kept")


def test_the_loop_from_a_quote_to_what_the_finished_work_taught(quoting: Studio, laptop: Page) -> None:
    studio = quoting.address
    promised = quoted_and_saved(laptop, quoting)
    approved(laptop, studio)
    logged_from_the_phone_form(laptop, studio)
    revised_and_approved(laptop, studio)
    finished_and_scored(laptop, studio, promised)
