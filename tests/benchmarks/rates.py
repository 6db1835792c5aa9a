"""Calibrating, against the bare GROUP BY: `python -m tests.benchmarks.rates [--entries 1000000]`.

A studio of 4,300 works of 12 lines (50,000 of them finished), one of 40 works, and one line of a work; and
the whole back-test of the invented studio. `--back-test-of 250 500 1000` tries that many works of 12 lines
again instead: how long it takes, also by day, and what the back-test says of the ranges.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from dashboard import queries
from dashboard.analysis.models import calibration
from dashboard.analysis.models import rate_table as rate_tables
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.validation import backtest as backtests
from dashboard.services import demo
from ingest.store import Store
from tests.benchmarks.timing import best
from tests.big_studio import fill

_EPOCH = date(1970, 1, 1)


def calibrated(store: Store, day: date) -> Calibration:
    record = queries.record(store.cursor(), day)
    number = (day - _EPOCH).days
    return calibration.learn(record.as_of(number), number, record.unneeded(number))


def of_works(works: int, entries: int) -> None:
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "studio.duckdb") as store:
        fill(store, Path(folder), works, entries)
        day = queries.today(store.cursor())
        bare = best(
            lambda: (
                store.cursor()
                .execute(
                    "SELECT line, person, sum(counted_hours) FROM spells WHERE day < ? GROUP BY ALL", [day]
                )
                .to_arrow_table()
            )
        )
        whole = best(lambda: calibrated(store, day), 3)
        known = calibrated(store, day)
        lines = known.joint.lines
        print(
            f"{works:,} works, {entries:,} entries, {int((~lines.is_open).sum()):,} finished lines: GROUP BY"
            f" {bare:.3f} s, record and fit {whole:.3f} s, {whole - bare:.3f} s more"
        )
        one = rate_tables.usual_lines(known, np.asarray(known.joint.levels.techniques[:1]))
        print(
            "  one line:"
            f" {1000 * best(lambda: calibration.predict(known, one).quantiles(calibration.SCORED)):.1f} ms"
        )


def tried_again(works: int) -> None:
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "studio.duckdb") as store:
        fill(store, Path(folder), works, 60 * works)
        day = queries.today(store.cursor()) + timedelta(days=1)
        record = queries.record(store.cursor(), day, by_day=True)
        began, worked = time.perf_counter(), time.process_time()
        retried = backtests.run_backtest(record, (day - _EPOCH).days)
        passed, worked = time.perf_counter() - began, time.process_time() - worked
    verdict, days = backtests.score(retried), retried.lines["predicted_on"].nunique()
    print(
        f"back-test of {works:,} works of 12 lines: {passed:.1f} s, of processors {worked:.1f} s,"
        f" {1000 * worked / days:.0f} ms for each of {days:,} days; inside 4 in 5 {verdict.coverage80:.3f}, 9"
        f" in 10 {verdict.coverage90:.3f}, totals {verdict.total_coverage80:.3f}, loss {verdict.pinball:.4f},"
        f" bias {verdict.bias_factor:.3f}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--entries", type=int, default=1_000_000)
    parser.add_argument("--back-test-of", type=int, nargs="+", metavar="WORKS")
    said = parser.parse_args()
    if said.back_test_of:
        for works in said.back_test_of:
            tried_again(works)
        return
    of_works(4300, said.entries)
    of_works(40, 3000)
    with tempfile.TemporaryDirectory() as folder, demo.fresh(Path(folder) / "studio.duckdb") as store:
        day = queries.today(store.cursor())
        whole = best(
            lambda: backtests.run_backtest(
                queries.record(store.cursor(), day, by_day=True), (day - _EPOCH).days
            ),
            2,
        )
        print(f"back-test of the invented studio: {whole:.2f} s")


if __name__ == "__main__":
    main()
