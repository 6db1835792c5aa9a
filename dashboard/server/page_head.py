"""Middleware that completes the head of each HTML page: its script and content security policy."""

from __future__ import annotations

import re

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard import roles
from dashboard.server.public_pages import script
from ingest.http_json import csp_hash

_HEAD = b"<head><script>" + script("page_head").encode() + b"</script>"


def _page_policy(page: bytes, scope: Scope) -> str:
    """Content security policy of a page: scripts of this server, inline ones by digest, no other origin."""
    inside = " ".join(map(csp_hash, re.findall(rb"<script>(.*?)</script>", page, re.DOTALL)))
    socket = f"{'wss' if scope['scheme'] == 'https' else 'ws'}://{Headers(scope=scope)['host']}"
    return (
        f"default-src 'self'; script-src 'self' {inside}; style-src 'self' 'unsafe-inline'; img-src 'self'"
        f" data: blob:; media-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' {socket};"
        " worker-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors"
        " 'none'"
    )


class PageHead:
    """ASGI middleware: gives each page the script of its head and a content security policy."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if (
            scope["type"] != "http"
            or roles.is_of_the_form(scope["path"])
            or "text/html" not in ", ".join(Headers(scope=scope).getlist("accept"))
        ):
            await self._app(scope, receive, send)
            return
        scope = {**scope}
        del MutableHeaders(scope=scope)["accept-encoding"]  # a compressed body could not be changed
        start: Message = {}
        body = bytearray()

        async def send_page(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = Headers(raw=message["headers"])
                # documents of our own have a policy already
                if (
                    headers.get("content-type", "").startswith("text/html")
                    and "content-security-policy" not in headers
                ):
                    start.update(message)
            if not start:
                await send(message)
            elif message["type"] == "http.response.body":
                body.extend(message.get("body", b""))
                if not message.get("more_body"):
                    page = bytes(body).replace(b"<head>", _HEAD, 1)
                    headers = MutableHeaders(raw=[*start["headers"]])
                    for name in ("etag", "last-modified"):
                        del headers[name]
                    headers.update(
                        {
                            "content-length": str(len(page)),
                            "content-security-policy": _page_policy(page, scope),
                        }
                    )
                    await send({**start, "headers": headers.raw})
                    await send({"type": "http.response.body", "body": page})

        await self._app(scope, receive, send_page)
