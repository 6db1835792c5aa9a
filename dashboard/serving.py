"""The server: one process that holds the database and serves the pages."""

from __future__ import annotations

import logging
import re
import signal
import ssl
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard import addresses, certificates, demo, look, own_hours, pairing, roles
from dashboard.certificates import Authority
from dashboard.guard import Door, Guard
from dashboard.listening import Impatient, listening
from ingest.asked import csp_hash
from ingest.devices import Devices
from ingest.errors import BenchHoursError, why
from ingest.phone.inbox import Inbox
from ingest.phone.routes import routes
from ingest.settings import read_settings
from ingest.store import Store

if TYPE_CHECKING:
    import uvicorn

_SCRIPT = Path(__file__).with_name("app.py")
_held: list[Store] = []
_open: list[Opened] = []


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a server listens, and to whom.

    Attributes
    ----------
    host, port : listened on.
    phones : devices of the network come in, once they are paired; else this machine alone, which needs no pairing.
    plain : without TLS, where phones come in.
    certificate, key : files of a certificate (PEM) made elsewhere; None: the studio's own authority makes one.
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
        """Where the pages are, for a browser on this machine."""
        return addresses.url("localhost" if self.host in ("127.0.0.1", "0.0.0.0", "::") else self.host, self.port, secure=self.secure)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A server that is running: where, who comes in, what phones send, who vouches for it (None: nobody, or an authority elsewhere), and whether that is so for a name or an address."""

    place: Place
    door: Door
    inbox: Inbox
    authority: Authority | None
    vouches: Callable[[str], bool]


def store() -> Store:
    """The store of this server, for its pages."""
    if not _held:
        raise BenchHoursError("no database is open", "Start the pages with: bench-hours serve")
    return _held[-1]


def opened() -> Opened | None:
    """The server that runs in this process; None where none does."""
    return _open[-1] if _open else None


def hold(opened: Store) -> None:
    """Let the pages of this process read from a store."""
    _held.append(opened)


@cache
def invented_store() -> Store:
    """The invented studio, in memory, made at the first look."""
    opened = Store(":memory:")
    demo.fill(opened)
    return opened


def for_phones(opened: Store, place: Place) -> str:
    """The address of the pages for devices of the network: as the studio says it, else as this machine finds it."""
    said = read_settings(opened.cursor()).address_for_phones
    host = said or (place.host if place.host not in ("0.0.0.0", "::") else addresses.reached_at())
    return addresses.url(host, place.port, secure=place.secure)


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
        _let_pages_end()


def _let_pages_end() -> None:
    """Wait for runs of pages, and for answers, that go on after the stop.

    Where the interpreter ends while a thread is inside a library in C++, the system aborts the whole process.
    """
    until = time.monotonic() + _PAGES_END_S
    for thread in threading.enumerate():
        if thread.name.startswith(("ScriptRunner", "AnyIO worker")):
            thread.join(max(0.0, until - time.monotonic()))


@contextmanager
def _told_to(server: uvicorn.Server) -> Iterator[None]:
    """Until the block ends, a wanted stop is told to the server alone, which ends in good order, also where it has not begun yet.

    As an exception it could come up anywhere: in the middle of a thread's beginning, or where a library swallows it, and nothing would stop.
    """
    before = {one: signal.signal(one, server.handle_exit) for one in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for one, was in before.items():
            signal.signal(one, was)


def serve(store: Store, place: Place, say: Callable[[str], None]) -> None:
    """Serve the pages until stopped; the caller closes the store."""
    import uvicorn  # noqa: PLC0415  half a second that other commands need not wait
    from starlette.middleware import Middleware  # noqa: PLC0415
    from streamlit.runtime.pages_manager import PagesManager  # noqa: PLC0415
    from streamlit.web import bootstrap  # noqa: PLC0415
    from streamlit.web.server.starlette import App  # noqa: PLC0415

    with listening(place.host, place.port) as listener:
        hold(store)
        sys.setswitchinterval(_TURN_S)
        # dashboard/pages holds scripts for app.py's navigation; a visitor who came by a page's own address first would be given the bare script
        PagesManager.uses_pages_directory = False
        bootstrap.load_config_options({"server.address": place.host, "server.port": place.port, **_CONFIG, **look.theme_config()})
        inbox, devices = Inbox(store), Devices(store)
        door = Door(devices, shut=place.phones, secure=place.secure, port=place.port, names=_Names(store, place))
        seal = Seal(store, place) if place.secure else None
        _open.append(Opened(place=place, door=door, inbox=inbox, authority=seal.authority if seal else None, vouches=seal.vouches if seal else lambda _: True))
        own = [*routes(store, inbox, devices), *pairing.routes(door, seal.authority if seal else None), *own_hours.routes(store, door)]
        app = App(_SCRIPT, routes=own, on_script_error=_own_words, middleware=[Middleware(_Head)])
        config = uvicorn.Config(
            Guard(app, door), host=place.host, port=place.port, log_level="error", access_log=False, ws_per_message_deflate=False, timeout_graceful_shutdown=_PATIENCE_S,
            proxy_headers=False, server_header=False, http=Impatient, **(seal.options() if seal else {}),
        )  # fmt: skip
        config.load()
        if config.ssl:
            config.ssl.minimum_version = ssl.TLSVersion.TLSv1_2
        server = uvicorn.Server(config)
        logging.getLogger("uvicorn.error").addFilter(lambda record: "graceful shutdown" not in str(record.msg))  # that it lost patience is no news to a person
        try:
            with _told_to(server):
                for sentence in _said_at_start(store, place, seal, devices):
                    say(sentence)
                with inbox.settling(), door.keeping(say), _renewing(seal, config, say):
                    server.run(sockets=[listener])
        finally:
            _open.pop()


def _said_at_start(store: Store, place: Place, seal: Seal | None, devices: Devices) -> Iterator[str]:
    if not place.phones:
        yield f"The studio's pages are at {place.here}, the form to log hours at {place.here}/log – stop with Ctrl-C."
        return
    reached = for_phones(store, place)
    yield f"The studio's pages are at {reached}, on this machine at {place.here}; the form to log hours at {reached}/log. Only devices that are paired come in – stop with Ctrl-C."
    if place.plain:
        yield "Without TLS: whoever is in the network can read along, and the form does not open without network."
    elif seal and seal.authority:
        if not seal.vouches(urlsplit(reached).hostname or ""):
            yield f"The studio's own certificate cannot vouch for {reached}: say another address under Who may come in, or bring a certificate with --tls-cert and --tls-key."
        yield f"How a device comes to trust it: {reached}/certificate. Fingerprint of the certificate to be trusted (SHA-256): {seal.authority.fingerprint}"
    if not devices.has_principal():
        yield "No device of the principal is paired yet: bench-hours pair, in another window, makes a code for one."


class _Names:
    """The host names of the studio; plain addresses are always answered, as no page elsewhere can pass itself off as the studio by one."""

    def __init__(self, store: Store, place: Place) -> None:
        self._store = store
        self._own = frozenset({"localhost", place.host.lower(), *addresses.names()})
        self._read_at, self._said = -1, ""

    def __call__(self) -> frozenset[str]:
        if self._read_at != self._store.writes:
            self._read_at = self._store.writes
            self._said = read_settings(self._store.cursor()).address_for_phones
        return self._own | {self._said} if self._said else self._own


class Seal:
    """What TLS needs: a certificate of the studio's own authority, or one that is given."""

    def __init__(self, store: Store, place: Place) -> None:
        self._store, self._place = store, place
        self.authority: Authority | None = None
        self._folder = Path(store.path).with_name(f"{Path(store.path).name}.tls")
        self.certificate = self._given() or self._own()

    def _given(self) -> Path | None:
        if self._place.certificate is None:
            return None
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(self._place.certificate, self._place.key)
        except (OSError, ssl.SSLError) as error:
            said = why(error) if not isinstance(error, ssl.SSLError) else "certificate and key do not fit, or are none"
            raise BenchHoursError(f"{self._place.certificate} cannot be used ({said})", "Name a certificate and its key in PEM.") from error
        return self._place.certificate

    def _own(self) -> Path:
        said = read_settings(self._store.cursor()).address_for_phones
        own = [*([said] if said else []), *([self._place.host] if self._place.host not in ("0.0.0.0", "::") else [])]
        names = list(dict.fromkeys(addresses.canonical(name) for name in [*addresses.of_this_machine(), *own]))
        now = datetime.now(UTC)
        self.authority = certificates.authority(self._folder, now, names)
        return certificates.server_certificate(self._folder, names, now)

    def vouches(self, name: str) -> bool:
        """The studio's own authority may speak for a host name or an address; who gives a certificate made elsewhere knows himself."""
        return self._place.certificate is not None or certificates.vouches_for(self._folder, addresses.canonical(name), datetime.now(UTC))

    def options(self) -> dict[str, Any]:
        return {"ssl_certfile": self.certificate, "ssl_keyfile": self._place.key, "ssl_ciphers": _CIPHERS}

    def renew(self, context: ssl.SSLContext) -> None:
        """Take the certificate anew: it may have been renewed, or the machine has another address."""
        self.certificate = self._given() or self._own()
        context.load_cert_chain(self.certificate, self._place.key)


@contextmanager
def _renewing(seal: Seal | None, config: Any, say: Callable[[str], None]) -> Iterator[None]:
    """Look at the certificate twice a minute, until the block ends; those who come next get what is good then."""
    stopped = threading.Event()

    def work() -> None:
        while not stopped.wait(_LOOK_AT_CERTIFICATE_S):
            try:
                if seal and config.ssl:
                    seal.renew(config.ssl)
            except (BenchHoursError, OSError) as error:
                say(f"the certificate could not be looked at: {error}")

    worker = threading.Thread(target=work, daemon=True, name="certificate")
    worker.start()
    try:
        yield
    finally:
        stopped.set()


def _only_here(page: bytes, scope: Scope) -> str:
    """The policy under which a browser runs a page of the library's: its own scripts, those inside it by their digests, and nothing from elsewhere."""
    inside = " ".join(map(csp_hash, re.findall(rb"<script>(.*?)</script>", page, re.DOTALL)))
    line = f"{'wss' if scope['scheme'] == 'https' else 'ws'}://{Headers(scope=scope)['host']}"
    return (
        f"default-src 'self'; script-src 'self' {inside}; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; media-src 'self' data: blob:; "
        f"font-src 'self' data:; connect-src 'self' {line}; worker-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    )


class _Head:
    """Tells each page where its server is, and that nothing is to be fetched from elsewhere.

    Left to itself, a page reached by its own address asks for the server below that address first, and fails.
    """

    # A page whose line is cut asks whether this device may still come in, and where it may not, loads anew to hear so in words.
    _SAID = (
        b"<head><script>window.__streamlit={BACKEND_BASE_URL:location.origin,HOST_CONFIG_BASE_URL:location.origin,MAIN_PAGE_BASE_URL:location.origin};"
        b"window.WebSocket=class extends WebSocket{constructor(...said){super(...said);this.addEventListener('close',()=>fetch('/_stcore/health')"
        b".then((answer)=>{if([401,403].includes(answer.status))location.reload()},()=>{}))}}</script>"
    )

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or roles.is_of_the_form(scope["path"]) or "text/html" not in ", ".join(Headers(scope=scope).getlist("accept")):
            await self._app(scope, receive, send)
            return
        scope = {**scope}
        del MutableHeaders(scope=scope)["accept-encoding"]  # packed, it could not be written into
        start: Message = {}
        body = bytearray()

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                heads = Headers(raw=message["headers"])
                # a document of our own has its policy already, and needs nothing
                if heads.get("content-type", "").startswith("text/html") and "content-security-policy" not in heads:
                    start.update(message)
            if not start:
                await send(message)
            elif message["type"] == "http.response.body":
                body.extend(message.get("body", b""))
                if not message.get("more_body"):
                    page = bytes(body).replace(b"<head>", self._SAID, 1)
                    heads = MutableHeaders(raw=[*start["headers"]])
                    for name in ("etag", "last-modified"):
                        del heads[name]
                    heads.update({"content-length": str(len(page)), "content-security-policy": _only_here(page, scope)})
                    await send({**start, "headers": heads.raw})
                    await send({"type": "http.response.body", "body": page})

        await self._app(scope, receive, told)


def _own_words(error: Exception) -> bool:
    """What a page says when it fails in a way that nobody foresaw, in place of a box that points to sites outside."""
    import streamlit as st  # noqa: PLC0415  as above

    if not _open:  # the server has been stopped, and its database closed under this run, which nobody sees
        return True
    traceback.print_exception(error)
    st.error(f"This page failed ({type(error).__name__}). Nothing was changed. Load it again; what happened is written in the window where bench-hours runs.")
    return True


# A browser that neither answers nor hangs up, met while it is just connecting, would hold a stopped server, and with it the file, for ever.
_PATIENCE_S = 3

_PAGES_END_S = 10.0  # they end at their next question to the database, which is closed, or at the next thing that they show

_LOOK_AT_CERTIFICATE_S = 30

# For browsers that know no TLS 1.3; with those that do, its own are used. Forward secrecy and authenticated ciphers only (RFC 9325).
_CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"

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
