"""What was reckoned from the same before is not reckoned again, whatever else in the database was changed."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import fields, is_dataclass
from typing import Literal, TypeVar

import numpy as np
import pandas as pd

_T = TypeVar("_T")


_MOST = {"learnt": 12, "told": 400}  # a calibration of a large studio is 10 MB, a forecast a fifth of one


class Memory:
    """What was reckoned from the same before: an entry on one work moves nothing of the others, and mostly nothing of the rates."""

    def __init__(self) -> None:
        self._known, self._lock = {kind: OrderedDict[Hashable, object]() for kind in _MOST}, threading.Lock()

    def of(self, kind: Literal["learnt", "told"], key: Hashable, reckon: Callable[[], _T]) -> _T:
        """What is known under a key, reckoned now if it was not before; of each kind the latest asked for are kept."""
        known = self._known[kind]
        with self._lock:
            if key in known:
                known.move_to_end(key)
                return known[key]  # type: ignore[return-value]  # what is kept under a key is what its own `reckon` gives
        found = reckon()
        with self._lock:
            known[key] = found
            while len(known) > _MOST[kind]:
                known.popitem(last=False)
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
                if one.compare:  # what makes no difference is no content
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
