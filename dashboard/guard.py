"""The guard: every request and every websocket passes here before any other code sees it.

Who asks by another name than the studio's, from a page of another site, without a device that was paired, or for what the role of that device
does not open, is refused, and what is refused says nothing of the record. What comes through carries in its head which device it is.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard import doorway, roles
from dashboard.guesses import Patience, neighbourhood
from ingest.asked import NOT_KEPT, Refused, refusal
from ingest.devices import HERE, TOLD, Device, Devices, Event
from ingest.errors import BenchHoursError
from ingest.history import utc_now

SENT_AWAY = 4401
"""The code with which the websocket of a device that was sent away is closed."""

_METHODS = roles.READS | {"POST", "PUT", "DELETE", "OPTIONS"}
_CLOSED = ("/_stcore/agent", "/_stcore/metrics", "/auth", "/oauth2callback")
"""What the library behind the pages offers besides, and the studio has no use for."""
_OPEN = frozenset({"/pair", "/pair/leave", "/certificate", "/certificate.crt"})
_LOOK_AGAIN_S = 0.5
_SEEN_ANEW = timedelta(minutes=2)
_COOKIE_AGE_S = 400 * 86_400  # as long as browsers keep any (RFC 6265bis)
_NOT_ELSEWHERE = ("cross-origin-resource-policy", "same-origin")
"""Of what is no document: those nobody can load into a page of his own, see `Door.judge`."""
_ON_EVERYTHING = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    # Not more where an answer has no policy of its own: the policy of a script that works in the background is that of its own answer.
    "content-security-policy": "object-src 'none'; base-uri 'none'; frame-ancestors 'none'",
}
_ON_A_REFUSAL = {**_ON_EVERYTHING, **NOT_KEPT, "content-security-policy": doorway.POLICY, **dict([_NOT_ELSEWHERE])}


class Door:
    """What the guard knows, shared with the pages and the commands of the same server.

    Parameters
    ----------
    devices : of the studio.
    shut : only devices that were paired come in; else whoever reaches the server sits at this machine, and is the principal.
    secure : the server speaks TLS.
    port : it listens on; browsers keep cookies by name and host alone, so it is part of the cookie's name.
    names : host names of the studio besides its plain addresses; asked each time, as the principal may say another.
    """

    def __init__(self, devices: Devices, *, shut: bool, secure: bool, port: int, names: Callable[[], frozenset[str]]) -> None:
        self.devices, self.shut, self.secure, self.port, self._names = devices, shut, secure, port, names
        self.codes = Patience(most=10, every_s=6)
        self.codes_of_all = Patience(most=300, every_s=0.2)  # far more than a studio types, far fewer than guessing needs
        self.secrets = Patience(most=100, every_s=1)
        self._lock = threading.Lock()
        self._seen: dict[str, datetime] = {}
        self._events: dict[tuple[str, str], Event] = {}
        self._stopped = threading.Event()

    # --- judging

    def judge(self, scope: Scope) -> Device | Refused | None:
        """Who asks, or why it is refused; None for whoever sits at this machine, and for what is open to all."""
        heads = Headers(scope=scope)
        if refused := self._wrong_address(heads) or self._other_site(scope, heads):
            return refused
        found = self._known(scope, heads) if self.shut else None
        if not isinstance(found, Refused) and any(scope["path"] == one or scope["path"].startswith(f"{one}/") for one in _CLOSED):
            return Refused(404, "no_such_page", "there is no such page", "Open the studio's pages.")
        return found

    def _wrong_address(self, heads: Headers) -> Refused | None:
        said = heads.getlist("host")
        name = (_host(said[0]) if len(said) == 1 else "") or ""
        try:
            ipaddress.ip_address(name)
        except ValueError:
            if name not in self._names():
                return Refused(421, "wrong_address", "this is no address of the studio", "Open it by the address that bench-hours serve shows.")
        return None

    def _other_site(self, scope: Scope, heads: Headers) -> Refused | None:
        """No page of another site makes anything happen here, nor has anything from here shown inside it."""
        sends = scope["type"] == "websocket" or scope["method"] not in roles.READS
        if scope["type"] == "http" and scope["method"] not in _METHODS:
            return Refused(405, "no_such_way", "this is no way to ask", "Open the studio's pages.")
        origin, site = heads.getlist("origin"), heads.get("sec-fetch-site", "same-origin")
        ours = f"{'https' if self.secure else 'http'}://{heads['host']}"
        refused = Refused(403, "other_site", "this was sent by a page of another site", "Open the studio's own page.")
        if sends:
            if (origin and origin != [ours]) or site not in ("same-origin", "none"):
                return refused
            if not origin and (self.shut or scope["type"] == "websocket"):
                return refused
        elif site not in ("same-origin", "none") and heads.get("sec-fetch-mode", "navigate") != "navigate":
            return refused
        return None

    def _known(self, scope: Scope, heads: Headers) -> Device | Refused | None:
        path, address = scope["path"], address_of(scope)
        device = self.device_of(heads)
        if path in _OPEN:
            return device if device and device.may_come_in(utc_now()) else None
        if device is None and self.secret_of(heads):
            if wait_s := self.secrets.wait_s(address):
                self.note("strangers sent to wait", address)
                return _wait(wait_s)
            self.secrets.failed(address)
            self.note("a device that is not known", address)
        if device is None:
            return Refused(401, "not_paired", "this device is not paired with the studio", "Ask the principal for a code, and open /pair with it.")
        if not device.may_come_in(utc_now()):
            self.note(f"tried to come in: {device.why_not(utc_now())}", device.name)
            return Refused(401, "not_paired", "this device may not come in any more", "Ask the principal for a code, and open /pair with it.")
        if not roles.opens(device.role, scope["type"], scope.get("method", "GET"), path):
            self.note(f"{device.role}: asked for what it does not open", device.name)
            return Refused(403, "not_for_this_role", f"this device {roles.OPENS[device.role]}", "Ask the principal if it should do more.")
        return device

    # --- cookies

    @property
    def cookie(self) -> str:
        return f"{'__Host-' if self.secure else ''}bench-hours-{self.port}"

    def secret_of(self, heads: Headers) -> str:
        """What the browser carries as its secret; empty: nothing, or more than one thing."""
        found = []
        for said in heads.getlist("cookie"):
            for pair in said.split(";"):
                name, _, value = pair.strip().partition("=")
                if name == self.cookie:
                    found.append(value.strip())
        return found[0] if len(found) == 1 and len(found[0]) <= 200 else ""

    def device_of(self, heads: Headers) -> Device | None:
        secret = self.secret_of(heads)
        return self.devices.of_secret(secret) if secret else None

    def cookie_head(self, secret: str) -> str:
        """The head that gives a browser its secret, or renews it; with an empty one, that takes it away."""
        jar = Response()
        jar.set_cookie(self.cookie, secret, max_age=_COOKIE_AGE_S if secret else 0, secure=self.secure, httponly=True, samesite="lax")
        return jar.headers["set-cookie"]

    # --- what happens

    def still(self, device: Device) -> bool:
        """A device that came in may stay."""
        now = self.devices.of_name(device.device)
        return now is not None and now.may_come_in(utc_now())

    def note(self, what: str, about: str) -> None:
        """Something happened at the door; it is kept, and said, within seconds, and never with a secret in it."""
        now, about = utc_now(), "".join(letter if letter.isprintable() else "?" for letter in about)
        with self._lock:
            first = self._events.get((what, about))
            if first is None and len(self._events) > 200:
                about, first = "many addresses", self._events.get((what, "many addresses"))
            self._events[what, about] = Event(what, about, first.first_at if first else now, now, first.times + 1 if first else 1)

    def saw(self, device: Device) -> bool:
        """A device was here; whether that is the first time for some minutes."""
        now = utc_now()
        anew = now - max(device.seen_at, self._seen.get(device.device, device.seen_at)) > _SEEN_ANEW
        if anew:
            with self._lock:
                self._seen[device.device] = now
        return anew

    @contextmanager
    def keeping(self, say: Callable[[str], None]) -> Iterator[None]:
        """Keep in the record what happens, until the block ends, in a thread of its own."""
        worker = threading.Thread(target=self._keep_on, args=(say,), daemon=True, name="door")
        worker.start()
        try:
            yield
        finally:
            self._stopped.set()
            worker.join(10)

    def _keep_on(self, say: Callable[[str], None]) -> None:
        while not self._stopped.wait(2):
            self._keep(say)
        self._keep(say)

    def _keep(self, say: Callable[[str], None]) -> None:
        with self._lock:
            seen, events = dict(self._seen), list(self._events.values())
            self._events.clear()
        new = {device: at for device, at in seen.items() if (known := self.devices.of_name(device)) and at > known.seen_at}
        for one in events:
            say(f"at the door, {one.last_at:%Y-%m-%d %H:%M:%S} UTC: {one.what}, {one.about}{f', {one.times:,} times' if one.times > 1 else ''}")
        with contextlib.suppress(BenchHoursError):  # the disk is full: the pages say so, and the next round keeps what comes then
            self.devices.keep(new, events)


def _wait(wait_s: int) -> Refused:
    return Refused(429, "wait", "there were too many attempts", f"Wait {wait_s} s, then try once more.", wait_s)


class Guard:
    """ASGI: the outermost layer of the server."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        found = self._door.judge(scope)
        if isinstance(found, Refused):
            await _refuse(scope, receive, send, found)
            return
        cookie = self._renewed(found, scope) if found else ""
        scope = _told(scope, self._door.cookie, (found.device if found else "") if self._door.shut else HERE)
        if found is None:
            await self._app(scope, receive, _with_heads(send, scope, cookie, secure=self._door.secure))
        elif scope["type"] == "websocket":
            await self._while_it_may_stay(found, scope, receive, send)
        else:
            await self._answer(found, scope, receive, send, cookie)

    def _renewed(self, device: Device, scope: Scope) -> str:
        """The cookie anew, now and then, so that a browser keeps it on; never where a device is just paired, which has another one from then on."""
        if scope["type"] == "websocket" or scope["path"] in _OPEN or not self._door.saw(device):
            return ""
        return self._door.cookie_head(self._door.secret_of(Headers(scope=scope)))

    async def _answer(self, device: Device, scope: Scope, receive: Receive, send: Send, cookie: str) -> None:
        """An answer, unless the device was sent away before it was ready."""
        cut = False

        async def told(message: Message) -> None:
            nonlocal cut
            if cut:
                return
            if scope["path"] not in _OPEN and not self._door.still(device):
                if message["type"] != "http.response.start":
                    raise ConnectionError("sent away")
                cut = True
                await _refuse(scope, receive, send, _GONE)
                return
            await send(message)

        await self._app(scope, receive, _with_heads(told, scope, cookie, secure=self._door.secure))

    async def _while_it_may_stay(self, device: Device, scope: Scope, receive: Receive, send: Send) -> None:
        async def heard() -> Message:
            message = await receive()
            return message if self._door.still(device) else {"type": "websocket.disconnect", "code": SENT_AWAY}

        async def told(message: Message) -> None:
            if self._door.still(device):
                await send(message)

        async def sent_away() -> None:
            while self._door.still(device):
                await asyncio.sleep(_LOOK_AGAIN_S)

        page = asyncio.ensure_future(self._app(scope, heard, told))
        watch = asyncio.ensure_future(sent_away())
        try:
            await asyncio.wait({page, watch}, return_when=asyncio.FIRST_COMPLETED)
            if not self._door.still(device):
                with contextlib.suppress(Exception):  # it may have hung up
                    await send({"type": "websocket.close", "code": SENT_AWAY})
        finally:
            watch.cancel()
            if not page.done():
                page.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await page


_GONE = Refused(401, "not_paired", "this device may not come in any more", "Ask the principal for a code, and open /pair with it.")


def _host(said: str) -> str | None:
    """The name or address in a Host head, without its port; None where it is none."""
    try:
        found = urlsplit(f"//{said}")
        return (found.hostname or "").rstrip(".").lower() if found.netloc == said and "@" not in said else None
    except ValueError:
        return None


def address_of(scope: Scope) -> str:
    """From where somebody asks, as far as guessing goes."""
    return neighbourhood(str(scope["client"][0])) if scope.get("client") else "an unknown address"


def _told(scope: Scope, cookie: str, device: str) -> Scope:
    """The request as the pages see it: who asks is said by the guard, and the secret stays with it."""
    scope = {**scope, "headers": [(name.lower(), value) for name, value in scope["headers"]]}  # names are told apart by their letters here
    heads = MutableHeaders(scope=scope)
    heads[TOLD] = device
    said = [pair.strip() for one in heads.getlist("cookie") for pair in one.split(";")]
    if others := "; ".join(pair for pair in said if pair and pair.partition("=")[0] != cookie):
        heads["cookie"] = others
    else:
        del heads["cookie"]
    return scope


def _with_heads(send: Send, scope: Scope, cookie: str, *, secure: bool) -> Send:
    """What every answer says of itself, and a cookie that it renews; an answer's own word on the same stands. Over TLS no cookie leaves it."""

    async def told(message: Message) -> None:
        if message["type"] == "http.response.start":
            heads = MutableHeaders(raw=[(name.lower(), value) for name, value in message.get("headers", [])])
            if secure and (given := heads.getlist("set-cookie")):
                del heads["set-cookie"]
                for one in given:
                    heads.append("set-cookie", one if "; secure" in one.lower() else f"{one}; Secure")
            if scope["path"].startswith("/media/"):  # what was just made to be taken: statements, files
                heads.update(NOT_KEPT)
            for name, value in _ON_EVERYTHING.items():
                heads.setdefault(name, value)
            if not heads.get("content-type", "").startswith("text/html"):
                heads.setdefault(*_NOT_ELSEWHERE)
            if cookie:
                heads.append("set-cookie", cookie)
            message = {**message, "headers": heads.raw}
        await send(message)

    return told


async def _refuse(scope: Scope, receive: Receive, send: Send, why: Refused) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": SENT_AWAY, "reason": ""})  # before it was opened: HTTP 403
        return
    heads = {**_ON_A_REFUSAL, "retry-after": str(why.wait_s)} if why.wait_s else _ON_A_REFUSAL
    answer: Response
    if scope["path"].startswith("/log/v"):
        answer = refusal(why, heads=heads)
    elif "text/html" in Headers(scope=scope).get("accept", "") and scope["method"] in roles.READS:
        body = doorway.refusal(why.what, why.mend, of_the_form=roles.is_of_the_form(scope["path"]), status=why.status)
        answer = HTMLResponse(body, why.status, heads)
    else:
        answer = PlainTextResponse(f"{why.what[0].upper()}{why.what[1:]}. {why.mend}\n", why.status, heads)
    await answer(scope, receive, send)
