"""The socket that the server listens on, and how long it bears with whoever connects: so many at once from one address, and none that does not come to the point."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from dashboard import addresses
from dashboard.guesses import neighbourhood
from ingest.errors import BenchHoursError

MOST_OF_ONE = 60
"""Connections at once from one address (IPv6: one /64): a browser opens half a dozen. This machine itself may have all."""
MOST = 300
"""Connections at once in all, well under the files that a process may have open."""
HEAD_S = 10.0


class _Connection(socket.socket):
    """One connection; it is counted until it is closed."""

    listener: Listener
    who = ""

    def close(self) -> None:
        self.listener.left(self)
        super().close()


class Listener(socket.socket):
    """Accepts connections while there are not too many, and drops at once those that are."""

    def __init__(self, family: int) -> None:
        super().__init__(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # named, so that asyncio sends each answer at once (TCP_NODELAY)
        self._lock = threading.Lock()
        self._open: set[_Connection] = set()
        self._of: Counter[str] = Counter()

    def accept(self) -> tuple[socket.socket, Any]:
        handle, address = self._accept()  # type: ignore[attr-defined]  # as socket.accept does it, with a kind of our own
        one = _Connection(self.family, self.type, self.proto, fileno=handle)
        one.listener = self
        who = neighbourhood(str(address[0]))
        with self._lock:
            here = addresses.is_loopback(who) or addresses.is_loopback(str(address[0]))
            full = len(self._open) >= MOST or (self._of[who] >= MOST_OF_ONE and not here)
            if not full:
                one.who = who
                self._open.add(one)
                self._of[who] += 1
        if full:
            one.close()
            raise ConnectionAbortedError("too many connections")  # for asyncio: this one has gone already
        return one, address

    def left(self, one: _Connection) -> None:
        with self._lock:
            if one in self._open:
                self._open.remove(one)
                self._of[one.who] -= 1
                if not self._of[one.who]:
                    del self._of[one.who]


@contextmanager
def listening(host: str, port: int) -> Iterator[Listener]:
    """Listen at an address until the block ends; raises where that cannot be."""
    with Listener(socket.AF_INET6 if ":" in host else socket.AF_INET) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
            listener.listen(128)
        except OSError as error:
            raise BenchHoursError(f"port {port} of {host} cannot be used ({error.strerror})", "Name another with --port.") from error
        yield listener


class Impatient(H11Protocol):
    """HTTP/1.1 that hangs up on whoever has not said what he wants within some seconds."""

    _watch: asyncio.TimerHandle | None = None
    _idle = False  # nothing was asked since the last look
    _asked: Any = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._look_later()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.cycle is not self._asked:
            self._asked, self._idle = self.cycle, False

    def connection_lost(self, exc: Exception | None) -> None:
        if self._watch:
            self._watch.cancel()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: Any) -> None:
        if self._watch:
            self._watch.cancel()  # from here on it is a line that stays open
        super().handle_websocket_upgrade(event)

    def _look_later(self) -> None:
        self._watch = self.loop.call_later(HEAD_S, self._look)

    def _look(self) -> None:
        busy = self.cycle is not None and not self.cycle.response_complete
        if self._idle and not busy:
            self.transport.close()
            return
        self._idle = not busy
        self._look_later()
