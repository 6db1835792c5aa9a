"""All checks, as a person and the machine run them: `python -m tests`."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests import ROOT
from tests.chromium import find_chromium

FIRST: tuple[tuple[str, ...], ...] = (("ruff", "format", "--check", "."), ("ruff", "check", "."))
BESIDE: tuple[tuple[str, ...], ...] = (("mypy",), ("lint-imports", "--no-logo"))
"""Of one processor each: they run while Chromium is installed, and the tests begin."""
# Browser tests wait about as long as they work: three workers fill two cores.
TESTS = (
    *("pytest", "-q", "-n", "3", "--dist", "loadfile", "--no-loadscope-reorder"),
    *("--max-worker-restart", "1", "--durations", "12"),
)


def main() -> int:
    # Commands and servers are started hundreds of times: what they are made of is compiled once, also where
    # that is not the custom.
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    # two runs share the cores: threads that wait for each other's turn only heat them
    environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    # draws are megabytes that live for a moment: glibc keeps their place instead of asking for it anew
    environment |= {"MALLOC_MMAP_THRESHOLD_": "268435456", "MALLOC_TRIM_THRESHOLD_": "536870912"}

    def run(check: tuple[str, ...], *, quiet: bool = False) -> subprocess.CompletedProcess[str]:
        call = [str(Path(sys.executable).with_name(check[0])), *check[1:]]
        return subprocess.run(
            call,
            cwd=ROOT,
            env=environment,
            check=False,
            text=True,
            stdout=subprocess.PIPE if quiet else None,
            stderr=subprocess.STDOUT if quiet else None,
        )

    for check in FIRST:
        print("$", *check, flush=True)
        if code := run(check).returncode:
            return code
    with ThreadPoolExecutor(1) as beside:
        # what they say is shown when the tests have had their say
        waited_for = [beside.submit(run, check, quiet=True) for check in BESIDE]
        if not there_is_chromium():
            return 2
        print("$", *TESTS, flush=True)
        codes = [run(TESTS).returncode]
        for check, ended in zip(BESIDE, waited_for, strict=True):
            print("$", *check)
            print(ended.result().stdout, end="", flush=True)
            codes.append(ended.result().returncode)
    return max(codes, key=abs)


def there_is_chromium() -> bool:
    """Whether Chromium is here, installed now if need be; says how to get it where it is not."""
    if not find_chromium():
        install_chromium()
    if not find_chromium():
        print("The browser tests need Chromium, and it could not be installed here.", file=sys.stderr)
        print("Debian: sudo apt-get install chromium.  macOS: brew install --cask chromium.", file=sys.stderr)
        print("Elsewhere: install it and name it in BENCH_HOURS_CHROMIUM.", file=sys.stderr)
        return False
    return True


def install_chromium() -> None:
    """Debian's own Chromium (where there is one without windows, that), and the tool by which it is told whom
    to trust, where this user may install it without being asked for a password.
    """
    if not shutil.which("apt-get"):
        return
    rights = [] if os.geteuid() == 0 else ["sudo", "-n"] if shutil.which("sudo") else None
    if rights is None:
        return

    def apt_get(*step: str) -> bool:
        call = [*rights, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", *step]
        return subprocess.run(call, check=False, stdout=subprocess.DEVNULL).returncode == 0

    apt_get("update", "-qq")
    for package in ("chromium-headless-shell", "chromium"):
        if apt_get("install", "-y", "-qq", "--no-install-recommends", package, "libnss3-tools"):
            return


if __name__ == "__main__":
    raise SystemExit(main())
