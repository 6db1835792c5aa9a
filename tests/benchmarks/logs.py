"""A million invented time entries, as a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from ingest.store import Store
from ingest.studio.vocabulary import read_vocabulary

OBJECTS = 800
PEOPLE = 300
MOST_SPELLS = 9_000  # of a person, three a day: the last of them lies in the past


def write_logs(folder: Path, rows: int, bad_share: float, seed: int = 1) -> tuple[Path, Path]:
    """Write objects and time entries; a share of the entries has one of eight faults. The two paths."""
    rng = np.random.default_rng(seed)
    with Store(":memory:") as store:
        known = read_vocabulary(store.cursor()).techniques.values()
    techniques = pd.DataFrame(
        [(t.technique, t.phase, t.mode) for t in known if t.unit == "dm2" and t.mode == "hands_on"],
        columns=["technique", "phase", "mode"],
    )
    objects = np.array([f"{18 + n // 100:02d}-{n % 100 + 1:03d}" for n in range(OBJECTS)])
    which = rng.integers(0, len(techniques), rows)
    turn = np.arange(rows)
    people = max(PEOPLE, -(-rows // MOST_SPELLS))
    spell = turn // people  # three spells a person and day, none overlapping another
    start = (
        pd.Timestamp("2015-01-05 08:00")
        + pd.to_timedelta(spell // 3 * 24 + spell % 3 * 3, "h")
        + pd.to_timedelta(rng.integers(0, 12, rows) * 5, "min")
    )
    end = start + pd.to_timedelta(rng.integers(3, 24, rows) * 5, "min")
    frame = pd.DataFrame(
        {
            "object": objects[rng.integers(0, OBJECTS, rows)],
            "phase": np.where(rng.random(rows) < 0.5, techniques["phase"].to_numpy()[which], ""),
            "technique": techniques["technique"].to_numpy()[which],
            "part": "",
            "person": np.array([f"Person {n}" for n in range(people)])[turn % people],
            "started_at": start.strftime("%Y-%m-%d %H:%M"),
            "ended_at": end.strftime("%Y-%m-%d %H:%M"),
            "mode": "",
            "charge": np.where(rng.random(rows) < 0.05, "extra", ""),
            "quantity": np.round(rng.random(rows) * 30, 1).astype(str),
            "unit": "dm2",
            "done": np.where(rng.random(rows) < 0.05, "100", ""),
            "note": np.where(rng.random(rows) < 0.2, "second pass along the edge", ""),
        }
    )
    bad = np.flatnonzero(rng.random(rows) < bad_share)
    faults = (
        ("object", "99-999"),
        ("technique", "varnsh"),
        ("person", ""),
        ("started_at", "yesterday"),
        ("ended_at", "2014-01-01 10:00"),
        ("quantity", "-3"),
        ("unit", "cm"),
        ("charge", "free"),
    )
    for number, (column, text) in enumerate(faults):
        frame.loc[bad[bad % len(faults) == number], column] = text
    paths = folder / "objects.csv", folder / f"entries_{rows}_{bad_share}.csv"
    pd.DataFrame({"object": objects}).to_csv(paths[0], index=False)
    frame.to_csv(paths[1], index=False)
    return paths
