"""Fixtures: a fresh store, and a way to bring text in as a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, settings

from dashboard import demo, reading
from ingest.check import Checked
from ingest.history import Change
from ingest.imports import import_files
from ingest.settings import write_settings
from ingest.store import Store

# Few examples and no clock: the same run on a slow machine must end the same. Campaigns live in tests/benchmarks/.
settings.register_profile(
    "project", max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
settings.load_profile("project")

# The present of the tests, UTC; what needs a present is given this one. Only where something reads the machine's clock by itself (a server, a
# browser, OpenSSL) does a test look there too: never hold the one against the other.
NOW = datetime(2026, 6, 1, 12, 0)
LATER = NOW.date()
CHANGE = Change(by="Ilse", reason="a test", at=NOW)

Bring = Callable[..., Checked]


@pytest.fixture
def store() -> Iterator[Store]:
    with Store(":memory:") as opened:
        with opened.writing() as con:
            write_settings(con, {"zone": "Europe/Berlin"})
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
    """Two objects to log on."""
    report = bring(
        "objects.csv",
        "object,title,shape,height_cm,width_cm,received_on\n24-001,Ferry in snow,rectangle,60,80,2024-01-02\n24-002,Weir at dusk,oval,40,30,2024-01-03\n",
    )
    assert report.complete
    return bring


@pytest.fixture
def lines(store: Store) -> Callable[..., pd.DataFrame]:
    """`lines()`: the overruns of every line, as of a day."""
    return lambda as_of=LATER: reading.overruns(store.cursor(), as_of)


def entries(store: Store) -> pd.DataFrame:
    return store.cursor().execute("SELECT * FROM time_entries ORDER BY day, started_at, hours").df()


def faults(report: Checked) -> list[str]:
    """Problems as one can read them: line, column, reason."""
    return [f"{line} {column}: {reason}" for line, column, _, reason, _ in report.problems.itertuples(index=False)]
