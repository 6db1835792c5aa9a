"""A studio of many works, as files: for pages and benchmarks that must bear it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from ingest.importing.files import import_files
from ingest.store import Store
from ingest.studio.vocabulary import read_vocabulary

LINES = 12


def fill(store: Store, folder: Path, works: int, entries: int, seed: int = 3) -> None:
    """Bring in works with an estimate of 12 lines each, most of them finished, and entries over them."""
    for name, frame in frames(works, entries, seed).items():
        frame.to_csv(folder / f"{name}.csv", index=False)
    reports = import_files(
        store, [folder / f"{name}.csv" for name in ("objects", "estimates", "time_entries")]
    )
    assert all(not report.outcome.rejected for report in reports), [report.problems for report in reports]


def frames(works: int, entries: int, seed: int) -> dict[str, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    with Store(":memory:") as store:
        known = [
            technique
            for technique in read_vocabulary(store.cursor()).techniques.values()
            if technique.mode == "hands_on" and technique.phase != "studio time"
        ]
    measured = np.array([item.unit == "dm2" for item in known])
    names = np.array([item.technique for item in known])
    codes = np.array([f"{8 + n // 28:02d}-{n % 28 + 1:03d}" for n in range(works)])
    first = pd.Timestamp("2008-01-07") + pd.to_timedelta(
        (np.arange(works) * min(13.0, 6400 / works)).astype(int), "D"
    )
    objects = pd.DataFrame(
        {
            "object": codes,
            "title": [f"View number {n}" for n in range(works)],
            "kind": rng.choice(["easel painting", "panel painting", "frame"], works),
            "height_cm": rng.integers(30, 150, works),
            "width_cm": rng.integers(30, 150, works),
            "received_on": first.strftime("%Y-%m-%d"),
            "finished_on": np.where(
                np.arange(works) < works * 0.97, (first + pd.Timedelta(days=200)).strftime("%Y-%m-%d"), ""
            ),
        }
    )
    picks = np.stack([rng.permutation(len(names))[:LINES] for _ in range(works)])
    lines = pd.DataFrame({"work": np.repeat(np.arange(works), LINES), "pick": picks.ravel()})
    lines["hours"] = np.round(rng.lognormal(1.0, 0.6, len(lines)), 1)
    estimates = pd.DataFrame(
        {
            "object": codes[lines["work"]],
            "version": 1,
            "made_on": first[lines["work"]].strftime("%Y-%m-%d"),
            "approved_on": (first[lines["work"]] + pd.Timedelta(days=9)).strftime("%Y-%m-%d"),
            "phase": "",
            "technique": names[lines["pick"]],
            "quantity": np.where(measured[lines["pick"]], "20", ""),
            "hours": lines["hours"],
        }
    )
    turn = np.arange(entries)
    of = rng.integers(0, len(lines), entries)
    work = lines["work"].to_numpy()[of]
    # each person's spells follow one another: no two overlap
    person = turn % 4
    start = first[work] + pd.Timedelta(days=10) + pd.to_timedelta(rng.integers(0, 180, entries), "D")
    log = pd.DataFrame(
        {
            "object": codes[work],
            "phase": "",
            "technique": names[lines["pick"].to_numpy()[of]],
            "person": np.array(["Ada", "Bo", "Cy", "Di"])[person],
            "date": start.strftime("%Y-%m-%d"),
            "hours": (
                np.round(
                    lines["hours"].to_numpy()[of] * len(lines) / entries * rng.lognormal(0.1, 0.4, entries), 4
                ).clip(0.01, 12)
            ),
            "quantity": np.where(
                measured[lines["pick"].to_numpy()[of]], np.round(20 * len(lines) / entries, 4).astype(str), ""
            ),
            "note": np.where(rng.random(entries) < 0.2, "along the upper edge", ""),
        }
    )
    return {"objects": objects, "estimates": estimates, "time_entries": log}
