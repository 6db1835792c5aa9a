"""The routes that are open to all: where a device is paired, and what it needs to trust the server."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from dashboard import doorway
from dashboard.certificates import Authority
from dashboard.guard import Door, address_of
from ingest.asked import NOT_KEPT, VERSION, Refused, json_of, refusal
from ingest.devices import TOLD, Device
from ingest.errors import BenchHoursError

_LARGEST_BYTES = 2_000
_OPENS = {"logs": "/log", "reviews": "/", "principal": "/"}


def routes(door: Door, authority: Authority | None) -> list[Route]:
    """Where a device is paired, and the certificate of the studio's own authority where it has one."""

    async def page(request: Request) -> Response:
        device = door.devices.of_name(request.headers.get(TOLD, ""))
        if not door.shut:
            return doorway.answer(doorway.refusal(*_NOT_SHUT, of_the_form=False, status=404), 404)
        return doorway.answer(doorway.pair(f"{device.name} ({device.role})" if device else ""))

    async def leave(request: Request) -> Response:
        device = door.devices.of_name(request.headers.get(TOLD, ""))
        if device:
            await run_in_threadpool(door.devices.revoke, device.device)
            door.note("left", device.name)
        return Response(None, 204, {"set-cookie": door.cookie_head(""), **NOT_KEPT})

    async def pair(request: Request) -> Response:
        address = address_of(dict(request.scope))
        try:
            code = await _code(request, door)
            _bear(door, address)
            device, secret = await run_in_threadpool(_use, door, code, request.headers.get(TOLD) or None, address)
        except Refused as error:
            return refusal(error)
        said = {"version": VERSION, "name": device.name, "role": device.role, "person": device.person, "opens": _OPENS[device.role]}
        return JSONResponse(said, headers={"set-cookie": door.cookie_head(secret), **NOT_KEPT})

    async def steps(_: Request) -> Response:
        return doorway.answer(doorway.certificate(authority.fingerprint)) if authority else _no_authority()

    async def certificate(_: Request) -> Response:
        if authority is None:
            return _no_authority()
        return Response(authority.der, 200, {"content-disposition": 'attachment; filename="bench-hours.crt"'}, "application/x-x509-ca-cert")

    return [
        Route("/pair", page, methods=["GET"]),
        Route("/pair", pair, methods=["POST"]),
        Route("/pair/leave", leave, methods=["POST"]),
        Route("/certificate", steps, methods=["GET"]),
        Route("/certificate.crt", certificate, methods=["GET"]),
    ]


_NOT_SHUT = ("nothing is to be paired here", "Whoever sits at this machine is the principal; devices are paired where bench-hours serves phones.")


async def _code(request: Request, door: Door) -> str:
    """The code that a request brings."""
    if not door.shut:
        raise Refused(404, "not_needed", *_NOT_SHUT)
    said = await json_of(request, _LARGEST_BYTES, ("this is far too long for a code", "Type the code that the principal shows."))
    code = said.get("code") if isinstance(said, dict) else None
    if not isinstance(code, str) or not code.strip():
        raise Refused(400, "not_understood", "this brings no code", "Type the code that the principal shows.")
    return code


def _bear(door: Door, address: str) -> None:
    """Take one of the attempts that are borne, before the code is looked at, so that many at once do not get past."""
    if wait_s := max(door.codes.wait_s(address), door.codes_of_all.wait_s("")):
        door.note("codes not looked at, after too many wrong ones", address)
        raise Refused(429, "wait", "too many codes were wrong", f"Wait {wait_s} s, then try once more.", wait_s)
    door.codes.failed(address)
    door.codes_of_all.failed("")


def _use(door: Door, code: str, before: str | None, address: str) -> tuple[Device, str]:
    try:
        found = door.devices.pair(code, in_place_of=before)
    except BenchHoursError as error:
        raise Refused(503, "not_writable", error.what, "Nothing is lost: try again in a moment.") from error
    if found is None:
        door.note("a code that was wrong, used already, or too old", address)
        raise Refused(403, "no_code", "this code is wrong, used already, or older than ten minutes", "See that it is typed right, or ask for another one.")
    door.codes.forgive(address)
    door.codes_of_all.forgive("")
    door.note("paired", found[0].name)
    return found


def _no_authority() -> Response:
    return doorway.answer(
        doorway.refusal("this server has no certificate of the studio's own", "Nothing has to be trusted for it.", of_the_form=False, status=404), 404
    )
