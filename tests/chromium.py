"""Where this machine keeps Chromium."""

from __future__ import annotations

import os
import shutil

# the one without windows first: it starts and draws with less work
_PLACES = (
    *("chromium-headless-shell", "chromium", "chromium-browser"),
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
)


def find_chromium() -> str | None:
    """The path of Chromium: `BENCH_HOURS_CHROMIUM`, or one of the usual places."""
    said = os.environ.get("BENCH_HOURS_CHROMIUM")
    return next((found for name in ((said,) if said else _PLACES) if (found := shutil.which(name))), None)
