"""Databases of every form that landed, made by the code of their time, are brought up to date and say the
same.
"""

import gzip
import json
import math
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from dashboard import queries
from dashboard.services import prices
from ingest import store as storing
from ingest.editing import approvals
from ingest.errors import StoreError
from ingest.importing.files import import_files
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store, migrations, schema_version
from ingest.studio.settings import read_settings, write_settings
from tests import SAMPLES
from tests.conftest import CHANGE
from tests.whole_studios import everything, imported

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


def as_of_that_time(exported: Path, *later: str, **columns: list[str]) -> None:
    """A file of an export as the program of that time wrote it: without columns that came later, and with
    what it wrote in others.
    """
    rows = pd.read_csv(exported, dtype=str, keep_default_na=False)
    rows.assign(**columns).drop(columns=list(later)).to_csv(exported, index=False)


def test_an_older_form_is_brought_up_to_date_and_its_overruns_are_those_of_its_time(
    form: int, sample: Path, tmp_path: Path
) -> None:
    told = json.loads((SAMPLES / f"form_{form}.json").read_text())
    with Store(sample) as store:
        con = store.cursor()
        assert schema_version(con) == migrations()[-1][0] and faults(con) == []
        assert {
            name: con.execute(f"SELECT count(*) FROM {name}").fetchall()[0][0] for name in told["holds"]
        } == told["holds"]
        lines = queries.overruns(con, date.fromisoformat(told["as_of"]))
        assert len(lines) == told["lines"]
        for name, hours in told["overruns_hours"].items():
            assert lines[name].astype(float).sum() == pytest.approx(hours, abs=1e-6), name
        if form not in (FORMS[0], FORMS[-1]):  # by way of an export the first and the last are enough
            return
        export(store, tmp_path / "out", private=True)
        with imported(tmp_path / "out") as back:
            assert everything(back) == everything(store)


@pytest.mark.parametrize("form", [9], indirect=True)
def test_what_happened_before_it_was_kept_is_told_by_the_record_and_by_what_the_program_of_that_time_wrote(
    sample: Path, tmp_path: Path
) -> None:
    """Its script noted what each change was: reasons typed by hand that read like the program's own, entries
    taken back, put back and struck, words, people and versions.
    """
    told = json.loads((SAMPLES / "form_9.json").read_text())["events"]
    with duckdb.connect(str(sample), read_only=True) as con:
        reasons = [row[0] for row in con.execute("SELECT reason FROM history ORDER BY number").fetchall()]
    with Store(sample) as store:
        assert store.cursor().execute(
            "SELECT kind, key, event, reason FROM history ORDER BY number"
        ).fetchall() == [tuple(item) for item in told]
        export(store, tmp_path / "out", private=True)
        as_of_that_time(tmp_path / "out" / "history.csv", "event", reason=reasons)
        with imported(tmp_path / "out") as back:
            assert everything(back) == everything(store) and faults(back.cursor()) == []
            assert import_files(back, [tmp_path / "out" / "history.csv"])[0].outcome.already_held == len(
                told
            ) and everything(back) == everything(store)


@pytest.mark.parametrize("form", [8], indirect=True)
def test_prices_of_saved_quotes_keep_their_tax_and_what_was_typed_is_not_guessed(
    sample: Path, tmp_path: Path
) -> None:
    """By the script of that time: 26-101 was quoted before a tax was said, 26-102 with 19 % (and 2,900 €
    agreed), 26-103 and 26-104 with the studio's 8.1 %, 26-105 without; all else was written by hand.
    """
    quoted = {
        ("26-101", 1): 0.0,
        ("26-102", 1): 19.0,
        ("26-103", 1): 8.1,
        ("26-104", 1): 8.1,
        ("26-105", 1): 0.0,
    }

    def meant(store: Store) -> dict[tuple[str, int], float]:
        rows = (
            store.cursor()
            .execute("SELECT object, version, tax_per_cent FROM taxed_versions WHERE tax_in_price")
            .fetchall()
        )
        return {(code, version): per_cent for code, version, per_cent in rows}

    with Store(sample) as store:
        assert meant(store) == quoted
        con, day = store.cursor(), date(2026, 11, 29)
        of = queries.approved_promises(con, day).set_index("object")
        net = dict(zip(of.index, prices.nets(of, read_settings(con)), strict=True))
        assert (
            net["26-102"] == pytest.approx(2900 / 1.19)
            and net["26-103"] == pytest.approx(992.36 / 1.081)
            and net["26-101"] == 3617.6
        )
        # 1,190 € that were typed, and those of the files
        assert math.isnan(net["26-106"]) and prices.unsaid(of, read_settings(con)) == len(of) - 3
        with store.writing() as con:
            approvals.take_back_approval(con, "26-102", 1, CHANGE)  # that history knows nothing of a tax
            write_settings(con, {"tax_per_cent": ""})
        of = queries.approved_promises(store.cursor(), day).set_index("object")
        # a studio without a tax is asked nothing
        assert (
            prices.unsaid(of, read_settings(store.cursor())) == 0
            and prices.nets(of, read_settings(store.cursor()))["26-106"] == 1190
        )
        assert meant(store) == quoted and faults(store.cursor()) == []
        export(store, tmp_path / "out")
        as_of_that_time(tmp_path / "out" / "estimates.csv", "tax_in_price", "tax_per_cent")
        with imported(tmp_path / "out") as back:
            assert meant(back) == quoted


def test_a_failed_migration_leaves_the_file_as_it_was(
    form: int, sample: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the start, at the end, and between two forms."""

    def as_it_is() -> list[object]:
        with duckdb.connect(str(sample), read_only=True) as con:
            tables = [
                row[0] for row in con.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()
            ]
            return [
                con.execute("SELECT sql FROM duckdb_tables() ORDER BY 1").fetchall(),
                *(
                    (table, con.execute(f"SELECT count(*), bit_xor(hash(t)) FROM {table} AS t").fetchall())
                    for table in tables
                ),
            ]

    before, last = as_it_is(), len(migrations()) - 1
    for breaks, at in (
        ("at the start", form),
        ("at the end", last),
        ("between two forms", min(form + 1, last)),
    ):
        known = migrations()
        number, name, text = known[at]
        known[at] = number, name, f"{text if breaks == 'at the end' else ''}; SELECT error('no')"
        with monkeypatch.context() as broken:
            broken.setattr(storing, "migrations", lambda known=known: known)
            with pytest.raises(StoreError) as caught:
                Store(sample)
        said = str(caught.value)
        assert "cannot be brought up to date" in said and len(said.splitlines()) == 1, breaks
        assert as_it_is() == before, breaks
    with Store(sample) as store:
        assert faults(store.cursor()) == []
