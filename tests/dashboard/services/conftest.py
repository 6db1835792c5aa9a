"""Fixtures of the tests of the services."""

from __future__ import annotations

import pytest

from ingest.importing.form_rows import store_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.store import Store
from tests.dashboard.saved_quotes import CHANGE, NEW


@pytest.fixture
def mill(demo: Store) -> Store:
    """The invented studio with a new work in it."""
    store_rows(demo, OBJECTS, [NEW], CHANGE)
    return demo
