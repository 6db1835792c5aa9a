"""State of the running server: its store, its address, its access control."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from dashboard.server import addresses
from dashboard.server.access_control import AccessControl
from dashboard.server.certificates import Authority
from dashboard.services import demo
from ingest.errors import BenchHoursError
from ingest.phone.inbox import Inbox
from ingest.store import Store
from ingest.studio.settings import read_settings

_stores: list[Store] = []
_servers: list[RunningServer] = []


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerConfig:
    """Address, pairing and TLS of a server.

    Attributes
    ----------
    host : to listen on.
    port : to listen on.
    phones : paired devices of the network are served; else this machine alone, without pairing.
    plain : no TLS, where phones are served.
    certificate : file (PEM) of an external certificate; None: the studio's own authority issues one.
    key : file (PEM) of its private key.
    """

    host: str = "127.0.0.1"
    port: int = 8411
    phones: bool = False
    plain: bool = False
    certificate: Path | None = None
    key: Path | None = None

    @property
    def secure(self) -> bool:
        return self.phones and not self.plain

    @property
    def here(self) -> str:
        """Address of the pages for a browser on this machine."""
        return addresses.url(
            "localhost" if self.host in ("127.0.0.1", "0.0.0.0", "::") else self.host,
            self.port,
            secure=self.secure,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningServer:
    """A server that is running.

    Attributes
    ----------
    config : its address.
    access : its access control.
    inbox : what phones send.
    authority : issuer of its certificate; None: no TLS, or an external certificate.
    vouches : whether its certificate may hold for a host name or an address.
    """

    config: ServerConfig
    access: AccessControl
    inbox: Inbox
    authority: Authority | None
    vouches: Callable[[str], bool]


def store() -> Store:
    """The store that the pages of this process read."""
    if not _stores:
        raise BenchHoursError("no database is open", "Start the pages with: bench-hours serve")
    return _stores[-1]


def running_server() -> RunningServer | None:
    """The server of this process; None where none runs."""
    return _servers[-1] if _servers else None


def use_store(store: Store) -> None:
    """Let the pages of this process read a store."""
    _stores.append(store)


@cache
def demo_store() -> Store:
    """The invented studio, in memory, filled once."""
    store = Store(":memory:")
    demo.fill(store)
    return store


def phone_address(store: Store, config: ServerConfig) -> str:
    """Address of the pages for devices of the network: that of the settings, else one of this machine."""
    configured = read_settings(store.cursor()).address_for_phones
    host = configured or (config.host if config.host not in ("0.0.0.0", "::") else addresses.reached_at())
    return addresses.url(host, config.port, secure=config.secure)
