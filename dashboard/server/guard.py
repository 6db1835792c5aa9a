"""ASGI middleware of access control: every request and every websocket passes here first.

Refused are foreign host names, pages of other sites, devices that are not paired, and paths that the role of
a device does not include; a refusal tells nothing of the record. What passes names its device in a header.
"""

from __future__ import annotations

import asyncio
import contextlib

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard import roles
from dashboard.server import public_pages
from dashboard.server.access_control import OPEN_PATHS, AccessControl
from ingest.devices import DEVICE_HEADER, LOCAL_DEVICE, Device
from ingest.http_json import NOT_KEPT, Refused, refusal

REVOKED_CODE = 4401
"""Close code of a websocket whose device was revoked."""

_RECHECK_S = 0.5
_SAME_ORIGIN = ("cross-origin-resource-policy", "same-origin")
"""Of what is no document: no page of another site may load it, see `AccessControl.authorize`."""
_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    # Not more where a response has no policy of its own: a background script runs under that of its response.
    "content-security-policy": "object-src 'none'; base-uri 'none'; frame-ancestors 'none'",
}
_REFUSAL_HEADERS = {
    **_HEADERS,
    **NOT_KEPT,
    "content-security-policy": public_pages.POLICY,
    **dict([_SAME_ORIGIN]),
}


class Guard:
    """Outermost layer of the server."""

    def __init__(self, app: ASGIApp, access: AccessControl) -> None:
        self._app, self._access = app, access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        device = self._access.authorize(scope)
        if isinstance(device, Refused):
            await _refuse(scope, receive, send, device)
            return
        cookie = self._renewed_cookie(device, scope) if device else ""
        scope = _scope_for_pages(
            scope,
            self._access.cookie,
            (device.device if device else "") if self._access.pairing_required else LOCAL_DEVICE,
        )
        if device is None:
            await self._app(scope, receive, _with_headers(send, scope, cookie, secure=self._access.secure))
        elif scope["type"] == "websocket":
            await self._serve_websocket(device, scope, receive, send)
        else:
            await self._respond(device, scope, receive, send, cookie)

    def _renewed_cookie(self, device: Device, scope: Scope) -> str:
        """The cookie again every few minutes, so that a browser keeps it; pairing sets another."""
        if (
            scope["type"] == "websocket"
            or scope["path"] in OPEN_PATHS
            or not self._access.touch_last_seen(device)
        ):
            return ""
        return self._access.cookie_header(self._access.secret_of(Headers(scope=scope)))

    async def _respond(self, device: Device, scope: Scope, receive: Receive, send: Send, cookie: str) -> None:
        """Send the response, unless the device is revoked before it is ready."""
        refused = False

        async def send_while_admitted(message: Message) -> None:
            nonlocal refused
            if refused:
                return
            if scope["path"] not in OPEN_PATHS and not self._access.is_admitted(device):
                if message["type"] != "http.response.start":
                    raise ConnectionError("the device was revoked")
                refused = True
                await _refuse(scope, receive, send, _REVOKED)
                return
            await send(message)

        await self._app(
            scope, receive, _with_headers(send_while_admitted, scope, cookie, secure=self._access.secure)
        )

    async def _serve_websocket(self, device: Device, scope: Scope, receive: Receive, send: Send) -> None:
        async def receive_while_admitted() -> Message:
            message = await receive()
            return (
                message
                if self._access.is_admitted(device)
                else {"type": "websocket.disconnect", "code": REVOKED_CODE}
            )

        async def send_while_admitted(message: Message) -> None:
            if self._access.is_admitted(device):
                await send(message)

        async def wait_until_refused() -> None:
            while self._access.is_admitted(device):
                await asyncio.sleep(_RECHECK_S)

        page = asyncio.ensure_future(self._app(scope, receive_while_admitted, send_while_admitted))
        watch = asyncio.ensure_future(wait_until_refused())
        try:
            await asyncio.wait({page, watch}, return_when=asyncio.FIRST_COMPLETED)
            if not self._access.is_admitted(device):
                with contextlib.suppress(Exception):  # it may have hung up
                    await send({"type": "websocket.close", "code": REVOKED_CODE})
        finally:
            watch.cancel()
            if not page.done():
                page.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await page


_REVOKED = Refused(
    401,
    "not_paired",
    "this device may not come in any more",
    "Ask the principal for a code, and open /pair with it.",
)


def _scope_for_pages(scope: Scope, cookie: str, device: str) -> Scope:
    """The request for the pages: with the device in a header, and without the cookie of its secret."""
    scope = {**scope, "headers": [(name.lower(), value) for name, value in scope["headers"]]}
    heads = MutableHeaders(scope=scope)
    heads[DEVICE_HEADER] = device
    pairs = [pair.strip() for item in heads.getlist("cookie") for pair in item.split(";")]
    if others := "; ".join(pair for pair in pairs if pair and pair.partition("=")[0] != cookie):
        heads["cookie"] = others
    else:
        del heads["cookie"]
    return scope


def _with_headers(send: Send, scope: Scope, cookie: str, *, secure: bool) -> Send:
    """Add the headers of every response, where it has none of the same name, and a renewed cookie. Over TLS
    all cookies are secure.
    """

    async def send_with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(
                raw=[(name.lower(), value) for name, value in message.get("headers", [])]
            )
            if secure and (cookies := headers.getlist("set-cookie")):
                del headers["set-cookie"]
                for item in cookies:
                    headers.append("set-cookie", item if "; secure" in item.lower() else f"{item}; Secure")
            if scope["path"].startswith("/media/"):  # downloads made for one device
                headers.update(NOT_KEPT)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            if not headers.get("content-type", "").startswith("text/html"):
                headers.setdefault(*_SAME_ORIGIN)
            if cookie:
                headers.append("set-cookie", cookie)
            message = {**message, "headers": headers.raw}
        await send(message)

    return send_with_headers


async def _refuse(scope: Scope, receive: Receive, send: Send, why: Refused) -> None:
    if scope["type"] == "websocket":
        # before it opens: HTTP 403
        await send({"type": "websocket.close", "code": REVOKED_CODE, "reason": ""})
        return
    headers = {**_REFUSAL_HEADERS, "retry-after": str(why.wait_s)} if why.wait_s else _REFUSAL_HEADERS
    answer: Response
    if scope["path"].startswith("/log/v"):
        answer = refusal(why, heads=headers)
    elif "text/html" in Headers(scope=scope).get("accept", "") and scope["method"] in roles.READS:
        body = public_pages.refusal(
            why.what, why.mend, of_the_form=roles.is_of_the_form(scope["path"]), status=why.status
        )
        answer = HTMLResponse(body, why.status, headers)
    else:
        answer = PlainTextResponse(f"{why.what[0].upper()}{why.what[1:]}. {why.mend}\n", why.status, headers)
    await answer(scope, receive, send)
