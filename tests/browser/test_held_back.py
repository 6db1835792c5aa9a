"""What a phone may not change by itself is decided by the principal; all that a device did is taken back in
one press.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from ingest.devices import Devices
from ingest.importing.files import import_files
from ingest.phone.inbox import Inbox
from ingest.store import Store
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import utc_now
from tests.browser.conftest import act, choose, keep, settled
from tests.browser.steps import turned
from tests.conftest import bring_into
from tests.phones import PHONE, action, ms, name

Serve = Callable[..., str]


def asked(folder: Path, old: int) -> Path:
    """Entries of Ilse; her phone struck or corrected as many that lie far back, and of this week it struck
    one and made one; a shared one struck another of hers.
    """
    now = utc_now()
    with Store(folder / "studio.duckdb") as store:
        with store.writing() as con:
            write_settings(con, {"zone": "UTC"})
        bring_into(store, folder, "objects.csv", "object,title\n24-001,Ferry in snow\n")
        days = [now.date() - timedelta(days=back) for back in (1, *range(20, 21 + old))]
        rows = "".join(f"slip-{n},24-001,,retouching,Ilse,{day},2,the sky\n" for n, day in enumerate(days))
        (folder / "log.csv").write_text(f"entry,object,phase,technique,person,date,hours,note\n{rows}")
        import_files(store, [folder / "log.csv"])
        devices = Devices(store)
        for person, called, entries in (
            ("Ilse", "Ilse's phone", range(old + 1)),
            (None, "the tablet (workshop)", range(1)),
        ):
            made = devices.pair(devices.admit(role="logs", person=person, name=called))
            assert made
            words: list[dict[str, Any]] = []
            for n in entries:
                state, row = (
                    ("struck", {})
                    if n % 2 == 0
                    else (
                        "logged",
                        {
                            "date": f"{days[n]}",
                            "hours": "3½",
                            "note": "the sky and its reflection in the water",
                        },
                    )
                )
                words.append(
                    {
                        **action(f"{n}", state, at=now, row=row),
                        "entry": f"slip-{n}",
                        "action": name((called, n)),
                    }
                )
            if person:
                words.append(action("made", at=now, row={"date": f"{days[0]}", "hours": "1"}))
            else:
                words = [{**word, "entry": f"slip-{old + 1}"} for word in words]
            inbox = Inbox(store)
            inbox.receive({"phone": PHONE, "clock": ms(now), "actions": words}, now, device=made[0])
            assert inbox.catch_up() == 0
    return folder / "studio.duckdb"


@pytest.mark.parametrize(("page", "old"), [(360, 1), (1280, 40)], indirect=["page"])
def test_changes_that_a_phone_may_not_make_are_decided_under_bring_in_logs(
    tmp_path: Path, serve_here: Serve, page: Page, old: int
) -> None:
    address = serve_here(asked(tmp_path, old))
    page.goto(f"{address}/bring-in-logs")
    settled(page)
    for _ in ("at one width", "at the other"):
        expect(
            page.get_by_role("heading", name=f"Changes from phones: {old + 1} changes for you to decide")
        ).to_be_visible()
        expect(page.get_by_text("It says: 24-001, retouching, Ilse,").first).to_be_visible()
        expect(page.get_by_text("as the entry lies more than 7 days back").first).to_be_visible()
        keep(page, f"held-back-{old}")
        turned(page)
    first = page.get_by_role("radiogroup").first
    first.get_by_text("take it in").click()
    act(page, page.get_by_role("button", name="Decide as chosen").first.click)
    expect(page.get_by_text("Decided: 1 taken in.")).to_be_visible()
    turned(page)
    if old > 1:
        choose(page, "From which device", "the tablet (workshop), 1 change")
        settled(page)
        act(page, page.get_by_role("button", name="Leave it out").click)
        expect(page.get_by_text("Decided: 1 left out.")).to_be_visible()
        settled(page)
        button = page.get_by_role("button", name=f"Leave all {old - 1} out")
    else:
        keep(page, "held-back-last")
        button = page.get_by_role("button", name="Leave it out")
    button.focus()
    act(page, lambda: page.keyboard.press("Enter"))
    expect(page.get_by_role("heading", name="Changes from phones")).to_have_count(0)
    turned(page)


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
