"""Safe keeping, as a person walks it: take everything along, and look at a backup from elsewhere."""

import re
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from ingest.importing.files import import_files
from ingest.store import Store
from tests.browser.conftest import act, choose, serve, tick
from tests.browser.steps import go
from tests.whole_studios import everything


@pytest.fixture
def studio(invented: Path, tmp_path: Path) -> Iterator[str]:
    yield from serve(shutil.copyfile(invented, tmp_path / "studio.duckdb"))


def test_everything_can_be_taken_along_and_makes_the_same_studio_elsewhere(
    studio: str, laptop: Page, tmp_path: Path
) -> None:
    go(laptop, f"{studio}/safe-keeping", "Safe keeping")
    with laptop.expect_download() as copying:
        laptop.get_by_role("button", name="Take a copy with you").click()
    copy = tmp_path / "taken.duckdb"
    copying.value.save_as(copy)
    tick(laptop, "With titles, owners and addresses")
    with laptop.expect_download() as packing:
        laptop.get_by_role("button", name="All files with titles and owners, in one zip").click()
    assert packing.value.suggested_filename == "studio-csv-private.zip"
    packing.value.save_as(tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as packed:
        packed.extractall(tmp_path / "all")
    with Store(copy) as store, Store(":memory:") as elsewhere:
        assert all(
            report.complete for report in import_files(elsewhere, sorted((tmp_path / "all").iterdir()))
        )
        assert everything(elsewhere) == everything(store)

    choose(laptop, "Backup", "a file from elsewhere")
    act(laptop, lambda: laptop.locator("input[type=file]").set_input_files(copy))
    expect(laptop.get_by_text(re.compile("It holds 67 works"))).to_be_visible()
    wrong = tmp_path / "wrong.duckdb"
    wrong.write_text("no backup" * 1000)
    act(laptop, lambda: laptop.locator("input[type=file]").set_input_files(wrong))
    expect(
        laptop.get_by_text(
            "wrong.duckdb is not a bench-hours database, or it is damaged. Choose another backup."
        )
    ).to_be_visible()
