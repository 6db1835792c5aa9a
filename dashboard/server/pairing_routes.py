"""The routes that are open to all: where a device is paired, and what it needs to trust the server."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from dashboard.server import public_pages
from dashboard.server.access_control import AccessControl, client_key_of
from dashboard.server.certificates import Authority
from ingest.devices import DEVICE_HEADER, Device
from ingest.errors import BenchHoursError
from ingest.http_json import NOT_KEPT, VERSION, Refused, json_of, refusal

_LARGEST_BYTES = 2_000
_OPENS = {"logs": "/log", "reviews": "/", "principal": "/"}


def routes(access: AccessControl, authority: Authority | None) -> list[Route]:
    """Pairing of a device, and the certificate of the studio’s own authority where it has one."""

    async def page(request: Request) -> Response:
        device = access.devices.of_name(request.headers.get(DEVICE_HEADER, ""))
        if not access.pairing_required:
            return public_pages.answer(public_pages.refusal(*_NO_PAIRING, of_the_form=False, status=404), 404)
        return public_pages.answer(public_pages.pair(f"{device.name} ({device.role})" if device else ""))

    async def leave(request: Request) -> Response:
        device = access.devices.of_name(request.headers.get(DEVICE_HEADER, ""))
        if device:
            await run_in_threadpool(access.devices.revoke, device.device)
            access.log_event("left", device.name)
        return Response(None, 204, {"set-cookie": access.cookie_header(""), **NOT_KEPT})

    async def pair(request: Request) -> Response:
        address = client_key_of(dict(request.scope))
        try:
            code = await _code(request, access)
            _take_attempt(access, address)
            device, secret = await run_in_threadpool(
                _pair_device, access, code, request.headers.get(DEVICE_HEADER) or None, address
            )
        except Refused as error:
            return refusal(error)
        body = {
            "version": VERSION,
            "name": device.name,
            "role": device.role,
            "person": device.person,
            "opens": _OPENS[device.role],
        }
        return JSONResponse(body, headers={"set-cookie": access.cookie_header(secret), **NOT_KEPT})

    async def steps(_: Request) -> Response:
        return (
            public_pages.answer(public_pages.certificate(authority.fingerprint))
            if authority
            else _no_authority()
        )

    async def certificate(_: Request) -> Response:
        if authority is None:
            return _no_authority()
        return Response(
            authority.der,
            200,
            {"content-disposition": 'attachment; filename="bench-hours.crt"'},
            "application/x-x509-ca-cert",
        )

    return [
        Route("/pair", page, methods=["GET"]),
        Route("/pair", pair, methods=["POST"]),
        Route("/pair/leave", leave, methods=["POST"]),
        Route("/certificate", steps, methods=["GET"]),
        Route("/certificate.crt", certificate, methods=["GET"]),
    ]


_NO_PAIRING = (
    "nothing is to be paired here",
    "Whoever sits at this machine is the principal; devices are paired where bench-hours serves phones.",
)


async def _code(request: Request, access: AccessControl) -> str:
    """The code that a request brings."""
    if not access.pairing_required:
        raise Refused(404, "not_needed", *_NO_PAIRING)
    body = await json_of(
        request,
        _LARGEST_BYTES,
        ("this is far too long for a code", "Type the code that the principal shows."),
    )
    code = body.get("code") if isinstance(body, dict) else None
    if not isinstance(code, str) or not code.strip():
        raise Refused(400, "not_understood", "this brings no code", "Type the code that the principal shows.")
    return code


def _take_attempt(access: AccessControl, address: str) -> None:
    """Take one of the attempts that are borne, before the code is looked at, so that many at once do not get
    past.
    """
    if wait_s := max(access.codes.wait_s(address), access.codes_of_all.wait_s("")):
        access.log_event("codes not looked at, after too many wrong ones", address)
        raise Refused(
            429, "wait", "too many codes were wrong", f"Wait {wait_s} s, then try once more.", wait_s
        )
    access.codes.record_failure(address)
    access.codes_of_all.record_failure("")


def _pair_device(access: AccessControl, code: str, before: str | None, address: str) -> tuple[Device, str]:
    try:
        pairing = access.devices.pair(code, in_place_of=before)
    except BenchHoursError as error:
        raise Refused(503, "not_writable", error.what, "Nothing is lost: try again in a moment.") from error
    if pairing is None:
        access.log_event("a code that was wrong, used already, or too old", address)
        raise Refused(
            403,
            "no_code",
            "this code is wrong, used already, or older than ten minutes",
            "See that it is typed right, or ask for another one.",
        )
    access.codes.refund(address)
    access.codes_of_all.refund("")
    access.log_event("paired", pairing[0].name)
    return pairing


def _no_authority() -> Response:
    return public_pages.answer(
        public_pages.refusal(
            "this server has no certificate of the studio's own",
            "Nothing has to be trusted for it.",
            of_the_form=False,
            status=404,
        ),
        404,
    )
