"""Guessing made slow: so many failures at once, then one in a while."""

from __future__ import annotations

import ipaddress
import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field

_MOST_KEPT = 10_000


@dataclass(slots=True)
class Patience:
    """A store of failures that are borne, refilled as time goes by.

    Attributes
    ----------
    most : failures borne at once.
    every_s : seconds after which one more is borne.
    clock : seconds of a clock that never goes back.
    """

    most: int
    every_s: float
    clock: Callable[[], float] = time.monotonic
    _used: dict[str, tuple[float, float]] = field(default_factory=dict)  # failures not forgiven yet, and when they were counted

    def wait_s(self, who: str) -> int:
        """Whole seconds until another attempt is looked at; 0: at once."""
        left = self._left(who)
        return 0 if left <= self.most - 1 else math.ceil((left - (self.most - 1)) * self.every_s)

    def forgive(self, who: str) -> None:
        """Count the last one not: it was no failure."""
        self._used[who] = (max(0.0, self._left(who) - 1), self.clock())

    def failed(self, who: str) -> None:
        """Count a failure; where too many fail, those that failed longest ago are forgotten."""
        left = self._left(who)
        self._used.pop(who, None)
        self._used[who] = (min(left + 1, self.most), self.clock())
        while len(self._used) > _MOST_KEPT:
            del self._used[next(iter(self._used))]

    def _left(self, who: str) -> float:
        count, at = self._used.get(who, (0.0, 0.0))
        return max(0.0, count - (self.clock() - at) / self.every_s)


def neighbourhood(address: str) -> str:
    """Whom an address stands for: itself, or of IPv6 the /64 that one household or office has."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        return str(found.ipv4_mapped or ipaddress.ip_network((int(found) >> 64 << 64, 64)))
    return address
