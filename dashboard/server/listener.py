"""The listening socket of the server, with limits on connections and on the time until a request."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from dashboard.server import addresses
from dashboard.server.rate_limit import client_key
from ingest.errors import BenchHoursError

MAX_PER_CLIENT = 60
"""Connections at once from one address (IPv6: one /64), but this machine; a browser opens half a dozen."""
MAX_CONNECTIONS = 300
"""Connections at once in all, well under the limit of open files of a process."""
HEAD_S = 10.0


class _Connection(socket.socket):
    """A connection, counted until it is closed."""

    listener: Listener
    client = ""

    def close(self) -> None:
        self.listener.release(self)
        super().close()


class Listener(socket.socket):
    """Accepts connections up to the limits, and closes others at once."""

    def __init__(self, family: int) -> None:
        # IPPROTO_TCP, so that asyncio sets TCP_NODELAY
        super().__init__(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        self._lock = threading.Lock()
        self._open: set[_Connection] = set()
        self._of: Counter[str] = Counter()

    def accept(self) -> tuple[socket.socket, Any]:
        handle, address = self._accept()  # type: ignore[attr-defined]  # as socket.accept does
        connection = _Connection(self.family, self.type, self.proto, fileno=handle)
        connection.listener = self
        neighbour = client_key(str(address[0]))
        with self._lock:
            here = addresses.is_loopback(neighbour) or addresses.is_loopback(str(address[0]))
            full = len(self._open) >= MAX_CONNECTIONS or (self._of[neighbour] >= MAX_PER_CLIENT and not here)
            if not full:
                connection.client = neighbour
                self._open.add(connection)
                self._of[neighbour] += 1
        if full:
            connection.close()
            raise ConnectionAbortedError("too many connections")  # asyncio accepts the next
        return connection, address

    def release(self, connection: _Connection) -> None:
        with self._lock:
            if connection in self._open:
                self._open.remove(connection)
                self._of[connection.client] -= 1
                if not self._of[connection.client]:
                    del self._of[connection.client]


@contextmanager
def listening(host: str, port: int) -> Iterator[Listener]:
    """Listen at an address until the block ends; raises where that cannot be."""
    with Listener(socket.AF_INET6 if ":" in host else socket.AF_INET) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
            listener.listen(128)
        except OSError as error:
            raise BenchHoursError(
                f"port {port} of {host} cannot be used ({error.strerror})", "Name another with --port."
            ) from error
        yield listener


class IdleTimeoutProtocol(H11Protocol):
    """HTTP/1.1 protocol that closes connections without a complete request within `HEAD_S`."""

    _timer: asyncio.TimerHandle | None = None
    _idle = False  # no request since the last check
    _last_cycle: Any = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._schedule_check()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.cycle is not self._last_cycle:
            self._last_cycle, self._idle = self.cycle, False

    def connection_lost(self, exc: Exception | None) -> None:
        if self._timer:
            self._timer.cancel()
        super().connection_lost(exc)

    def handle_websocket_upgrade(self, event: Any) -> None:
        if self._timer:
            self._timer.cancel()  # a websocket stays open
        super().handle_websocket_upgrade(event)

    def _schedule_check(self) -> None:
        self._timer = self.loop.call_later(HEAD_S, self._check_idle)

    def _check_idle(self) -> None:
        busy = self.cycle is not None and not self.cycle.response_complete
        if self._idle and not busy:
            self.transport.close()
            return
        self._idle = not busy
        self._schedule_check()
