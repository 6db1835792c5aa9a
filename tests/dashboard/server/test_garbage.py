"""Full collections of a server: what is loaded is looked at once, garbage is collected each time."""

import gc
import sys
import time
import types
import weakref

import pytest

from dashboard.server.garbage import sparing_modules


class _Circle:
    """Garbage that only a collection finds."""

    def __init__(self) -> None:
        self.me = self


def test_what_is_loaded_is_looked_at_once_and_garbage_is_collected_each_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with sparing_modules(looks_apart_s=0):
        gc.collect()
        kept = gc.get_freeze_count()
        assert kept > 10_000
        circles = [_Circle() for _ in range(1_000)]
        gone = weakref.ref(circles[0])
        gc.collect()
        assert kept - 100 < gc.get_freeze_count() <= kept
        # what was there when another module came is garbage like any other afterwards
        monkeypatch.setitem(sys.modules, "loaded_later", types.ModuleType("loaded_later"))
        gc.collect()
        assert gc.get_freeze_count() > kept + 900
        del circles
        monkeypatch.setitem(sys.modules, "loaded_last", types.ModuleType("loaded_last"))
        gc.collect()
        assert gone() is None
        fresh = weakref.ref(_Circle())
        gc.collect()
        assert fresh() is None
    assert gc.get_freeze_count() == 0


def test_modules_that_come_one_after_the_other_are_looked_at_together(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with sparing_modules():
        gc.collect()
        kept = gc.get_freeze_count()
        assert kept > 10_000
        circles = [_Circle() for _ in range(1_000)]
        monkeypatch.setitem(sys.modules, "loaded_later", types.ModuleType("loaded_later"))
        gc.collect()
        assert gc.get_freeze_count() <= kept  # another look so soon would have added a thousand
        gone = weakref.ref(circles[0])
        del circles
        gc.collect()
        assert gone() is None  # what came meanwhile is garbage like any other
        a_minute_later = time.monotonic() + 60
        monkeypatch.setattr(time, "monotonic", lambda: a_minute_later)
        circles = [_Circle() for _ in range(1_000)]
        gc.collect()
        assert gc.get_freeze_count() > kept + 900 and len(circles) == 1_000
