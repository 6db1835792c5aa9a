"""A studio that names no technique uses every page, and every line on them has a name."""

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard import roles
from ingest.editing import estimate_drafts, quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from tests import by_phase, prepared
from tests.dashboard.pages.conftest import Download
from tests.dashboard.saved_quotes import saved
from tests.drawn import cells_of, checked, choose_option, draw, fill_field, press_button, rows_of, words_of

OF_A_WORK = ("one_work", "on_the_bench", "estimate", "promised_and_kept", "works")
WORKS = (by_phase.BY_PHASE, by_phase.AS_A_WHOLE, by_phase.IN_PARTS, by_phase.NOT_APPROVED, "25-003")
# heads of the columns that name a line
ENTRIES = 'aria-label="Time entries, the latest first"'
NAMING = ("line", "technique", "phase", "phase and what is done", "studio time")
PAGES = [
    (page, {"object": work} if work else {})
    for page in roles.PAGES["principal"]
    for work in ("", *(WORKS if page in OF_A_WORK else ()))
]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with prepared.new_studio(works=False) as store:
        by_phase.fill(store, tmp_path_factory.mktemp("by phase"))
        yield store


@pytest.mark.parametrize(
    "page, query", PAGES, ids=[" ".join((page, *query.values())) for page, query in PAGES]
)
def test_every_page_is_drawn_and_says_every_name(
    whole: Store, monkeypatch: pytest.MonkeyPatch, page: str, query: dict[str, str]
) -> None:
    drawn = draw(monkeypatch, whole, page, **query)
    by_phase.assert_every_name_is_said(words_of(drawn))
    assert_every_cell_names(drawn)


def assert_every_cell_names(drawn: AppTest) -> None:
    """No cell is empty in a column of names; the entries of a work have their own tests."""
    for item in drawn.get("html"):
        for table in re.findall(r"<table.*?</table>", item.proto.body, re.S):
            if ENTRIES in item.proto.body:
                continue
            rows = [
                [html.unescape(re.sub(r"<[^>]+>", "", cell)).strip() for cell in cells]
                for row in table.split("<tr")[1:]
                if (cells := re.findall(r"<t[dh][ >].*?</t[dh]>", row, re.S))
            ]
            named = [place for place, head in enumerate(rows[0]) if head in NAMING]
            assert all(row[place] for row in rows for place in named if place < len(row)), rows


def test_phases_sum_their_lines_of_any_level_and_it_is_said_at_which_differences_are_known(
    whole: Store, monkeypatch: pytest.MonkeyPatch, download: Download
) -> None:
    page = draw(monkeypatch, whole, "where_the_hours_went", phase="cleaning")
    assert [row[0] for row in rows_of(page, "Hours by phase")] == [
        *("phase", "examination", "cleaning", "filling", "retouching", "varnishing", "all phases")
    ]
    assert "In every phase, differences are known for the phase as a whole only." in words_of(page)
    assert [row[0] for row in rows_of(page, "Techniques of cleaning")[1:]] == ["cleaning as a whole"]
    assert rows_of(page, "Techniques that ran over most")[1][0] == "filling as a whole"
    lines = download(page, "Lines")
    assert isinstance(lines, str)
    head, first = lines.splitlines()[:2]
    assert dict(zip(head.split(","), first.split(","), strict=True)) | {
        "phase": "examination",
        "technique": "",
    } == dict(zip(head.split(","), first.split(","), strict=True))


def test_one_work_shows_beneath_a_whole_what_was_logged_more_closely_without_differences(
    whole: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, whole, "one_work", object=by_phase.AS_A_WHOLE)
    lines = rows_of(page, "Lines of this work")
    assert [row[:4] for row in lines[1:]] == [
        ["the work as a whole", "20.0", "9.0", "0.0"],
        ["of it cleaning as a whole", "", "3.0", ""],
        ["of it, not said on what", "", "6.0", ""],
    ]
    assert cells_of(page, "Hours apart", "the work as a whole")[:2] == ["all phases", "the work as a whole"]
    assert "last worked on 11 May 2026 (the work as a whole)" in words_of(page)


def test_rates_are_those_of_whole_phases_and_of_the_work(
    whole: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, whole, "our_rates")
    assert [row[:2] for row in rows_of(page, "Rates of whole phases and works")] == [
        *(["line", "works"], ["examination as a whole", "9"], ["cleaning as a whole", "9"]),
        *(["filling as a whole", "9"], ["retouching as a whole", "9"], ["varnishing as a whole", "10"]),
        ["the work as a whole", "9"],
    ]
    assert not [choice for choice in page.selectbox if choice.label == "Technique"]


def test_a_whole_phase_is_pinned_beside_its_lines_and_the_quotes_that_used_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with prepared.new_studio(works=False) as studio:
        by_phase.fill(studio, tmp_path)
        quote = Quote(works=[QuotedWork(object=by_phase.NOT_APPROVED, lines=[{"phase": "cleaning"}])])
        assert saved(studio, quote) == [(by_phase.NOT_APPROVED, 2)]
        page = draw(monkeypatch, studio, "our_rates", technique="cleaning as a whole")
        assert [choice.label for choice in page.selectbox] == ["Phase or work"]
        assert "From 9 finished lines on 9 works" in words_of(page)
        (used,) = rows_of(page, "Quotes that used this rate")[1:]
        assert used[0] == "26-013, version 2" and re.fullmatch(r"[\d.]+ h per phase", used[3])
        fill_field(page, "Hours per phase", "22")
        fill_field(page, "Why", "two hands now")
        press_button(page, "Pin it")
        said = words_of(page)
        assert "cleaning as a whole is pinned at 22.0 h per phase." in said
        assert re.search(r"Pinned at 22\.0 h per phase on .*: two hands now\. The record says", said)
        assert cells_of(page, "Rates of whole phases and works", "22.0*")[0] == "cleaning as a whole"
        press_button(page, "Let the record say it")
        assert "cleaning as a whole is no longer pinned" in words_of(page)
        page = draw(monkeypatch, studio, "our_rates", technique="the work as a whole")
        fill_field(page, "Hours per work", "40")
        fill_field(page, "Why", "larger ones")
        press_button(page, "Pin it")
        assert "the work as a whole is pinned at 40.0 h per work." in words_of(page)


def test_a_studio_that_names_every_technique_sees_no_rate_of_a_whole(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, demo, "our_rates")
    assert "as a whole" not in words_of(page) and "Whole phases" not in words_of(page)


def test_studio_time_and_pauses_say_what_no_technique_is_known_of(
    whole: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, whole, "the_year")
    assert rows_of(page, "Studio time")[1][0] == "studio time as a whole"
    assert "Not enough to say: no technique was done on" in words_of(page)
    page = draw(monkeypatch, whole, "hours_worth_a_pause", whose="Odile", period="52 weeks")
    assert re.search(
        r"[\d.]+ h were logged on a phase or a work as a whole: with which techniques nobody has said, so"
        r" they are in none of these figures\.",
        words_of(page),
    )


def test_an_estimate_is_written_by_phase_also_by_choosing_it(
    whole: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = by_phase.NOT_APPROVED
    page = draw(monkeypatch, whole, "estimate", object=code)
    press_button(page, "Begin with the latest version")
    assert "A phase and its hours are a line too, and so are hours alone, of the whole work." in words_of(
        page
    )
    page.session_state[f"adding {code}"] = True
    checked(page.run())
    choose_option(page, "Technique", "phase as a whole: varnishing")
    assert not any(field.label.startswith("Quantity") for field in page.text_input)
    fill_field(page, "Hours", "2:30")
    press_button(page, "Add it to the sheet")
    assert [row[0] for row in rows_of(page, "Lines of the sheet")] == [
        *("line", "retouching: 9.0 h", "retouching as a whole", "varnishing: 2.5 h", "varnishing as a whole")
    ]
    draft = estimate_drafts.read(whole.cursor(), code)
    assert draft and draft.lines[-1] == {"phase": "varnishing", "hours": "2:30"}
    estimate_drafts.throw_away(whole, code)


def test_a_quote_by_phase_is_read_saved_and_shown_with_what_it_stood_on(
    whole: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = by_phase.NOT_APPROVED
    lines = [
        {"phase": "cleaning"},
        {"phase": "filling", "part": "the sky", "option": "A"},
        {"phase": "retouching", "hours": "9"},
        {"person": "Odile"},
    ]
    written = Quote(works=[QuotedWork(object=code, lines=lines)], letter={"reason": "Grime."})
    quote = quote_drafts.keep(whole, written, "a visit")
    page = draw(monkeypatch, whole, "quote_a_work", quote=f"{quote.number}")
    by_phase.assert_every_name_is_said(words_of(page))
    assert_every_cell_names(page)
    assert [row[0] for row in rows_of(page, "Lines of the quote")] == [
        *("line", "cleaning", "cleaning as a whole", "filling", "filling as a whole, the sky, option A"),
        *("retouching", "retouching as a whole"),
    ]
    press_button(page, f"Save as version 2 of {code}")
    page = draw(monkeypatch, whole, "estimate", object=code)
    page.session_state[f"lines of {code}"] = True
    checked(page.run())
    by_phase.assert_every_name_is_said(words_of(page))
    assert_every_cell_names(page)
    assert [row[0] for row in rows_of(page, "Lines and the rates they stood on")[1:]] == [
        *("cleaning as a whole", "filling as a whole, the sky", "retouching as a whole")
    ]
