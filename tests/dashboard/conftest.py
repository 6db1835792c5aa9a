"""Fixtures of the tests of the dashboard."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.store import Store
from tests import computed


@pytest.fixture(autouse=True)
def shared_results(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was computed from the same input before is not computed again, but by tests of the analysis."""
    if request.path.parent.name != "analysis":
        computed.share(monkeypatch)


@pytest.fixture(scope="module")
def demo_file(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("quotes") / "studio.duckdb"
    shutil.copy(invented, path)
    return path


@pytest.fixture
def demo(demo_file: Path, tmp_path: Path) -> Iterator[Store]:
    path = tmp_path / "studio.duckdb"
    shutil.copy(demo_file, path)
    with Store(path) as opened:
        yield opened
