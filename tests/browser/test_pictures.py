"""The pictures of the README show the pages as they are."""

import json
import shutil
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser

from tests.pictures import FOLDER, PICTURES, WORDS, all_taken

LARGEST_BYTES = 150_000


def test_the_pictures_are_not_older_than_the_pages_they_show_by_their_words(
    browser: Browser, invented: Path, tmp_path: Path
) -> None:
    shutil.copy(invented, tmp_path / "studio.duckdb")
    there = {name: words for name, (_, words) in all_taken(browser, tmp_path, late=False).items()}
    assert json.loads(WORDS.read_text(encoding="utf-8")) == there, "python -m tests.pictures makes them anew"


def test_there_is_no_other_picture() -> None:
    assert {path.name for path in FOLDER.iterdir()} == {f"{name}.png" for name in PICTURES} | {WORDS.name}


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_small_and_as_wide_as_it_is_shown(name: str) -> None:
    file = FOLDER / f"{name}.png"
    assert file.stat().st_size <= LARGEST_BYTES
    with Image.open(file) as image:
        assert (image.width, image.mode) == (PICTURES[name].width * PICTURES[name].scale, "P")
