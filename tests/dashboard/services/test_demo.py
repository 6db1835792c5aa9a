"""The invented studio: what it must hold to be worth looking at."""

import json
from collections.abc import Iterator
from datetime import date, timedelta
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.report.overruns import by_phase, compare
from dashboard.services import demo
from demo_logs.invented_works import FILES
from demo_logs.write_demo_logs import write
from ingest.store import Store


@pytest.fixture(scope="module")
def invented() -> Iterator[Store]:
    with Store(":memory:") as store:
        demo.fill(store)
        yield store


def test_the_files_are_what_the_script_writes_and_lie_in_the_past(tmp_path: Path) -> None:
    write(tmp_path)
    kept = resources.files("demo_logs")
    for name in (*(f"{file}.csv" for file in FILES), "truth.json"):
        assert (tmp_path / name).read_text() == kept.joinpath(name).read_text(encoding="utf-8")
    days = pd.read_csv(tmp_path / "time_entries.csv", dtype=str)["started_at"].str.slice(0, 10).max()
    assert date.fromisoformat(days) < date(2026, 11, 1)


def test_the_last_entry_was_yesterday(invented: Store) -> None:
    con = invented.cursor()
    assert con.execute("SELECT max(day)::DATE FROM time_entries").fetchall() == [
        (queries.today(con) - timedelta(days=1),)
    ]


def test_it_has_life_s_mess(invented: Store) -> None:
    def one(query: str) -> int:
        return int(invented.cursor().execute(query).fetchall()[0][0])

    assert one("SELECT count(*) FROM objects WHERE finished_on IS NOT NULL") >= 58
    assert one("SELECT count(*) FROM objects WHERE finished_on IS NULL") >= 5
    assert 5_000 <= one("SELECT count(*) FROM time_entries") <= 7_000
    assert one("SELECT count(DISTINCT person) FROM time_entries") == 3
    assert one("SELECT count(*) FROM time_entries WHERE mode = 'unattended'") > 100
    assert one("SELECT count(*) FROM time_entries WHERE charge = 'own_cost' AND object IS NOT NULL") == 4
    assert one("SELECT count(*) FROM time_entries WHERE charge = 'extra'") > 10
    assert one("SELECT count(*) FROM time_entries WHERE discovery") > 20
    assert one("SELECT count(*) FROM time_entries WHERE object IS NULL") > 500
    assert one("SELECT count(*) FROM time_entries WHERE started_at IS NULL") > 100
    assert one("SELECT count(*) FROM time_entries WHERE unit = 'pcs'") > 100
    assert one("SELECT count(*) FROM estimate_versions WHERE version = 2") >= 5
    assert one("SELECT count(*) FROM estimate_versions WHERE approved_option IS NOT NULL") >= 2
    assert one("SELECT count(*) FROM history WHERE kind = 'time_entries'") > 10
    assert one("SELECT count(*) FROM objects WHERE returned_from IS NOT NULL") == 1
    assert one("SELECT count(*) FROM milestones") > 100


def test_phases_run_over_as_the_truth_says(invented: Store) -> None:
    """Phases whose estimates were drawn well below the truth ran over, padded ones under; lines of one work
    go together.
    """
    con = invented.cursor()
    lines = queries.overruns(con, queries.today(con))
    phases = by_phase(compare(lines)).set_index("phase")
    ratio = phases["actual_hours"] / phases["estimated_hours"]
    bias = json.loads(resources.files("demo_logs").joinpath("truth.json").read_text())["estimate_bias"]
    for phase in ("old lining and repairs", "varnish and overpaint", "retouching"):
        assert ratio[phase] > 1.15 and bias[phase] < 0.85
    assert ratio["documentation"] < 1 < bias["documentation"]
    works = lines[lines["finished"] & (lines["estimated_hours"] > 0) & (lines["actual_hours"] > 0)]
    log_ratio = (works["actual_hours"] / works["estimated_hours"]).map(np.log)
    between = log_ratio.groupby(works["object"]).mean().var()
    assert (
        between
        > 1.5 * (log_ratio.groupby(works["object"]).var() / log_ratio.groupby(works["object"]).size()).mean()
    )
