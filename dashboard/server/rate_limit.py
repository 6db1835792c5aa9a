"""Rate limits for codes and secrets that are wrong."""

from __future__ import annotations

import ipaddress
import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field

_MAX_CLIENTS = 10_000


@dataclass(slots=True)
class TokenBucket:
    """Rate limiter: a token bucket for each key, from which every failure takes one token.

    Attributes
    ----------
    capacity : tokens in a full bucket.
    interval_s : seconds in which one token comes back.
    clock : monotonic clock, in seconds.

    Examples
    --------
    Of `TokenBucket(capacity=10, interval_s=6)` ten failures are answered at once, then one every 6 s.
    """

    capacity: int
    interval_s: float
    clock: Callable[[], float] = time.monotonic
    _used: dict[str, tuple[float, float]] = field(default_factory=dict)  # tokens taken, and at what time

    def wait_s(self, key: str) -> int:
        """Whole seconds until a token is there; 0: at once."""
        left = self._left(key)
        return 0 if left <= self.capacity - 1 else math.ceil((left - (self.capacity - 1)) * self.interval_s)

    def refund(self, key: str) -> None:
        """Give back the last token: the attempt was no failure."""
        self._used[key] = (max(0.0, self._left(key) - 1), self.clock())

    def record_failure(self, key: str) -> None:
        """Take a token; of more than `_MAX_CLIENTS` keys those that failed longest ago are dropped."""
        left = self._left(key)
        self._used.pop(key, None)
        self._used[key] = (min(left + 1, self.capacity), self.clock())
        while len(self._used) > _MAX_CLIENTS:
            del self._used[next(iter(self._used))]

    def _left(self, key: str) -> float:
        count, at = self._used.get(key, (0.0, 0.0))
        return max(0.0, count - (self.clock() - at) / self.interval_s)


def client_key(address: str) -> str:
    """The key of an address in rate limits: itself, or of IPv6 its /64, which one household or office has."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        return str(parsed.ipv4_mapped or ipaddress.ip_network((int(parsed) >> 64 << 64, 64)))
    return address
