"""The form and its interface over HTTP: routes that ride in the process of the pages, on the same store.

Described in API.md beside this module. Answers are JSON with `version`; what is refused is `{"error":
{"code", "what", "mend"}}`: the code for machines, the rest for people.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Awaitable, Callable
from typing import Any

import duckdb
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from ingest.devices import DEVICE_HEADER, LOCAL_DEVICE, Device, Devices
from ingest.errors import StoreError, why
from ingest.http_json import NOT_KEPT, VERSION, Refused, json_of, refusal
from ingest.phone import page as phone_page
from ingest.phone.actions import MOST_ACTIONS, ActionError
from ingest.phone.form_state import bench
from ingest.phone.inbox import Inbox
from ingest.store import Store

_LARGEST_BYTES = 1_000_000
_TOO_LARGE = ("this is more than 1 MB", "Send fewer actions at once.")
_LONGEST_WAIT_S = 8.0  # of an answer for the actions to be settled
_POLL_S = 0.02
_NO_CACHE = {"cache-control": "no-cache"}
_PACKED = Middleware(GZipMiddleware, compresslevel=9)
"""For the form's page, which must not exceed 20 KB; other answers are packed by the server, at level 5."""
Endpoint = Callable[[Request], Awaitable[Response]]


def routes(store: Store, inbox: Inbox, devices: Devices) -> list[Route]:
    """The routes of the form. The server's guard lets requests in and names their device in a header."""
    form = _Form(store, inbox, devices)
    worker = _file("worker.js", "text/javascript; charset=utf-8", **{"service-worker-allowed": "/log"})
    api = f"/log/v{VERSION}"
    return [
        Route("/log", _answer_errors(form.page), methods=["GET"], middleware=[_PACKED]),
        Route("/log/worker.js", worker, methods=["GET"]),
        Route("/log/manifest.json", _file("manifest.json", "application/manifest+json"), methods=["GET"]),
        Route("/log/icon.svg", _file("icon.svg", "image/svg+xml"), methods=["GET"]),
        Route(f"{api}/bench", _answer_errors(form.state), methods=["GET"]),
        Route(f"{api}/actions", _answer_errors(form.actions), methods=["POST"]),
        Route(f"{api}/outcomes", _answer_errors(form.outcomes), methods=["POST"]),
    ]


def _answer_errors(endpoint: Endpoint) -> Endpoint:
    """The endpoint, with errors of the project turned into answers."""

    async def answer(request: Request) -> Response:
        try:
            return await endpoint(request)
        except Refused as error:
            return refusal(error)
        except ActionError as error:
            return refusal(error, 400, "not_understood")
        except StoreError as error:
            return refusal(error, 503, "not_writable")
        except duckdb.Error as error:
            failed = StoreError(
                f"the studio's file cannot be read ({why(error)})",
                "Nothing is lost: the phone keeps what it has.",
            )
            return refusal(failed, 503, "not_readable")

    return answer


def _file(name: str, media_type: str, **headers: str) -> Endpoint:
    """Endpoint of a file of the form."""

    async def file(_: Request) -> Response:
        return Response(phone_page.text_of(name), headers={**_NO_CACHE, **headers}, media_type=media_type)

    return _answer_errors(file)


class _Form:
    """Endpoints of the form on a store, an inbox and the paired devices."""

    def __init__(self, store: Store, inbox: Inbox, devices: Devices) -> None:
        self._store, self._inbox, self._devices = store, inbox, devices

    def _device(self, request: Request) -> Device | None:
        """The device that sent a request; None for whoever sits at this machine."""
        name = request.headers.get(DEVICE_HEADER, "")
        device = self._devices.of_name(name)
        if device is None and name != LOCAL_DEVICE:
            raise Refused(
                401,
                "not_paired",
                "this device is not paired with the studio",
                "Ask the principal for a code, and open /pair with it.",
            )
        return device

    async def page(self, request: Request) -> Response:
        device = self._device(request)
        state = await run_in_threadpool(_bench, self._store, None, device, brief=True)
        policy = {"content-security-policy": phone_page.page().policy}
        return HTMLResponse(phone_page.html(state), headers={**_NO_CACHE, **policy})

    async def state(self, request: Request) -> Response:
        person = request.query_params.get("person") or None
        everyone = request.query_params.get("everyone") == "yes"
        device = self._device(request)
        return _json(await run_in_threadpool(_bench, self._store, person, device, everyone=everyone))

    async def actions(self, request: Request) -> Response:
        body = await json_of(request, _LARGEST_BYTES, _TOO_LARGE)
        receipt = await run_in_threadpool(self._inbox.receive, body, device=self._device(request))
        unread = [{"action": name, "what": error.what, "mend": error.mend} for name, error in receipt.unread]
        return _json(
            {
                "version": VERSION,
                "clock": _now_ms(),
                "clock_off_s": round(receipt.clock_off, 3),
                "received": receipt.received,
                "unread": unread,
            }
        )

    async def outcomes(self, request: Request) -> Response:
        """Answer once all actions are settled, something stands in the way, or the time is over."""
        body = await json_of(request, _LARGEST_BYTES, _TOO_LARGE)
        names = body.get("actions") if isinstance(body, dict) else None
        if (
            not isinstance(names, list)
            or len(names) > MOST_ACTIONS
            or not all(isinstance(name, str) for name in names)
        ):
            raise ActionError(
                "this does not name actions",
                f"Send a JSON object with actions, a list of at most {MOST_ACTIONS} UUIDs.",
            )
        inbox, deadline = self._inbox, time.monotonic() + _LONGEST_WAIT_S
        while True:
            settled = inbox.settled
            outcomes, missing = await run_in_threadpool(inbox.outcomes, list(dict.fromkeys(names)))
            trouble = inbox.trouble or await run_in_threadpool(inbox.aside, names)
            if len(outcomes) + len(missing) >= len(set(names)) or trouble or time.monotonic() > deadline:
                break
            while settled == inbox.settled and not inbox.trouble and time.monotonic() < deadline:
                await asyncio.sleep(_POLL_S)
        return _json(
            {
                "version": VERSION,
                "clock": _now_ms(),
                "outcomes": [_as_version_1(outcome) for outcome in outcomes],
                "missing": missing,
                "trouble": None if trouble is None else {"what": trouble.what, "mend": trouble.mend},
            }
        )


def _as_version_1(outcome: dict[str, Any]) -> dict[str, Any]:
    """An outcome for pages of version 1: `saved` where it waits for the principal or was left out.

    To them `saved` means that the phone lets go of the action and shows the stored entry and the remark. A
    refused action would stay on the phone for good, to be mended by somebody who cannot.
    """
    if outcome["outcome"] in ("held back", "left out"):
        return {**outcome, "outcome": "saved", "held_back": True}
    return outcome


def _bench(
    store: Store, person: str | None, device: Device | None, *, everyone: bool = False, brief: bool = False
) -> dict[str, Any]:
    """State for a device: of a person who logs only their own, without titles for a shared one."""
    logs = device is not None and device.role == "logs"
    own = device.person if device and logs else None
    with store.reading() as con:
        state = bench(
            con,
            own if own and not brief else person,
            everyone=everyone and not own,
            brief=brief,
            titles=not (logs and not own),
        )
    if device and device.person:
        state["device"] = {"person": device.person} | ({"alone": True} if own else {})
    elif logs:
        state["device"] = {"shared": True}
    if own:
        state["people"] = [own]
    return state


def _json(content: dict[str, Any]) -> Response:
    """JSON answer; `JSONResponse` fails on a lone surrogate that a phone sent."""
    return Response(
        json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode(errors="replace"),
        headers=NOT_KEPT,
        media_type="application/json",
    )


def _now_ms() -> int:
    return int(time.time() * 1000)
