"""kill -9 in the middle of the work: the database is as before, or complete. A few moments here; many in
`tests.benchmarks.kills`.
"""

import gzip
from pathlib import Path

import pytest

from ingest.store import Store
from tests import SAMPLES, big_studio
from tests.benchmarks.logs import write_logs
from tests.killing import Work, backing_up, importing, killed_at_random, migrating, restoring

MOMENTS = 3


@pytest.fixture(scope="module")
def databases(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two studios that differ."""
    made = []
    for number in (1, 2):
        folder = tmp_path_factory.mktemp("studio")
        with Store(folder / "s.duckdb") as store:
            big_studio.fill(store, folder, 30 * number, 3_000, seed=number)
        made.append(folder / "s.duckdb")
    return made[0], made[1]


def test_an_import_that_is_killed(tmp_path: Path) -> None:
    assert (
        sum(killed_at_random(importing(lambda folder: write_logs(folder, 20_000, 0.0)), tmp_path, MOMENTS))
        == MOMENTS
    )


@pytest.mark.parametrize("form", [1, 3])
def test_a_migration_that_is_killed(tmp_path: Path, form: int) -> None:
    sample = tmp_path / "sample.duckdb"
    sample.write_bytes(gzip.decompress((SAMPLES / f"form_{form}.duckdb.gz").read_bytes()))
    assert sum(killed_at_random(migrating(sample), tmp_path / "k", MOMENTS)) == MOMENTS


@pytest.mark.parametrize("what", ["backup", "restore in place of another", "restore where there is none"])
def test_a_backup_and_a_restore_that_are_killed(
    tmp_path: Path, databases: tuple[Path, Path], what: str
) -> None:
    one, other = databases
    work: Work = {
        "backup": backing_up(one),
        "restore in place of another": restoring(one, other, there=True),
    }.get(what, restoring(one, other, there=False))
    assert sum(killed_at_random(work, tmp_path / "k", MOMENTS)) == MOMENTS
