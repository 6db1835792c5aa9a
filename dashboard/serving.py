"""The server: one process that holds the database and serves the pages."""

from __future__ import annotations

import logging
import signal
import socket
import sys
import traceback
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from dashboard import demo, look
from ingest.errors import BenchHoursError
from ingest.phone.inbox import Inbox
from ingest.phone.routes import routes
from ingest.store import Store

_SCRIPT = Path(__file__).with_name("app.py")
_held: list[Store] = []
Asgi = Callable[[dict[str, Any], Any, Any], Awaitable[None]]


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


def address(host: str, port: int) -> str:
    """Where the pages are, for a browser on this machine."""
    return f"http://{'localhost' if host in ('127.0.0.1', '0.0.0.0') else host}:{port}"


@contextmanager
def until_stopped() -> Iterator[None]:
    """Ctrl-C and the system's word to end are a wanted stop of what is served: the block is left in good order, and nothing failed."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGTERM, before)


def serve(opened: Store, host: str, port: int, say: Callable[[str], None]) -> None:
    """Serve the pages until stopped; the caller closes the store."""
    import uvicorn  # noqa: PLC0415  half a second that other commands need not wait
    from starlette.middleware import Middleware  # noqa: PLC0415
    from streamlit.runtime.pages_manager import PagesManager  # noqa: PLC0415
    from streamlit.web import bootstrap  # noqa: PLC0415
    from streamlit.web.server.starlette import App  # noqa: PLC0415

    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            door.bind((host, port))
            door.listen(2048)
        except OSError as error:
            raise BenchHoursError(f"port {port} of {host} cannot be used ({error.strerror})", "Name another with --port.") from error
        hold(opened)
        sys.setswitchinterval(_TURN_S)
        # dashboard/pages holds scripts for app.py's navigation; a visitor who came by a page's own address first would be given the bare script
        PagesManager.uses_pages_directory = False
        bootstrap.load_config_options({"server.address": host, "server.port": port, **_CONFIG, **look.theme_config()})
        inbox = Inbox(opened)
        app = App(_SCRIPT, routes=routes(opened, inbox, host), on_script_error=_own_words, middleware=[Middleware(_Head)])
        server = uvicorn.Server(
            uvicorn.Config(app, host=host, port=port, log_level="error", access_log=False, ws_per_message_deflate=False, timeout_graceful_shutdown=_PATIENCE_S)
        )
        logging.getLogger("uvicorn.error").addFilter(lambda record: "graceful shutdown" not in str(record.msg))  # that it lost patience is no news to a person
        say(f"The studio's pages are at {address(host, port)}, the form to log hours at {address(host, port)}/log – stop with Ctrl-C.")
        with inbox.settling():
            server.run(sockets=[door])


def _is_of_the_form(path: str) -> bool:
    return path == "/log" or path.startswith("/log/")


class _Head:
    """Tells each page where its server is, and that nothing is to be fetched from elsewhere.

    Left to itself, a page reached by its own address asks for the server below that address first, and fails.
    """

    _SAID = (
        b"<head><script>window.__streamlit={BACKEND_BASE_URL:location.origin,HOST_CONFIG_BASE_URL:location.origin,MAIN_PAGE_BASE_URL:location.origin}</script>"
    )

    _ONLY_HERE = b"img-src 'self' data: blob:; media-src 'self' data: blob:; font-src 'self' data:; object-src 'none'; form-action 'self'; base-uri 'self'"

    def __init__(self, app: Asgi) -> None:
        self._app = app

    async def __call__(self, scope: dict[str, Any], receive: Any, send: Callable[[dict[str, Any]], Awaitable[None]]) -> None:
        if (
            scope["type"] != "http"
            or _is_of_the_form(scope["path"])
            or not any(name == b"accept" and b"text/html" in value for name, value in scope["headers"])
        ):
            await self._app(scope, receive, send)
            return
        scope = {**scope, "headers": [(name, value) for name, value in scope["headers"] if name != b"accept-encoding"]}  # packed, it could not be written into
        start: dict[str, Any] = {}
        body = bytearray()

        async def told(message: dict[str, Any]) -> None:
            if message["type"] == "http.response.start" and any(
                name == b"content-type" and value.startswith(b"text/html") for name, value in message["headers"]
            ):
                start.update(message)
            elif not start:
                await send(message)
            else:
                body.extend(message.get("body", b""))
                if not message.get("more_body"):
                    page = bytes(body).replace(b"<head>", self._SAID, 1)
                    headers = [(name, value) for name, value in start["headers"] if name not in (b"content-length", b"etag", b"last-modified")]
                    await send({**start, "headers": [*headers, (b"content-length", str(len(page)).encode()), (b"content-security-policy", self._ONLY_HERE)]})
                    await send({"type": "http.response.body", "body": page})

        await self._app(scope, receive, told)


def _own_words(error: Exception) -> bool:
    """What a page says when it fails in a way that nobody foresaw, in place of a box that points to sites outside."""
    import streamlit as st  # noqa: PLC0415  as above

    traceback.print_exception(error)
    st.error(f"This page failed ({type(error).__name__}). Nothing was changed. Load it again; what happened is written in the window where bench-hours runs.")
    return True


# A browser that neither answers nor hangs up, met while it is just connecting, would hold a stopped server, and with it the file, for ever.
_PATIENCE_S = 3

# A thread that computes a page gives way so soon to one that answers a phone; a phone's answer takes several turns.
_TURN_S = 0.0005

_CONFIG = {
    "server.headless": True,
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": False,
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "logger.level": "warning",
    "logger.hideWelcomeMessage": True,
}
