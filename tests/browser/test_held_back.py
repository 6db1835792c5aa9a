"""What a phone may not change by itself is decided by the principal; all that a device did is taken back in
one press.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from ingest.store import Store
from tests.asked_changes import ask_for_changes
from tests.browser.conftest import act, choose, keep, settled
from tests.browser.steps import turned

Serve = Callable[..., str]


def asked(folder: Path, old: int) -> Path:
    with Store(folder / "studio.duckdb") as store:
        ask_for_changes(store, folder, old)
    return folder / "studio.duckdb"


def test_changes_that_a_phone_may_not_make_are_decided_under_bring_in_logs(
    tmp_path: Path, serve_here: Serve, phone: Page
) -> None:
    """Many of them, of a device chosen, are in the test of the page of the same name."""
    address = serve_here(asked(tmp_path, 1))
    phone.goto(f"{address}/bring-in-logs")
    settled(phone)
    for _ in ("at one width", "at the other"):
        expect(
            phone.get_by_role("heading", name="Changes from phones: 2 changes for you to decide")
        ).to_be_visible()
        expect(phone.get_by_text("It says: 24-001, retouching, Ilse,").first).to_be_visible()
        expect(phone.get_by_text("as the entry lies more than 7 days back").first).to_be_visible()
        keep(phone, "held-back-1")
        turned(phone)
    first = phone.get_by_role("radiogroup").first
    first.get_by_text("take it in").click()
    act(phone, phone.get_by_role("button", name="Decide as chosen").first.click)
    expect(phone.get_by_text("Decided: 1 taken in.")).to_be_visible()
    turned(phone)
    keep(phone, "held-back-last")
    phone.get_by_role("button", name="Leave it out").focus()
    act(phone, lambda: phone.keyboard.press("Enter"))
    expect(phone.get_by_role("heading", name="Changes from phones")).to_have_count(0)
    turned(phone)


def test_all_that_a_device_did_is_taken_back_under_who_may_come_in(
    tmp_path: Path, serve_here: Serve, phone: Page
) -> None:
    address = serve_here(asked(tmp_path, 3))
    phone.goto(f"{address}/who-may-come-in")
    settled(phone)
    act(phone, phone.get_by_text("Take back what a device did").click)
    choose(phone, "Which device", "Ilse's phone, Ilse")
    for _ in ("at one width", "at the other"):
        expect(
            phone.get_by_text(
                "It made 1 entry; it corrected or struck 1 entry; 3 things that it sent wait still, to be"
                " left out."
            )
        ).to_be_visible()
        keep(phone, "take-back")
        turned(phone)
    act(phone, phone.get_by_role("button", name="Take back all that Ilse's phone did since").click)
    expect(phone.get_by_text("Taken back. It made 1 entry")).to_be_visible()
    turned(phone)
    phone.goto(f"{address}/bring-in-logs")
    settled(phone)
    expect(
        phone.get_by_role("heading", name="Changes from phones: 1 change for you to decide")
    ).to_be_visible()
