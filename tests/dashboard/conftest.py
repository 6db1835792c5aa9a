"""Fixtures of the tests of the dashboard."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ingest.safekeeping.integrity import sums
from ingest.sql import Connection
from ingest.store import Store
from tests import computed
from tests.dashboard import quoting


@pytest.fixture(autouse=True)
def shared_results(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was computed from the same input before is not computed again, but by tests of the analysis."""
    if request.path.parent.name != "analysis":
        computed.share(monkeypatch)
        quoting.share(monkeypatch)


@pytest.fixture(scope="module")
def demo_file(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("quotes") / "studio.duckdb"
    shutil.copy(invented, path)
    return path


class Untouched(Store):
    """A database that knows whether it is still as it was opened."""

    untouched = True

    @contextmanager
    def writing(self, *, counts: bool = True) -> Iterator[Connection]:
        self.untouched = False
        with super().writing(counts=counts) as con:
            yield con

    def close(self) -> None:
        self.untouched = False
        super().close()


@pytest.fixture(scope="module")
def invented_studios(
    demo_file: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[], Untouched]]:
    """The invented studio, opened: the same one until a test writes into it or closes it."""
    folder, numbers = tmp_path_factory.mktemp("invented"), itertools.count()
    opened: list[Untouched] = []

    def one() -> Untouched:
        if not opened or not opened[-1].untouched:
            path = folder / f"{next(numbers)}" / "studio.duckdb"
            path.parent.mkdir()
            shutil.copy(demo_file, path)
            opened.append(Untouched(path))
        return opened[-1]

    yield one
    if opened and opened[-1].untouched:
        with Store(demo_file) as as_made:  # whatever was done, it was not written into
            assert sums(opened[-1].cursor()) == sums(as_made.cursor())
        opened[-1].close()


@pytest.fixture
def demo(invented_studios: Callable[[], Untouched]) -> Iterator[Store]:
    """The invented studio, as it is made."""
    opened = invented_studios()
    yield opened
    if not opened.untouched:
        opened.close()
        shutil.rmtree(Path(opened.path).parent)
