"""Databases of every form that landed, made by the code of their time, are brought up to date and say the same."""

import gzip
import json
from datetime import date
from pathlib import Path

import duckdb
import pytest

from dashboard import reading
from ingest import store as storing
from ingest.errors import StoreError
from ingest.export import export
from ingest.imports import import_files
from ingest.integrity import faults
from ingest.store import Store, migrations, schema_version
from tests.whole_studios import everything

SAMPLES = Path(__file__).parent.parent / "samples"
FORMS = range(1, migrations()[-1][0])  # the newest has not landed yet


@pytest.fixture(params=FORMS)
def form(request: pytest.FixtureRequest) -> int:
    return int(request.param)


@pytest.fixture
def sample(form: int, tmp_path: Path) -> Path:
    path = tmp_path / "studio.duckdb"
    path.write_bytes(gzip.decompress((SAMPLES / f"form_{form}.duckdb.gz").read_bytes()))
    with duckdb.connect(str(path), read_only=True) as con:
        assert schema_version(con) == form
    return path


def test_an_older_form_is_brought_up_to_date_and_its_overruns_are_those_of_its_time(form: int, sample: Path, tmp_path: Path) -> None:
    told = json.loads((SAMPLES / f"form_{form}.json").read_text())
    with Store(sample) as store:
        con = store.cursor()
        assert schema_version(con) == migrations()[-1][0] and faults(con) == []
        assert {name: con.execute(f"SELECT count(*) FROM {name}").fetchall()[0][0] for name in told["holds"]} == told["holds"]
        lines = reading.overruns(con, date.fromisoformat(told["as_of"]))
        assert len(lines) == told["lines"]
        for name, hours in told["overruns_hours"].items():
            assert lines[name].astype(float).sum() == pytest.approx(hours, abs=1e-6), name
        if form not in (FORMS[0], FORMS[-1]):  # by way of an export the first and the last are enough
            return
        export(store, tmp_path / "out", private=True)
        with Store(":memory:") as back:
            assert all(report.complete for report in import_files(back, [tmp_path / "out" / file.name for file in (tmp_path / "out").iterdir()]))
            assert everything(back) == everything(store)


@pytest.mark.parametrize("breaks", ["at the start", "at the end", "between two forms"])
def test_a_failed_migration_leaves_the_file_as_it_was(form: int, sample: Path, monkeypatch: pytest.MonkeyPatch, breaks: str) -> None:
    def broken() -> list[tuple[int, str, str]]:
        known = migrations()
        at = {"at the start": form, "at the end": len(known) - 1, "between two forms": min(form + 1, len(known) - 1)}[breaks]
        number, name, text = known[at]
        known[at] = number, name, f"{text if breaks == 'at the end' else ''}; SELECT error('no')"
        return known

    def as_it_is() -> list[object]:
        with duckdb.connect(str(sample), read_only=True) as con:
            tables = [row[0] for row in con.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()]
            return [
                con.execute("SELECT sql FROM duckdb_tables() ORDER BY 1").fetchall(),
                *((table, con.execute(f"SELECT count(*), bit_xor(hash(t)) FROM {table} AS t").fetchall()) for table in tables),
            ]

    before = as_it_is()
    with monkeypatch.context() as later:
        later.setattr(storing, "migrations", broken)
        with pytest.raises(StoreError) as caught:
            Store(sample)
    assert "cannot be brought up to date" in str(caught.value) and len(str(caught.value).splitlines()) == 1
    assert as_it_is() == before
    with Store(sample) as store:
        assert faults(store.cursor()) == []
