"""The commands, through the one door a person uses."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.cli.caller import Caller, as_caller
from dashboard.cli.main import _parser, main, run_for
from dashboard.queries import OVERRUN_KEYS
from ingest.phone.inbox import Inbox
from ingest.store import Store
from tests import ROOT, phones, prepared, ready
from tests.conftest import NOW, bring_into


@pytest.fixture(autouse=True)
def own_places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No test may touch the database of the person who runs it."""
    monkeypatch.setenv("BENCH_HOURS_DB", str(tmp_path / "studio.duckdb"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    texts = {
        "log.csv": "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,01/02/2024,5\n",
        "objects.csv": "object,title,owner,finished_on\n24-001,Ferry,family Okell,2024-05-01\n",
        "est.csv": (
            "object,version,made_on,approved_on,phase,technique,hours\n24-001,1,2024-01-05,2024-01-09,,facing,4\n"
        ),
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    return list(texts)


def test_files_in_any_order_then_overruns_as_json_csv_and_a_table(
    files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["import", *files]) == 1  # the day order is not known yet
    said = capsys.readouterr()
    assert 'log.csv, line 2, column "date": "01/02/2024" may be day first or month first.' in said.err
    assert main(["import", "--day-order", "dmy", *files]) == 0
    assert "log.csv: time entries, 1 row: 1 stored" in capsys.readouterr().out
    assert main(["import", *files]) == 0
    assert capsys.readouterr().out.count("already held") == 3
    assert main(["overruns", "--json", "--csv", "out.csv"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert list(rows[0])[: len(OVERRUN_KEYS)] == list(OVERRUN_KEYS)
    assert rows[0] | {"slower_hours": 1.0, "difference_hours": 1.0, "finished": True, "part": ""} == rows[0]
    assert pd.read_csv("out.csv")["difference_hours"].tolist() == [1.0]
    assert main(["overruns"]) == 0
    table = capsys.readouterr().out
    assert re.search(r"stabilisation +1 +4\.0 +5\.0 +\+1\.0 +0\.0 +\+1\.0", table)
    assert "Most over: stabilisation, +1.0 h on 1 work, mostly harder going than quoted." in table
    assert main(["overruns", "--object", "24 001"]) == 0
    assert "facing" in capsys.readouterr().out
    assert main(["overruns", "--as-of", "2024-01-06", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["first_approved_hours"] is None


def test_statement_gives_dated_hours_and_names_nobody(
    files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    main(["import", "--day-order", "dmy", *files])
    capsys.readouterr()
    assert main(["statement", "--object", "24-001"]) == 0
    out = capsys.readouterr().out
    assert "2024-02-01" in out and "facing" in out and "5.0" in out
    assert main(["statement", "--object", "24-001", "--json"]) == 0
    out += capsys.readouterr().out
    assert "Ilse" not in out and "Okell" not in out and "Ferry" not in out


def test_what_cannot_be_done_is_said_in_one_line_with_exit_2(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, files: list[str]
) -> None:
    for call, said in (
        (
            ["overruns"],
            (
                f"bench-hours overruns: there is no database at {tmp_path / 'studio.duckdb'} yet. Bring in"
                " files with: bench-hours import FILE…, or look at: bench-hours demo"
            ),
        ),
        (
            ["import", "nowhere.csv"],
            (
                "bench-hours import: nowhere.csv cannot be read (No such file or directory). See that the"
                " file is there and may be read."
            ),
        ),
        (
            ["overruns", "--object", "24-002"],
            'bench-hours overruns: there is no object "24-002". Did you mean "24-001"?',
        ),
        (
            ["overruns", "--csv", "no/such/folder.csv"],
            (
                f"bench-hours overruns: {Path.cwd() / 'no/such/folder.csv'} cannot be written (No such file"
                " or directory). Name another place."
            ),
        ),
    ):
        if "--object" in call:
            main(["import", *files])
            capsys.readouterr()
        assert main(call) == 2
        told = capsys.readouterr()
        assert told.err.startswith(said) and len(told.err.splitlines()) == 1 and not told.out
    for call in (["overruns", "--as-of", "03/04/2025"], ["nonsense"], [], ["import"]):
        with pytest.raises(SystemExit) as caught:
            main(call)
        assert caught.value.code == 2 and len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize("port", ["99999", "65536", "-1", "8411.5", "eight", "٨٤١١", ""])
def test_a_port_that_there_is_none_of_is_said_in_one_line_before_anything_is_opened(
    port: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["serve", "--db", str(tmp_path / "studio.duckdb"), f"--port={port}"])
    (line,) = capsys.readouterr().err.splitlines()
    assert (
        caught.value.code == 2
        and f'"{port}" is not a port: write a whole number' in line
        and not list(tmp_path.iterdir())
    )


def test_help_and_what_is_wrong_with_a_call_go_to_whoever_called_wherever_the_command_runs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    told: list[str] = []
    complained: list[str] = []
    (choices,) = (action.choices for action in _parser()._actions if action.dest == "command")
    names = list(choices or ())
    assert "overruns" in names
    with Store(":memory:") as store, as_caller(Caller(told.append, complained.append)):
        run = run_for(store)
        assert [run([name, "--help"]) for name in names] == [0] * len(names)
        assert not complained and run(["--help"]) == 0 and run(["overruns", "--as-of", "3"]) == 2
    *each, whole = told
    for name, text in zip(names, each, strict=True):
        assert text.startswith(f"usage: bench-hours {name} [-h]") and "--db PATH" in text
        what = text.split("\n\n")[1]  # between how it is called and its options
        assert what.endswith(".") and " ".join(what.split()) in " ".join(whole.split())
    assert complained == [
        'bench-hours overruns: argument --as-of: "3" is not a day written as year-month-day; see bench-hours'
        " overruns --help"
    ]
    assert capsys.readouterr() == ("", "")


def test_hours_that_phones_sent_are_there_for_the_next_command_even_if_the_server_that_took_them_was_killed(
    files: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["import", "--day-order", "dmy", *files]) == 0
    row = {"object": "24-001", "technique": "facing", "person": "Ilse", "date": "2024-02-02", "hours": "2"}
    with Store(tmp_path / "studio.duckdb") as store:
        Inbox(store).receive(
            {"phone": phones.PHONE, "clock": phones.ms(NOW), "actions": [phones.action("a", row=row)]}
        )
    capsys.readouterr()
    assert main(["overruns", "--object", "24-001", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["actual_hours"] == 7.0


def test_a_command_says_what_of_phones_waits_still_and_goes_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    database = tmp_path / "studio.duckdb"
    with Store(database) as store:
        bring_into(store, tmp_path, "objects.csv", "object,title\n24-001,Ferry\n")
        done = {"date": "2026-05-30", "hours": "2"}
        Inbox(store).receive(
            {"phone": phones.PHONE, "clock": phones.ms(NOW), "actions": [phones.action("a", row=done)]}
        )
    with monkeypatch.context() as broken:
        broken.setattr(
            "ingest.phone.apply_actions.put_rows",
            lambda *_, **__: (_ for _ in ()).throw(
                FileNotFoundError(2, "No usable temporary directory found")
            ),
        )
        assert main(["overruns", "--db", str(database)]) == 0
        told = capsys.readouterr().err
        assert (
            "1 entry or word on one that phones sent waits still, as the studio cannot settle it just now (No"
            " usable temporary directory found)." in told
        )
        broken.undo()
        broken.setattr("dashboard.cli.backup._PHONE_ACTIONS_S", -1.0)
        assert main(["overruns", "--db", str(database)]) == 0
        assert (
            "waits still; what waits comes in while the pages are served, and with each command"
            in capsys.readouterr().err
        )
    assert main(["overruns", "--db", str(database)]) == 0
    assert "waits still" not in capsys.readouterr().err


def test_check_shows_twelve_faults_and_says_where_all_of_them_are_to_be_had(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "log.csv"
    file.write_text(
        "object,phase,technique,person,date,hours\n" + "24-001,,facing,Ilse,2024-02-01,an hour\n" * 13
    )
    database = str(tmp_path / "studio.duckdb")
    assert main(["check", str(file), "--db", database]) == 1
    more = capsys.readouterr().err.splitlines()[-1]
    assert more.startswith("log.csv: and ") and more.endswith(
        "more faults; import writes every rejected row, with its reason and mend, beside the file"
    )
    assert main(["import", str(file), "--db", database]) == 1
    assert (
        "import writes every" not in capsys.readouterr().err
        and (tmp_path / "log.rejects.csv").read_text().count("an hour") == 13
    )


def test_check_stores_nothing_and_makes_no_database(
    files: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--day-order", "dmy", *files]) == 0
    assert "would be stored" in capsys.readouterr().out
    assert not (tmp_path / "studio.duckdb").exists()
    main(["import", "objects.csv"])
    assert main(["check", "--day-order", "dmy", "log.csv"]) == 0
    capsys.readouterr()
    main(["overruns", "--json"])
    assert json.loads(capsys.readouterr().out) == []
    assert main(["check", "log.csv"]) == 1  # what check was told is not remembered


HEADS = [
    b"object,title\n",
    b"object,phase,technique,person,started_at,ended_at,date,hours\n",
    b"object;version;made_on;phase;technique;hours\n",
    b"phase\tposition\n",
    b"",
]


@settings(max_examples=20)
@given(
    st.sampled_from(HEADS),
    st.one_of(
        st.binary(max_size=120),
        st.text(alphabet="24-01,;\t\"'\n\r :é\0x", max_size=80).map(lambda text: text.encode()),
    ),
)
def test_any_bytes_given_to_check_end_in_0_1_or_2_with_a_message(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], head: bytes, body: bytes
) -> None:
    if not (tmp_path / "studio.duckdb").exists():  # else one would be made in memory for each
        prepared.new_file(tmp_path / "studio.duckdb")
    path = tmp_path / "any.csv"
    path.write_bytes(head + body)
    code = main(["check", str(path)])
    told = capsys.readouterr()
    assert code in (0, 1, 2) and (told.out or told.err)
    if code == 2:
        assert len(told.err.splitlines()) == 1


def test_sums_leave_no_dust_in_json_and_csv(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0.1 + 0.1 + 0.1 dm² are 0.3 of 0.3: nothing more was treated, and no 5.6e-17."""
    texts = {
        "o.csv": "object,title,finished_on\n24-001,Ferry,2024-05-01\n",
        "e.csv": (
            "object,version,made_on,approved_on,phase,technique,quantity,hours\n24-001,1,2024-01-05,2024-01-09,,facing,0.3,0.3\n"
        ),
        "t.csv": (
            "object,phase,technique,person,date,hours,quantity\n"
            + "".join(f"24-001,,facing,Ilse,2024-02-0{n},0.1,0.1\n" for n in (1, 2, 3))
        ),
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    assert main(["import", *texts]) == 0
    capsys.readouterr()
    assert main(["overruns", "--json", "--csv", "out.csv"]) == 0
    told = capsys.readouterr().out
    (line,) = json.loads(told)
    assert [
        line[name]
        for name in (
            "difference_hours",
            "more_to_do_hours",
            "slower_hours",
            "unforeseen_hours",
            "not_needed_hours",
        )
    ] == [0.0] * 5
    assert not re.search(r"-0\.0\b|e-", told) and not re.search(
        r"-0\.0\b|e-", (tmp_path / "out.csv").read_text()
    )
    # no digit else is touched
    assert (
        line["actual_hours"] == 0.1 + 0.1 + 0.1
        and f",{0.1 + 0.1 + 0.1!r}," in (tmp_path / "out.csv").read_text()
    )


def test_demo_prints_the_overruns_and_never_touches_another_file(files: list[str], tmp_path: Path) -> None:
    installed = Path(sys.executable).with_name("bench-hours")
    place = str(tmp_path / "demo.duckdb")
    done = subprocess.run(
        [installed, "demo", "--no-serve", "--db", place], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert re.search(r"all phases +66 ", done.stdout) and "Most over:" in done.stdout
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.search(r"begins like this:\n\n```\n(.+?)```", readme, re.DOTALL)
    # the README shows what is printed
    assert shown and set(shown[1].splitlines()) <= set(done.stdout.splitlines())
    assert ready.command("demo", "--no-serve", "--db", place).stdout == done.stdout  # made anew
    main(["import", *files])
    refused = ready.command("demo", "--no-serve", "--db", str(tmp_path / "studio.duckdb"))
    assert refused.returncode == 2 and "is not a demo database" in refused.stderr
    assert len(json.loads(ready.command("overruns", "--json").stdout)) == 1
