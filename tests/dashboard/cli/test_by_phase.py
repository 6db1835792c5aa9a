"""A studio that names no technique uses every command, and every line in what they print has a name."""

import csv
import html
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.cli.caller import Caller, as_caller
from dashboard.cli.main import run_for
from dashboard.documents import change_letter, quote_letter
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests import by_phase, prepared
from tests.conftest import bring_into

MIXED_ESTIMATE = """object,version,made_on,approved_on,phase,technique,hours
24-001,1,2024-01-05,2024-01-09,cleaning,,10
24-001,1,2024-01-05,2024-01-09,retouching,retouching,5
24-002,1,2024-01-05,2024-01-09,,surface cleaning dry,4
"""
MIXED_LOG = """object,phase,technique,person,date,hours
24-001,cleaning,,Odile,2024-02-01,12
24-001,,surface cleaning dry,Odile,2024-02-02,6
24-001,,retouching,Odile,2024-02-03,5
24-002,,surface cleaning dry,Marek,2024-02-04,5.5
"""
FINISHED = "object,finished_on\n24-001,2024-03-01\n24-002,2024-03-01\n"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with prepared.new_studio(works=False) as store:
        by_phase.fill(store, tmp_path_factory.mktemp("by phase"))
        with store.writing() as con:
            write_settings(con, {"hourly_rate": "60"})
        yield store


def run(store: Store, folder: Path, *call: str) -> tuple[int, str]:
    """A command, its exit and all that it said."""
    said: list[str] = []
    with as_caller(Caller(out=said.append, err=said.append, folder=folder, user="Ilse")):
        code = run_for(store)([*call])
    return code, "\n".join(said)


@pytest.mark.parametrize(
    "call",
    [
        *(("overruns",), ("rates",), ("forecast",), ("backtest",), ("plan",)),
        *(
            (command, "--object", work)
            for command in ("overruns", "forecast", "statement", "quote")
            for work in (by_phase.BY_PHASE, by_phase.AS_A_WHOLE, by_phase.IN_PARTS)
        ),
        *(("quote", "--object", by_phase.NOT_APPROVED), ("check", "entries.csv"), ("export", "out")),
    ],
    ids=" ".join,
)
def test_every_command_says_every_name(whole: Store, tmp_path: Path, call: tuple[str, ...]) -> None:
    (tmp_path / "entries.csv").write_text(by_phase.files()["entries.csv"])
    code, said = run(whole, tmp_path, *call)
    assert code == 0 and said
    by_phase.assert_every_name_is_said(said)


def test_the_lines_of_one_work_are_called_by_phase_and_as_a_whole(whole: Store, tmp_path: Path) -> None:
    said = run(whole, tmp_path, "overruns", "--object", by_phase.IN_PARTS)[1]
    assert re.search(r"^cleaning +cleaning as a whole +the sky +open", said, re.M)
    said = run(whole, tmp_path, "statement", "--object", by_phase.AS_A_WHOLE)[1]
    assert re.search(r"^2026-05-07 +all phases +the work as a whole +6\.0", said, re.M)


def test_machines_are_given_an_empty_technique_with_its_phase_and_its_level(
    whole: Store, tmp_path: Path
) -> None:
    lines = json.loads(run(whole, tmp_path, "overruns", "--json")[1])
    assert {(line["phase"], line["technique"], line["level"]) for line in lines} >= {
        ("cleaning", "", 1),
        ("cleaning", "", 2),
        ("", "", 3),
    }
    said = run(whole, tmp_path, "quote", "--object", by_phase.AS_A_WHOLE, "--json")[1]
    quoted = json.loads(said[said.index("{") :])  # after what is good to know
    assert [(line["phase"], line["technique"]) for line in quoted["lines"]] == [("", "")]
    assert all("phase" in found for found in quoted["discovery"])
    assert run(whole, tmp_path, "export", "out")[0] == 0
    rows = list(csv.DictReader((tmp_path / "out" / "estimates.csv").read_text().splitlines()))
    assert {row["technique"] for row in rows} == {""} and {row["phase"] for row in rows} > {"", "cleaning"}


def test_rates_of_whole_phases_stand_behind_those_of_techniques(whole: Store, tmp_path: Path) -> None:
    said = run(whole, tmp_path, "rates")[1]
    assert re.search(
        r"^cleaning as a whole +9 +[\d.]+ +[\d.]+ +[\d.]+ +phase +a whole phase on [\d,]+ dm²", said, re.M
    )
    assert re.search(r"^the work as a whole +9 ", said, re.M)
    rates = json.loads(run(whole, tmp_path, "rates", "--json")[1])
    assert [(rate["phase"], rate["technique"]) for rate in rates[-2:]] == [("varnishing", ""), ("", "")]


def test_an_export_comes_back_whole(whole: Store, tmp_path: Path) -> None:
    assert run(whole, tmp_path, "export", "out")[0] == 0
    with prepared.new_studio(works=False) as empty:
        files = [f"out/{path.name}" for path in sorted((tmp_path / "out").glob("*.csv"))]
        assert run(empty, tmp_path, "import", *files)[0] == 0
        same = [run(store, tmp_path, "overruns", "--json")[1] for store in (whole, empty)]
        assert same[0] == same[1] and len(json.loads(same[0])) > 40


def test_a_file_of_phases_and_hours_is_a_quote_and_so_are_hours_alone(whole: Store, tmp_path: Path) -> None:
    lines = tmp_path / "lines.csv"
    lines.write_text("phase,hours\ncleaning,10\nretouching,\n")
    code, said = run(whole, tmp_path, "quote", "--lines", "lines.csv", "--kind", "easel painting")
    assert code == 0 and re.search(r"^cleaning as a whole +10\.0 ", said, re.M)
    assert re.search(r"^retouching as a whole +– ", said, re.M)
    lines.write_text("hours\n30\n")
    code, said = run(whole, tmp_path, "quote", "--lines", "lines.csv", "--kind", "easel painting")
    assert code == 0 and re.search(r"^the work as a whole +30\.0 ", said, re.M)
    # a total at the foot of a sheet may be meant as a line, or not
    lines.write_text("phase,hours\ncleaning,10\n,10\n")
    assert (
        "Line 3, the work as a whole: its hours are added to those of the lines within it. Take it away if it"
        " is their sum." in run(whole, tmp_path, "quote", "--lines", "lines.csv")[1]
    )
    lines.write_text("techniqe,hours\nfacing,3\n")
    assert run(whole, tmp_path, "quote", "--lines", "lines.csv") == (
        2,
        (
            'bench-hours quote: looks like estimates, but lacks the column "technique". Perhaps rename'
            ' "techniqe" to "technique".'
        ),
    )
    lines.write_text("part,note\nframe,x\n")
    code, said = run(whole, tmp_path, "quote", "--lines", "lines.csv")
    assert code == 2 and 'has none of the columns "technique", "phase" and "hours".' in said


@pytest.mark.parametrize("form", quote_letter.FORMS)
def test_a_letter_says_the_name_of_a_phase_once_and_leaves_no_line_empty(
    whole: Store, tmp_path: Path, form: str
) -> None:
    (tmp_path / "lines.csv").write_text(
        "phase,part,hours\ncleaning,,10\nfilling,,2\nfilling,the sky,2\n,,3\n"
    )
    assert run(whole, tmp_path, "quote", "--lines", "lines.csv", "--form", form, "--html", "l.html")[0] == 0
    letter = (tmp_path / "l.html").read_text()
    by_phase.assert_every_name_is_said(html.unescape(re.sub(r"<[^>]+>", " ", letter)))
    rows = [
        [
            html.unescape(re.sub(r"<[^>]+>", "", cell))
            for cell in re.findall(r"<t[dh][ >].*?</t[dh]>", row, re.S)
        ]
        for row in letter.split("<tr")[1:]
    ]
    names = dict(re.findall(r"<dt>(.*?)</dt>\s*<dd>(.*?)</dd>", letter, re.S))
    match form:
        case "one":
            assert names["Cleaning"] == "as a whole" and names["The work"] == "as a whole"
            assert names["Filling"] == "also the sky"
        case "phases":
            assert [row[0] for row in rows][1:4] == [
                "Cleaning",
                "Filling, also the sky",
                "The work as a whole",
            ]
        case "full":
            assert [row[:2] for row in rows][1:5] == [
                ["cleaning", "as a whole"],
                ["filling", "as a whole"],
                ["filling", "as a whole (the sky)"],
                ["the work", "as a whole"],
            ]


def test_a_letter_of_change_names_whole_phases(whole: Store, tmp_path: Path) -> None:
    call = ("quote", "--object", by_phase.BY_PHASE, "--form", change_letter.FORM, "--reason", "Grime.")
    assert run(whole, tmp_path, *call, "--html", "change.html")[0] == 0
    letter = html.unescape(re.sub(r"<[^>]+>", " ", (tmp_path / "change.html").read_text()))
    by_phase.assert_every_name_is_said(letter)
    assert re.search(r"Not agreed before, worked already\s+filling as a whole", letter)


def test_it_is_said_of_which_hours_differences_are_known_for_the_whole_only(
    studio: object, store: Store, tmp_path: Path
) -> None:
    for name, text in (("e.csv", MIXED_ESTIMATE), ("l.csv", MIXED_LOG), ("o.csv", FINISHED)):
        assert bring_into(store, tmp_path, name, text).complete
    said = run(store, tmp_path, "overruns")[1]
    assert "Of 23.5 h in cleaning, 18.0 h are known for the phase as a whole only." in said
    assert re.search(r"^cleaning +2 +14\.0 +23\.5 ", said, re.M)


def test_where_every_line_names_its_technique_nothing_is_said_of_wholes(demo: Store, tmp_path: Path) -> None:
    assert "as a whole" not in run(demo, tmp_path, "overruns")[1]
