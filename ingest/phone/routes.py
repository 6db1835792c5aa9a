"""The form and its interface over HTTP: routes that ride in the process of the pages, on the same store.

Described in DEVELOPERS.md. Answers are JSON with `version`; what is refused is `{"error": {"code", "what", "mend"}}`: the code for
machines, the rest for people.
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

from ingest.asked import NOT_KEPT, VERSION, Refused, json_of, refusal
from ingest.devices import HERE, TOLD, Device, Devices
from ingest.errors import StoreError, why
from ingest.phone import form
from ingest.phone.actions import MOST_ACTIONS, ActionError
from ingest.phone.bench import bench
from ingest.phone.inbox import Inbox
from ingest.store import Store

_LARGEST_BYTES = 1_000_000
_PATIENCE_S = 8.0  # how long an answer waits for what was sent to be settled
_LOOK_AGAIN_S = 0.02
_SHIPPED = {"cache-control": "no-cache"}
_PACKED = Middleware(GZipMiddleware, compresslevel=9)
"""Of the form's page, which must not be more than 20 KB; what else is sent is packed as everything of the server is, at level 5."""
Endpoint = Callable[[Request], Awaitable[Response]]


def routes(store: Store, inbox: Inbox, devices: Devices) -> list[Route]:
    """The routes of the form. Whoever reaches them was let in by the guard of the server, which says in a head which device it is."""

    def asking(request: Request) -> Device | None:
        """The device that asks; None for whoever sits at this machine."""
        told = request.headers.get(TOLD, "")
        device = devices.of_name(told)
        if device is None and told != HERE:
            raise Refused(401, "not_paired", "this device is not paired with the studio", "Ask the principal for a code, and open /pair with it.")
        return device

    def guarded(endpoint: Endpoint) -> Endpoint:
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
                failed = StoreError(f"the studio's file cannot be read ({why(error)})", "Nothing is lost: the phone keeps what it has.")
                return refusal(failed, 503, "not_readable")

        return answer

    async def page(request: Request) -> Response:
        device = asking(request)
        state = await run_in_threadpool(_bench, store, None, device, brief=True)
        return HTMLResponse(form.html(state), headers={**_SHIPPED, "content-security-policy": form.page().policy})

    async def state(request: Request) -> Response:
        person = request.query_params.get("person") or None
        everyone = request.query_params.get("everyone") == "yes"
        return _json(await run_in_threadpool(_bench, store, person, asking(request), everyone=everyone))

    async def actions(request: Request) -> Response:
        said = await json_of(request, _LARGEST_BYTES, ("this is more than 1 MB", "Send fewer actions at once."))
        receipt = await run_in_threadpool(inbox.receive, said, device=asking(request))
        unread = [{"action": name, "what": error.what, "mend": error.mend} for name, error in receipt.unread]
        return _json({"version": VERSION, "clock": _now_ms(), "clock_off_s": round(receipt.clock_off, 3), "received": receipt.received, "unread": unread})

    async def outcomes(request: Request) -> Response:
        said = await json_of(request, _LARGEST_BYTES, ("this is more than 1 MB", "Send fewer actions at once."))
        asked = said.get("actions") if isinstance(said, dict) else None
        if not isinstance(asked, list) or len(asked) > MOST_ACTIONS or not all(isinstance(one, str) for one in asked):
            raise ActionError("this does not name actions", f"Send a JSON object with actions, a list of at most {MOST_ACTIONS} UUIDs.")
        patience = time.monotonic() + _PATIENCE_S
        while True:
            settled = inbox.settled
            found, missing = await run_in_threadpool(inbox.outcomes, list(dict.fromkeys(asked)))
            trouble = inbox.trouble or await run_in_threadpool(inbox.aside, asked)
            if len(found) + len(missing) >= len(set(asked)) or trouble or time.monotonic() > patience:
                break
            while settled == inbox.settled and not inbox.trouble and time.monotonic() < patience:
                await asyncio.sleep(_LOOK_AGAIN_S)
        found = [_as_version_1(one) for one in found]
        waits = None if trouble is None else {"what": trouble.what, "mend": trouble.mend}
        return _json({"version": VERSION, "clock": _now_ms(), "outcomes": found, "missing": missing, "trouble": waits})

    def shipped(name: str, kind: str, **headers: str) -> Endpoint:
        async def file(_: Request) -> Response:
            return Response(form.text_of(name), headers={**_SHIPPED, **headers}, media_type=kind)

        return guarded(file)

    return [
        Route("/log", guarded(page), methods=["GET"], middleware=[_PACKED]),
        Route("/log/worker.js", shipped("worker.js", "text/javascript; charset=utf-8", **{"service-worker-allowed": "/log"}), methods=["GET"]),
        Route("/log/manifest.json", shipped("manifest.json", "application/manifest+json"), methods=["GET"]),
        Route("/log/icon.svg", shipped("icon.svg", "image/svg+xml"), methods=["GET"]),
        Route(f"/log/v{VERSION}/bench", guarded(state), methods=["GET"]),
        Route(f"/log/v{VERSION}/actions", guarded(actions), methods=["POST"]),
        Route(f"/log/v{VERSION}/outcomes", guarded(outcomes), methods=["POST"]),
    ]


def _as_version_1(told: dict[str, Any]) -> dict[str, Any]:
    """An outcome as any page of the form understands it: what waits for the principal, or was left out, is kept in the studio, and a remark says so.

    To a page of before these outcomes `saved` means just that: the phone lets go of it, shows the entry as the studio holds it, and the remark beside it.
    Told as refused it would stay on the phone for good, to be mended by somebody who cannot.
    """
    return {**told, "outcome": "saved", "held_back": True} if told["outcome"] in ("held back", "left out") else told


def _bench(store: Store, person: str | None, device: Device | None, *, everyone: bool = False, brief: bool = False) -> dict[str, Any]:
    """What the form shows to a device: to one of a person who logs that person's own only, to one that several share no titles."""
    logs = device is not None and device.role == "logs"
    own = device.person if device and logs else None
    with store.reading() as con:
        state = bench(con, own if own and not brief else person, everyone=everyone and not own, brief=brief, titles=not (logs and not own))
    if device and device.person:
        state["device"] = {"person": device.person} | ({"alone": True} if own else {})
    elif logs:
        state["device"] = {"shared": True}
    if own:
        state["people"] = [own]
    return state


def _json(said: dict[str, Any]) -> Response:
    """Not the library's `JSONResponse`, which fails on half a letter that a phone sent and that is told again."""
    return Response(json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode(errors="replace"), headers=NOT_KEPT, media_type="application/json")


def _now_ms() -> int:
    return int(time.time() * 1000)
