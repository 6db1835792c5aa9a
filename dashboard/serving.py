"""The server: one process that holds the database and serves the pages."""

from __future__ import annotations

import socket
import traceback
from collections.abc import Callable
from functools import cache
from pathlib import Path

from dashboard import demo, look
from ingest.errors import BenchHoursError
from ingest.store import Store

_SCRIPT = Path(__file__).with_name("app.py")
_held: list[Store] = []


def store() -> Store:
    """The store of this server, for its pages."""
    if not _held:
        raise BenchHoursError("no database is open", "Start the pages with: bench-hours serve")
    return _held[-1]


def hold(opened: Store) -> None:
    """Let the pages of this process read from a store."""
    _held.append(opened)


@cache
def invented_store() -> Store:
    """The invented studio, in memory, made at the first look."""
    opened = Store(":memory:")
    demo.fill(opened)
    return opened


def serve(opened: Store, host: str, port: int, say: Callable[[str], None]) -> None:
    """Serve the pages until stopped; the caller closes the store."""
    from streamlit.web.server.starlette import App  # noqa: PLC0415  half a second that other commands need not wait

    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise BenchHoursError(f"port {port} of {host} cannot be used ({error.strerror})", "Name another with --port.") from error
    hold(opened)
    say(f"The studio's pages are at http://{'localhost' if host == '127.0.0.1' else host}:{port} – stop with Ctrl-C.")
    App(_SCRIPT, on_script_error=_own_words).run(config={"server.address": host, "server.port": port, **_CONFIG, **look.theme_config()})


def _own_words(error: Exception) -> bool:
    """What a page says when it fails in a way that nobody foresaw, in place of a box that points to sites outside."""
    import streamlit as st  # noqa: PLC0415  as above

    traceback.print_exception(error)
    st.error(f"This page failed ({type(error).__name__}). Nothing was changed. Load it again; what happened is written in the window where bench-hours runs.")
    return True


_CONFIG = {
    "server.headless": True,
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": False,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "logger.level": "warning",
}
