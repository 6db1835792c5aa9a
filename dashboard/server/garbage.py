"""The garbage collector of a server: what modules are made of is not looked at again and again."""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager


@contextmanager
def sparing_modules() -> Iterator[None]:
    """Leave out of each full collection what the one before left, until more modules are loaded.

    Streamlit has all garbage collected after each run of a page. The million objects that modules are made of
    stay for good: to look at all of them took a tenth of a second each time, more than most pages take to be
    drawn, in which nothing else was answered.
    """
    callback = _FreezeAfterCollection()
    gc.callbacks.append(callback)
    try:
        yield
    finally:
        gc.callbacks.remove(callback)
        gc.unfreeze()


class _FreezeAfterCollection:
    def __init__(self) -> None:
        self._modules = 0

    def __call__(self, phase: str, info: Mapping[str, int]) -> None:
        loaded = len(sys.modules)
        if info["generation"] < 2 or loaded == self._modules:
            return
        if phase == "start":
            gc.unfreeze()
        else:
            self._modules = loaded
            gc.freeze()
