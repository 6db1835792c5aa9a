"""The README is tested like code."""

import re
from pathlib import Path

from dashboard import demo, roles
from dashboard.command import _parser
from ingest.devices import ROLES
from ingest.phone.bench import bench
from ingest.records import FORMS
from ingest.store import Store
from ingest.vocabulary import read_vocabulary

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
ROOT = Path(__file__).parent.parent


def test_the_readme_lists_every_column_of_every_form_with_its_star() -> None:
    for form in FORMS:
        row = re.search(rf"^\| {form.kind} \| (.+) \|$", README, re.MULTILINE)
        assert row, form.kind
        assert re.findall(r"`(\w+)`(\*?)", row[1]) == [(column.name, "*" if column.star else "") for column in form.columns]


def test_the_readme_lists_every_command() -> None:
    listed = set(re.findall(r"^\| `bench-hours (\w+)", README, re.MULTILINE))
    commands = next(action for action in _parser()._actions if action.dest == "command")
    assert commands.choices is not None and listed == set(commands.choices)


def test_ci_runs_the_readme_s_test_command_and_nothing_that_it_does_not() -> None:
    lines = [line for line in (ROOT / ".ci" / "run").read_text().splitlines() if line and not line.startswith("#")]
    assert lines[:2] == ["set -eu", 'cd "$(dirname "$0")/.."'] and lines[2:] == [lines[2]]
    assert lines[2] in README


def test_the_guide_names_every_key_of_what_the_form_is_told(tmp_path: Path) -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    with Store(":memory:") as store:
        demo.fill(store)
        person = store.cursor().execute("SELECT person FROM time_entries ORDER BY day DESC LIMIT 1").fetchall()[0][0]
        told = bench(store.cursor(), person)
    for keys in (told, told["phases"][0], told["techniques"][0], told["works"][0], told["works"][0]["lines"][0], told["entries"][0]):
        for key in keys:
            assert f"`{key}`" in guide, key


def test_nothing_else_stands_at_the_top_level() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "dashboard", "ingest", "tests", "demo_logs"}
    ours = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".") and not path.name.endswith(".egg-info") and path.name not in ("build", "dist", "__pycache__")
    }
    assert ours == allowed


def test_the_readme_lists_the_words_it_comes_with() -> None:
    with Store(":memory:") as store:
        vocabulary = read_vocabulary(store.cursor())
    for phase in vocabulary.phases:
        row = re.search(rf"^\| {phase} \| (.+) \|$", README, re.MULTILINE)
        assert row, phase
        assert set(row[1].split(", ")) == {one.technique for one in vocabulary.techniques.values() if one.phase == phase}


def test_the_readme_lists_every_page_in_its_order() -> None:
    table = README.partition("| page | what for |")[2].partition("\n\n")[0]
    assert re.findall(r"^\| \*(.+?)\* \|", table, re.MULTILINE) == list(roles.PAGES["principal"].values())


def test_the_readme_lists_every_role() -> None:
    table = README.partition("| role | opens |")[2].partition("\n\n")[0]
    assert re.findall(r"^\| \*(.+?)\* \|", table, re.MULTILINE) == list(ROLES)
