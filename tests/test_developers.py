"""The documents for those who work on the project are tested like code."""

import re
import tomllib
from pathlib import Path

import pytest

from ingest.devices import ROLES
from tests import ROOT

DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "dashboard/CHANGES.md",
    "dashboard/server/SECURITY.md",
    "ingest/phone/API.md",
    "tests/benchmarks/README.md",
)
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("document", DOCUMENTS[:2])
def test_a_document_at_the_top_is_short_enough_to_be_read(document: str) -> None:
    assert len((ROOT / document).read_text(encoding="utf-8")) <= 12_000


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_path_and_link_in_a_document_leads_somewhere(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    prose = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    paths = re.findall(r"`((?:dashboard|ingest|tests|demo_logs|\.pictures)/[\w./-]*)`", prose)
    assert [path for path in paths if not (ROOT / path).exists()] == []
    links = [link for link in re.findall(r"\]\(([^)#]+)(?:#[\w-]+)?\)", prose) if "://" not in link]
    assert [link for link in links if not (ROOT / document).parent.joinpath(link).exists()] == []
    files = {
        path.name for folder in ("dashboard", "ingest", "tests") for path in (ROOT / folder).rglob("*.*")
    }
    named = re.findall(r"`(\w+\.(?:py|sql|js|md))`", prose)
    assert [name for name in named if name not in files and name != "NNN_name.sql"] == []


@pytest.mark.parametrize("folder", ["dashboard", "analysis", "ingest"])
def test_the_layers_are_told_in_the_order_in_which_the_contracts_have_them(folder: str) -> None:
    contracts = PYPROJECT["tool"]["importlinter"]["contracts"]
    layers = next(
        contract["layers"]
        for contract in contracts
        if contract["type"] == "layers" and contract["containers"][0].split(".")[-1] == folder
    )
    table = re.search(
        rf"^\| layer of `{folder}/?` \| holds \|\n\|.*\n((?:\|.*\n)+)", DEVELOPERS, re.MULTILINE
    )
    assert table
    listed = [re.findall(r"`(\w+)`", row.split("|")[1]) for row in table[1].splitlines()]
    assert listed == [re.findall(r"\w+", layer) for layer in layers]


def test_there_are_ten_invariants() -> None:
    section = DEVELOPERS.partition("## Ten invariants")[2].partition("\n## ")[0]
    assert re.findall(r"^(\d+)\. \*\*", section, re.MULTILINE) == [str(number) for number in range(1, 11)]


def test_the_table_of_what_may_be_seen_has_every_role() -> None:
    text = (ROOT / "dashboard" / "server" / "SECURITY.md").read_text(encoding="utf-8")
    assert f"\n| | {' | '.join(ROLES)} |\n" in text


def test_every_benchmark_is_listed_with_what_it_does() -> None:
    text = (ROOT / "tests" / "benchmarks" / "README.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `(\w+)", text, re.MULTILINE))
    modules = {path.stem for path in (ROOT / "tests" / "benchmarks").glob("*.py")}
    assert listed == {name for name in modules if _runs(ROOT / "tests" / "benchmarks" / f"{name}.py")}


def test_the_latest_change_is_of_the_version_that_is_built() -> None:
    changes = (ROOT / "dashboard" / "CHANGES.md").read_text(encoding="utf-8")
    latest = re.search(r"^## (\S+) – \d{4}-\d{2}-\d{2}$", changes, re.MULTILINE)
    assert latest and latest[1] == PYPROJECT["project"]["version"]


def _runs(module: Path) -> bool:
    """It is a campaign, not a helper of others."""
    return '__name__ == "__main__"' in module.read_text(encoding="utf-8")
