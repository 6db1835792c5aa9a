"""The form for a phone: what is typed survives a reload, is asked about, is refused with its reason and
mended.
"""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from playwright.sync_api import BrowserContext, expect

from tests.browser.phone.conftest import Form, add_line, correct, done, line, new_line, opened, picture, shows


def test_what_is_half_written_is_there_again_after_a_reload(studio: Form, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Technique", exact=True).fill("gilding")
    page.get_by_label("Hours", exact=True).fill("2:")
    page.reload()
    expect(page.get_by_label("Technique", exact=True)).to_have_value("gilding")
    expect(page.get_by_label("Hours", exact=True)).to_have_value("2:")
    new_line(page)
    page.get_by_label("Note").fill("a long story")
    page.wait_for_timeout(200)
    page.reload()
    expect(page.get_by_label("Note")).to_have_value("a long story")
    expect(page.get_by_text("did not save is here again")).to_be_visible()


def test_what_the_studio_refuses_is_shown_with_its_reason_and_mended(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    add_line(page, "24-001", "filling", "1:75")
    shows(page, "1 entry was refused: to be mended.")
    expect(
        page.get_by_text(
            "Refused: Hours “1:75” cannot be read as hours. Write it like 1.5, 1:30, 1h30, 90 min or PT1H30M."
        )
    ).to_be_visible()
    page.reload()
    page.get_by_role("link", name="1 entry was refused").click()
    page.get_by_role("button", name=re.compile("filling Refused")).click()
    expect(page.get_by_role("alert").filter(has_text="cannot be read as hours")).to_be_visible()
    page.get_by_label("Hours", exact=True).fill("1:45")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: filling on 24-001")
    shows(page)
    expect(page.get_by_text("refused")).to_have_count(0)
    assert [row["hours"] for row in studio.entries(tmp_path / "out") if row["technique"] == "filling"] == [
        "1.75"
    ]


def test_what_will_hardly_be_understood_is_asked_about_once_before_anything_is_sent(
    studio: Form, handset: BrowserContext
) -> None:
    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    for work, technique, hours, doubt in (
        ("24-001", "retuoching", "1", "No technique or phase is called “retuoching” here."),
        ("24-01", "retouching", "1", "No work “24-01” is on the bench."),
        ("24-001", "retouching", "a while", "“a while” does not look like the hours of a day."),
        ("24-001", "retouching", "1;5", "“1;5” does not look like the hours of a day."),
        ("24-001", "retouching", "1,150", "“1,150” may be 1150 or 1,1500."),
        ("24-001", "retouching", "45", "“45” does not look like the hours of a day."),
    ):
        for label, text in (("Work", work), ("Technique", technique), ("Hours", hours)):
            page.get_by_label(label, exact=True).fill(text)
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_role("alert")).to_have_text(f"{doubt} Mend it, or tap Add again to send it so.")
    expect(page.locator("#just")).to_be_empty()
    page.get_by_role("button", name="Add", exact=True).click()
    done(page, "Added: retouching on 24-001, 45 h")
    shows(page, re.compile("1 entry was refused: to be mended. All else is saved in the studio."))
    expect(page.locator(".total")).to_have_text("No hours said for this day; 1 line is not in it yet.")
    expect(page.locator(".chips").get_by_role("button", name="24-01 ")).to_have_count(0)


def test_a_name_in_other_letters_is_the_person_whom_the_studio_knows(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio, who=None)
    page.get_by_role("button", name="This is me").click()
    expect(page.get_by_role("alert")).to_have_text("Say who you are: a name above, or your own.")
    page.get_by_label("Somebody new").fill(" ILSE")
    page.get_by_role("button", name="This is me").click()
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    shows(page)
    page.reload()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    expect(page.get_by_role("link", name="Ilse is logging; change")).to_be_visible()
    page.get_by_role(
        "button", name="Pause retouching on 24-001"
    ).click()  # within a second or two of its beginning, as the studio has told it meanwhile
    done(page, "Paused: retouching on 24-001")
    expect(page.get_by_role("button", name="Go on: retouching on 24-001")).to_be_visible()
    shows(page)
    assert [row["person"] for row in studio.entries(tmp_path / "out") if row["started_at"]] == ["Ilse"]


def test_a_finish_is_sent_once_its_page_is_left_and_what_is_half_written_of_it_is_said(
    studio: Form, handset: BrowserContext
) -> None:
    page = opened(handset, studio)
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    page.get_by_role("button", name="Finish retouching on 24-001").click()
    page.get_by_label("Note").fill("two colours more")
    shows(page, "1 thing is saved here")
    page.get_by_text("One spell over several works").click()
    expect(page.get_by_label("24-002", exact=True)).to_have_count(1)
    expect(page.get_by_label("24-001", exact=True)).to_have_count(0)  # it is not beside itself
    page.get_by_role("link", name="My day").click()
    shows(page, "All is saved in the studio.")  # long before the two minutes are over
    # the studio puts the times right by seconds: they are its own, as they were not written
    page.evaluate("""state.entries.forEach((one) => {
        for (const name of ["started_at", "ended_at"])
            if (one.row[name]) one.row[name] = instant(Date.parse(one.row[name]) + 60000);
    })""")
    page.get_by_role("link", name="What you wrote of an entry is not saved yet.").click()
    expect(page.get_by_label("Note")).to_have_value("two colours more")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: retouching on 24-001")
    shows(page)
    expect(page.get_by_text("is not saved yet")).to_have_count(0)


def test_what_is_half_written_in_two_tabs_is_kept_of_both(studio: Form, handset: BrowserContext) -> None:
    page = opened(handset, studio)
    beside = opened(handset, studio, who=None)
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Hours", exact=True).fill("1:")
    beside.goto(f"{studio.address}/log#new={datetime.now(ZoneInfo('Europe/Berlin')):%Y-%m-%d}")
    beside.get_by_label("Note").fill("a long story")
    page.get_by_label("Hours", exact=True).fill("1:3")
    page.wait_for_timeout(200)
    for tab in (page, beside):
        tab.reload()
    expect(page.get_by_label("Hours", exact=True)).to_have_value("1:3")
    expect(beside.get_by_label("Note")).to_have_value("a long story")


def test_one_spell_over_three_works_is_shared_out_by_area(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    page = opened(handset, studio, at="")
    page.get_by_role("link", name="My day").click()
    page.get_by_label("Technique", exact=True).fill("varnishing by spray")
    page.get_by_label("Work", exact=True).fill("Ferry in snow")  # by its title
    page.get_by_label("Hours", exact=True).fill("1.5")
    new_line(page)
    expect(page.get_by_label("Hours", exact=True)).to_have_value("1.5")
    page.get_by_text("One spell over several works").click()
    page.get_by_text("by area").click()
    page.get_by_label("24-002", exact=True).check(force=True)
    page.get_by_label("24-003", exact=True).check(force=True)
    picture(page, "several-works")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: varnishing by spray on 24-001, 24-002, 24-003")
    shows(page)
    rows = [row for row in studio.entries(tmp_path / "out") if row["technique"] == "varnishing by spray"]
    # 48, 12 and 12 dm²
    assert sorted((row["object"], float(row["hours"])) for row in rows) == [
        ("24-001", 1.0),
        ("24-002", 0.25),
        ("24-003", 0.25),
    ]


def test_shares_stay_with_their_works_and_what_is_refused_of_several_is_mended_whole(
    studio: Form, handset: BrowserContext, tmp_path: Path
) -> None:
    def shares_of_two(folder: Path) -> list[tuple[str, str]]:
        rows = [row for row in studio.entries(folder) if row["note"].startswith("one of 2 works")]
        return sorted((row["object"], row["hours"]) for row in rows)

    page = opened(handset, studio)
    page.get_by_role("link", name="My day").click()
    new_line(page)
    page.get_by_label("Work", exact=True).fill("24-001")
    page.get_by_label("Technique", exact=True).fill("facing")
    page.get_by_label("Hours", exact=True).fill("6")
    page.get_by_text("One spell over several works").click()
    page.get_by_text("by shares of my own").click()
    for code in ("24-002", "24-003"):
        page.get_by_label(code, exact=True).check(force=True)
    for code, share in (("24-001", "1"), ("24-002", "2"), ("24-003", "none")):
        page.get_by_label(f"Share of {code}").fill("")
        # each key, the field keeps the cursor
        page.get_by_label(f"Share of {code}").press_sequentially(share)
    page.wait_for_timeout(200)
    page.reload()
    expect(page.get_by_label("Share of 24-003")).to_have_value("none")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Added: facing on 24-001, 24-002, 24-003")
    shows(page, "1 entry was refused")
    line(page, "24-001, 24-002, 24-003: facing").click()
    expect(page.get_by_role("alert").filter(has_text="Refused: Share “none”")).to_be_visible()
    expect(page.get_by_label("Share of 24-002")).to_have_value("2")
    page.get_by_label("24-002", exact=True).uncheck(force=True)
    expect(page.get_by_label("Share of 24-003")).to_have_value("none")
    page.get_by_label("Share of 24-003").fill("5")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: facing on 24-001, 24-003")
    shows(page)
    assert shares_of_two(tmp_path / "out") == [("24-001", "1"), ("24-003", "5")]
    correct(page, line(page, "24-001.*: facing").first)
    page.get_by_label("Hours", exact=True).fill("2")
    page.get_by_role("button", name="Save", exact=True).click()
    done(page, "Saved: facing on 24-001.")
    shows(page)
    assert shares_of_two(tmp_path / "out2") == [("24-001", "2"), ("24-003", "5")]
