"""Access control: which device asks, and whether its role allows the request."""

from __future__ import annotations

import contextlib
import ipaddress
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import Scope

from dashboard import roles
from dashboard.server.rate_limit import TokenBucket, client_key
from ingest.devices import Device, Devices, Event
from ingest.errors import BenchHoursError
from ingest.http_json import Refused
from ingest.tables.audit_log import utc_now

_METHODS = roles.READS | {"POST", "PUT", "DELETE", "OPTIONS"}
_CLOSED = ("/_stcore/agent", "/_stcore/metrics", "/auth", "/oauth2callback")
"""Paths of the page library that the studio does not use."""
OPEN_PATHS = frozenset({"/pair", "/pair/leave", "/certificate", "/certificate.crt"})
_LAST_SEEN_EVERY = timedelta(minutes=2)
_COOKIE_AGE_S = 400 * 86_400  # as long as browsers keep any (RFC 6265bis)


class AccessControl:
    """Devices, cookies and events of a server, shared by its guard, pages and commands.

    Parameters
    ----------
    devices : of the studio.
    pairing_required : only paired devices are admitted; else every request is of the principal, at this
        machine.
    secure : the server speaks TLS.
    port : part of the cookie's name, as browsers keep cookies by name and host alone.
    names : gives the host names of the studio, which the settings may change.
    """

    def __init__(
        self,
        devices: Devices,
        *,
        pairing_required: bool,
        secure: bool,
        port: int,
        names: Callable[[], frozenset[str]],
    ) -> None:
        self.devices, self.pairing_required, self.secure, self.port, self._names = (
            devices,
            pairing_required,
            secure,
            port,
            names,
        )
        self.codes = TokenBucket(capacity=10, interval_s=6)
        # far more than a studio types, far fewer than guessing needs
        self.codes_of_all = TokenBucket(capacity=300, interval_s=0.2)
        self.secrets = TokenBucket(capacity=100, interval_s=1)
        self._lock = threading.Lock()
        self._last_seen: dict[str, datetime] = {}
        self._events: dict[tuple[str, str], Event] = {}
        self._stopped = threading.Event()

    # --- requests

    def authorize(self, scope: Scope) -> Device | Refused | None:
        """The device of a request, or its refusal; None for this machine, and for paths open to all."""
        heads = Headers(scope=scope)
        if refused := self._check_host(heads) or self._check_origin(scope, heads):
            return refused
        device = self._authenticate(scope, heads) if self.pairing_required else None
        if not isinstance(device, Refused) and any(
            scope["path"] == item or scope["path"].startswith(f"{item}/") for item in _CLOSED
        ):
            return Refused(404, "no_such_page", "there is no such page", "Open the studio's pages.")
        return device

    def _check_host(self, heads: Headers) -> Refused | None:
        hosts = heads.getlist("host")
        name = (_host_name(hosts[0]) if len(hosts) == 1 else "") or ""
        try:
            ipaddress.ip_address(name)
        except ValueError:
            if name not in self._names():
                return Refused(
                    421,
                    "wrong_address",
                    "this is no address of the studio",
                    "Open it by the address that bench-hours serve shows.",
                )
        return None

    def _check_origin(self, scope: Scope, heads: Headers) -> Refused | None:
        """The refusal of a request by which a page of another site would change or embed something."""
        sends = scope["type"] == "websocket" or scope["method"] not in roles.READS
        if scope["type"] == "http" and scope["method"] not in _METHODS:
            return Refused(405, "no_such_way", "this is no way to ask", "Open the studio's pages.")
        origin, site = heads.getlist("origin"), heads.get("sec-fetch-site", "same-origin")
        ours = f"{'https' if self.secure else 'http'}://{heads['host']}"
        refused = Refused(
            403, "other_site", "this was sent by a page of another site", "Open the studio's own page."
        )
        if sends:
            if (origin and origin != [ours]) or site not in ("same-origin", "none"):
                return refused
            if not origin and (self.pairing_required or scope["type"] == "websocket"):
                return refused
        elif site not in ("same-origin", "none") and heads.get("sec-fetch-mode", "navigate") != "navigate":
            return refused
        return None

    def _authenticate(self, scope: Scope, heads: Headers) -> Device | Refused | None:
        path, address = scope["path"], client_key_of(scope)
        device = self.device_of(heads)
        if path in OPEN_PATHS:
            return device if device and device.is_admitted(utc_now()) else None
        if device is None and self.secret_of(heads):
            if wait_s := self.secrets.wait_s(address):
                self.log_event("strangers sent to wait", address)
                mend = f"Wait {wait_s} s, then try once more."
                return Refused(429, "wait", "there were too many attempts", mend, wait_s)
            self.secrets.record_failure(address)
            self.log_event("a device that is not known", address)
        if device is None:
            return Refused(
                401,
                "not_paired",
                "this device is not paired with the studio",
                "Ask the principal for a code, and open /pair with it.",
            )
        if not device.is_admitted(utc_now()):
            self.log_event(f"tried to come in: {device.refusal_reason(utc_now())}", device.name)
            return Refused(
                401,
                "not_paired",
                "this device may not come in any more",
                "Ask the principal for a code, and open /pair with it.",
            )
        if not roles.opens(device.role, scope["type"], scope.get("method", "GET"), path):
            self.log_event(f"{device.role}: asked for what it does not open", device.name)
            return Refused(
                403,
                "not_for_this_role",
                f"this device {roles.OPENS[device.role]}",
                "Ask the principal if it should do more.",
            )
        return device

    # --- cookies

    @property
    def cookie(self) -> str:
        return f"{'__Host-' if self.secure else ''}bench-hours-{self.port}"

    def secret_of(self, heads: Headers) -> str:
        """The secret in the cookie of a request; empty where there is none, or more than one."""
        secrets = []
        for header in heads.getlist("cookie"):
            for pair in header.split(";"):
                name, _, value = pair.strip().partition("=")
                if name == self.cookie:
                    secrets.append(value.strip())
        return secrets[0] if len(secrets) == 1 and len(secrets[0]) <= 200 else ""

    def device_of(self, heads: Headers) -> Device | None:
        secret = self.secret_of(heads)
        return self.devices.of_secret(secret) if secret else None

    def cookie_header(self, secret: str) -> str:
        """The Set-Cookie header that gives a browser its secret; an empty one deletes it."""
        jar = Response()
        jar.set_cookie(
            self.cookie,
            secret,
            max_age=_COOKIE_AGE_S if secret else 0,
            secure=self.secure,
            httponly=True,
            samesite="lax",
        )
        return jar.headers["set-cookie"]

    # --- events

    def is_admitted(self, device: Device) -> bool:
        """Whether a device may still be served."""
        current = self.devices.of_name(device.device)
        return current is not None and current.is_admitted(utc_now())

    def log_event(self, what: str, about: str) -> None:
        """Record an event, without secrets; it is saved and reported within seconds."""
        at, about = utc_now(), "".join(letter if letter.isprintable() else "?" for letter in about)
        with self._lock:
            first = self._events.get((what, about))
            if first is None and len(self._events) > 200:
                about, first = "many addresses", self._events.get((what, "many addresses"))
            self._events[what, about] = Event(
                what, about, first.first_at if first else at, at, first.times + 1 if first else 1
            )

    def touch_last_seen(self, device: Device) -> bool:
        """Note that a device was served; True for the first time in some minutes."""
        at = utc_now()
        anew = at - max(device.seen_at, self._last_seen.get(device.device, device.seen_at)) > _LAST_SEEN_EVERY
        if anew:
            with self._lock:
                self._last_seen[device.device] = at
        return anew

    @contextmanager
    def saving_events(self, report: Callable[[str], None]) -> Iterator[None]:
        """Save and report events, in a thread, until the block ends."""
        worker = threading.Thread(
            target=self._save_repeatedly, args=(report,), daemon=True, name="door events"
        )
        worker.start()
        try:
            yield
        finally:
            self._stopped.set()
            worker.join(10)

    def _save_repeatedly(self, report: Callable[[str], None]) -> None:
        while not self._stopped.wait(2):
            self._save_events(report)
        self._save_events(report)

    def _save_events(self, report: Callable[[str], None]) -> None:
        with self._lock:
            last_seen, events = dict(self._last_seen), list(self._events.values())
            self._events.clear()
        new = {
            device: at
            for device, at in last_seen.items()
            if (current := self.devices.of_name(device)) and at > current.seen_at
        }
        for event in events:
            report(
                f"at the door, {event.last_at:%Y-%m-%d %H:%M:%S} UTC: {event.what},"
                f" {event.about}{f', {event.times:,} times' if event.times > 1 else ''}"
            )
        with contextlib.suppress(BenchHoursError):  # a full disk, which the pages report
            self.devices.keep(new, events)


def _host_name(text: str) -> str | None:
    """The name or address in a Host header, without its port; None where it is malformed."""
    try:
        parts = urlsplit(f"//{text}")
        return (
            (parts.hostname or "").rstrip(".").lower() if parts.netloc == text and "@" not in text else None
        )
    except ValueError:
        return None


def client_key_of(scope: Scope) -> str:
    """The key of a request in rate limits."""
    return client_key(str(scope["client"][0])) if scope.get("client") else "an unknown address"
