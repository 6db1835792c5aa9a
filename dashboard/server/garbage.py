"""The garbage collector of a server: what modules are made of is not looked at again and again."""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

_LOOKS_APART_S = 60.0


@contextmanager
def sparing_modules(looks_apart_s: float = _LOOKS_APART_S) -> Iterator[None]:
    """Leave out of each full collection what the one before left, until more modules are loaded.

    Streamlit has all garbage collected after each run of a page. The million objects that modules are made of
    stay for good: to look at all of them took a tenth of a second each time, more than most pages take to be
    drawn, in which nothing else was answered. Nearly each page loads a few modules at its first visit: what
    comes within a minute is looked at together.

    Parameters
    ----------
    looks_apart_s : after a look at everything, so many seconds pass before the next.
    """
    callback = _FreezeAfterCollection(looks_apart_s)
    gc.callbacks.append(callback)
    try:
        yield
    finally:
        gc.callbacks.remove(callback)
        gc.unfreeze()


class _FreezeAfterCollection:
    def __init__(self, looks_apart_s: float) -> None:
        self._modules, self._looks_apart_s = 0, looks_apart_s
        self._looked_at = -looks_apart_s
        self._looking = False

    def __call__(self, phase: str, info: Mapping[str, int]) -> None:
        if info["generation"] < 2:
            return
        if phase == "start":
            self._looking = (
                len(sys.modules) != self._modules
                and time.monotonic() - self._looked_at >= self._looks_apart_s
            )
            if self._looking:
                gc.unfreeze()
        elif self._looking:
            self._looking = False
            self._modules, self._looked_at = len(sys.modules), time.monotonic()
            gc.freeze()
