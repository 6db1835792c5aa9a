"""A diary in a workbook is spoken of once under Bring in logs; next month's file comes in with one press."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

from playwright.sync_api import Page, expect

from ingest.store import Store
from ingest.studio import people
from tests.browser.conftest import act, choose, keep, settled, violations
from tests.browser.steps import go, press, unfold
from tests.conftest import NOW, bring_into
from tests.ingest.foreign.example_tables import HEADS
from tests.ingest.foreign.workbooks import Cell, xlsx

FEBRUARY: list[list[Cell]] = [
    HEADS,
    [date(2024, 2, 5), "Ferry", "cleaned", 1.5, "I."],
    [date(2024, 2, 6), "Ferry", "retouched a bit", timedelta(minutes=45), "I."],
    [date(2024, 2, 7), "Ferry", "cleaned", 2.0, "Ilse"],
    ["Total", "", "", 4.25, ""],
]
MARCH: list[list[Cell]] = [HEADS, [date(2024, 3, 4), "Ferry", "cleaned", 1.0, "I."]]
THEIRS = ("stFileUploader",)


def test_a_workbook_is_spoken_of_once_and_next_month_comes_in_with_one_press(
    tmp_path: Path, serve_here: Callable[..., str], page: Page
) -> None:
    with Store(tmp_path / "studio.duckdb") as store:
        bring_into(
            store, tmp_path, "objects.csv", "object,title\n24-001,Ferry in snow\n24-002,Weir in flood\n"
        )
        with store.writing() as con:
            people.add(con, "Ilse", NOW)
    address = serve_here(tmp_path / "studio.duckdb")
    go(page, f"{address}/bring-in-logs", "Bring in logs")
    february = xlsx(tmp_path / "diary.xlsx", {"2024": FEBRUARY})
    act(page, lambda: page.locator("input[type=file]").set_input_files(february))
    expect(page.get_by_role("heading", name="diary.xlsx")).to_be_visible()
    keep(page, "table-begun")
    choose(page, 'Work "Ferry", 3 rows', "24-001 Ferry in snow – likely")
    choose(page, 'Technique "cleaned", 2 rows', "a technique …")
    choose(page, 'Which technique is "cleaned"?', "surface cleaning aqueous")
    choose(page, 'Technique "retouched a bit", 1 row', "a phase as a whole …")
    choose(page, 'Which phase is "retouched a bit"?', "retouching")
    choose(page, 'Person "I.", 2 rows', "another person …")
    choose(page, 'Who is "I."?', "Ilse")
    shown = page.get_by_role("region", name="What becomes of the rows", exact=True)
    expect(shown.get_by_role("cell", name="kept", exact=True)).to_have_count(3)
    # what becomes of how many rows stays in sight beside what is being said, and leaves room to say it
    page.get_by_role("radiogroup", name="What is a row?").scroll_into_view_if_needed()
    counts = page.get_by_text("4 rows: 3 kept, 1 left out. Nothing is brought in yet.")
    expect(counts).to_be_in_viewport()
    expect(shown).not_to_be_in_viewport()
    for width, most in ((1280, 0.1), (360, 0.2)):
        page.set_viewport_size({"width": width, "height": 800})
        box = page.locator(".st-key-counts").bounding_box()
        assert box is not None and box["height"] < most * 800
    assert violations(page, THEIRS) == []
    keep(page, "table-said")
    press(page, "Bring in diary.xlsx")
    expect(page.get_by_text("diary.xlsx was read; what became of each row stands below.")).to_be_visible()
    expect(page.get_by_text("2 texts kept as other spellings, listed under Studio.")).to_be_visible()
    keep(page, "table-brought-in")
    march = xlsx(tmp_path / "march.xlsx", {"2024": MARCH})
    settled(page)  # the place for files is another one then
    act(page, lambda: page.locator("input[type=file]").set_input_files(march))
    expect(page.get_by_text("Read as diary.xlsx was, as said on")).to_be_visible()
    keep(page, "table-known")
    assert violations(page, THEIRS) == []
    press(page, "Bring in as last time")
    expect(page.get_by_role("heading", name="march.xlsx: time entries")).to_be_visible()
    settled(page)
    assert violations(page, THEIRS) == []
    go(page, f"{address}/studio?part=people", "Studio")
    unfold(page, "Spellings that came with tables: 1")
    expect(page.get_by_text("I.: Ilse, from diary.xlsx")).to_be_visible()
    keep(page, "table-spellings")
    assert violations(page) == []
    press(page, "Undo I.")
    expect(page.get_by_text("I. is no spelling of Ilse any more.")).to_be_visible()
    settled(page)
