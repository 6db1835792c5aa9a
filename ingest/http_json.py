"""JSON requests of the product's own pages, limited in size and time, and their refusals."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import json
from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from ingest.errors import BenchHoursError

VERSION = 1
_PATIENCE_S = 30.0
NOT_KEPT = {"cache-control": "no-store"}


def csp_hash(content: bytes) -> str:
    """The name by which a content security policy lets a style or script inside a page run (CSP level 3,
    hash-source).
    """
    return f"'sha256-{base64.b64encode(hashlib.sha256(content).digest()).decode()}'"


class Refused(BenchHoursError):
    """A request that is not answered: HTTP status, a code for machines, seconds to wait (0: no matter)."""

    def __init__(self, status: int, code: str, what: str, mend: str, wait_s: int = 0) -> None:
        self.status, self.code, self.wait_s = status, code, wait_s
        super().__init__(what, mend)


def refusal(
    error: BenchHoursError, status: int = 500, code: str = "failed", *, heads: Mapping[str, str] = NOT_KEPT
) -> Response:
    """The answer that says why not; a `Refused` brings its own status and code."""
    wait_s = 0
    if isinstance(error, Refused):
        status, code, wait_s = error.status, error.code, error.wait_s
    content = {"version": VERSION, "error": {"code": code, "what": error.what, "mend": error.mend}}
    return Response(
        json.dumps(content),
        status,
        {**heads, **({"retry-after": str(wait_s)} if wait_s else {})},
        "application/json",
    )


async def json_of(request: Request, most: int, too_large: tuple[str, str]) -> object:
    """The JSON that a request brings; raises `Refused`.

    A page of another site cannot say this kind of content without being asked first, and so can send nothing
    unasked.

    Parameters
    ----------
    most : bytes that are taken.
    too_large : what is said where it is more, and the mend.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise Refused(
            415, "not_json", "this is not sent as JSON", "Send it with the content type application/json."
        )
    body = bytearray()
    try:
        async with asyncio.timeout(_PATIENCE_S):
            async for piece in request.stream():
                body += piece
                if len(body) > most:
                    raise Refused(413, "too_large", *too_large)
    except TimeoutError as error:
        raise Refused(408, "too_slow", "this came too slowly", "Nothing is lost: send it again.") from error
    try:
        content: object = json.loads(bytes(body))
    except (ValueError, RecursionError) as error:
        raise Refused(400, "not_json", "this is no JSON", "Send a JSON object in UTF-8.") from error
    return content
