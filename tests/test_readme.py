"""The README is tested like code."""

import re
import shlex
import subprocess
from pathlib import Path

import pytest

from dashboard import guide, roles
from dashboard.cli.main import _parser, main
from ingest.devices import ROLES
from tests import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_readme_lists_every_command() -> None:
    listed = set(re.findall(r"^\| `bench-hours (\w+)", README, re.MULTILINE))
    commands = next(action for action in _parser()._actions if action.dest == "command")
    assert commands.choices is not None and listed == set(commands.choices)


def test_ci_runs_the_readme_s_test_command_and_nothing_that_it_does_not() -> None:
    lines = [
        line for line in (ROOT / ".ci" / "run").read_text().splitlines() if line and not line.startswith("#")
    ]
    assert lines[:2] == ["set -eu", 'cd "$(dirname "$0")/.."'] and lines[2:] == [lines[2]]
    assert lines[2] in README


def test_a_first_overrun_in_three_steps_prints_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    section = README.partition("## A first overrun in three steps")[2].partition("\n## ")[0]
    work, log, look, shown = re.findall(r"^```\n(.+?)^```", section, re.MULTILINE | re.DOTALL)
    assert len(log.splitlines()) == 4 + 2  # a file of four lines, and what writes it
    subprocess.run(["sh", "-c", f"set -e\n{work}{log}"], cwd=tmp_path, check=True)
    monkeypatch.chdir(tmp_path / ".trial")
    for call in look.splitlines():
        program, *arguments = shlex.split(call)
        assert program == "../.venv/bin/bench-hours" and main(arguments) == 0
    assert capsys.readouterr().out == shown


def test_each_picture_is_there_and_says_in_words_what_it_shows() -> None:
    pictures = [(path, alt) for alt, path in re.findall(r"^!\[(.*)\]\((.*)\)$", README, re.MULTILINE)]
    pictures += re.findall(r'^<img src="(.*?)" width="\d+" alt="(.*?)">$', README, re.MULTILINE)
    assert len(pictures) == 3 and README.count(".pictures/") == 3
    assert all((ROOT / path).is_file() and len(alt) > 40 for path, alt in pictures)


def test_nothing_else_stands_at_the_top_level() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "dashboard", "ingest", "tests", "demo_logs"}
    ours = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".")
        and not path.name.endswith(".egg-info")
        and path.name not in ("build", "dist", "__pycache__")
    }
    assert ours == allowed


def test_the_readme_lists_every_page_in_its_order() -> None:
    table = README.partition("| page | what for |")[2].partition("\n\n")[0]
    assert re.findall(r"^\| \*(.+?)\* \|", table, re.MULTILINE) == list(roles.PAGES["principal"].values())


def test_the_readme_lists_every_role() -> None:
    table = README.partition("| role | opens |")[2].partition("\n\n")[0]
    assert re.findall(r"^\| \*(.+?)\* \|", table, re.MULTILINE) == list(ROLES)


def test_the_readme_leads_to_every_chapter_of_the_guide_in_its_order() -> None:
    links = re.findall(r"\[([^\]]+)\]\(dashboard/guide/([\w-]+)\.md\)", " ".join(README.split()))
    assert [(name, title) for title, name in links] == list(guide.CHAPTERS.items())
