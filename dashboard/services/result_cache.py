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


class ResultCache:
    """What was reckoned from the same before: an entry on one work moves nothing of the others, and mostly
    nothing of the rates.
    """

    def __init__(self) -> None:
        self._known, self._lock = {kind: OrderedDict[Hashable, object]() for kind in _MOST}, threading.Lock()

    def of(self, kind: Literal["learnt", "told"], key: Hashable, reckon: Callable[[], _T]) -> _T:
        """What is known under a key, reckoned now if it was not before; of each kind the latest asked for are
        kept.
        """
        results = self._known[kind]
        with self._lock:
            if key in results:
                results.move_to_end(key)
                return results[key]  # type: ignore[return-value]  # what is kept under a key is what its own `reckon` gives
        result = reckon()
        with self._lock:
            results[key] = result
            while len(results) > _MOST[kind]:
                results.popitem(last=False)
        return result


def content_digest(*parts: object) -> str:
    """A short name of what goes in: equal content has an equal one. Every input of a result must go in."""
    hashed = hashlib.blake2b(digest_size=16)

    def add(part: object) -> None:
        if isinstance(part, np.ndarray):
            hashed.update(f"{part.dtype}{part.shape}".encode())
            hashed.update(
                np.ascontiguousarray(part).tobytes() if part.dtype != object else repr(part.tolist()).encode()
            )
        elif isinstance(part, pd.DataFrame):
            for name in part.columns:
                add(part[name].to_numpy(dtype=object))
        elif is_dataclass(part) and not isinstance(part, type):
            for field in fields(part):
                if field.compare:  # what makes no difference is no content
                    add(getattr(part, field.name))
        elif isinstance(part, Mapping):
            add(sorted((repr(key), repr(value)) for key, value in part.items()))
        elif isinstance(part, frozenset):
            add(sorted(map(repr, part)))
        else:
            hashed.update(repr(part).encode())

    for part in parts:
        add(part)
    return hashed.hexdigest()
