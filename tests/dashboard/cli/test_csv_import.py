"""The commands `import` and `check` on tables in other words than ours."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.cli.main import main
from ingest.foreign.words import a_technique
from ingest.store import Store
from tests import prepared
from tests.conftest import bring_into
from tests.ingest.foreign.example_tables import NO_TOTALS, WORDS, column, diary, fixed, say
from tests.ingest.foreign.workbooks import ods, xlsx

HEAD = "Date;Job;What;Time\n"


@pytest.fixture
def database(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A studio of two works, which no command has open."""
    path = tmp_path / "studio.duckdb"
    monkeypatch.setenv("BENCH_HOURS_DB", str(path))
    monkeypatch.chdir(tmp_path)
    with Store(path) as store:
        bring_into(store, tmp_path, "objects.csv", prepared.TWO_WORKS)
    return path


def test_a_table_is_refused_until_it_was_said_how_it_is_read(
    database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    diary_of_may = tmp_path / "may.csv"
    diary_of_may.write_text(f"{HEAD}2.5.2024;Ferry;cleaned;1,5\n3.5.2024;Ferry;sealed;2\nTotal;;;3,5\n")
    for command in ("check", "import"):
        assert main([command, "may.csv"]) == 2
        assert (
            "bring it in under Bring in logs, which asks once what its columns mean"
            in capsys.readouterr().err
        )
    with Store(database) as store:
        say(store, diary_of_may, diary(left_out=NO_TOTALS), WORDS)
    assert main(["check", "may.csv"]) == 1
    shown = capsys.readouterr()
    assert shown.out == (
        "may.csv: time entries, 2 rows: 1 would be stored, 1 rejected;"
        " 1 row left out, by what was said of the table\n"
    )
    assert (
        'may.csv, line 3, column "technique": "sealed" means nothing yet. Say under Bring in logs what it'
        in shown.err
    )
    assert main(["import", "may.csv"]) == 1
    assert "2 rows: 1 stored, 1 rejected" in capsys.readouterr().out
    diary_of_may.write_text(f"{HEAD}2.5.2024;Ferry;cleaned;1,5\n4.5.2024;Weir;cleaned;2\n")
    assert main(["import", "may.csv"]) == 0
    assert "2 rows: 1 stored, 1 already held" in capsys.readouterr().out


def test_columns_of_a_wide_sheet_that_nobody_spoke_of_are_reported(
    database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    week = xlsx(
        tmp_path / "week.xlsx",
        {"6": [["Work", "2024-02-05", "Mood"], ["Ferry", 2.0, "good"]], "Else": [["x"]]},
    )
    reading = diary(
        columns={"object": column("work"), "technique": fixed("facing"), "person": fixed("Ilse")},
        wide_of="date",
    )
    with Store(database) as store:
        say(store, week, reading, WORDS)
    assert main(["import", "week.xlsx"]) == 0
    shown = capsys.readouterr()
    assert shown.out == "week.xlsx, sheet 6: time entries, 1 row: 1 stored\n"
    assert "not read, as no such column is known: Mood" in shown.err
    assert "sheets not read, as nobody has said what they hold: Else" in shown.err


def test_a_workbook_whose_heads_are_our_forms_is_those_forms(
    database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    head = ["object", "phase", "technique", "person", "date", "hours"]
    xlsx(
        tmp_path / "ours.xlsx",
        {
            "entries": [head, ["24-009", "", "facing", "Ilse", "2024-02-05", 1.125]],
            "works": [["Object", "Title"], ["24-009", "Orchard"]],
        },
    )
    assert main(["import", "ours.xlsx"]) == 0
    assert capsys.readouterr().out == (
        "ours.xlsx, sheet works: objects, 1 row: 1 stored\n"
        "ours.xlsx, sheet entries: time entries, 1 row: 1 stored\n"
    )
    # the same as CSV is the same rows
    (tmp_path / "ours.csv").write_text(f"{','.join(head)}\n24-009,,facing,Ilse,2024-02-05,1.125\n")
    assert main(["import", "ours.csv"]) == 0
    assert "1 already held" in capsys.readouterr().out


def test_a_folder_stands_for_all_tables_in_it_and_a_row_is_named_by_its_sheet(
    database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "years"
    folder.mkdir()
    head = ["object", "phase", "technique", "person", "date", "hours"]
    xlsx(
        folder / "hours.xlsx",
        {
            "2024": [head, ["24-001", "", "facing", "Ilse", "2024-02-05", 1.5]],
            "2025": [head, [], ["24-001", "", "facing", "Ilse", "2025-02-05", "long"]],
        },
    )
    ods(folder / "more.ods", {"2023": [head, ["24-001", "cleaning", "", "Ilse", "2023-02-06", 2.0]]})
    (folder / "log.csv").write_text(f"{','.join(head)}\n24-001,,,Ilse,2024-02-07,3\n")
    # no tables: notes, the lock of an open file, rejected rows of another time
    for name in ("notes.txt", "~$hours.xlsx", ".hidden.csv", "log.rejects.csv"):
        (folder / name).write_text("no table\n")
    assert main(["import", "years"]) == 1
    shown = capsys.readouterr()
    assert sorted(shown.out.splitlines()) == [
        "hours.xlsx, sheet 2024: time entries, 1 row: 1 stored",
        "hours.xlsx, sheet 2025: time entries, 1 row: 1 rejected",
        "log.csv: time entries, 1 row: 1 stored",
        "more.ods: time entries, 1 row: 1 stored",
    ]
    assert 'hours.xlsx, sheet 2025, row 3, column "hours": "long"' in shown.err
    (tmp_path / "empty").mkdir()
    assert main(["import", "empty"]) == 2
    assert "there is no table in" in capsys.readouterr().err


def test_rows_that_came_in_with_a_word_said_otherwise_since_are_held_back_with_the_mend(
    database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "may.csv"
    path.write_text(f"{HEAD}2.5.2024;Ferry;cleaned;1,5\n3.5.2024;Ferry;retouched;2\n")
    with Store(database) as store:
        say(store, path, diary(), WORDS)
    assert main(["import", "may.csv"]) == 0
    with Store(database) as store:
        say(store, path, diary(), {("technique", "cleaned"): a_technique("facing")})
    path.write_text(f"{path.read_text()}4.5.2024;Weir;cleaned;2\n")
    capsys.readouterr()
    assert main(["import", "may.csv"]) == 1
    shown = capsys.readouterr()
    assert "3 rows: 1 stored, 1 already held, 1 held back: correction or new?" in shown.out
    assert (
        "may.csv: 1 row held back came in before, when the table was read otherwise or its words meant"
        " something else, and would count twice: import it again with --held-back correction to move the"
        " earlier entries, or take these back first" in shown.err
    )
    assert main(["import", "--held-back", "correction", "may.csv"]) == 0
    assert "1 corrected, earlier version kept" in capsys.readouterr().out
