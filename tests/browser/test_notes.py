"""A note may hold anything: it is shown as it was written, wherever it is shown, and leaves as it was
written.
"""

from __future__ import annotations

import csv
import html.parser
import io
import json
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from ingest.importing.files import import_files
from ingest.safekeeping.export import export
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests import phones
from tests.browser.conftest import act, settled, until
from tests.conftest import bring_into
from tests.served import Server

NOTES = {
    "html": (
        "<b>bold</b> <img src=x onerror=\"window.hurt='img'\"> & &amp; &lt;i&gt; <!-- no --> <a"
        " href='javascript:hurt()'>a</a>"
    ),
    "script": (
        "</script><script>window.hurt='script'</script>{{ 7*7 }} ${7*7} #{7*7} ]]> \\u003cscript\\u003e"
    ),
    "quotes": "'single' \"double\" `tick` «guillemets» „low“ O'Neil \\ back\\slash \\n",
    "emoji": "🖼️ 👩‍🎨 🇳🇱 e\u0301 ﷽ 𝕏 \u2028line\u2029paragraph",
    "right to left": "הערה על התמונה \u202etpircs\u202c عربي mixed 12.5 dm²",
    "markdown": (
        "# head **strong** [link](https://elsewhere.example) ![p](https://elsewhere.example/x.png) $x^2$"
        " :red[no] | a | b |\n\n- item"
    ),
    "formula": '=HYPERLINK("https://elsewhere.example","x")',
    "sql": "'); DROP TABLE spells; -- %s {0} %(x)s",
    "long": "0123456789" * 999 + " the end.",
}
assert len(NOTES["long"]) >= 9_999


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("notes")
    with Store(folder / "studio.duckdb") as store:
        with store.writing() as con:
            write_settings(con, {"zone": "Europe/Berlin"})
        bring_into(store, folder, "objects.csv", "object,title\n24-001,Ferry in snow\n")
    opened = Server(folder / "studio.duckdb")
    yield opened
    opened.discard()


@pytest.fixture(scope="module")
def sent(studio: Server) -> dict[str, str]:
    """Every note sent by a phone, each on a line of its own, as it then stands in the record."""
    today = json.load(urllib.request.urlopen(f"{studio.address}/log/v1/bench"))["today"]
    actions = [
        phones.action(kind, row={"date": today, "hours": "1", "note": note, "part": kind})
        for kind, note in NOTES.items()
    ]
    told = post(studio, "actions", {"phone": phones.PHONE, "clock": 1, "actions": actions})
    assert told["unread"] == [] and len(told["received"]) == len(NOTES)
    outcomes = post(studio, "outcomes", {"actions": told["received"]})["outcomes"]
    assert {outcome["outcome"] for outcome in outcomes} == {"saved"}, outcomes
    return NOTES


def spaced(note: str) -> str:
    """As a document shows it: runs of space are one."""
    return " ".join(note.split())


def post(studio: Server, path: str, said: object) -> dict[str, list[dict[str, str]]]:
    request = urllib.request.Request(
        f"{studio.address}/log/v1/{path}", json.dumps(said).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request) as answer:
        found: dict[str, list[dict[str, str]]] = json.load(answer)
        return found


@pytest.fixture(scope="module")
def tab(browser: Browser) -> Iterator[tuple[Page, list[str]]]:
    """A tab for all these tests, and whatever its pages ask for."""
    with browser.new_context(viewport={"width": 1280, "height": 800}) as context:
        asked: list[str] = []
        context.on("request", lambda request: asked.append(request.url))
        yield context.new_page(), asked


@pytest.fixture
def page(tab: tuple[Page, list[str]]) -> Iterator[Page]:
    opened, asked = tab
    yield opened
    assert (
        opened.evaluate("window.hurt") is None
        and [url for url in asked if "elsewhere" in url or url.endswith("/x")] == []
    )


@pytest.fixture
def work_page(studio: Server, sent: dict[str, str], page: Page) -> Page:
    """The page of the work, which stays open from one test to the next."""
    address = f"{studio.address}/one-work?object=24-001"
    if page.url != address:
        page.goto(address)
    settled(page)
    return page


def test_a_page_shows_each_note_as_it_was_written(sent: dict[str, str], work_page: Page) -> None:
    page = work_page
    table = page.get_by_role("region", name="Time entries, the latest first")
    expect(table).to_be_visible()
    cells = [" ".join(text.split()) for text in table.locator("tbody td:last-child").all_text_contents()]
    assert sorted(cells) == sorted(map(spaced, sent.values()))
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


class Read(html.parser.HTMLParser):
    """The cells of a document as another program (Python's html.parser) reads them, and its tags."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.cells: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag == "td":
            self.cells.append("")

    def handle_data(self, data: str) -> None:
        if self.cells:
            self.cells[-1] += data


def test_the_statement_to_print_and_as_csv_hold_each_note_as_it_was_written(
    sent: dict[str, str], work_page: Page
) -> None:
    page = work_page
    act(page, page.get_by_text("With the notes of the entries").click)
    with page.expect_download() as taken:
        page.get_by_role("button", name="Statement to print").click()
    read = Read(Path(taken.value.path()).read_text(encoding="utf-8"))
    assert set(map(spaced, sent.values())) <= set(map(spaced, read.cells))
    assert read.tags <= {
        "html",
        "meta",
        "title",
        "style",
        "h1",
        "h2",
        "p",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
    }
    with page.expect_download() as taken:
        page.get_by_role("button", name="Statement as CSV").click()
    rows = list(csv.DictReader(io.StringIO(Path(taken.value.path()).read_text(encoding="utf-8"))))
    assert sorted(
        row["note"].removeprefix("'") if row["note"].startswith("'=") else row["note"] for row in rows
    ) == sorted(sent.values())
    assert not any(row["note"].startswith("=") for row in rows)


def test_the_form_shows_each_note_as_it_was_written(studio: Server, sent: dict[str, str], page: Page) -> None:
    page.goto(f"{studio.address}/log")
    page.get_by_role("button", name="Ilse", exact=True).click()
    expect(page.locator("#told")).to_contain_text("All is saved in the studio.")
    until(page, f"(state.entries || []).length === {len(sent)}")
    for kind, note in sent.items():
        page.goto(f"{studio.address}/log#entry={phones.name(kind)}")
        expect(page.get_by_label("Note")).to_have_value(note)
    page.goto(f"{studio.address}/log#day")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


def test_an_export_brings_each_note_back(studio: Server, sent: dict[str, str], tmp_path: Path) -> None:
    studio.command("export", str(tmp_path / "out"), "--private")
    with Store(":memory:") as back:
        assert all(report.complete for report in import_files(back, sorted((tmp_path / "out").iterdir())))
        assert sorted(
            row[0] for row in back.cursor().execute("SELECT note FROM spells").fetchall()
        ) == sorted(sent.values())
        export(back, tmp_path / "again", private=True)
    assert (tmp_path / "again" / "time_entries.csv").read_bytes() == (
        tmp_path / "out" / "time_entries.csv"
    ).read_bytes()


def test_the_json_of_the_statement_holds_each_note(studio: Server, sent: dict[str, str]) -> None:
    told = json.loads(studio.command("statement", "--object", "24-001", "--json", "--with-notes"))
    assert sorted(item["note"] for item in told) == sorted(sent.values())
