"""What a request brings is JSON, so large and no larger, and comes within some seconds."""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from starlette.requests import Request

from ingest import http_json
from ingest.http_json import Refused, csp_hash, json_of, refusal


def request(body: bytes, kind: str = "application/json", stalls: bool = False) -> Request:
    async def receive() -> dict[str, Any]:
        if stalls:
            await asyncio.sleep(60)
        return {"type": "http.request", "body": body, "more_body": False}

    return Request({"type": "http", "method": "POST", "headers": [(b"content-type", kind.encode())]}, receive)


def read(item: Request) -> object:
    with ThreadPoolExecutor(1) as pool:  # the browser of other tests has the loop of this thread
        return pool.submit(asyncio.run, json_of(item, 50, ("too much", "Send less."))).result()


def test_json_is_read() -> None:
    assert read(request(b'{"a": [1, "\xc3\xbc"]}', "application/json; charset=utf-8")) == {"a": [1, "ü"]}


@pytest.mark.parametrize(
    ("item", "status"),
    [
        (request(b"{}", "text/plain"), 415),
        (request(b"{}", ""), 415),
        (request(b"{"), 400),
        (request(b"\xff"), 400),
        (request(b"[" * 50), 400),
        (request(b"x" * 51), 413),
    ],
)
def test_what_is_not_is_refused_with_the_mend(item: Request, status: int) -> None:
    with pytest.raises(Refused) as caught:
        read(item)
    answer = refusal(caught.value)
    said = json.loads(bytes(answer.body))["error"]
    assert (
        answer.status_code == status
        and said["what"]
        and said["mend"]
        and answer.headers["cache-control"] == "no-store"
    )


def test_what_never_comes_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(http_json, "_PATIENCE_S", 0.05)
    with pytest.raises(Refused) as caught:
        read(request(b"{}", stalls=True))
    assert caught.value.status == 408


def test_a_script_is_named_by_its_digest_as_the_standard_names_it() -> None:
    """W3C, Content Security Policy Level 2, section 7.17.1: the script `alert('Hello, world.');`."""
    assert csp_hash(b"alert('Hello, world.');") == "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
