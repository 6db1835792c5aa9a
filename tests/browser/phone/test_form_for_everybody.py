"""The form for a phone, for everybody: for axe, at twice the text size, by thumb, by keyboard; and what it
answers over HTTP.
"""

from __future__ import annotations

import json
import re
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests import phones
from tests.browser.conftest import until, violations
from tests.browser.phone.conftest import Form, Studio, opened, picture

VIEWS = ("", "#day", "#who", "#new", "#work=")


def calm(page: Page) -> None:
    """Nothing wider than the screen, nothing that axe finds."""
    until(page, "document.documentElement.scrollWidth <= 360", 5)
    assert violations(page) == []


@pytest.mark.parametrize("text", [100, 200])
def test_every_view_is_readable_and_without_fault_for_axe_at_a_phone_width(
    demo_studio: Studio, handset: BrowserContext, text: int
) -> None:
    page = opened(handset, demo_studio, who="Tamsin")
    page.get_by_role("button", name=re.compile("^Begin ")).first.click()
    code = page.locator(".works .work").nth(1).inner_text().split()[0]
    for view in (*VIEWS, f"#work={code}", f"#day={(datetime.now(UTC) - timedelta(days=1)):%Y-%m-%d}"):
        page.goto(f"{demo_studio.address}/log{view}")
        expect(page.locator("html[data-ready]")).to_be_attached()
        page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
        page.wait_for_timeout(100)
        calm(page)
        picture(page, f"{view.strip('#').replace('=', '-') or 'bench'}-{text}")
    page.goto(f"{demo_studio.address}/log")
    page.get_by_role("button", name=re.compile("^Finish ")).first.click()
    page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
    calm(page)
    # a long word is broken, whichever work is in hand today
    page.evaluate("document.querySelector('#title').textContent = 'consolidation, less than a minute'")
    calm(page)
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Undo").wait_for(state="detached")


def test_what_is_tapped_at_the_bench_is_large_and_the_first_of_it_within_reach_of_a_thumb(
    demo_studio: Studio, handset: BrowserContext
) -> None:
    page = opened(handset, demo_studio, who="Ilse")
    page.get_by_role("button", name=re.compile("^Begin ")).first.click()
    for view in ("", "#day", "#work="):
        page.goto(f"{demo_studio.address}/log{view}")
        expect(page.locator("html[data-ready]")).to_be_attached()
        sizes = page.evaluate(
            "[...document.querySelectorAll('button, nav a, header a, input, summary')].filter((one) =>"
            " one.offsetParent).map((one) => [one.innerText || one.id, one.offsetHeight])"
        )
        assert [size for size in sizes if size[1] < 56] == []
    page.goto(f"{demo_studio.address}/log")
    finish = page.get_by_role("button", name=re.compile("^Finish ")).first.bounding_box()
    ways = page.get_by_role("link", name="My day").bounding_box()
    # the ways lie at the thumb
    assert finish and ways and finish["y"] + finish["height"] <= 640 and 480 < ways["y"] < 640


def test_a_spell_is_begun_and_finished_by_keyboard_alone_and_a_screen_reader_hears_it(
    studio: Form, browser: Browser
) -> None:
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.goto(f"{studio.address}/log")
    expect(page.locator("html[data-ready]")).to_be_attached()

    def reach(name: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate(
                "(document.activeElement.getAttribute('aria-label') || document.activeElement.innerText ||"
                " '').replace(/\\s+/g, ' ').trim()"
            ).startswith(name):
                page.keyboard.press("Enter")
                return
        raise AssertionError(f"{name} cannot be reached by keyboard")

    reach("Ilse")
    expect(page.get_by_role("heading", name="At the bench")).to_be_focused()
    reach("Begin retouching on 24-001")
    expect(page.get_by_role("status").filter(has_text="Begun: retouching on 24-001")).to_be_visible()
    page.wait_for_timeout(1100)
    reach("Finish retouching on 24-001")
    expect(page.get_by_role("status").filter(has_text="Finished: retouching on 24-001")).to_be_visible()
    reach("Skip")
    expect(page.get_by_role("status").filter(has_text="All is saved in the studio.")).to_be_visible()
    page.context.close()


# --- over HTTP


def fetch(address: str, body: bytes | None = None, **headers: str) -> tuple[int, dict[str, Any]]:
    request = urllib.request.Request(
        address, body, {name.replace("_", "-"): value for name, value in headers.items()}
    )
    try:
        with urllib.request.urlopen(request) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)


def test_no_other_site_can_read_or_send(demo_studio: Studio) -> None:
    sent = json.dumps({"phone": phones.PHONE, "clock": 1, "actions": []}).encode()
    at, kind = f"{demo_studio.address}/log/v1/", "application/json"
    assert fetch(f"{at}actions", sent, Content_Type=kind)[0] == 200
    assert fetch(f"{at}actions", sent, Content_Type=kind, Origin=demo_studio.address)[0] == 200
    for wrong, code in (
        ({"Content_Type": kind, "Origin": "https://elsewhere.example"}, "other_site"),
        ({"Content_Type": kind, "Sec_Fetch_Site": "cross-site"}, "other_site"),
        ({"Content_Type": "text/plain"}, "not_json"),
        ({"Content_Type": kind, "Host": "elsewhere.example"}, "wrong_address"),
    ):
        status, said = fetch(f"{at}actions", sent, **wrong)
        assert status >= 400 and said["error"]["code"] == code and said["error"]["mend"], wrong
    assert fetch(f"{at}bench", None, Host="elsewhere.example")[1]["error"]["code"] == "wrong_address"
    assert fetch(f"{at}actions", b"{", Content_Type=kind)[1]["error"]["code"] == "not_json"
    assert fetch(f"{at}actions", b"[]", Content_Type=kind)[1]["error"]["code"] == "not_understood"
    assert fetch(f"{at}actions", b" " * 1_000_001, Content_Type=kind)[1]["error"]["code"] == "too_large"
    assert (
        fetch(f"{at}outcomes", b'{"actions": [1]}', Content_Type=kind)[1]["error"]["code"] == "not_understood"
    )


def test_the_form_is_one_answer_whose_script_and_style_are_named_by_their_hashes(demo_studio: Studio) -> None:
    with urllib.request.urlopen(
        urllib.request.Request(f"{demo_studio.address}/log", headers={"Accept": "text/html"})
    ) as answer:
        policy, page = answer.headers["content-security-policy"], answer.read().decode()
    assert "default-src 'none'" in policy and "unsafe" not in policy and policy.count("'sha256-") == 2
    assert re.findall(r'(?:src|href)="([^"]+)"', page.split("<script")[0]) == [
        "/log/icon.svg",
        "/log/manifest.json",
        "#who",
        "#bench",
        "#day",
        "/",
    ]
    assert "__streamlit" not in page
