"""Phones and laptops are paired by what stands on the screen, do what their role opens, and are sent away
without losing anything.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import io
import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Response, WebError, WebSocket, expect

from dashboard.cli.main import main
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests.browser.conftest import act, choose, keep, settled
from tests.chromium import find_chromium
from tests.conftest import bring_into
from tests.served import Server

OBJECTS = (
    "object,title,owner,owner_address,received_on\n24-001,Ferry in snow,Orla Bankside,4 Mill"
    " Lane,2026-01-03\n24-002,Weir at dusk,,,2026-01-02\n"
)
LOG = (
    "object,phase,technique,person,date,hours,note,discovery\n24-001,,retouching,Ilse,2026-05-20,2,Bankside"
    " asked,yes\n24-001,,facing,Maud,2026-05-18,1,,\n"
)
ESTIMATE = (
    "object,version,made_on,approved_on,reason,price,currency,phase,technique,hours\n24-001,1,2026-05-01,2026-05-02,as"
    " Bankside wished,7654321,EUR,,retouching,3\n"
)
NOT_FOR_ALL = ("Ferry in snow", "Weir", "Bankside", "Mill Lane", "Ilse", "Maud", "7,654,321", "7654321")
LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 360, "height": 640}, "is_mobile": True, "has_touch": True}


def filled(folder: Path) -> Path:
    with Store(folder / "studio.duckdb") as store:
        with store.writing() as con:
            write_settings(con, {"zone": "Europe/Berlin"})
        for name, text in (("objects.csv", OBJECTS), ("log.csv", LOG), ("estimates.csv", ESTIMATE)):
            bring_into(store, folder, name, text)
    return folder / "studio.duckdb"


class Studio(Server):
    """A served studio of which the commands begin in this process: what they ask for, the server does."""

    def command(self, *call: str) -> str:
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            assert main([call[0], "--db", str(self.db), *call[1:]]) == 0
        return said.getvalue()


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    opened = Studio(filled(tmp_path_factory.mktemp("paired")), "--phones", "--plain", "--host", "127.0.0.1")
    opened.address = opened.address.replace("localhost", "127.0.0.1")
    yield opened
    opened.discard()


@pytest.fixture
def device(browser: Browser) -> Iterator[Callable[..., Page]]:
    """A new device with nothing on it; none of its pages may fail."""
    made: list[BrowserContext] = []
    wrong: list[str] = []

    def new(**about: object) -> Page:
        context = browser.new_context(**about)  # type: ignore[arg-type]
        context.on("weberror", lambda error: wrong.append(str(error.error)))
        made.append(context)
        return context.new_page()

    yield new
    for context in made:
        context.close()
    assert wrong == []


@pytest.fixture
def desk(windows: Callable[[int], Page]) -> Iterator[Page]:
    """A laptop that no studio knows, whose pages may not fail: the tab that all tests of this width have, as
    what Streamlit is made of is compiled in it already.
    """
    page = windows(1280)
    wrong: list[str] = []

    def hear(error: WebError) -> None:
        wrong.append(str(error.error))

    page.context.clear_cookies()
    page.context.on("weberror", hear)
    yield page
    page.context.remove_listener("weberror", hear)
    page.goto("about:blank")
    page.context.clear_cookies()
    assert wrong == []


def pair(page: Page, address: str) -> None:
    """Pair it on the page that a code leads to."""
    page.goto(address)
    page.get_by_role("button", name="Pair this device").click()
    page.wait_for_url(lambda url: "/pair" not in url)


def paired(page: Page, studio: Studio, role: str, *more: str) -> Page:
    pair(page, f"{studio.address}/pair#{studio.code(role, *more)}")
    return page


def drawn(picture: Locator) -> str:
    """What a QR code on the screen says, as another program reads it (ZXing)."""
    picture.scroll_into_view_if_needed()
    found = zxingcpp.read_barcodes(Image.open(io.BytesIO(picture.screenshot())))
    assert len(found) == 1
    return str(found[0].text)


def title_of(page: Page, words: str) -> None:
    expect(page.get_by_role("heading", name=words, level=1)).to_be_visible()


@pytest.fixture(scope="module")
def principal(studio: Studio, browser: Browser) -> Iterator[Page]:
    """The principal's laptop, which came to the door without a code, with a wrong one, and with the right
    one.
    """
    with browser.new_context(**LAPTOP) as context:
        wrong: list[str] = []
        context.on("weberror", lambda error: wrong.append(str(error.error)))
        laptop = context.new_page()
        laptop.goto(studio.address)
        title_of(laptop, "Not let in")
        keep(laptop, "not-let-in")
        laptop.get_by_role("link", name="I have a code").click()
        laptop.get_by_label("The code").fill("AAAAA AAAAA")
        laptop.get_by_role("button", name="Pair this device").click()
        expect(laptop.get_by_role("alert")).to_contain_text(
            "This code is wrong, used already, or older than ten minutes."
        )
        keep(laptop, "pair-this-device")
        laptop.get_by_label("The code").fill(
            studio.code("principal", "--person", "Maud", "--name", "Maud's laptop").lower()
        )
        laptop.keyboard.press("Enter")
        title_of(laptop, "On the bench")
        settled(laptop)
        act(laptop, laptop.get_by_role("link", name="Who may come in").click)
        title_of(laptop, "Who may come in")
        yield laptop
    assert wrong == []


def test_a_phone_is_paired_by_the_code_on_the_screen_logs_and_is_sent_away_without_losing_what_it_has_not_sent(  # noqa: E501
    studio: Studio, principal: Page, device: Callable[..., Page]
) -> None:
    laptop = principal
    keep(laptop, "who-may-come-in")
    choose(laptop, "Whose it is", "Ilse")
    act(laptop, laptop.get_by_role("button", name="Make a code").click)
    keep(laptop, "who-may-come-in-code")
    address = drawn(laptop.get_by_alt_text("QR code that pairs a device"))
    assert re.fullmatch(rf"{re.escape(studio.address)}/pair#[A-Z2-7]{{5}}-[A-Z2-7]{{5}}", address)

    phone = device(**PHONE)
    phone.goto(address)
    assert phone.url == f"{studio.address}/pair"  # the code has left the address before anything was done
    phone.get_by_role("button", name="Pair this device").click()
    expect(phone.get_by_role("heading", name="At the bench")).to_be_visible()
    expect(phone.locator("#who")).to_have_text("Ilse")
    expect(laptop.get_by_text("Paired: Ilse's device.")).to_be_visible()
    settled(laptop)
    phone.goto(f"{studio.address}/log#who")
    expect(phone.get_by_text("This device logs for Ilse.")).to_be_visible()
    phone.goto(f"{studio.address}/log#bench")
    phone.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(phone.locator("#told")).to_contain_text("All is saved in the studio.")

    act(laptop, laptop.get_by_role("button", name="Send away").first.click, must=False)
    act(laptop, laptop.get_by_role("button", name="Send Ilse's device away").click)
    expect(laptop.get_by_text("Ilse's device is sent away.")).to_be_visible()
    phone.get_by_role("button", name="Finish retouching on 24-001").click()
    phone.get_by_label("Note").fill("with the second glaze")
    phone.get_by_role("button", name="Save").click()
    title_of(phone, "Not let in")
    expect(phone.locator("#kept")).to_contain_text(
        "1 thing that is not in the studio yet stays on this device."
    )
    expect(phone.locator("#kept")).to_contain_text("24-001, retouching")
    expect(phone.locator("#kept")).to_contain_text("with the second glaze")
    keep_phone(phone, "not-let-in-kept")
    assert phone.evaluate(
        "caches.keys().then((all) => Promise.all(all.map((one) => caches.open(one).then((kept) =>"
        " kept.match('/log')))))"
    ) in ([], [None])
    pair(phone, f"{studio.address}/pair#{studio.code('logs', '--person', 'Ilse')}")
    expect(phone.locator("#told")).to_contain_text("All is saved in the studio.")
    entries = json.loads(studio.command("statement", "--object", "24-001", "--json", "--with-notes"))
    assert [entry["note"] for entry in entries if entry["note"]][-1] == "with the second glaze"


def keep_phone(page: Page, name: str) -> None:
    if os.environ.get("BENCH_HOURS_SCREENSHOTS"):
        keep(page, f"form-{name}")


LEFT_BEHIND = """(actions) => new Promise((done) => {
    const request = indexedDB.open("bench-hours", 1);
    request.onupgradeneeded = () => {
        request.result.createObjectStore("actions", { keyPath: "action" });
        request.result.createObjectStore("kept");
    };
    request.onsuccess = () => {
        const change = request.result.transaction(["actions"], "readwrite");
        for (const action of actions) change.objectStore("actions").put(action);
        change.oncomplete = () => { request.result.close(); done(); };
    };
})"""


def test_what_stays_on_a_device_is_named_by_its_line_also_where_that_is_a_whole(
    studio: Studio, device: Callable[..., Page]
) -> None:
    phone = device(**PHONE)
    phone.goto(f"{studio.address}/pair")
    said = {"person": "Ilse", "object": "24-001", "date": "2026-05-21", "hours": "2"}
    rows: list[dict[str, str]] = [
        {**said, "phase": "retouching", "technique": "retouching"},
        {**said, "phase": "cleaning", "technique": ""},
        {**said, "phase": "", "technique": ""},
        {},  # begun and undone
    ]
    phone.evaluate(
        LEFT_BEHIND,
        [
            {"action": f"{place}", "state": "logged" if row else "struck", "row": row}
            for place, row in enumerate(rows)
        ],
    )
    phone.goto(f"{studio.address}/log")
    expect(phone.locator("#kept li")).to_have_text(
        [
            "24-001, retouching, 2026-05-21, 2 h",
            "24-001, cleaning as a whole, 2026-05-21, 2 h",
            "24-001, the work as a whole, 2026-05-21, 2 h",
            "studio time, struck out",
        ]
    )


def test_an_open_page_of_a_device_that_is_sent_away_says_so_within_five_seconds(
    studio: Studio, desk: Page
) -> None:
    page = paired(desk, studio, "principal", "--name", "a borrowed laptop")
    title_of(page, "On the bench")
    settled(page)
    studio.command("devices", "--revoke", "a borrowed laptop")
    expect(page.get_by_role("heading", name="Not let in")).to_be_visible(timeout=5_000)
    expect(page.get_by_text("Ferry")).to_have_count(0)


def test_a_device_that_reviews_is_sent_no_person_no_price_no_title_no_owner_and_no_note_on_any_page(
    studio: Studio, desk: Page
) -> None:
    """Looked for in all that the server says over the line, not in what is seen."""
    page = desk
    heard: list[bytes] = []

    def hear_socket(line: WebSocket) -> None:
        line.on(
            "framereceived", lambda said: heard.append(said if isinstance(said, bytes) else said.encode())
        )

    def hear_answer(answer: Response) -> None:
        if answer.ok and "/static/" not in answer.url and answer.request.method == "GET":
            heard.append(answer.body())

    page.on("websocket", hear_socket)
    page.on("response", hear_answer)
    paired(page, studio, "reviews", "--name", "the desk")
    title_of(page, "Where the hours went")
    settled(page)
    keep(page, "reviews-where")
    links = page.locator(".st-key-pages").get_by_role("link")
    expect(links).to_have_text(["Where the hours went", "One work", "Guide", "Leave"])
    page.goto(f"{studio.address}/?person=Ilse")
    settled(page)
    for name in ("Phases", "Works", "Lines"):
        with page.expect_download() as taken:
            page.get_by_role("button", name=name, exact=True).click()
        heard.append(Path(taken.value.path()).read_bytes())
    page.goto(f"{studio.address}/one-work?object=24-001")
    title_of(page, "One work")
    settled(page)
    expect(page.get_by_text("20 May", exact=False).first).to_be_visible()
    keep(page, "reviews-one-work")
    act(page, page.get_by_role("combobox", name="Work").click, must=False)
    page.goto(f"{studio.address}/guide?chapter=words")
    expect(page.get_by_role("heading", name="Words", exact=True)).to_be_visible()
    settled(page)
    for path in (
        "works",
        "works?object=24-001",
        "estimate?object=24-001",
        "bring-in-logs",
        "studio",
        "safe-keeping",
        "who-may-come-in",
    ):
        page.goto(f"{studio.address}/{path}")
        title_of(page, "Not let in")
    told = b"".join(heard)
    assert b"24-001" in told and b"retouching" in told  # it did hear
    assert [word for word in NOT_FOR_ALL if word.encode() in told] == []
    page.goto(f"{studio.address}/log")
    title_of(page, "Not let in")
    page.remove_listener("websocket", hear_socket)
    page.remove_listener("response", hear_answer)


def test_hours_worth_a_pause_are_seen_by_the_person_alone_whose_they_are(
    studio: Studio, device: Callable[..., Page], desk: Page
) -> None:
    phone = paired(device(**PHONE), studio, "logs", "--person", "Ilse", "--name", "Ilse's phone again")
    phone.get_by_role("link", name=re.compile("Ilse")).click()
    phone.get_by_role("link", name="Pauses").click()
    title_of(phone, "Hours worth a pause")
    expect(phone.get_by_text("Ilse, ", exact=False).first).to_be_visible()
    expect(phone.get_by_text("not measured exposure", exact=False)).to_be_visible()
    assert "Maud" not in phone.content()
    keep(phone, "pauses-phone")
    phone.get_by_role("link", name="To the form to log hours").click()
    title_of(phone, "At the bench")
    paired(desk, studio, "reviews", "--person", "Maud", "--name", "Maud's desk")
    desk.goto(f"{studio.address}/hours-worth-a-pause")
    title_of(desk, "Hours worth a pause")
    settled(desk)
    expect(desk.get_by_text(re.compile("^Maud, "))).to_be_visible()
    assert "Ilse" not in desk.content()
    for path in ("bench-plan", "the-year"):
        desk.goto(f"{studio.address}/{path}")
        title_of(desk, "Not let in")
    shared = paired(device(**PHONE), studio, "logs", "--name", "the tablet in the studio")
    shared.goto(f"{studio.address}/pauses")
    expect(shared.get_by_text("this device is nobody’s in particular", exact=False)).to_be_visible()


def test_a_device_that_logs_is_told_nothing_of_prices_owners_and_other_people(
    studio: Studio, device: Callable[..., Page]
) -> None:
    page = paired(device(**PHONE), studio, "logs", "--person", "Ilse")
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    told = page.content() + page.evaluate(
        "fetch('/log/v1/bench?person=Maud&everyone=yes').then((answer) => answer.text())"
    )
    assert "Ilse" in told and "Ferry in snow" in told
    assert [word for word in ("Bankside", "Mill Lane", "Maud", "7654321") if word in told] == []
    page.goto(f"{studio.address}/one-work?object=24-001")
    title_of(page, "Not let in")
    page.get_by_role("link", name="To the form to log hours").click()
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()


def test_a_shared_device_asks_who_it_is_and_shows_codes_alone(
    studio: Studio, device: Callable[..., Page]
) -> None:
    page = paired(device(**PHONE), studio, "logs", "--name", "tablet in the studio")
    expect(page.locator("#who")).to_have_text("Who?")
    assert "Ferry" not in page.content()
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    page.get_by_role("button", name="Maud", exact=True).click()
    expect(page.get_by_role("button", name="Finish retouching on 24-001")).to_be_visible()
    expect(page.locator("#told")).to_contain_text("All is saved in the studio.")


def test_a_label_opens_the_form_on_its_work(
    studio: Studio, principal: Page, device: Callable[..., Page]
) -> None:
    title_of(principal, "Who may come in")
    with principal.expect_download() as taken:
        principal.get_by_role("button", name="2 labels as PDF, A4").click()
    content = Path(taken.value.path()).read_bytes()
    assert content.startswith(b"%PDF-") and b"Ferry" not in content and b"Bankside" not in content
    phone = paired(device(**PHONE), studio, "logs", "--person", "Ilse")
    phone.goto(f"{studio.address}/log#work=24-001")
    expect(phone.get_by_role("heading", name="24-001 Ferry in snow")).to_be_visible()


# --- TLS


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    opened = Studio(filled(tmp_path_factory.mktemp("sealed")), "--phones", "--host", "127.0.0.1")
    yield opened
    opened.discard()


def certificate_of(studio: Studio) -> x509.Certificate:
    return x509.load_pem_x509_certificate(
        studio.db.with_name("studio.duckdb.tls").joinpath("authority.pem").read_bytes()
    )


def trusting(studio: Studio, home: Path) -> tuple[dict[str, str], list[str]]:
    """How a browser comes to trust the studio's authority: by the system's own list where its tool is there,
    else by the key of the server.
    """
    if shutil.which("certutil"):
        database = home / ".pki" / "nssdb"
        database.mkdir(parents=True)
        place = f"sql:{database}"
        subprocess.run(["certutil", "-d", place, "-N", "--empty-password"], check=True)
        file = home / "authority.pem"
        file.write_bytes(certificate_of(studio).public_bytes(serialization.Encoding.PEM))
        subprocess.run(
            ["certutil", "-d", place, "-A", "-t", "C,,", "-n", "studio", "-i", str(file)], check=True
        )
        return {**os.environ, "HOME": str(home)}, []
    server = x509.load_pem_x509_certificate(
        studio.db.with_name("studio.duckdb.tls").joinpath("server.pem").read_bytes()
    )
    key = server.public_key().public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    return dict(os.environ), [
        f"--ignore-certificate-errors-spki-list={base64.b64encode(hashlib.sha256(key).digest()).decode()}"
    ]


def test_a_device_that_trusts_the_studio_opens_the_form_again_without_network(
    sealed: Studio, browser: Browser, tmp_path: Path
) -> None:
    environment, more = trusting(sealed, tmp_path)
    context = browser.browser_type.launch_persistent_context(
        tmp_path / "profile",
        executable_path=find_chromium(),
        args=["--no-sandbox", *more],
        env={**environment},
        **PHONE,  # type: ignore[arg-type]
    )
    page = context.new_page()
    page.goto(f"{sealed.address}/certificate")
    fingerprint = (
        hashlib.sha256(certificate_of(sealed).public_bytes(serialization.Encoding.DER)).hexdigest().upper()
    )
    expect(page.locator("code")).to_have_text(":".join(re.findall("..", fingerprint)))
    assert ":".join(re.findall("..", fingerprint)) in sealed.said.read_text()
    keep(page, "certificate")
    paired(page, sealed, "logs", "--person", "Ilse")
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    cookie = next(cooky for cooky in context.cookies() if cooky["name"].startswith("__Host-bench-hours"))
    assert cookie["secure"] and cookie["httpOnly"] and cookie["sameSite"] == "Lax"
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    expect(page.locator("html[data-ready]")).to_be_attached()
    context.set_offline(True)
    page.reload()
    expect(page.get_by_role("heading", name="At the bench")).to_be_visible()
    page.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(page.locator("#told")).to_contain_text("1 thing is saved here, not in the studio yet.")
    context.set_offline(False)
    expect(page.locator("#told")).to_contain_text("All is saved in the studio.")
    context.close()


def test_a_device_that_does_not_trust_the_studio_is_warned_and_can_log_but_not_open_the_form_without_network(
    sealed: Studio, browser: Browser, device: Callable[..., Page]
) -> None:
    stranger = device(**PHONE)
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        stranger.goto(sealed.address)
    careless = device(ignore_https_errors=True, **PHONE)  # who goes past the warning
    paired(careless, sealed, "logs", "--person", "Maud")
    careless.get_by_role("button", name="Begin retouching on 24-001").click()
    expect(careless.locator("#told")).to_contain_text("All is saved in the studio.")


def test_the_page_that_pairs_shows_the_way_to_trust_too(sealed: Studio, device: Callable[..., Page]) -> None:
    page = paired(device(ignore_https_errors=True, **LAPTOP), sealed, "principal", "--name", "desk")
    page.goto(f"{sealed.address}/who-may-come-in")
    title_of(page, "Who may come in")
    settled(page)
    act(page, page.get_by_role("button", name="Make a code").click)
    expect(page.get_by_text("No code was made: say whose it is")).to_be_visible()
    choose(page, "Whose it is", "several share it")
    act(page, page.get_by_role("button", name="Make a code").click)
    keep(page, "who-may-come-in-tls")
    assert (
        drawn(page.get_by_alt_text("QR code of the steps by which a device trusts this studio"))
        == f"{sealed.address.replace('localhost', '127.0.0.1')}/certificate"
    )
    act(page, page.get_by_role("button", name="Withdraw the code").click)
    expect(page.get_by_text("The code is good no more.")).to_be_visible()
