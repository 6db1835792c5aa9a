"""A command that does several things does all of them or none: what is written besides is there first, or
nothing is saved.
"""

import argparse
import os
import shutil
from pathlib import Path

import duckdb
import pytest

from dashboard.cli import main as cli_main
from dashboard.cli import options
from dashboard.cli.main import main
from dashboard.cli.output import writing
from ingest.editing import saved_quotes
from ingest.errors import BenchHoursError
from ingest.safekeeping import backup, restore
from ingest.safekeeping.integrity import sums
from ingest.store import Store
from ingest.studio.settings import read_settings

# What each command needs besides, and all it can do at once.
AT_ONCE = {
    "words": [],
    "overruns": [],
    "rates": [],
    "forecast": [],
    "statement": ["--object", "24-001"],
    "backtest": [],
    "plan": ["--hours", "20"],
    "quote": ["--object", "24-001", "--save", "--reason", "an old fill was found"],
}
COMES_IN = ("--db", "--lines", "--tls-cert", "--tls-key")  # files that are read


FILES = {
    "o.csv": "object,title\n24-001,Ferry\n24-002,Mill\n",
    "e.csv": (
        "object,version,made_on,approved_on,phase,technique,hours\n"
        "24-001,1,2024-01-05,2024-01-09,,facing,4\n"
        "24-001,1,2024-01-05,2024-01-09,,filling,3\n"
    ),
    "t.csv": "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,5\n",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files and the studio that they were brought into."""
    folder = tmp_path_factory.mktemp("made")
    for name, text in FILES.items():
        (folder / name).write_text(text)
    files = [str(folder / name) for name in FILES]
    database = str(folder / "studio.duckdb")
    assert main(["import", "--db", database, "--zone", "Europe/Berlin", *files]) == 0
    return folder


@pytest.fixture
def studio(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "studio.duckdb"
    monkeypatch.setenv("BENCH_HOURS_DB", str(path))
    monkeypatch.chdir(tmp_path)
    return path


def _held(path: Path) -> dict[str, tuple[int, int]]:
    with Store(path) as store, store.reading() as con:
        return sums(con)


@pytest.fixture(scope="module")
def held_before(made: Path) -> dict[str, tuple[int, int]]:
    return _held(made / "studio.duckdb")


def _files_of(name: str) -> list[str]:
    """The options of a command under which it writes a file."""
    (commands,) = (
        action for action in cli_main._parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    files = [action for action in commands.choices[name]._actions if action.type is options.file]
    return [
        file.option_strings[0]
        for file in files
        if file.option_strings and file.option_strings[0] not in COMES_IN
    ]


def test_every_command_that_writes_a_file_is_held_to_it_here() -> None:
    (commands,) = (
        action for action in cli_main._parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    assert {name for name in commands.choices if _files_of(name)} == set(AT_ONCE)


@pytest.mark.parametrize(
    ("name", "option"), [(name, option) for name in AT_ONCE for option in _files_of(name)]
)
def test_a_file_that_cannot_be_written_leaves_nothing_saved_and_no_other_file(
    name: str,
    option: str,
    studio: Path,
    held_before: dict[str, tuple[int, int]],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    there = set(tmp_path.iterdir())
    others = [part for other in _files_of(name) if other != option for part in (other, f"made{other}")]
    assert main([name, *AT_ONCE[name], *others, option, "nowhere/to/be/found"]) == 2
    said = capsys.readouterr()
    assert (
        "nowhere/to/be/found cannot be written (No such file or directory). Name another place." in said.err
        and not said.out
    )
    assert "Saved" not in said.err and ": the letter" not in said.err
    assert _held(studio) == held_before and set(tmp_path.iterdir()) == there


def test_a_quote_that_cannot_be_saved_writes_no_letter_and_one_that_can_does_both(
    studio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = set(tmp_path.iterdir())
    both = ["quote", "--object", "24-001", "--save", "--pdf", "q.pdf", "--html", "q.html", "--csv", "q.csv"]
    assert main(both) == 2 and set(tmp_path.iterdir()) == there  # nobody has said what was found since
    with monkeypatch.context() as patched:
        patched.setattr(saved_quotes, "save", _disk_full)
        assert main([*both, "--reason", "an old fill"]) == 2 and set(tmp_path.iterdir()) == there
    assert main([*both, "--reason", "an old fill"]) == 0
    assert {path.name for path in set(tmp_path.iterdir()) - there} == {"q.pdf", "q.html", "q.csv"}
    with Store(studio) as store:
        assert store.cursor().execute("SELECT max(version) FROM estimate_versions").fetchall() == [(2,)]


def _disk_full(*_: object) -> None:
    raise duckdb.IOException("no space left on device")


def test_labels_and_an_export_leave_no_half_file(studio: Path, tmp_path: Path) -> None:
    there = set(tmp_path.iterdir())
    assert main(["labels", "nowhere/labels.pdf", "--address", "https://192.168.1.20:8411"]) == 2
    (tmp_path / "taken").write_text("x")
    assert main(["export", "taken"]) == 2
    assert set(tmp_path.iterdir()) == there | {tmp_path / "taken"}


def test_what_an_import_says_besides_is_kept_with_its_files_or_not_at_all(
    studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "none.csv").write_text("colour,weight\nred,3\n")
    assert main(["import", "--day-order", "dmy", "none.csv"]) == 2
    assert main(["import", "--day-order", "dmy", "missing.csv"]) == 2
    with Store(studio) as store:
        assert read_settings(store.cursor()).day_order == "unset"
    (tmp_path / "u.csv").write_text(
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,03/02/2024,2\n"
    )
    assert main(["import", "--day-order", "dmy", "u.csv"]) == 0
    with Store(studio) as store:
        assert read_settings(store.cursor()).day_order == "dmy"


def test_what_was_stored_before_a_later_file_fails_is_said(
    studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "more.csv").write_text("object,title\n24-003,Lock\n")
    (tmp_path / "u.csv").write_text(
        "object,phase,technique,person,date,hours\n24-003,,no such thing,Ilse,2024-02-03,2\n"
    )
    capsys.readouterr()
    monkeypatch.setattr(
        "ingest.importing.rejects.write",
        lambda *_: (_ for _ in ()).throw(
            BenchHoursError("the rejects of u.csv can be written nowhere", "Free some.")
        ),
    )
    assert main(["import", "more.csv", "u.csv"]) == 2
    said = capsys.readouterr()
    assert "more.csv: objects, 1 row: 1 stored" in said.out and "can be written nowhere" in said.err


def test_a_backup_that_is_there_is_noted_and_one_that_is_not_is_not(
    studio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(backup, "_publish", _disk_full)
        assert main(["backup", "copy.duckdb"]) == 2
    with Store(studio) as store:
        assert backup.last(store.cursor()) is None and not (tmp_path / "copy.duckdb").exists()
    assert main(["backup", "copy.duckdb"]) == 0
    with Store(studio) as store:
        last = backup.last(store.cursor())
        assert last and Path(last.file) == tmp_path / "copy.duckdb" and Path(last.file).exists()


def test_a_restore_that_fails_leaves_what_is_held(
    studio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["backup", "copy.duckdb"]) == 0
    assert main(["import", "o.csv"]) == 0
    before = _held(studio)
    monkeypatch.setattr(restore, "_replace_tables", _disk_full)
    assert main(["restore", "copy.duckdb", "--force"]) == 2
    assert _held(studio) == before


def test_a_file_that_was_there_keeps_its_name_its_rights_and_until_all_is_well_what_it_held(
    tmp_path: Path,
) -> None:
    real, link, folder = tmp_path / "real.csv", tmp_path / "link.csv", tmp_path / "folder"
    real.write_text("before")
    real.chmod(0o600)
    link.symlink_to(real)
    folder.mkdir()
    with (
        pytest.raises(BenchHoursError, match="folder cannot be written"),
        writing({link: b"after", folder: b"x"}),
    ):
        raise AssertionError("the block is not begun")
    assert real.read_text() == "before"
    with writing({link: b"after"}):
        assert real.read_text() == "before"
    assert (real.read_text(), link.is_symlink(), real.stat().st_mode & 0o777) == ("after", True, 0o600)
    with writing({Path(os.devnull): b"x"}):
        pass
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".bench-hours")]
