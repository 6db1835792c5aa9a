"""What was reckoned from the same before is not reckoned again, whatever else in the database was changed."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import fields, is_dataclass
from typing import TypeVar

import numpy as np
import pandas as pd

_T = TypeVar("_T")


class Memory:
    """What was reckoned from the same before: an entry on one work moves nothing of the others, and mostly nothing of the rates."""

    def __init__(self, most: int = 400) -> None:
        self._most, self._known, self._lock = most, OrderedDict[Hashable, object](), threading.Lock()

    def of(self, key: Hashable, reckon: Callable[[], _T]) -> _T:
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]  # type: ignore[return-value]  # what is kept under a key is what its own `reckon` gives
        found = reckon()
        with self._lock:
            self._known[key] = found
            while len(self._known) > self._most:
                self._known.popitem(last=False)
        return found


def digest(*parts: object) -> str:
    """A short name of what goes in: equal content has an equal one."""
    found = hashlib.blake2b(digest_size=16)

    def add(part: object) -> None:
        if isinstance(part, np.ndarray):
            found.update(f"{part.dtype}{part.shape}".encode())
            found.update(np.ascontiguousarray(part).tobytes() if part.dtype != object else repr(part.tolist()).encode())
        elif isinstance(part, pd.DataFrame):
            for name in part.columns:
                add(part[name].to_numpy(dtype=object))
        elif is_dataclass(part) and not isinstance(part, type):
            for one in fields(part):
                add(getattr(part, one.name))
        elif isinstance(part, Mapping):
            add(sorted((repr(key), repr(value)) for key, value in part.items()))
        elif isinstance(part, frozenset):
            add(sorted(map(repr, part)))
        else:
            found.update(repr(part).encode())

    for part in parts:
        add(part)
    return found.hexdigest()
