"""Import of a million entries beside an honest rival and a bare COPY: `python -m
tests.benchmarks.import_entries [ROWS]`.

The rival reads with pandas, makes the same checks vectorised, and inserts once into DuckDB. Each contender
runs in a process of its own, three times in turn; the median time and the peak memory are compared. So is the
writing of the logs: on Linux a process begins with the peak of the one that started it.
"""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from ingest.importing.files import import_files
from ingest.store import Store
from tests.benchmarks.logs import write_logs

TURNS = 3
COLUMNS = """object VARCHAR, phase VARCHAR, technique VARCHAR, part VARCHAR, person VARCHAR,
    started_at TIMESTAMP, ended_at TIMESTAMP, hours DOUBLE,
    counted_hours DOUBLE, mode VARCHAR, charge VARCHAR, quantity DOUBLE, unit VARCHAR,
    done DOUBLE, note VARCHAR, day DATE, entry VARCHAR"""


def ours(objects: Path, entries: Path, database: Path) -> int:
    with Store(database) as store:
        with store.writing() as con:
            con.execute("UPDATE settings SET value = 'Europe/Berlin' WHERE setting = 'zone'")
        import_files(store, [objects])
        begin = time.perf_counter()
        report = import_files(store, [entries])[0]
    print(
        json.dumps(
            {
                "seconds": time.perf_counter() - begin,
                "stored": report.outcome.stored,
                "rejected": report.outcome.rejected,
            }
        )
    )
    return report.outcome.stored


def rival(objects: Path, entries: Path, database: Path) -> int:
    """pandas.read_csv, the same checks vectorised, one insert."""
    with Store(":memory:") as store:
        techniques = (
            store.cursor()
            .execute(
                "SELECT technique, phase AS usual_phase, unit AS usual_unit, mode AS usual_mode FROM"
                " techniques"
            )
            .df()
        )
        phases = set(techniques["usual_phase"])
    known = set(pd.read_csv(objects, dtype=str)["object"])
    con = duckdb.connect(str(database))
    con.execute(f"CREATE TABLE time_entries ({COLUMNS})")
    begin = time.perf_counter()
    frame = pd.read_csv(entries, dtype=str, keep_default_na=False)
    frame = frame.merge(techniques, on="technique", how="left")
    start = pd.to_datetime(frame["started_at"], format="%Y-%m-%d %H:%M", errors="coerce")
    end = pd.to_datetime(frame["ended_at"], format="%Y-%m-%d %H:%M", errors="coerce")
    utc_start = (
        start.dt.tz_localize("Europe/Berlin", ambiguous=True, nonexistent="NaT")
        .dt.tz_convert("UTC")
        .dt.tz_localize(None)
    )
    utc_end = (
        end.dt.tz_localize("Europe/Berlin", ambiguous=True, nonexistent="NaT")
        .dt.tz_convert("UTC")
        .dt.tz_localize(None)
    )
    hours = (utc_end - utc_start).dt.total_seconds() / 3600
    quantity = pd.to_numeric(
        frame["quantity"].str.replace(",", ".").where(frame["quantity"] != ""), errors="coerce"
    )
    done = pd.to_numeric(frame["done"].where(frame["done"] != ""), errors="coerce")
    frame["phase"] = frame["phase"].where(frame["phase"] != "", frame["usual_phase"])
    frame["mode"] = frame["mode"].where(frame["mode"] != "", frame["usual_mode"])
    frame["charge"] = frame["charge"].where(frame["charge"] != "", "quoted")
    faults = {
        "object": ~frame["object"].isin(known),
        "phase": ~frame["phase"].isin(phases),
        "technique": frame["usual_mode"].isna(),
        "person": frame["person"] == "",
        "started_at": utc_start.isna() | (utc_start > pd.Timestamp.now()),
        "ended_at": utc_end.isna() | (hours <= 0),
        "hours": (hours > 16) & frame["mode"].isin(["hands_on", "attended"]),
        "mode": ~frame["mode"].isin(["hands_on", "attended", "unattended"]),
        "charge": ~frame["charge"].isin(["quoted", "extra", "own_cost"]),
        "quantity": (quantity < 0) | (quantity > 1e6) | (quantity.isna() & (frame["quantity"] != "")),
        "done": ~done.between(0, 100) & (frame["done"] != ""),
        "unit": (frame["unit"] != "") & (frame["unit"] != frame["usual_unit"]),
        "pieces": (frame["usual_unit"] == "pcs") & (quantity % 1 != 0),
    }
    bad = np.logical_or.reduce([mask.to_numpy() for mask in faults.values()])
    rejects = pd.concat([frame.loc[mask.to_numpy()].assign(column=name) for name, mask in faults.items()])
    good = frame[~bad].assign(
        started_at=utc_start[~bad],
        ended_at=utc_end[~bad],
        hours=hours[~bad],
        counted_hours=hours[~bad],
        quantity=quantity[~bad],
        done=done[~bad],
        day=start[~bad].dt.normalize(),
    )
    content = [
        "object",
        "phase",
        "technique",
        "part",
        "person",
        "started_at",
        "ended_at",
        "mode",
        "charge",
        "quantity",
        "done",
        "note",
    ]
    good["content"] = pd.util.hash_pandas_object(good[content], index=False)
    good["rank"] = good.groupby("content").cumcount() + 1
    good["entry"] = good["content"].astype(str) + "-" + good["rank"].astype(str)
    ordered = good.sort_values(["person", "started_at"])
    busy = ordered.groupby("person")["ended_at"].cummax().groupby(ordered["person"]).shift()
    line = ["object", "phase", "technique", "part"]
    told = good[good["done"].notna()].sort_values("started_at")
    falling = int(
        (
            told["done"] < told.groupby(line)["done"].cummax().groupby([told[name] for name in line]).shift()
        ).sum()
    )
    overlaps = int((ordered["started_at"] < busy).sum())
    long_days = int((good.groupby(["person", "day"])["hours"].sum() > 16).sum())
    names = [column.split()[0] for column in COLUMNS.replace("\n", " ").split(",")]
    stored = good[names]
    con.execute("INSERT INTO time_entries SELECT * FROM stored")
    con.close()
    print(
        json.dumps(
            {
                "seconds": time.perf_counter() - begin,
                "stored": len(stored),
                "rejected": int(bad.sum()),
                "told": [len(rejects), overlaps, long_days, falling],
            }
        )
    )
    return len(stored)


def bare_copy(_objects: Path, entries: Path, database: Path) -> int:
    con = duckdb.connect(str(database))
    con.execute(
        "CREATE TABLE e (object VARCHAR, phase VARCHAR, technique VARCHAR, part VARCHAR, person VARCHAR,"
        " started_at TIMESTAMP, ended_at TIMESTAMP, mode VARCHAR, charge VARCHAR, quantity DOUBLE, unit"
        " VARCHAR, done DOUBLE, note VARCHAR)"
    )
    begin = time.perf_counter()
    con.execute("COPY e FROM ? (HEADER)", [str(entries)])
    con.close()
    print(json.dumps({"seconds": time.perf_counter() - begin, "stored": 0, "rejected": 0}))
    return 0


CONTENDERS = {"ours": ours, "rival": rival, "bare copy": bare_copy}


def of_its_own(*args: object) -> list[dict[str, Any]]:
    """What this module says when it is run with arguments in a process of its own: an object a line."""
    said = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.import_entries", *map(str, args)],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    return [json.loads(line) for line in said.splitlines()]


def main(rows: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for bad in (0.0, 0.01):
            (written,) = of_its_own("logs", folder, rows, bad)
            objects, entries = written["objects"], written["entries"]
            runs: dict[str, list[dict[str, float]]] = {
                contender: [] for contender in CONTENDERS if not (bad and contender == "bare copy")
            }
            for turn in range(TURNS):
                for contender, timed in runs.items():
                    database = folder / f"{contender}-{bad}-{turn}.duckdb"
                    told, peak = of_its_own(contender, objects, entries, database)
                    timed.append(told | peak)
                    database.unlink()
            middle = {
                contender: {
                    key: statistics.median(run[key] for run in some)
                    for key in ("seconds", "peak_mb", "stored", "rejected")
                }
                for contender, some in runs.items()
            }
            print(f"{rows:,} entries, {bad:.0%} bad")
            for contender, figures in middle.items():
                print(
                    f"  {contender:10s} {figures['seconds']:6.2f} s  peak {figures['peak_mb']:6.0f} MB "
                    f" stored {figures['stored']:,.0f}  rejected {figures['rejected']:,.0f}"
                )
            print(
                f"  ours / rival: time {middle['ours']['seconds'] / middle['rival']['seconds']:.2f}, peak"
                f" memory {middle['ours']['peak_mb'] / middle['rival']['peak_mb']:.2f}"
            )
            if not bad:
                print(
                    "  ours / bare copy: time"
                    f" {middle['ours']['seconds'] / middle['bare copy']['seconds']:.2f}"
                )


if __name__ == "__main__":
    if len(sys.argv) == 5 and sys.argv[1] == "logs":
        print(
            json.dumps(
                dict(
                    zip(
                        ("objects", "entries"),
                        map(str, write_logs(Path(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4]))),
                        strict=True,
                    )
                )
            )
        )
    elif len(sys.argv) == 5:
        CONTENDERS[sys.argv[1]](*(Path(text) for text in sys.argv[2:]))
        print(json.dumps({"peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
