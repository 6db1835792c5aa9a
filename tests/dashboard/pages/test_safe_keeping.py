"""Safe keeping, as a person walks it: back up, lose something, go back; and what is wrong with the record."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.store import Store
from tests.drawn import checked, choose_option, draw, fill_field, press_button, words_of


@pytest.fixture
def kept(invented: Path, tmp_path: Path) -> Iterator[Store]:
    """The invented studio in a folder of its own, as backups lie beside it."""
    with Store(shutil.copyfile(invented, tmp_path / "studio.duckdb")) as store:
        yield store


def test_a_backup_is_made_lost_work_comes_back_and_what_was_there_is_kept(
    kept: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # the bench, which says so too, is longer reckoned: `test_on_the_bench.py`
    page = draw(monkeypatch, kept, "where_the_hours_went")
    assert "No backup was made yet: a disk can fail." in words_of(page)
    page = draw(monkeypatch, kept, "safe_keeping")
    press_button(page, "Back up now")
    assert "Backed up, and found equal: 67 works" in words_of(page)
    assert "Last backup: " in words_of(page)
    [made] = (tmp_path / "backups").iterdir()
    content = made.read_bytes()

    page = draw(monkeypatch, kept, "studio", part="people")
    fill_field(page, "Add a person: name", "Somebody New")
    press_button(page, "Add")
    assert "Somebody New is added." in words_of(page)
    page = draw(monkeypatch, kept, "studio", part="people")
    assert "Somebody New" in words_of(page)

    page = draw(monkeypatch, kept, "safe_keeping")
    choose_option(page, "Backup", "MB)")
    assert re.search(r"It holds 67 works, .* entries, .*The studio now holds 67 works", words_of(page))
    (back,) = [button for button in page.button if button.label == "Go back to it"]
    assert back.disabled
    (sure,) = [box for box in page.checkbox if box.label.startswith("Put it in the place of everything")]
    sure.check()
    checked(page.run())
    (back,) = [button for button in page.button if button.label == "Go back to it"]
    assert not back.disabled
    press_button(page, "Go back to it")
    assert "The studio is as it was in that backup: 67 works" in words_of(page)
    page = draw(monkeypatch, kept, "studio", part="people")
    assert "Add a person: name" in [field.label for field in page.text_input]
    assert "Somebody New" not in words_of(page)
    assert made.read_bytes() == content
    [before] = (tmp_path / "backups").glob("*before-restore*")
    with Store(before) as store:
        assert store.cursor().execute(
            "SELECT count(*) FROM people WHERE person = 'Somebody New'"
        ).fetchall() == [(1,)]


def test_what_does_not_hold_together_is_said_on_the_page(
    kept: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.cursor().execute("DELETE FROM estimated_lines WHERE version = 2")
    page = draw(monkeypatch, kept, "safe_keeping")
    assert [item.value for item in page.title] == ["Safe keeping"]
    [warning] = page.warning
    assert warning.value.startswith("The record does not hold together in 1 thing.")
    assert re.search(
        "versions of estimates without lines: .*Bring in the estimates file again.",
        " ".join(item.proto.body for item in page.get("html")),
    )
