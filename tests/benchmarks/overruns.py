"""The overruns query over a million entries beside the bare GROUP BY: `python -m tests.benchmarks.overruns
[ROWS]`.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd

from dashboard import queries
from ingest.importing.files import import_files
from ingest.store import Store
from tests.benchmarks.logs import write_logs

# Over a flat table of entries, as anyone would keep them: the narrowest sums, and the sums that a comparison
# with causes needs.
NARROW = (
    "SELECT object, phase, technique, part, sum(counted_hours), sum(quantity), max(day) FROM flat WHERE day"
    " <= $as_of GROUP BY object, phase, technique, part"
)
BARE = """SELECT object, phase, technique, part, count(*) FILTER (charge = 'quoted'),
    sum(counted_hours) FILTER (charge = 'quoted'), sum(counted_hours) FILTER (charge = 'extra'),
    sum(counted_hours) FILTER (charge = 'own_cost'), sum(hours) FILTER (mode = 'unattended'),
    sum(quantity) FILTER (charge = 'quoted'), max(day) FILTER (charge <> 'own_cost'), max(done),
    bool_or(discovery)
    FROM flat WHERE day <= $as_of GROUP BY object, phase, technique, part"""
AS_OF = date(2026, 1, 1)


def main(rows: int) -> None:
    with tempfile.TemporaryDirectory() as name, Store(Path(name) / "s.duckdb") as store:
        import_files(store, list(write_logs(Path(name), rows, 0.0)))
        with store.writing() as con:  # an estimate for every line, half of the works finished
            con.execute(
                "INSERT INTO estimate_versions SELECT object, 1, DATE '2014-01-01', DATE '2014-01-02', NULL,"
                " NULL, NULL, NULL, NULL, NULL FROM objects"
            )
            con.execute("""INSERT INTO estimated_lines (version, line, quantity, unit, hours)
                SELECT 1, line, sum(quantity) * 0.9, 'dm2', sum(hours) * 0.8 FROM spells GROUP BY line""")
            con.execute("CREATE TABLE flat AS SELECT * FROM time_entries")
            con.execute("UPDATE objects SET finished_on = DATE '2025-12-01' WHERE hash(object) % 2 = 0")
        con = store.cursor()
        times: dict[str, list[float]] = {"narrowest GROUP BY": [], "bare GROUP BY": [], "overruns": []}
        queries_timed: dict[str, Callable[[], pd.DataFrame]] = {
            "narrowest GROUP BY": lambda: con.execute(NARROW, {"as_of": AS_OF}).df(),
            "bare GROUP BY": lambda: con.execute(BARE, {"as_of": AS_OF}).df(),
            "overruns": lambda: queries.overruns(con, AS_OF),
        }
        for _ in range(9):
            for label, ask in queries_timed.items():
                begin = time.perf_counter()
                ask()
                times[label].append(time.perf_counter() - begin)
        middle = {label: statistics.median(some) for label, some in times.items()}
        lines = con.execute("SELECT count(*) FROM estimate_lines").fetchall()[0][0]
        print(
            f"{rows:,} entries, {lines:,} lines: "
            + ", ".join(f"{label} {seconds * 1000:.0f} ms" for label, seconds in middle.items())
        )
        print(
            f"  overruns / bare GROUP BY: {middle['overruns'] / middle['bare GROUP BY']:.2f}, / narrowest:"
            f" {middle['overruns'] / middle['narrowest GROUP BY']:.2f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
