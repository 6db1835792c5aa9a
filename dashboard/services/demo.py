"""The invented studio in a database of its own, its days moved so that the last entry was yesterday."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import date, timedelta
from importlib import resources
from pathlib import Path

import pandas as pd

from dashboard import queries
from ingest.errors import BenchHoursError
from ingest.importing.files import import_files
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings

FILES = ("objects", "estimates", "time_entries", "time_entries_corrected", "milestones")
STUDIO = "Tidewell Lane studio (invented)"
_SETTINGS = {
    "studio": STUDIO,
    "zone": "Europe/London",
    "currency": "EUR",
    "day_order": "dmy",
    "hourly_rate": "68",
    "bench_hours_per_week": "24",
    "demo": "yes",
    "hourly_rates": "Bram 45",
    "yearly_cost": "61000",
    "chargeable_hours": "1290",
    "minimum_charge": "180",
    "payments": "on approval 30; when the structural work is done 30; at handover 40",
    "letterhead": "4 Tidewell Lane, Marrowby (invented)\nno telephone, as nobody is there",
}
_DAYS = ("received_on", "due_on", "finished_on", "made_on", "approved_on", "date")
_MOMENTS = ("started_at", "ended_at")


def fresh(place: Path, progress: Callable[[str], None] = lambda _: None) -> Store:
    """A new demo database, in place of an earlier one; refuses to touch any other file."""
    if place.exists():
        with Store(place) as store:
            if not read_settings(store.cursor()).demo:
                raise BenchHoursError(
                    f"{place} is not a demo database",
                    "Name another file with --db; a studio's own is never overwritten.",
                )
    for leftover in (place, place.with_name(place.name + ".wal")):
        leftover.unlink(missing_ok=True)
    store = Store(place)
    try:
        fill(store, progress)
    except BaseException:
        store.close()
        raise
    return store


def fill(store: Store, progress: Callable[[str], None] = lambda _: None) -> None:
    """Bring the demo files into an empty store, through the same door as any file."""
    progress("Setting up an invented studio …")
    with store.writing() as con:
        write_settings(con, _SETTINGS)
    with tempfile.TemporaryDirectory(prefix="bench-hours-demo-") as folder:
        reports = import_files(
            store, shifted(Path(folder), queries.today(store.cursor())), by="demo", write_rejects=False
        )
    faults = [report.file for report in reports if not report.complete]
    if faults:
        raise BenchHoursError(
            f"the demo files have faults ({', '.join(faults)})", "Install bench-hours again."
        )


def shifted(folder: Path, today: date) -> list[Path]:
    """The demo files written into a folder, all days moved alike: the last entry was yesterday."""
    frames = {name: pd.read_csv(_file(name), dtype=str, keep_default_na=False) for name in FILES}
    last = max(frames["time_entries"][name].str.slice(0, 10).max() for name in ("started_at", "date"))
    by = (today - timedelta(days=1)) - date.fromisoformat(last)
    paths = []
    for name, frame in frames.items():
        for column in frame.columns.intersection([*_DAYS, *_MOMENTS]):
            days = (
                pd.to_datetime(frame[column].str.slice(0, 10).where(frame[column] != ""), format="%Y-%m-%d")
                + by
            )
            frame[column] = (days.dt.strftime("%Y-%m-%d") + frame[column].str.slice(10)).fillna("")
        paths.append(folder / f"{name}.csv")
        frame.to_csv(paths[-1], index=False)
    return paths


def _file(name: str) -> Path:
    return Path(str(resources.files("demo_logs").joinpath(f"{name}.csv")))
