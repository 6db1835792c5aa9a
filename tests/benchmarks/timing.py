"""How long something takes."""

from __future__ import annotations

import time
from collections.abc import Callable


def best(
    action: Callable[[], object], times: int = 5, clock: Callable[[], float] = time.perf_counter
) -> float:
    """The shortest of some runs, in seconds."""
    seconds = []
    for _ in range(times):
        began = clock()
        action()
        seconds.append(clock() - began)
    return min(seconds)
