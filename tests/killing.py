"""Kill a process in the middle of its work, and look at what it leaves."""

from __future__ import annotations

import random
import shutil
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import duckdb

from ingest.safekeeping.integrity import faults, sums
from ingest.store import Store, schema_version
from tests import ready


@dataclass(frozen=True)
class Work:
    """Something done in a process of its own, to files in a folder.

    Attributes
    ----------
    code : Python; the folder is `sys.argv[1]`.
    prepare : fills the folder.
    state : what can be compared of the folder, once everything in it was opened again.
    """

    code: str
    prepare: Callable[[Path], None]
    state: Callable[[Path], Any]


def killed_at_random(work: Work, folder: Path, times: int, seed: int = 1) -> tuple[int, int]:
    """Kill it at so many random moments; every time what is left must be as before or as after. How often it
    was which.
    """
    rng = random.Random(seed)
    whole = folder / "whole"
    whole.mkdir(parents=True)
    work.prepare(whole)
    before = work.state(whole)
    done = folder / "done"
    took = _run(work, whole, done, None)
    after = work.state(done)
    assert before != after
    as_before = 0
    for turn in range(times):
        left = folder / f"killed-{turn}"
        _run(work, whole, left, rng.random() * took)
        found = work.state(left)
        assert found in (before, after), f"killed at {turn} of {times}: neither as before nor complete"
        as_before += found == before
        shutil.rmtree(left)
    return as_before, times - as_before


def _run(work: Work, whole: Path, place: Path, seconds: float | None) -> float:
    """Run it on a copy of the folder, killed so long after it began or not at all; how long it took."""
    shutil.copytree(whole, place)
    process = ready.start(
        "-c", work.code, str(place), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout
    assert process.stdout.readline() == "begun\n", process.stderr and process.stderr.read()
    begun = time.monotonic()
    if seconds is not None:
        time.sleep(seconds)
        process.kill()
    _, said = process.communicate(timeout=300)
    assert seconds is not None or process.returncode == 0, said
    return time.monotonic() - begun


# --- what is held in each


def _held(path: Path) -> Any:
    """All that a database holds; opened as anybody would open it, and it must hold together."""
    with Store(path) as store, store.reading() as con:
        assert faults(con) == []
        return {
            name: total
            for name, total in sums(con).items()
            if name not in ("change_counter", "backups", "imports")
        } | {
            "form": schema_version(con),
            "works and entries": (
                con.execute("SELECT (SELECT count(*) FROM objects), (SELECT count(*) FROM spells)").fetchall()
            ),
        }


_BEGIN = "import sys; from pathlib import Path; folder = Path(sys.argv[1])\n"


def importing(make: Callable[[Path], tuple[Path, Path]]) -> Work:
    """Bringing in a long file of entries."""

    def prepare(folder: Path) -> None:
        works, entries = make(folder)
        code = (
            "from ingest.store import Store; from ingest.importing.files import import_files\nwith"
            " Store(folder / 's.duckdb') as store:\n    import_files(store, [Path(sys.argv[2])])"
        )
        done = ready.run("-c", _BEGIN + code, str(folder), str(works))
        assert done.returncode == 0, done.stderr
        entries.rename(folder / "entries.csv")

    def state(folder: Path) -> Any:
        found = _held(folder / "s.duckdb")
        return {name: found[name] for name in ("works and entries", "objects", "form")}

    code = (
        "from ingest.store import Store; from ingest.importing.files import import_files\nstore ="
        " Store(folder / 's.duckdb')\nprint('begun', flush=True)\nimport_files(store, [folder /"
        " 'entries.csv'], write_rejects=False)\nstore.close()"
    )
    return Work(_BEGIN + code, prepare, state)


def _copy(database: Path, folder: Path) -> None:
    shutil.copy(database, folder / "s.duckdb")


def migrating(sample: Path) -> Work:
    """Opening a database of an older form."""

    def state(folder: Path) -> Any:
        with duckdb.connect(str(folder / "s.duckdb")) as con:
            form = schema_version(con)
            tables = [
                row[0] for row in con.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()
            ]
            held = [
                con.execute(f"SELECT count(*), bit_xor(hash(t)) FROM {table} AS t").fetchall()
                for table in tables
                if table != "schema_versions"
            ]
        return form, tables, held

    code = "from ingest.store import Store\nprint('begun', flush=True)\nStore(folder / 's.duckdb').close()"
    return Work(_BEGIN + code, partial(_copy, sample), state)


def backing_up(database: Path) -> Work:
    """Writing a backup; the state is that of the database and of the backup, where there is one."""

    def state(folder: Path) -> Any:
        copy = folder / "kept" / "b.duckdb"
        return _held(folder / "s.duckdb"), _held(copy) if copy.exists() else None

    code = (
        "from ingest.store import Store; from ingest.safekeeping.backup import back_up\nstore = Store(folder"
        " / 's.duckdb')\nprint('begun', flush=True)\nback_up(store, folder / 'kept' / 'b.duckdb')"
    )
    return Work(_BEGIN + code, partial(_copy, database), state)


def restoring(database: Path, other: Path, *, there: bool) -> Work:
    """Putting a backup in the place of another database, or where there is none."""

    def prepare(folder: Path) -> None:
        shutil.copy(other, folder / "b.duckdb")
        if there:
            shutil.copy(database, folder / "s.duckdb")

    def state(folder: Path) -> Any:
        return _held(folder / "s.duckdb") if (folder / "s.duckdb").exists() else None

    code = (
        "from ingest.safekeeping.restore import restore\nprint('begun', flush=True)\nrestore(folder /"
        f" 'b.duckdb', folder / 's.duckdb', force={there})"
    )
    return Work(_BEGIN + code, prepare, state)
