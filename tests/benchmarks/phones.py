"""Eight phones of 500 entries each on a bad network, the server killed ten times: `python -m
tests.benchmarks.phones [--phones --entries --kills --seed]`.

Stops at the first action that was acknowledged and is not there, and at the end where the record is not what
the phones said, no more and no less.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from tests.many_phones import campaign


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--phones", type=int, default=8)
    parser.add_argument("--entries", type=int, default=500)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-hours-phones-") as name:
        told = campaign(
            Path(name), phones=said.phones, entries=said.entries, kills=said.kills, seed=said.seed
        )
    print(
        f"{told.phones} phones, {told.actions:,} actions in {told.sendings:,} sendings that were answered,"
        f" killed {told.kills} times: every acknowledged action was there once after each kill; in the end"
        f" {told.entries:,} entries, exactly as the phones said ({told.seconds:.0f} s)"
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
