"""Every page at a phone's and a laptop's width: of an empty studio, the invented one, one of 500 works."""

import json
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pandas as pd
import pytest
from playwright.sync_api import Page, expect

from dashboard import guide, roles
from dashboard.analysis.report.overruns import CAUSES
from tests import ready
from tests.browser.conftest import keep, settled, until, violations

# Address, title, and something that is there when the page is whole: on the empty studio, and on one with
# works in it.
PAGES = [
    ("on-the-bench", "On the bench", "No work is on the bench.", "Where they end"),
    ("bench-plan", "Bench plan", "No work with an estimate is on the bench.", "The weeks ahead"),
    ("the-year", "The year", "Nothing is logged yet.", "Pace with experience"),
    ("hours-worth-a-pause", "Hours worth a pause", "Nothing is logged yet.", "Choose whose hours to look at"),
    (
        "where-the-hours-went",
        "Where the hours went",
        "Nothing is logged yet.",
        "Techniques that ran over most",
    ),
    ("one-work", "One work", "There is no work yet.", "those on the bench stand first"),
    ("one-work?object=WORK", "One work", "There is no work yet.", "Treatment statement"),
    ("our-rates", "Our rates", "No line is finished yet", "Can the ranges be trusted?"),
    ("quote-a-work", "Quote a work", "No work is here yet, so what is said", "What to quote"),
    (
        "promised-and-kept",
        "Promised and kept",
        "No finished work has a promise yet.",
        "Which rates to trust least",
    ),
    ("works", "Works", "No work is here yet.", "those on the bench first, the latest first"),
    ("works?object=WORK", "Works", 'There is no work "WORK" here.', "Milestones"),
    ("works?add=work", "Works", "A new work", "A new work"),
    ("works?add=from-memory", "Works", "Whose hours these are", "Whose hours these are"),
    ("estimate?object=WORK", "Estimate", "there is none yet", "Write the next version"),
    ("bring-in-logs", "Bring in logs", "Begin with a file of objects", "What the files look like"),
    ("studio", "Studio", "Name of the studio", "Name of the studio"),
    ("studio?part=quotes", "Studio", "What a year costs", "What a year costs"),
    ("studio?part=bench", "Studio", "For the bench plan", "For hours worth a pause"),
    ("studio?part=people", "Studio", "Nobody is known yet.", "Change a person"),
    ("studio?part=techniques", "Studio", "Add a technique", "Add a technique"),
    ("studio?part=phases", "Studio", "Phases stand in the order", "Phases stand in the order"),
    ("safe-keeping", "Safe keeping", "No backup was made yet.", "The record holds together"),
    ("who-may-come-in", "Who may come in", "There is no work yet.", "Labels for works"),
    ("guide?chapter=words", "Guide", "tear mending", "tear mending"),
    ("guide?chapter=forms", "Guide", "structure_condition", "structure_condition"),
    # last: its chart is reckoned behind those of the whole bench
    ("on-the-bench?object=OPEN", "On the bench", 'There is no work "OPEN" here.', "Its lines"),
]
CHARTS = {
    "on-the-bench": 1,
    "on-the-bench?object=OPEN": 1,
    "bench-plan": 2,
    "the-year": 1,
    "where-the-hours-went": 3,
    "promised-and-kept": 1,
    "our-rates": 1,
    "one-work?object=WORK": 2,
}
# These say the same in the empty studio and in the invented one, to the word.
SAME_IN_ANY_STUDIO = {
    "studio?part=bench",
    "studio?part=techniques",
    "guide?chapter=words",
    "guide?chapter=forms",
}
# These show nothing of which a studio of 500 works has more: one work, nobody's hours, what is no work.
SAME_AT_ANY_SIZE = SAME_IN_ANY_STUDIO | {
    "works?add=work",
    "hours-worth-a-pause",
    "one-work?object=WORK",
    "works?object=WORK",
    "estimate?object=WORK",
    "bring-in-logs",
    "studio",
    "studio?part=quotes",
    "studio?part=people",
    "studio?part=phases",
    "safe-keeping",
}
ALREADY_SEEN = {"demo": set[str](), "empty": SAME_IN_ANY_STUDIO, "large": SAME_AT_ANY_SIZE}
# Each is opened once, the invented one at a phone's width, and then made as wide, or narrow, as the other: as
# a window or a turned phone is.
STUDIOS = (
    ("demo", 360, "25-041", "26-064"),
    ("empty", 1280, "WORK", "OPEN"),
    ("large", 1280, "25-020", "25-024"),
)
SEEN = [
    pytest.param(width, studio, work, on_bench, *page, id=f"{studio}-{width}-{page[0]}")
    for studio, width, work, on_bench in STUDIOS
    for page in PAGES
    if page[0] not in ALREADY_SEEN[studio]
]
# What Streamlit draws of itself: its widgets and the bones of its page are not ours to mend.
THEIRS = (
    "stSelectbox",
    "stFileUploader",
    "stDataFrame",
    "stExpander",
    "stMultiSelect",
    "stButtonGroup",
    "stTooltipIcon",
    "stRadio",
    "stCheckbox",
    "stNumberInput",
)


@pytest.fixture(scope="module")
def places_of_the_guide() -> set[tuple[int, int]]:
    """Where pages have their link to the guide."""
    return set()


def _leads_to_its_chapter(page: Page, title: str, places: set[tuple[int, int]]) -> None:
    """The page leads to its chapter of the guide, from the same place as all others."""
    way = page.get_by_role("link", name="How this page is read")
    box = way.bounding_box()
    assert box is not None
    places.add((round(box["x"]), round(box["y"])))
    assert len(places) == 1
    address = urlsplit(way.get_attribute("href") or "")
    assert address.path.strip("/") == "guide"
    assert parse_qs(address.query)["chapter"] == [guide.CHAPTER_OF[title]]


def test_every_page_is_looked_at_and_has_a_chapter() -> None:
    titles = set(roles.PAGES["principal"].values())
    assert {title for _, title, *_ in PAGES} == titles
    assert set(guide.CHAPTER_OF) >= titles - {roles.PAGES["principal"]["guide"]}


@pytest.mark.parametrize(
    "page, studio, work, on_bench, address, title, when_empty, when_full", SEEN, indirect=["page"]
)
def test_every_page_is_whole(
    page: Page,
    request: pytest.FixtureRequest,
    studio: str,
    work: str,
    on_bench: str,
    address: str,
    title: str,
    when_empty: str,
    when_full: str,
    places_of_the_guide: set[tuple[int, int]],
) -> None:
    server = request.getfixturevalue(f"{studio}_address")
    page.goto(f"{server}/{address.replace('WORK', work).replace('OPEN', on_bench)}")
    expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible()
    expect(page.get_by_text(when_empty if studio == "empty" else when_full).first).to_be_visible()
    settled(page)
    if studio != "empty":
        charts = page.get_by_test_id("stVegaLiteChart")
        # beside the page, day by day, which takes a minute there
        gathered = studio == "large" and "OPEN" in address
        if not gathered:
            expect(charts).to_have_count(CHARTS.get(address, 0), timeout=120_000)
        for chart in charts.all():
            expect(chart.locator("svg text").first).to_be_attached()
            words = chart.locator("svg text").all_text_contents()
            assert len(words) > 5 and not [word for word in words if re.search(r"\de[+-]?\d", word)]
            assert re.search(
                r"\d",
                chart.get_attribute("aria-label")
                or chart.locator("[aria-label]").first.get_attribute("aria-label")
                or "",
            )
    name = f"{studio}-{re.sub(r'[^a-z]+', '-', re.sub('WORK|OPEN', '', address))}"
    keep(page, name)
    assert violations(page, THEIRS) == []
    wide = 1280 if studio == "demo" else 360
    page.set_viewport_size({"width": wide, "height": 800})
    settled(page)
    until(page, f"document.documentElement.scrollWidth <= {wide}", 5)
    keep(page, name)
    # no colour depends on the width, and what is shown at one alone is seen there in one of the studios
    assert violations(page, THEIRS, contrast=False) == []
    if studio == "demo" and title in guide.CHAPTER_OF:
        _leads_to_its_chapter(page, title, places_of_the_guide)


def test_the_first_page_has_the_words_of_the_four_parts_and_its_csvs(phone: Page, demo_address: str) -> None:
    phone.goto(f"{demo_address}/where-the-hours-went")
    expect(phone.get_by_role("cell", name="old lining and repairs")).to_be_visible()
    for words in CAUSES.values():
        expect(phone.get_by_role("columnheader", name=words).first).to_be_attached()
    expect(phone.get_by_text("Most over:")).to_be_visible()
    for name in ("Phases", "Half-years", "Works", "Techniques", "Lines"):
        expect(phone.get_by_role("button", name=name, exact=True)).to_be_visible()
    for hidden in ("stAppDeployButton", "stMainMenu"):
        expect(phone.get_by_test_id(hidden)).to_have_count(0)


def test_an_empty_studio_offers_the_invented_one_and_the_way_back(phone: Page, empty_address: str) -> None:
    phone.goto(empty_address)
    expect(phone.get_by_role("link", name="Log hours")).to_be_visible()
    phone.get_by_role("button", name="Look at an invented studio first").press("Enter")
    expect(phone.get_by_text("This is an invented studio")).to_be_visible()
    expect(phone.get_by_text("Most over:")).to_be_visible()
    assert "studio=invented" in phone.url
    expect(phone.get_by_role("link", name="Log hours")).to_have_count(0)
    phone.get_by_role("link", name="Works", exact=True).click()
    expect(phone.get_by_text("67 works of 67")).to_be_visible()
    assert "studio=invented" in phone.url
    phone.reload()
    expect(phone.get_by_text("67 works of 67")).to_be_visible()
    phone.get_by_role("button", name="Back to my studio").click()
    expect(phone.get_by_text("Nothing is logged yet.")).to_be_visible()


def test_the_figures_of_the_page_are_those_of_the_command_to_the_digit(
    demo_address: str, laptop: Page, tmp_path: Path
) -> None:
    db = str(tmp_path / "demo.duckdb")
    printed = ready.command("demo", "--no-serve", "--db", db).stdout
    lines = json.loads(ready.command("overruns", "--json", "--db", db).stdout)
    laptop.goto(f"{demo_address}/where-the-hours-went")
    table = laptop.get_by_role("region", name="Hours by phase")
    expect(table).to_be_visible()
    on_page = [row.get_by_role("cell").all_inner_texts() for row in table.get_by_role("row").all()[1:]]
    rows = [line for line in printed.splitlines() if re.search(r"\d  +[\d,]+\.\d", line)]
    assert on_page == [re.split(r"  +", line.strip()) for line in rows] and len(on_page) > 10
    for sentence in (
        line
        for line in printed.splitlines()
        if line.startswith(("Most over", "Still open", "Apart", "Hours are shown"))
    ):
        expect(laptop.get_by_text(sentence)).to_be_visible()
    with laptop.expect_download() as given:
        laptop.get_by_role("button", name="Lines", exact=True).click()
    downloaded = pd.read_csv(
        given.value.path(),
        dtype={"part": str},
        keep_default_na=False,
        na_values={"difference_hours": [""], "estimated_hours": [""]},
    )
    assert downloaded["actual_hours"].tolist() == [line["actual_hours"] for line in lines]
    assert downloaded["difference_hours"].tolist() == [line["difference_hours"] for line in lines]
    assert downloaded["object"].tolist() == [line["object"] for line in lines]
