"""The server: one process that holds the database and serves the pages."""

from __future__ import annotations

import logging
import signal
import ssl
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.types import ASGIApp

from dashboard import theme
from dashboard.server import addresses, pairing_routes, pauses_routes
from dashboard.server.access_control import AccessControl
from dashboard.server.garbage import sparing_modules
from dashboard.server.guard import Guard
from dashboard.server.listener import IdleTimeoutProtocol, listening
from dashboard.server.page_head import PageHead
from dashboard.server.state import RunningServer, ServerConfig, _servers, phone_address, use_store
from dashboard.server.tls import TlsConfig, renewing
from ingest.devices import Devices
from ingest.phone.inbox import Inbox
from ingest.phone.routes import routes
from ingest.store import Store
from ingest.studio.settings import read_settings

if TYPE_CHECKING:
    import uvicorn

_SCRIPT = Path(__file__).parents[1] / "app.py"
# A browser that neither answers nor hangs up would hold a stopped server, and with it the file, for ever.
_SHUTDOWN_S = 3
_PAGES_END_S = 10.0  # page threads end at their next query, as the database is closed
_SWITCH_INTERVAL_S = 0.0005  # threads that compute pages give way soon to those that answer phones
_CONFIG = {
    "server.headless": True,
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": False,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "logger.level": "warning",
    "logger.hideWelcomeMessage": True,
    "runner.magicEnabled": False,  # a page shows what it is told to, so nobody need look for more
}


@contextmanager
def until_stopped() -> Iterator[None]:
    """Leave the block without an error at SIGINT (Ctrl-C) or SIGTERM."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGTERM, before)
        _join_page_threads()


def _join_page_threads() -> None:
    """Wait for threads that still run pages or answer requests.

    Where the interpreter ends while a thread is inside a C++ library, the system aborts the process.
    """
    until = time.monotonic() + _PAGES_END_S
    for thread in threading.enumerate():
        if thread.name.startswith(("ScriptRunner", "AnyIO worker")):
            thread.join(max(0.0, until - time.monotonic()))


@contextmanager
def _signals_to(server: uvicorn.Server) -> Iterator[None]:
    """Pass SIGINT and SIGTERM to the server alone, also before it runs, until the block ends.

    An exception could be raised anywhere: while a thread starts, or where a library swallows it.
    """
    handlers = {
        number: signal.signal(number, server.handle_exit) for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)


def serve(store: Store, config: ServerConfig, report: Callable[[str], None]) -> None:
    """Serve the pages until stopped; the caller closes the store."""
    import uvicorn  # noqa: PLC0415  half a second that other commands need not wait
    from starlette.middleware import Middleware  # noqa: PLC0415
    from streamlit.runtime.pages_manager import PagesManager  # noqa: PLC0415
    from streamlit.web import bootstrap  # noqa: PLC0415
    from streamlit.web.server.starlette import App  # noqa: PLC0415

    with listening(config.host, config.port) as listener, sparing_modules():
        use_store(store)
        sys.setswitchinterval(_SWITCH_INTERVAL_S)
        # else a first visit to the address of a page would be answered with its bare script
        PagesManager.uses_pages_directory = False
        bootstrap.load_config_options(
            {"server.address": config.host, "server.port": config.port, **_CONFIG, **theme.theme_config()}
        )
        inbox, devices = Inbox(store), Devices(store)
        access = AccessControl(
            devices,
            pairing_required=config.phones,
            secure=config.secure,
            port=config.port,
            names=_HostNames(store, config),
        )
        tls = TlsConfig(store, config) if config.secure else None
        _servers.append(
            RunningServer(
                config=config,
                access=access,
                inbox=inbox,
                authority=tls.authority if tls else None,
                vouches=tls.vouches if tls else lambda _: True,
            )
        )
        own = [
            *routes(store, inbox, devices),
            *pairing_routes.routes(access, tls.authority if tls else None),
            *pauses_routes.routes(store, access),
        ]
        app = App(_SCRIPT, routes=own, on_script_error=_show_page_error, middleware=[Middleware(PageHead)])
        uvicorn_config = _uvicorn_config(Guard(app, access), config, tls)
        server = uvicorn.Server(uvicorn_config)
        logging.getLogger("uvicorn.error").addFilter(  # the time limit of a shutdown is no error
            lambda record: "graceful shutdown" not in str(record.msg)
        )
        try:
            with _signals_to(server):
                for sentence in _start_messages(store, config, tls, devices):
                    report(sentence)
                with inbox.settling(), access.saving_events(report), renewing(tls, uvicorn_config, report):
                    server.run(sockets=[listener])
        finally:
            _servers.pop()


def _uvicorn_config(app: ASGIApp, config: ServerConfig, tls: TlsConfig | None) -> uvicorn.Config:
    import uvicorn  # noqa: PLC0415  as above

    uvicorn_config = uvicorn.Config(
        app,
        host=config.host,
        port=config.port,
        log_level="error",
        access_log=False,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=_SHUTDOWN_S,
        proxy_headers=False,
        server_header=False,
        http=IdleTimeoutProtocol,
        **(tls.options() if tls else {}),
    )
    uvicorn_config.load()
    if uvicorn_config.ssl:
        uvicorn_config.ssl.minimum_version = ssl.TLSVersion.TLSv1_2
    return uvicorn_config


def _start_messages(
    store: Store, config: ServerConfig, tls: TlsConfig | None, devices: Devices
) -> Iterator[str]:
    if not config.phones:
        yield (
            f"The studio's pages are at {config.here}, the form to log hours at {config.here}/log – stop with"
            " Ctrl-C."
        )
        return
    reached = phone_address(store, config)
    yield (
        f"The studio's pages are at {reached}, on this machine at {config.here}; the form to log hours at"
        f" {reached}/log. Only devices that are paired come in – stop with Ctrl-C."
    )
    if config.plain:
        yield (
            "Without TLS: whoever is in the network can read along, and the form does not open without"
            " network."
        )
    elif tls and tls.authority:
        if not tls.vouches(urlsplit(reached).hostname or ""):
            yield (
                f"The studio's own certificate cannot vouch for {reached}: say another address under Who may"
                " come in, or bring a certificate with --tls-cert and --tls-key."
            )
        yield (
            f"How a device comes to trust it: {reached}/certificate. Fingerprint of the certificate to be"
            f" trusted (SHA-256): {tls.authority.fingerprint}"
        )
    if not devices.has_principal():
        yield (
            "No device of the principal is paired yet: bench-hours pair, in another window, makes a code for"
            " one."
        )


class _HostNames:
    """Host names of the studio. IP addresses need no listing: no foreign page can use one by DNS."""

    def __init__(self, store: Store, config: ServerConfig) -> None:
        self._store = store
        self._own = frozenset({"localhost", config.host.lower(), *addresses.names()})
        self._read_at, self._configured = -1, ""

    def __call__(self) -> frozenset[str]:
        if self._read_at != self._store.writes:
            self._read_at = self._store.writes
            self._configured = read_settings(self._store.cursor()).address_for_phones
        return self._own | {self._configured} if self._configured else self._own


def _show_page_error(error: Exception) -> bool:
    """Show an unexpected error of a page without links to other sites."""
    import streamlit as st  # noqa: PLC0415  as above

    if not _servers:  # the server was stopped and its database closed under this run, which nobody sees
        return True
    traceback.print_exception(error)
    st.error(
        f"This page failed ({type(error).__name__}). Nothing was changed. Load it again; what happened is"
        " written in the window where bench-hours runs."
    )
    return True
