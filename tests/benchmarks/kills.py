"""kill -9 at random moments of an import of 300,000 rows, a migration, a backup and a restore.

`python -m tests.benchmarks.kills` prints how often the database was as before and how often complete; it
stops at the first time it was neither.
"""

from __future__ import annotations

import argparse
import gzip
import tempfile
import time
from pathlib import Path

from ingest.store import Store
from tests import SAMPLES, big_studio
from tests.benchmarks.logs import write_logs
from tests.killing import backing_up, importing, killed_at_random, migrating, restoring


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=20)
    parser.add_argument("--rows", type=int, default=300_000)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-hours-kills-") as name:
        folder = Path(name)
        studios = []
        for number in (1, 2):
            place = folder / f"studio-{number}"
            place.mkdir()
            with Store(place / "s.duckdb") as store:
                big_studio.fill(store, place, 200 * number, 60_000, seed=number)
            studios.append(place / "s.duckdb")
        works = {"an import of {rows:,} rows": importing(lambda there: write_logs(there, said.rows, 0.0))}
        for path in sorted(SAMPLES.glob("*.gz")):
            sample = folder / path.stem
            sample.write_bytes(gzip.decompress(path.read_bytes()))
            works[f"a migration of {path.stem}"] = migrating(sample)
        works["a backup of 60,000 entries"] = backing_up(studios[0])
        works["a restore in place of another studio"] = restoring(studios[0], studios[1], there=True)
        works["a restore where there is none"] = restoring(studios[0], studios[1], there=False)
        for number, (what, work) in enumerate(works.items()):
            begun = time.monotonic()
            as_before, complete = killed_at_random(work, folder / f"work-{number}", said.moments, said.seed)
            print(
                f"{what.format(rows=said.rows)}: killed {said.moments} times; as before {as_before}, complete"
                f" {complete} ({time.monotonic() - begun:.0f} s)",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
