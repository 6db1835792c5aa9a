"""The columns of the forms and the words of the studio, as commands print them."""

import json
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest

from dashboard import guide
from dashboard.cli.main import main
from dashboard.text import csv_forms
from ingest.schema.csv_columns import FORMS, TECHNIQUES
from ingest.store import Store
from ingest.studio import vocabulary
from ingest.studio.vocabulary import read_vocabulary
from tests.conftest import CHANGE, LATER


@pytest.fixture(autouse=True)
def studio(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Nowhere, until a test puts a database there."""
    monkeypatch.setenv("BENCH_HOURS_DB", str(tmp_path / "studio.duckdb"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "studio.duckdb"


def test_forms_prints_every_column_with_its_star_and_what_a_cell_may_be(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["forms"]) == 0
    printed = capsys.readouterr().out
    for form in FORMS:
        assert f"### {form.kind}\n\n{csv_forms.table(form)}\n" in printed
    assert "| `charge`     | `quoted`, `extra` or `own_cost` |" in printed
    assert re.search(r"^\| `person`\* +\| a name; .+; never empty \|$", printed, re.MULTILINE)
    assert main(["forms", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [form["kind"] for form in listed] == [form.kind for form in FORMS]
    assert {
        (form["kind"], column["column"], column["marks_kind"], column["never_empty"], column["private"])
        for form in listed
        for column in form["columns"]
    } == {
        (form.kind, column.name, column.star, column.filled, column.private)
        for form in FORMS
        for column in form.columns
    }
    assert not studio.exists()  # it needs no database


def test_words_prints_those_of_the_studio_and_else_those_it_would_begin_with(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["words"]) == 0
    shipped = capsys.readouterr().out
    assert re.search(r"^\| facing +\| dm² +\| solvents +\| .*tissue facing.* \|$", shipped, re.MULTILINE)
    assert re.search(r"^\| pressing +\| \S.*, unattended +\|", shipped, re.MULTILINE)
    heads = re.findall(r"^### (.+)$", shipped, re.MULTILINE)
    assert heads[0] == "examination" and heads[-1] == "studio time" and not studio.exists()
    with Store(studio) as store, store.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "inpainting", CHANGE)
        vocabulary.retire(con, "technique", "facing", LATER, CHANGE)
    assert main(["words"]) == 0
    printed = capsys.readouterr().out
    assert re.search(r"^\| inpainting +\|", printed, re.MULTILINE)
    assert not re.search(r"^\| (retouching|facing) +\|", printed, re.MULTILINE)


def test_words_as_json_has_every_technique_and_says_which_are_retired(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Store(studio) as store:
        with store.writing() as con:
            vocabulary.retire(con, "technique", "facing", LATER, CHANGE)
        words = read_vocabulary(store.cursor())
    assert main(["words", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert {row["phase"]: row["position"] for row in listed} == words.phases
    techniques = {
        technique["technique"]: (row["phase"], technique) for row in listed for technique in row["techniques"]
    }
    assert set(techniques) == set(words.techniques)
    for name, (phase, technique) in techniques.items():
        known = words.techniques[name]
        assert (phase, technique["unit"], technique["mode"], technique["condition"]) == (
            known.phase,
            known.unit,
            known.mode,
            known.condition,
        )
        assert tuple(technique["cautions"]) == known.cautions
        assert {words.technique(alias) for alias in technique["aliases"]} <= {name}
    assert techniques["facing"][1]["retired_on"] == LATER.isoformat()


def test_words_as_csv_is_a_file_that_changes_nothing_when_it_is_brought_in(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Store(studio).close()
    assert main(["words", "--csv", "techniques.csv"]) == 0
    assert capsys.readouterr().out == ""
    assert list(pd.read_csv("techniques.csv").columns) == [
        name for name in TECHNIQUES.names if name != "note"
    ]
    assert main(["import", "techniques.csv"]) == 0
    printed = capsys.readouterr().out
    assert re.fullmatch(r"techniques.csv: techniques, (\d+) rows: \1 already held\n", printed)


@pytest.mark.parametrize("name", ["forms", "words"])
def test_what_is_wrong_with_the_call_is_said_in_one_line(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main([name, "--as-of", "2026-01-01"])
    assert left.value.code == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and "unrecognized arguments: --as-of 2026-01-01" in error


def test_words_that_cannot_be_written_are_said_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["words", "--csv", "nowhere/words.csv"]) == 2
    assert capsys.readouterr().err == (
        f"bench-hours words: {tmp_path}/nowhere/words.csv cannot be written (No such file or directory). Name"
        " another place.\n"
    )


JSON_OF = {
    "overruns": ["--object", "24-001"],
    "rates": [],
    "forecast": ["--object", "24-001"],
    "plan": ["--hours", "20"],
    "quote": ["--object", "24-001"],
    "backtest": [],
    "words": [],
    "forms": [],
}


@pytest.mark.parametrize("name", JSON_OF)
def test_every_key_that_the_guide_names_is_in_the_json(
    name: str, small_studio: Path, studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(small_studio, studio)
    assert main([name, *JSON_OF[name], "--json"]) == 0
    keys = set(_keys(json.loads(capsys.readouterr().out)))
    (text,) = re.findall(rf"^\*\*{name}\*\*: (.+)$", guide.source("commands"), re.MULTILINE)
    text = text.partition("`--predictions FILE`")[0]
    assert set(re.findall(r"`([a-z]\w+)`", text)) - keys == NOT_HERE.get(name, set())


NOT_HERE = {"quote": {"of", "options", "kind", "low", "high", "narrower"}}
"""Keys of what so small a studio has not: what is usually done on such works, options, and what would narrow
a first quote, as the work is under way.
"""


@pytest.fixture(scope="module")
def small_studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small")
    texts = {
        "o.csv": "object,title,finished_on\n24-001,Ferry,\n24-002,Mill,2024-03-01\n",
        "e.csv": (
            "object,version,made_on,approved_on,phase,technique,hours\n"
            "24-001,1,2024-01-05,2024-01-09,,facing,4\n24-001,1,2024-01-05,2024-01-09,,filling,3\n"
            "24-002,1,2024-01-05,2024-01-09,,facing,4\n"
        ),
        "t.csv": (
            "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,5\n"
            "24-002,,facing,Ilse,2024-02-01,5\n24-002,,retouching,Ilse,2024-02-02,5\n"
        ),
    }
    for file, text in texts.items():
        (folder / file).write_text(text)
    path = folder / "studio.duckdb"
    files = [str(folder / file) for file in texts]
    assert main(["import", "--db", str(path), "--zone", "Europe/Berlin", *files]) == 0
    return path


def _keys(value: object) -> list[str]:
    match value:
        case dict():
            return [*value, *(key for inside in value.values() for key in _keys(inside))]
        case list():
            return [key for inside in value for key in _keys(inside)]
    return []
