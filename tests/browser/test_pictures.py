"""The pictures of the README show the pages as they are."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser

from tests.browser.conftest import serve
from tests.pictures import FOLDER, PICTURES, WORDS, begin_quote, words_of

LARGEST_BYTES = 150_000


@pytest.fixture(scope="module")
def studio(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The invented studio, in which a quote is begun and nothing else."""
    db = shutil.copyfile(invented, tmp_path_factory.mktemp("pictures") / "studio.duckdb")
    begin_quote(db)
    yield from serve(db)


@pytest.mark.parametrize("name", PICTURES)
def test_the_pictures_are_not_older_than_the_pages_they_show_by_their_words(
    browser: Browser, studio: str, request: pytest.FixtureRequest, name: str
) -> None:
    # the bench is only looked at, and other tests have it reckoned there
    address = request.getfixturevalue("demo_address") if name == "on-the-bench" else studio
    there = words_of(browser, PICTURES[name], address)
    assert json.loads(WORDS.read_text(encoding="utf-8"))[name] == there, "python -m tests.pictures"


def test_there_is_no_other_picture() -> None:
    assert {path.name for path in FOLDER.iterdir()} == {f"{name}.png" for name in PICTURES} | {WORDS.name}
    assert json.loads(WORDS.read_text(encoding="utf-8")).keys() == PICTURES.keys()


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_small_and_as_wide_as_it_is_shown(name: str) -> None:
    file = FOLDER / f"{name}.png"
    assert file.stat().st_size <= LARGEST_BYTES
    with Image.open(file) as image:
        assert (image.width, image.mode) == (PICTURES[name].width * PICTURES[name].scale, "P")
