"""Fixtures: a fresh store, and a way to bring text in as a file."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, settings

from dashboard import queries
from dashboard.services import demo
from ingest.importing.check import Checked
from ingest.importing.files import import_files
from ingest.store import Store
from ingest.tables.audit_log import Change
from tests import prepared

# Few examples and no clock: the same run on a slow machine must end the same. Campaigns live in
# tests/benchmarks/.
settings.register_profile(
    "project",
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
settings.load_profile("project")

# The present of the tests, UTC; what needs a present is given this one. Only where something reads the
# machine's clock by itself (a server, a browser, OpenSSL) does a test look there too: never hold the one
# against the other.
NOW = prepared.NOW
LATER = NOW.date()
CHANGE = Change(by="Ilse", reason="a test", at=NOW)

LONGEST = (
    "browser/test_pages.py",
    "dashboard/services/test_forecast.py",
    "ingest/safekeeping/test_export.py",
    "ingest/phone/test_phone.py",
    "dashboard/pages/test_foreign_tables.py",
    "browser/test_quote_a_work.py",
    "dashboard/cli/test_remote.py",
    "browser/test_on_the_bench.py",
    "browser/test_from_memory.py",
    "dashboard/documents/test_quote_letter.py",
    "browser/test_who_may_come_in.py",
    "ingest/foreign/test_hostile.py",
    "dashboard/services/test_plan.py",
    "browser/test_serving.py",
    "browser/phone/test_phone_and_server.py",
    "browser/test_estimate_sheet.py",
    "ingest/test_migrations.py",
    "browser/test_from_an_empty_studio.py",
    "browser/phone/test_day_at_the_bench.py",
    "browser/phone/test_several_phones.py",
    "ingest/safekeeping/test_killed.py",
    "ingest/foreign/test_tables.py",
    "browser/test_tasks.py",
    "browser/test_foreign_tables.py",
    "browser/test_pictures.py",
    "browser/phone/test_typing_in_the_form.py",
    "dashboard/services/test_saved_quote.py",
    "dashboard/pages/test_by_phase.py",
    "dashboard/services/test_quote.py",
    "dashboard/queries/test_levels.py",
    "dashboard/cli/test_output.py",
    "ingest/test_devices.py",
    "dashboard/cli/test_quote.py",
    "dashboard/queries/test_overruns.py",
)
"""Files of more than 20 s on a busy machine, the longest first. They begin first, so that none is left to
one worker at the end.
"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    rank = {Path(__file__).parent / name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))


def pytest_collection_finish() -> None:
    """What modules and the tests are made of stays to the end: no full collection looks at it again."""
    gc.collect()
    gc.freeze()


Bring = Callable[..., Checked]


@pytest.fixture
def store(request: pytest.FixtureRequest) -> Iterator[Store]:
    """A studio without works; with `studio`, two of them."""
    with prepared.new_studio(works="studio" in request.fixturenames) as opened:
        yield opened


def bring_into(store: Store, folder: Path, name: str, text: str | bytes, **options: object) -> Checked:
    """Import text as a file into a store."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return import_files(store, [path], now=NOW, **options)[0]  # type: ignore[arg-type]


@pytest.fixture
def bring(store: Store, tmp_path: Path) -> Bring:
    """`bring("name.csv", text)`: import text as a file into the store of the test."""
    return partial(bring_into, store, tmp_path)


@pytest.fixture(scope="session")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the invented studio in it, to be copied."""
    path = tmp_path_factory.mktemp("invented") / "studio.duckdb"
    demo.fresh(path).close()
    return path


@pytest.fixture
def studio(bring: Bring) -> Bring:
    """`bring` into a store with two works to log on."""
    return bring


@pytest.fixture
def lines(store: Store) -> Callable[..., pd.DataFrame]:
    """`lines()`: the overruns of every line, as of a day."""
    return lambda as_of=LATER: queries.overruns(store.cursor(), as_of)


def entries(store: Store) -> pd.DataFrame:
    return store.cursor().execute("SELECT * FROM time_entries ORDER BY day, started_at, hours").df()


def faults(report: Checked) -> list[str]:
    """Problems as one can read them: line, column, reason."""
    return [
        f"{line} {column}: {reason}" for line, column, _, reason, _ in report.problems.itertuples(index=False)
    ]
