"""The guide says what the code says, in words that a conservator reads."""

import argparse
import re
from importlib import resources

import pytest

from dashboard import guide, roles
from dashboard.cli.main import _parser
from dashboard.services import demo
from dashboard.text import csv_forms
from ingest.devices import ROLES
from ingest.importing.cell_readers import READERS
from ingest.schema.csv_columns import FORMS
from ingest.store import Store
from ingest.studio import vocabulary
from ingest.studio.vocabulary import read_vocabulary
from tests import ROOT
from tests.conftest import CHANGE, LATER
from tests.prepared import new_store

OF_STATISTICS = re.compile(
    r"\b(quantile|percentile|median|mean|average|varian|standard deviation|posterior|prior|bayes|interval"
    r"|distribut|probabilit|confidence|regress|simulat|shrink|sampl|coefficient|calibrat|random)",
    re.IGNORECASE,
)


def _chapter(name: str, store: Store) -> str:
    return guide.chapter(name, store.cursor())


def _prose(text: str) -> str:
    """A text without what stands in it as code."""
    return re.sub(r"```.*?```|`[^`]*`", "", text, flags=re.DOTALL)


def test_every_chapter_is_a_file_that_begins_with_its_title() -> None:
    files = {
        path.name.removesuffix(".md"): path.read_text(encoding="utf-8")
        for path in resources.files(guide).iterdir()
        if path.name.endswith(".md")
    }
    assert {name: text.partition("\n")[0] for name, text in files.items()} == {
        name: f"# {title}" for name, title in guide.CHAPTERS.items()
    }


def test_every_page_but_the_guide_leads_to_a_chapter_and_names_itself_as_the_menu_does() -> None:
    pages = {name: title for names in roles.PAGES.values() for name, title in names.items()}
    assert pages.pop("guide") == "Guide"
    assert set(guide.CHAPTER_OF) == set(pages.values())
    assert set(guide.CHAPTER_OF.values()) <= set(guide.CHAPTERS)
    for name, title in pages.items():
        page = (ROOT / "dashboard" / "pages" / f"{name}.py").read_text(encoding="utf-8")
        titled = re.search(r'^layout\.show\((TITLE|".+"), ', page, re.MULTILINE)
        assert titled, name
        assert titled[1] == f'"{title}"' or f'\nTITLE = "{title}"\n' in page, name


def test_the_guide_is_the_last_page_of_each_role_that_sees_pages() -> None:
    assert [list(pages)[-1] for pages in roles.PAGES.values() if pages] == ["guide", "guide"]


def test_the_guide_lists_every_column_of_every_form_with_its_star(store: Store) -> None:
    text = _chapter("forms", store)
    for form in FORMS:
        section = text.partition(f"\n### {form.kind.capitalize()}\n")[2].partition("\n### ")[0]
        assert re.findall(r"^\| `(\w+)`(\*?)", section, re.MULTILINE) == [
            (column.name, "*" if column.star else "") for column in form.columns
        ], form.kind


def test_what_a_cell_may_be_is_said_of_every_kind_of_cell() -> None:
    assert set(csv_forms.CELLS) == set(READERS)
    # it would end the cell of the table
    assert not [text for text in csv_forms.CELLS.values() if "|" in text]


def test_the_guide_lists_the_words_of_the_studio(store: Store) -> None:
    with store.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "inpainting", CHANGE)
        vocabulary.retire(con, "technique", "facing", LATER, CHANGE)
    words = read_vocabulary(store.cursor())
    text = _chapter("words", store)
    for phase in words.phases:
        section = text.partition(f"\n#### {phase}\n")[2].partition("\n#### ")[0]
        listed = re.findall(r"^\| ([\w ]+?) +\|", section, re.MULTILINE)
        assert sorted(listed[1:]) == sorted(
            technique.technique
            for technique in words.techniques.values()
            if technique.phase == phase and technique.retired_on is None
        )
    assert re.search(r"^\| inpainting .*\bretouching\b", text, re.MULTILINE)
    assert not re.search(r"^\| facing +\|", text, re.MULTILINE)


def test_a_word_of_the_studio_is_no_layout_of_the_guide(store: Store) -> None:
    with store.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "a|b <img src=x> ![x](http://x)", CHANGE)
    row = next(line for line in _chapter("words", store).splitlines() if line.startswith(r"| a\|"))
    assert row.startswith(r"| a\|b \<img src=x\> \!\[x\]\(http\://x\)")


@pytest.mark.parametrize("name", guide.CHAPTERS)
def test_a_chapter_has_no_html_no_term_of_statistics_and_nothing_left_to_fill_in(
    name: str, store: Store
) -> None:
    text = _chapter(name, store)
    assert not re.search(r"</?\w|\*The (columns|words) ", text)
    assert not OF_STATISTICS.search(_prose(guide.source(name)))


def test_the_guide_has_nothing_private_of_the_studio_in_it() -> None:
    with new_store() as store:
        demo.fill(store)
        text = "\n".join(_chapter(name, store) for name in guide.CHAPTERS)
        private = store.cursor().execute(
            "SELECT person FROM people UNION SELECT title FROM objects UNION SELECT owner FROM objects"
        )
        assert [word for (word,) in private.fetchall() if word and word in text] == []


def test_the_guide_lists_every_command_with_options_that_it_has(store: Store) -> None:
    text = _chapter("commands", store)
    (commands,) = (
        action.choices for action in _parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    rows = dict(re.findall(r"^\| `(\w+)[^|]*\| (.+) \|$", text, re.MULTILINE))
    assert set(rows) == set(commands)
    for name, row in rows.items():
        assert set(re.findall(r"--[a-z-]+", row)) <= set(commands[name]._option_string_actions) | {
            "--phones" if name == "serve" else ""
        }
    (quote,) = re.findall(r"### A quote by command\n(.+?)\n### ", text, re.DOTALL)
    of_quote = set(commands["quote"]._option_string_actions) | {"--no-serve"}
    assert set(re.findall(r"--[a-z-]+", quote)) <= of_quote


def test_the_guide_lists_every_role(store: Store) -> None:
    text = _chapter("phones", store)
    assert re.findall(r"^\| \*(.+?)\* \|", text, re.MULTILINE) == list(ROLES)
