"""Every way in, asked for by whoever may not come in: refused, and nothing of the studio is told."""

from __future__ import annotations

import asyncio
import http.client
import itertools
import json
import re
import socket
import statistics
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.datastructures import Headers
from starlette.routing import Mount, Route
from streamlit.web.server.starlette import App
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.typing import Origin

from dashboard import roles
from dashboard.server.guard import REVOKED_CODE, _scope_for_pages
from dashboard.server.listener import MAX_CONNECTIONS, MAX_PER_CLIENT, listening
from dashboard.server.rate_limit import TokenBucket, client_key
from ingest.devices import DEVICE_HEADER, Devices
from ingest.store import Store
from ingest.tables.audit_log import utc_now
from tests.conftest import bring_into
from tests.phones import PHONE
from tests.served import Server, free_port

SECRETS_OF_THE_STUDIO = ("Ferry", "24-001", "Ilse", "Maud", "Bankside", "retouching", "4321")
OBJECTS = (
    "object,title,owner,owner_address\n24-001,Ferry in snow,Orla Bankside,4 Mill Lane\n24-002,Weir at"
    " dusk,,\n"
)
LOG = (
    "object,phase,technique,person,date,hours,note\n24-001,,retouching,Ilse,2026-05-20,2,Bankside"
    " asked\n24-001,,facing,Maud,2026-05-18,1,\n"
)
ESTIMATE = (
    "object,version,made_on,approved_on,price,currency,phase,technique,hours\n"
    "24-001,1,2026-05-01,2026-05-02,4321,EUR,,retouching,3\n"
)


@dataclass
class Answer:
    status: int
    heads: dict[str, str]
    body: bytes
    seconds: float = 0.0

    def tells_nothing(self) -> None:
        told = self.body.decode(errors="replace") + str(self.heads)
        assert not [secret for secret in SECRETS_OF_THE_STUDIO if secret in told], told
        assert "set-cookie" not in self.heads and "access-control-allow-origin" not in self.heads
        assert "server" not in self.heads and "no-store" in self.heads["cache-control"]


@dataclass
class Studio(Server):
    """A studio that serves phones, and devices of every kind."""

    cookies: dict[str, str] = field(default_factory=dict)

    def __init__(self, db: Path, *options: str, **how: Any) -> None:
        super().__init__(db, *options, **how)
        self.cookies = {}

    @property
    def host(self) -> str:
        return f"localhost:{self.port}"

    @property
    def cookie(self) -> str:
        return f"bench-hours-{self.port}"

    def ask(self, method: str, path: str, body: bytes | None = None, **heads: str) -> Answer:
        heads = {name.replace("_", "-").lower(): value for name, value in heads.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        begun = time.perf_counter()
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in {"host": self.host, "origin": f"http://{self.host}", **heads}.items():
            if value:
                connection.putheader(name, value)
        if body is not None:
            connection.putheader("content-length", str(len(body)))
        connection.endheaders(body)
        got = connection.getresponse()
        answer = Answer(
            got.status,
            {name.lower(): value for name, value in got.getheaders()},
            got.read(),
            time.perf_counter() - begun,
        )
        connection.close()
        return answer

    def pair(self, code: str, **heads: str) -> Answer:
        return self.ask(
            "POST", "/pair", json.dumps({"code": code}).encode(), content_type="application/json", **heads
        )

    def paired(self, role: str, *more: str) -> str:
        """The cookie of a new device."""
        answer = self.pair(self.code(role, *more))
        assert answer.status == 200, answer
        return answer.heads["set-cookie"].split(";")[0]

    async def websocket(self, heads: dict[str, str]) -> int:
        """How the websocket of the pages answers: 101, or the status by which it is refused."""
        heads = {"Origin": f"http://{self.host}", **heads}
        origin, host = heads.pop("Origin"), heads.pop("Host", None)
        try:
            # whatever Host is said, the connection goes to the same port
            async with connect(
                f"ws://{host or self.host}/_stcore/stream",
                host="127.0.0.1",
                port=self.port,
                origin=Origin(origin) if origin else None,
                additional_headers=heads,
            ):
                return 101
        except InvalidStatus as refused:
            return refused.response.status_code


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    folder = tmp_path_factory.mktemp("guarded")
    with Store(folder / "studio.duckdb") as store:
        for name, text in (("objects.csv", OBJECTS), ("log.csv", LOG), ("estimates.csv", ESTIMATE)):
            bring_into(store, folder, name, text)
        devices = Devices(store)
        old = devices.admit(role="principal", now=utc_now() - timedelta(minutes=11))
    opened = Studio(folder / "studio.duckdb", "--phones", "--plain", "--host", "127.0.0.1")
    opened.cookies |= {"old code": old, "used code": opened.code("principal")}
    assert opened.pair(opened.cookies["used code"]).status == 200
    for role in ("logs", "reviews", "principal"):
        opened.cookies[role] = opened.paired(
            role, *(("--person", "Ilse") if role == "logs" else ()), "--name", f"a {role} device"
        )
    opened.cookies["revoked"] = opened.paired("principal", "--name", "lost")
    opened.command("devices", "--revoke", "lost")
    yield opened
    opened.discard()


# --- the routes, as the server has them


def routes() -> list[tuple[str, str]]:
    """Method and path of every route of the server, each with something for its parameters, and the address
    of every page.
    """
    from dashboard.server import pairing_routes  # noqa: PLC0415
    from ingest.phone.routes import routes as of_the_form  # noqa: PLC0415

    nothing: Any = None  # whatever answers: nothing is asked here
    built = App(
        Path(roles.__file__).with_name("app.py"),
        routes=[*of_the_form(nothing, nothing, nothing), *pairing_routes.routes(nothing, nothing)],
    )._build_starlette_app()
    found = []
    for route in built.routes:
        if isinstance(route, Route):
            found += [
                (method, re.sub(r"\{[^}]*\}", "x", route.path)) for method in sorted(route.methods or ())
            ]
        elif isinstance(route, Mount):
            found += [("GET", f"{route.path}/"), ("GET", f"{route.path}/static/js/x.js")]
    return found + [("GET", f"/{name.replace('_', '-')}") for names in roles.PAGES.values() for name in names]


ROUTES = sorted(set(routes()))
OPEN = {"/pair", "/pair/leave", "/certificate", "/certificate.crt"}
CLOSED = ("/_stcore/agent", "/_stcore/metrics", "/auth", "/oauth2callback")


def by_itself(what: Coroutine[Any, Any, Any]) -> Any:
    """Run it in a loop and a thread of its own: the browser of other tests has the loop of this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, what).result()


def body_of(method: str) -> bytes | None:
    return (
        json.dumps({"phone": PHONE, "clock": 1, "actions": []}).encode()
        if method in ("POST", "PUT")
        else None
    )


def ask_route(studio: Studio, method: str, path: str, **heads: str) -> Answer:
    """A route asked as its method is meant."""
    return studio.ask(method, path, body_of(method), content_type="application/json", **heads)


def who_may_not(studio: Studio) -> dict[str, dict[str, str]]:
    good = studio.cookies["principal"]
    return {
        "no cookie": {},
        "revoked": {"cookie": studio.cookies["revoked"]},
        "foreign": {"cookie": f"{studio.cookie}={'ab' * 16}"},
        "tampered": {"cookie": good[:-1] + ("0" if good[-1] != "0" else "1")},
        "twice": {"cookie": f"{good}; {studio.cookies['logs']}"},
        "under another name": {"cookie": good.replace("bench-hours", "session")},
        "as a head of its own": {"x-bench-hours-device": "here"},
        "used code": {"cookie": f"{studio.cookie}={studio.cookies['used code']}"},
        "old code": {"cookie": f"{studio.cookie}={studio.cookies['old code']}"},
    }


WHO = (
    "no cookie",
    "revoked",
    "foreign",
    "tampered",
    "twice",
    "under another name",
    "as a head of its own",
    "used code",
    "old code",
)


def test_the_routes_are_those_that_are_known_here() -> None:
    """A route that a newer library brings is looked at before it is served."""
    paths = {path for _, path in ROUTES}
    assert {
        "/log",
        "/log/v1/actions",
        "/log/v1/bench",
        "/pair",
        "/certificate",
        "/_stcore/health",
        "/media/x",
        "/_stcore/upload_file/x/x",
        "/who-may-come-in",
    } <= paths
    known = (
        "/log",
        "/pauses",
        "/pair",
        "/certificate",
        "/_stcore/",
        "/media/",
        "/component/",
        "/static/",
        *CLOSED,
    )
    assert [
        path
        for path in paths
        if path != "/"
        and not path.startswith(known)
        and path.strip("/").replace("-", "_") not in roles.PAGES["principal"]
    ] == []


@pytest.mark.parametrize("who", WHO)
def test_nobody_without_a_paired_device_gets_anything_on_any_route(studio: Studio, who: str) -> None:
    for method, path in ROUTES:
        if path in OPEN:
            continue
        answer = ask_route(studio, method, path, accept="text/html", **who_may_not(studio)[who])
        assert answer.status == (405 if method == "PATCH" else 429 if answer.status == 429 else 401), (
            method,
            path,
            answer,
        )
        answer.tells_nothing()


@pytest.mark.parametrize(
    "wrong",
    [
        {"host": "elsewhere.example"},
        {"host": "localhost.elsewhere.example:80"},
        {"host": ""},
        {"host": "user@localhost"},
        {"host": "["},
    ],
)
def test_nobody_comes_in_by_another_name_of_the_server_however_well_paired(
    studio: Studio, wrong: dict[str, str]
) -> None:
    for method, path in ROUTES:
        heads = {"origin": f"http://{wrong['host']}" if wrong["host"] else "", **wrong}
        # without a host the library refuses at once and closes: a body still on its way could cut off its
        # answer
        body = body_of(method) if wrong["host"] else None
        answer = studio.ask(
            method, path, body, content_type="application/json", cookie=studio.cookies["principal"], **heads
        )
        assert answer.status == 421 or (wrong["host"] == "" and answer.status == 400), (method, path, answer)
        if answer.status == 421:
            answer.tells_nothing()


FOREIGN = (
    {"origin": "https://elsewhere.example"},
    {"origin": "null"},
    {"origin": ""},
    {"origin": "https://localhost:1"},
    {"sec_fetch_site": "cross-site"},
    {"sec_fetch_site": "same-site"},
)


@pytest.mark.parametrize("wrong", FOREIGN)
def test_no_page_of_another_site_makes_anything_happen(studio: Studio, wrong: dict[str, str]) -> None:
    for method, path in ROUTES:
        if method in ("GET", "HEAD"):
            continue
        answer = ask_route(studio, method, path, cookie=studio.cookies["principal"], **wrong)
        assert answer.status == (405 if method == "PATCH" else 403), (method, path, answer)
        answer.tells_nothing()


def test_no_page_of_another_site_gets_a_picture_a_script_or_a_frame_from_here(studio: Studio) -> None:
    for method, path in ROUTES:
        if method != "GET" or path in OPEN:
            continue
        for mode in ("no-cors", "cors", "websocket"):
            answer = studio.ask(
                "GET",
                path,
                cookie=studio.cookies["principal"],
                sec_fetch_site="cross-site",
                sec_fetch_mode=mode,
                origin="",
            )
            assert answer.status == 403
            answer.tells_nothing()
    shown = studio.ask(
        "GET",
        "/",
        cookie=studio.cookies["principal"],
        accept="text/html",
        sec_fetch_site="cross-site",
        sec_fetch_mode="navigate",
        origin="",
    )
    assert shown.status == 200 and "frame-ancestors 'none'" in shown.heads["content-security-policy"]


@pytest.mark.parametrize("role", ["logs", "reviews"])
def test_a_role_opens_what_is_its_own_and_nothing_else(studio: Studio, role: str) -> None:
    for method, path in ROUTES:
        if path in OPEN or method == "PATCH":
            continue
        one_s_own = path == "/pauses" and method in ("GET", "HEAD")
        of_the_form = path == "/log" or path.startswith("/log/") or one_s_own
        reviewed = (
            path in ("/", "/where-the-hours-went", "/one-work", "/hours-worth-a-pause", "/guide")
            or one_s_own
            or path.startswith(("/_stcore/", "/static/", "/media/", "/component/"))
        )
        own = of_the_form if role == "logs" else reviewed and method in ("GET", "HEAD")
        answer = ask_route(studio, method, path, accept="*/*", cookie=studio.cookies[role])
        if not own:
            assert answer.status == 403, (method, path, answer)
            answer.tells_nothing()
        elif path.startswith(CLOSED):
            assert answer.status == 404, (method, path)
        elif path == "/pauses":  # the reviewing device here is nobody's in particular
            assert answer.status == (200 if role == "logs" else 404) and (b"Ilse" in answer.body) is (
                role == "logs" and method == "GET"
            )
        else:
            assert answer.status not in (401, 403, 421, 429), (method, path, answer)


def test_a_path_that_nobody_thought_of_opens_to_the_principal_alone() -> None:
    for role, opened in (("logs", False), ("reviews", False), ("principal", True)):
        assert roles.opens(role, "http", "GET", "/letter/24-001.pdf") is opened  # type: ignore[arg-type]


def test_what_the_library_offers_besides_is_closed_to_the_principal_too(studio: Studio) -> None:
    for method, path in ROUTES:
        if path.startswith(CLOSED) and method != "PATCH":
            assert (
                studio.ask(method, path, body_of(method), cookie=studio.cookies["principal"]).status == 404
            ), (method, path)


def test_who_is_refused_learns_nothing_from_how_long_it_takes(studio: Studio) -> None:
    """Of one class: no cookie, one that is foreign, and one that is nearly right take as long as each other,
    within what a network blurs.
    """
    who = who_may_not(studio)
    taken: dict[str, list[float]] = {name: [] for name in ("no cookie", "revoked", "foreign", "tampered")}
    for _, name in itertools.product(range(25), taken):
        taken[name].append(studio.ask("GET", "/log/v1/bench", None, **who[name]).seconds)
    medians = {name: statistics.median(seconds) for name, seconds in taken.items()}
    assert max(medians.values()) - min(medians.values()) < 0.01, medians


# --- the websocket


def test_the_websocket_of_the_pages_opens_only_to_who_sees_pages(studio: Studio) -> None:
    async def asked() -> dict[str, int]:
        found = {name: await studio.websocket(heads) for name, heads in who_may_not(studio).items()}
        good = {"cookie": studio.cookies["principal"]}
        found |= {
            f"origin {origin}": await studio.websocket({**good, "Origin": origin})
            for origin in ("https://elsewhere.example", "null", "", f"https://{studio.host}")
        }
        found["host"] = await studio.websocket(
            {**good, "Host": "elsewhere.example", "Origin": "http://elsewhere.example"}
        )
        for role in ("logs", "reviews", "principal"):
            found[role] = await studio.websocket({"cookie": studio.cookies[role]})
        return found

    found = by_itself(asked())
    assert (found.pop("reviews"), found.pop("principal")) == (101, 101)
    assert set(found.values()) == {403}, found


def test_what_a_device_has_open_is_cut_within_five_seconds_of_its_being_sent_away(studio: Studio) -> None:
    cookie = studio.paired("principal", "--name", "borrowed")

    async def opened() -> tuple[int | None, float]:
        async with connect(
            f"ws://{studio.host}/_stcore/stream",
            origin=Origin(f"http://{studio.host}"),
            additional_headers={"cookie": cookie},
        ) as line:
            await asyncio.sleep(1)
            await asyncio.to_thread(studio.command, "devices", "--revoke", "borrowed")
            begun = time.monotonic()  # it is sent away when that is said; a command takes its time to begin
            try:
                while True:
                    await asyncio.wait_for(line.recv(), 10)
            except ConnectionClosed as closed:
                return closed.rcvd.code if closed.rcvd else None, time.monotonic() - begun

    code, seconds = by_itself(opened())
    assert code == REVOKED_CODE and seconds < 5, seconds
    assert studio.ask("GET", "/", cookie=cookie, accept="text/html").status == 401


# --- pairing


def test_a_code_is_good_once_whoever_comes_second_hears_what_anybody_hears(studio: Studio) -> None:
    never, used, old = (
        studio.pair("AAAAA-AAAAA"),
        studio.pair(studio.cookies["used code"]),
        studio.pair(studio.cookies["old code"]),
    )
    assert [item.status for item in (never, used, old)] == [403] * 3 and never.body == used.body == old.body
    for item in (never, used, old):
        item.tells_nothing()


def test_a_secret_comes_in_a_cookie_that_no_script_and_no_other_site_can_use(studio: Studio) -> None:
    answer = studio.pair(studio.code("logs"))
    cookie, *about = answer.heads["set-cookie"].split("; ")
    about = [item.lower() for item in about]  # RFC 6265bis: in whatever case
    assert {"httponly", "samesite=lax", "path=/"} <= set(about) and not any(
        item.startswith("domain") for item in about
    )
    assert cookie.partition("=")[2] not in answer.body.decode() and len(cookie.partition("=")[2]) == 32


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b"[]", "application/json", 400),
        (b'{"code": 1}', "application/json", 400),
        (b'{"code": "AAAAA-AAAAA"}', "text/plain", 415),
        (b"x" * 3000, "application/json", 413),
    ],
)
def test_what_is_no_code_is_refused_in_words(studio: Studio, body: bytes, kind: str, status: int) -> None:
    answer = studio.ask("POST", "/pair", body, content_type=kind)
    assert answer.status == status and json.loads(answer.body)["error"]["mend"]


def test_a_thousand_guesses_are_slowed_and_noted(tmp_path: Path) -> None:
    Store(tmp_path / "studio.duckdb").close()
    studio = Studio(tmp_path / "studio.duckdb", "--phones", "--plain", "--host", "127.0.0.1")
    try:
        waiting = studio.code("principal")
        begun = time.monotonic()
        answers = [studio.pair(f"AAAAA-A{number:04}") for number in range(1000)]
        borne = 10 + (time.monotonic() - begun) / 6 + 1
        looked_at = sum(answer.status == 403 for answer in answers)
        assert 10 <= looked_at <= borne and {answer.status for answer in answers} == {403, 429}
        assert int(answers[-1].heads["retry-after"]) >= 1
        # also the right one waits: who guesses does not learn that it was right
        assert studio.pair(waiting).status == 429
        guesses = [
            studio.ask("GET", "/log/v1/bench", cookie=f"{studio.cookie}={number:032x}").status
            for number in range(1000)
        ]
        assert 100 <= guesses.count(401) < 400 and guesses.count(429) > 500
        numbers: dict[str, int] = {}
        patience = time.monotonic() + 20
        while (
            numbers.get("strangers sent to wait", 0) + numbers.get("a device that is not known", 0) < 1000
            and time.monotonic() < patience
        ):
            told = studio.command("devices")  # what happened is written down every few seconds
            numbers = {
                what: int(times.replace(",", ""))
                for what, times in re.findall(r": ([^:\n]+?), 127\.0\.0\.1, ([\d,]+) times", told)
            }
    finally:
        studio.discard()
    assert numbers["a code that was wrong, used already, or too old"] == looked_at
    assert numbers["codes not looked at, after too many wrong ones"] == 1001 - looked_at
    assert numbers["a device that is not known"] + numbers["strangers sent to wait"] == 1000
    said = studio.said.read_text()
    assert (
        re.search(r"at the door, \d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC: codes not looked at", said)
        and waiting not in said
        and not re.search(r"[0-9a-f]{32}|[A-Z2-7]{5}-[A-Z2-7]{5}", said)
    )


def test_failures_are_forgiven_one_by_one_as_time_goes_by() -> None:
    now = 0.0
    patience = TokenBucket(capacity=3, interval_s=6, clock=lambda: now)
    for _ in range(3):
        assert patience.wait_s("a") == 0
        patience.record_failure("a")
    assert patience.wait_s("a") == 6 and patience.wait_s("b") == 0
    now = 5.0
    assert patience.wait_s("a") == 1
    now = 6.0
    assert patience.wait_s("a") == 0
    patience.record_failure("a")
    assert patience.wait_s("a") == 6
    patience.refund("a")
    assert patience.wait_s("a") == 0


def test_who_has_a_whole_network_of_addresses_guesses_as_one() -> None:
    """RFC 4291: a network of one household is a /64; RFC 4291 section 2.5.5.2: an address of IPv4 as IPv6
    shows it.
    """
    assert (
        client_key("2001:db8:1:2::1") == client_key("2001:db8:1:2:ffff::9") != client_key("2001:db8:1:3::1")
    )
    assert client_key("::ffff:192.0.2.7") == client_key("192.0.2.7") == "192.0.2.7"


def test_a_device_that_leaves_is_sent_away_and_nobody_else_is(studio: Studio) -> None:
    cookie = studio.paired("reviews", "--name", "leaves")
    assert b"paired already, as leaves (reviews)" in studio.ask("GET", "/pair", cookie=cookie).body
    assert studio.ask("POST", "/pair/leave", cookie=cookie, origin="https://elsewhere.example").status == 403
    answer = studio.ask("POST", "/pair/leave", cookie=cookie)
    assert answer.status == 204 and "Max-Age=0" in answer.heads["set-cookie"]
    assert (
        studio.ask("GET", "/", cookie=cookie).status == 401
        and studio.ask("GET", "/", cookie=studio.cookies["reviews"]).status == 200
    )
    assert studio.ask("POST", "/pair/leave").status == 204  # nobody, who leaves, takes nobody along


# --- what is sent by hand


def by_hand(studio: Studio, text: str, seconds: float = 5) -> str:
    """What a server answers to bytes that no library would send."""
    with socket.create_connection(("127.0.0.1", studio.port), timeout=seconds) as line:
        line.sendall(text.encode("latin-1"))
        told = b""
        try:
            while piece := line.recv(65536):
                told += piece
                if b"\r\n\r\n" in told:
                    break
        except (TimeoutError, ConnectionError):
            pass
    return told.decode("latin-1")


def test_heads_that_come_twice_are_refused(studio: Studio) -> None:
    good, host = studio.cookies["principal"], studio.host
    for heads in (
        f"Host: {host}\r\nHost: elsewhere.example\r\nCookie: {good}",
        f"Host: elsewhere.example\r\nHost: {host}\r\nCookie: {good}",
        f"Cookie: {good}",
        f"Host: {host}\r\nCookie: {good}\r\nCookie: {good[:-1]}x",
    ):
        answer = by_hand(studio, f"GET /log/v1/bench HTTP/1.1\r\n{heads}\r\n\r\n")
        assert re.match(r"HTTP/1.1 4\d\d ", answer), answer
    for origins in (
        f"Origin: http://{host}\r\nOrigin: https://elsewhere.example",
        f"Origin: https://elsewhere.example\r\nOrigin: http://{host}",
    ):
        answer = by_hand(
            studio,
            f"POST /log/v1/outcomes HTTP/1.1\r\nHost: {host}\r\nCookie: {good}\r\n{origins}\r\nContent-Type:"
            " application/json\r\nContent-Length: 2\r\n\r\n{}",
        )
        assert answer.startswith("HTTP/1.1 403 "), answer


def test_a_message_that_could_be_read_as_two_is_refused(studio: Studio) -> None:
    """RFC 9112, section 6.3: two lengths that differ are an error; a length beside chunks is not heeded, and
    nothing behind the message is answered as another's.
    """
    start = f"POST /pair HTTP/1.1\r\nHost: {studio.host}\r\nContent-Type: application/json\r\n"
    assert by_hand(studio, f"{start}Content-Length: 2\r\nContent-Length: 40\r\n\r\n{{}}").startswith(
        "HTTP/1.1 400 "
    )
    assert by_hand(studio, f"{start}Content-Length: x\r\n\r\n{{}}").startswith("HTTP/1.1 400 ")
    both = by_hand(
        studio,
        f"{start}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /log HTTP/1.1\r\nHost:"
        f" {studio.host}\r\n\r\n",
    )
    assert re.match(r"HTTP/1.1 4\d\d ", both) and "Ferry" not in both


def test_ways_to_ask_that_nobody_needs_are_refused(studio: Studio) -> None:
    for method in ("TRACE", "CONNECT", "PATCH", "PROPFIND", "get"):
        target = studio.host if method == "CONNECT" else "/log/v1/bench"
        answer = by_hand(
            studio,
            f"{method} {target} HTTP/1.1\r\nHost: {studio.host}\r\nCookie:"
            f" {studio.cookies['principal']}\r\n\r\n",
        )
        assert re.match(r"HTTP/1.1 40[05] ", answer) and studio.cookies["principal"] not in answer, (
            method,
            answer,
        )


@pytest.mark.parametrize(
    "path",
    [
        "//log",
        "/LOG",
        "/log/../works",
        "/log/%2e%2e/works",
        "/log%2f..%2fworks",
        "/log;/works",
        "/log\\..\\works",
        "/log/",
        "/./log",
        "/media/../log",
        "/pair/../",
        "/pair/x",
    ],
)
def test_no_other_way_to_write_a_path_opens_more(studio: Studio, path: str) -> None:
    """Whatever a path is taken for, a device that logs gets the form or nothing, and who is not paired gets
    nothing.
    """
    for cookie, allowed in (("", ()), (studio.cookies["logs"], ("At the bench",))):
        answer = by_hand(
            studio,
            f"GET {path} HTTP/1.1\r\nHost: {studio.host}\r\nAccept:"
            f" text/html\r\n{f'Cookie: {cookie}' + chr(13) + chr(10) if cookie else ''}\r\n",
        )
        status = int(answer.split(" ")[1])
        assert status >= 400 or (
            status in (200, 301, 307) and (path == "/log/" or any(words in answer for words in allowed))
        ), answer[:300]
        assert "stApp" not in answer and "Streamlit" not in answer


def test_what_holds_the_record_is_not_kept_by_browsers(studio: Studio) -> None:
    good = studio.cookies["principal"]
    assert studio.ask("GET", "/log/v1/bench", cookie=good).heads["cache-control"] == "no-store"
    assert (
        studio.ask(
            "POST", "/log/v1/outcomes", b'{"actions": []}', content_type="application/json", cookie=good
        ).heads["cache-control"]
        == "no-store"
    )
    assert studio.ask("GET", "/media/x", cookie=good).heads["cache-control"] == "no-store"
    # asked anew each time; the form itself keeps it
    assert studio.ask("GET", "/log", cookie=good).heads["cache-control"] == "no-cache"


def test_the_pages_run_their_own_scripts_and_no_evaluated_text(studio: Studio) -> None:
    answer = studio.ask("GET", "/", accept="text/html", cookie=studio.cookies["principal"])
    policy = dict(rule.strip().split(" ", 1) for rule in answer.heads["content-security-policy"].split(";"))
    assert (
        policy["default-src"] == "'self'"
        and policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    )
    assert "unsafe" not in policy["script-src"] and policy["script-src"].startswith("'self' 'sha256-")
    assert policy["connect-src"] == f"'self' ws://{studio.host}"


def test_who_only_connects_is_hung_up_on_and_takes_no_place_from_others(tmp_path: Path) -> None:
    """Heads that never end (slow loris): 400 connections, and the studio goes on answering."""
    Store(tmp_path / "studio.duckdb").close()
    studio = Studio(
        tmp_path / "studio.duckdb",
        "--phones",
        "--plain",
        "--host",
        "127.0.0.1",
        program=("-m", "tests.altered_server", "short-patience"),
    )
    lines = []
    try:
        for _ in range(400):
            line = socket.create_connection(("127.0.0.1", studio.port), timeout=5)
            line.sendall(b"GET /pair HTTP/1.1\r\nHost: 127")
            lines.append(line)
        patience = time.monotonic() + 60
        answered = False
        while not answered and time.monotonic() < patience:
            try:
                answered = studio.ask("GET", "/pair").status == 200
            except (OSError, http.client.HTTPException):
                time.sleep(0.1)
        assert answered
        assert "Too many open files" not in studio.said.read_text() and studio.said.stat().st_size < 10_000
    finally:
        for line in lines:
            line.close()
        studio.discard()


def test_connections_of_one_address_are_counted_until_they_are_closed() -> None:
    with listening("127.0.0.1", free_port()) as listener:
        port = listener.getsockname()[1]
        made = []
        for _ in range(MAX_CONNECTIONS):
            calls = socket.create_connection(("127.0.0.1", port))
            made.append((calls, listener.accept()[0]))
        one_more = socket.create_connection(("127.0.0.1", port))
        with pytest.raises(ConnectionAbortedError):
            listener.accept()
        made[0][1].close()
        made[0][0].close()
        again = socket.create_connection(("127.0.0.1", port))
        made.append((again, listener.accept()[0]))
        for calls, answers in made:
            calls.close()
            answers.close()
        one_more.close()
        assert MAX_PER_CLIENT < MAX_CONNECTIONS


def test_an_answer_is_sent_at_once_and_does_not_wait_until_the_one_before_is_acknowledged() -> None:
    """RFC 1122, section 4.2.3.4: senders that gather small pieces have to let that be switched off; with
    acknowledgements that are held back, each answer would take 40 ms.
    """

    async def sends_at_once() -> int:
        asked = asyncio.get_running_loop().create_future()

        class Answers(asyncio.Protocol):
            def connection_made(self, transport: asyncio.BaseTransport) -> None:
                asked.set_result(
                    transport.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
                )
                transport.close()

        with listening("127.0.0.1", free_port()) as listener:
            async with await asyncio.get_running_loop().create_server(Answers, sock=listener):
                _, line = await asyncio.open_connection("127.0.0.1", listener.getsockname()[1])
                found: int = await asyncio.wait_for(asked, 10)
                line.close()
                return found

    assert by_itself(sends_at_once())


# --- the two doors of this machine


def test_the_door_of_commands_runs_nothing_for_who_does_not_know_its_key(studio: Studio) -> None:
    note = json.loads(studio.db.with_name("studio.duckdb.serving").read_text())
    call = {"arguments": ["overruns", "--json"], "here": "/", "who": None}
    tries = (
        [{"nonce": "x"}, {**call, "key": ""}],
        [{"nonce": "x"}, {**call, "key": note["key"][:-1] + "x"}],
        [{"nonce": "x"}, call],
        [{**call, "key": note["key"] + "x"}, call],
        "POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n" + json.dumps({**call, "key": note["key"]}),
        "GET / HTTP/1.1\r\n\r\n",
        "\n\n",
        "[]\n[]\n",
    )
    for said in tries:
        with socket.create_connection(("127.0.0.1", note["port"]), timeout=10) as line:
            line.sendall(
                (
                    said if isinstance(said, str) else "".join(f"{json.dumps(item)}\n" for item in said)
                ).encode()
            )
            line.shutdown(socket.SHUT_WR)
            told = b""
            while piece := line.recv(65536):
                told += piece
        assert b"exit" not in told and b"tell" not in told and note["key"].encode() not in told, (said, told)
    assert oct(studio.db.with_name("studio.duckdb.serving").stat().st_mode & 0o777) == "0o600"
    with socket.socket() as elsewhere:  # bound to this machine's loopback alone
        elsewhere.settimeout(2)
        others = [
            address
            for address in socket.gethostbyname_ex(socket.gethostname())[2]
            if not address.startswith("127.")
        ]
        for address in others[:1]:
            with pytest.raises(OSError):
                elsewhere.connect((address, note["port"]))


def test_without_phones_whoever_sits_at_the_machine_is_the_principal_and_nobody_else_is_listened_to(
    tmp_path: Path,
) -> None:
    with Store(tmp_path / "studio.duckdb") as store:
        bring_into(store, tmp_path, "objects.csv", OBJECTS)
    studio = Studio(tmp_path / "studio.duckdb")
    try:
        assert "Ferry in snow" in studio.ask("GET", "/log").body.decode()
        assert studio.ask("GET", "/log", x_bench_hours_device="nobody").status == 200
        assert (
            studio.ask("GET", "/pair", accept="text/html").status == 404
            and studio.pair("AAAAA-AAAAA").status == 404
        )
        assert studio.ask("GET", "/log", host="elsewhere.example").status == 421
        for wrong in FOREIGN:
            if wrong.get("origin") != "":
                assert (
                    studio.ask(
                        "POST",
                        "/log/v1/outcomes",
                        b'{"actions": []}',
                        content_type="application/json",
                        **wrong,
                    ).status
                    == 403
                )
        assert (
            by_itself(studio.websocket({"Origin": "https://elsewhere.example"})) == 403
            and by_itself(studio.websocket({})) == 101
        )
        for address in socket.gethostbyname_ex(socket.gethostname())[2]:
            if not address.startswith("127."):
                with pytest.raises(OSError):
                    socket.create_connection((address, studio.port), timeout=2)
    finally:
        studio.discard()


# --- commands


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (["--host", "0.0.0.0"], "Add --phones"),
        (["--host", "192.0.2.1"], "Add --phones"),
        (["--plain"], "Add --phones"),
        (["--tls-cert", "x"], "Add --phones"),
        (["--phones", "--tls-cert", "x"], "go together"),
        (["--phones", "--plain", "--tls-cert", "x", "--tls-key", "y"], "one of the two"),
        (["--phones", "--tls-cert", "x", "--tls-key", "y"], "cannot be used"),
    ],
)
def test_a_way_to_serve_that_does_not_go_together_is_refused_in_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, call: list[str], words: str
) -> None:
    from dashboard.cli.main import main  # noqa: PLC0415

    assert main(["serve", "--db", str(tmp_path / "studio.duckdb"), *call]) == 2
    complaint = capsys.readouterr().err.strip().splitlines()[-1]
    assert words in complaint, complaint


def heads_of(studio: Studio, path: str, **heads: str) -> dict[str, Any]:
    return studio.ask("GET", path, None, accept="text/html", **heads).heads


def test_every_answer_says_that_it_is_no_frame_no_other_kind_and_tells_nobody_where_it_came_from(
    studio: Studio,
) -> None:
    """OWASP ASVS 5.0, 3.4: heads that browsers heed."""
    good = studio.cookies["principal"]
    for path in ("/", "/log", "/log/v1/bench", "/_stcore/health", "/pair", "/certificate", "/media/x"):
        for heads in ({}, {"cookie": good}):
            told = heads_of(studio, path, **heads)
            assert told["x-content-type-options"] == "nosniff" and told["referrer-policy"] == "no-referrer"
            assert told.get("cross-origin-resource-policy") == "same-origin" or told[
                "content-type"
            ].startswith("text/html")
            assert (
                "frame-ancestors 'none'" in told["content-security-policy"]
                and "server" not in told
                and "access-control-allow-origin" not in told
            )
    for path in ("/log", "/pair"):
        policy = heads_of(studio, path, cookie=good)["content-security-policy"]
        assert (
            "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        )


def test_an_address_that_is_only_claimed_counts_for_nothing(studio: Studio) -> None:
    """Nearly the last of the tests of one server: it pairs nothing for a while after this."""
    for number in range(12):
        answer = studio.pair(
            "AAAAA-AAAAA",
            x_forwarded_for=f"192.0.2.{number}",
            x_real_ip=f"192.0.2.{number}",
            forwarded=f"for=192.0.2.{number}",
        )
    assert answer.status == 429


def test_what_is_said_in_the_window_of_the_server_holds_no_secret_and_nothing_of_the_record(
    studio: Studio,
) -> None:
    """After all that was asked above."""
    time.sleep(3)
    said = studio.said.read_text()
    assert "at the door" in said
    secrets = [cookie.partition("=")[2] or cookie for cookie in studio.cookies.values()]
    assert [
        secret
        for secret in (*secrets, *(secret.replace("-", "") for secret in secrets), *SECRETS_OF_THE_STUDIO)
        if secret in said
    ] == []


def test_heads_in_any_letters_neither_say_who_asks_nor_carry_the_secret_on() -> None:
    """Names of heads know no case (RFC 9110, 5.1); who asks is said by the guard alone."""
    scope = {
        "type": "http",
        "headers": [(DEVICE_HEADER.upper().encode(), b"here"), (b"Cookie", b"ours=secret; theirs=kept")],
    }
    heads = Headers(scope=_scope_for_pages(scope, "ours", "a device"))
    assert heads.getlist(DEVICE_HEADER) == ["a device"] and heads.getlist("cookie") == ["theirs=kept"]
