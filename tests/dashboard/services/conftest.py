"""Fixtures of the tests of the services."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.store import Store
from tests.dashboard.saved_quotes import CHANGE, NEW


@pytest.fixture(scope="session")
def mill_file(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("mill") / "studio.duckdb"
    shutil.copy(invented, path)
    with Store(path) as opened:
        store_rows(opened, OBJECTS, [NEW], CHANGE)
    return path


@pytest.fixture
def mill(mill_file: Path, tmp_path: Path) -> Iterator[Store]:
    """The invented studio with a new work in it."""
    path = tmp_path / "studio.duckdb"
    shutil.copy(mill_file, path)
    with Store(path) as opened:
        yield opened
