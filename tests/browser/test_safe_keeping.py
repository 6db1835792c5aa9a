"""Safe keeping, as a person walks it: back up, lose something, go back, take everything along."""

import re
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from ingest.importing.files import import_files
from ingest.store import Store
from tests.browser.conftest import act, choose, keep, serve, tick
from tests.browser.steps import done, go, press
from tests.drawn import draw
from tests.whole_studios import everything


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def studio(invented: Path, folder: Path) -> Iterator[str]:
    """Each test leaves in it what it found."""
    yield from serve(shutil.copyfile(invented, folder / "studio.duckdb"))


def test_a_backup_is_made_lost_work_comes_back_and_what_was_there_is_kept(
    studio: str, folder: Path, laptop: Page
) -> None:
    # the bench, which says so too, is longer reckoned: `test_on_the_bench.py`
    go(laptop, f"{studio}/where-the-hours-went", "Where the hours went")
    expect(laptop.get_by_text("No backup was made yet: a disk can fail.")).to_be_visible()
    go(laptop, f"{studio}/safe-keeping", "Safe keeping")
    press(laptop, "Back up now")
    done(laptop, "Backed up, and found equal: 67 works")
    expect(laptop.get_by_text("Last backup: ")).to_be_visible()
    [made] = (folder / "backups").iterdir()
    content = made.read_bytes()

    go(laptop, f"{studio}/studio?part=people", "Studio")
    laptop.get_by_label("Add a person: name").fill("Somebody New")
    press(laptop, "Add")
    done(laptop, "Somebody New is added.")

    go(laptop, f"{studio}/safe-keeping", "Safe keeping")
    choose(laptop, "Backup", "MB)")
    expect(
        laptop.get_by_text(re.compile(r"It holds 67 works, .* entries, .*The studio now holds 67 works"))
    ).to_be_visible()
    expect(laptop.get_by_role("button", name="Go back to it")).to_be_disabled()
    keep(laptop, "safe-keeping-chosen")
    tick(laptop, "Put it in the place of everything held now")
    press(laptop, "Go back to it")
    done(laptop, "The studio is as it was in that backup: 67 works")
    keep(laptop, "safe-keeping-back")
    go(laptop, f"{studio}/studio?part=people", "Studio")
    expect(laptop.get_by_text("Add a person: name")).to_be_visible()
    expect(laptop.get_by_text("Somebody New")).to_have_count(0)
    assert made.read_bytes() == content
    [before] = (folder / "backups").glob("*before-restore*")
    with Store(before) as store:
        assert store.cursor().execute(
            "SELECT count(*) FROM people WHERE person = 'Somebody New'"
        ).fetchall() == [(1,)]


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


def test_what_does_not_hold_together_is_said_on_the_page(
    invented: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Store(shutil.copyfile(invented, tmp_path / "studio.duckdb")) as store:
        store.cursor().execute("DELETE FROM estimated_lines WHERE version = 2")
        page = draw(monkeypatch, store, "safe_keeping")
    assert [item.value for item in page.title] == ["Safe keeping"]
    [warning] = page.warning
    assert warning.value.startswith("The record does not hold together in 1 thing.")
    assert re.search(
        "versions of estimates without lines: .*Bring in the estimates file again.",
        " ".join(item.proto.body for item in page.get("html")),
    )
