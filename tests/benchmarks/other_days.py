"""All tests but the browser's, as they would run on other days: `python -m tests.benchmarks.other_days`.

The machine's clock is told by Debian's `faketime`. Two tests fail there because libfaketime 0.9.10 reads the
times of files by the true clock, so that a backup being written looks left behind:
`test_backups_of_one_second_each_get_a_name` and
`test_what_a_killed_backup_left_behind_is_cleared_away_later`. A clock that is counted from the start of the
machine stays as it is (`FAKETIME_DONT_FAKE_MONOTONIC`), or every wait with a limit would last for years.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests import ROOT

MINUTES = 30  # for one path; what takes longer hangs
# libfaketime 0.9.10 refuses the call that Python's `time.sleep` makes (`clock_nanosleep` on the machine's own
# clock: EINVAL); `select` waits as long.
SLEEP = "import select, time\ntime.sleep = lambda seconds: select.select([], [], [], seconds) and None\n"


@dataclass(frozen=True)
class Moment:
    """What the clock on the wall shows when the tests begin (it goes on from there), and where."""

    name: str
    wall: str
    zone: str


MOMENTS = (
    Moment("leap", "2028-02-29 10:00:00", "UTC"),
    Moment("spring", "2027-03-28 01:58:00", "Europe/Berlin"),  # two minutes before an hour is left out
    Moment("autumn", "2027-11-07 01:58:00", "America/New_York"),  # before an hour comes twice
    Moment("west", "2027-12-31 23:57:00", "America/Los_Angeles"),  # next year in UTC
    Moment("east", "2027-12-31 23:57:00", "Pacific/Auckland"),  # yesterday in UTC
)


def main() -> int:
    given = argparse.ArgumentParser(prog="python -m tests.benchmarks.other_days", description=__doc__)
    given.add_argument(
        "--moment",
        choices=[moment.name for moment in MOMENTS],
        action="append",
        help="only this one; may be repeated",
    )
    given.add_argument(
        "paths", nargs="*", help="files or folders of tests; without any all but the browser's"
    )
    arguments = given.parse_args()
    paths = arguments.paths or ["tests/ingest", "tests/dashboard", "tests/published", "tests/test_readme.py"]
    failed = 0
    for moment in MOMENTS:
        if arguments.moment and moment.name not in arguments.moment:
            continue
        for path in paths:
            print(f"{moment.name} ({moment.wall} {moment.zone}): {path}", flush=True)
            failed += not passes(moment, path)
    return min(failed, 1)


def passes(moment: Moment, path: str) -> bool:
    """One path of tests at one moment; failures are printed as they are."""
    call = [
        "faketime",
        moment.wall,
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--no-header",
        "--tb=short",
        "-p",
        "no:cacheprovider",
        path,
    ]
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "sitecustomize.py").write_text(SLEEP)
        ours = {
            "TZ": moment.zone,
            "PYTHONPATH": folder,
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "FAKE_UTIME": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        try:
            return (
                subprocess.run(
                    call, cwd=ROOT, env={**os.environ, **ours}, timeout=60 * MINUTES, check=False
                ).returncode
                == 0
            )
        except subprocess.TimeoutExpired:
            print(f"{path} took longer than {MINUTES} minutes", flush=True)
            return False


if __name__ == "__main__":
    raise SystemExit(main())
