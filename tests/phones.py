"""What a phone says, as a test says it."""

from __future__ import annotations

import hashlib
import random
import uuid
from datetime import datetime
from typing import Any

from ingest.phone.inbox import Inbox
from ingest.store import Store
from tests.conftest import NOW

PHONE = "00000000-0000-4000-8000-000000000001"


def ms(moment: datetime) -> int:
    """A moment in UTC as a phone counts it."""
    return int((moment - datetime(1970, 1, 1)).total_seconds() * 1000)


def name(seed: object) -> str:
    """A UUID that is the same for the same seed."""
    return str(uuid.UUID(int=random.Random(str(seed)).getrandbits(128), version=4))


def quick_digest(code: str, salt: bytes) -> str:
    """A digest of a code like that of `ingest.devices`, in a thousandth of the time."""
    return hashlib.scrypt(code.encode(errors="replace"), salt=salt, n=2**4, r=8, p=1).hex()


_count = iter(range(1, 10**9))


def action(
    entry: str,
    state: str = "logged",
    *,
    at: datetime = NOW,
    person: str = "Ilse",
    number: int | None = None,
    row: dict[str, str] | None = None,
    **more: Any,
) -> dict[str, Any]:
    """One action; the row says retouching of Ilse on 24-001 unless it says otherwise."""
    number = next(_count) if number is None else number
    about = {"object": "24-001", "technique": "retouching", "person": person} | (row or {})
    return {
        "action": name((entry, number, state, str(at), str(more))),
        "entry": name(entry),
        "number": number,
        "made_at": ms(at),
        "state": state,
        "person": person,
        "row": about,
        **more,
    }


def send(
    store: Store,
    *actions: dict[str, Any],
    now: datetime = NOW,
    clock: datetime | None = None,
    phone: str = PHONE,
) -> list[dict[str, Any]]:
    """Send actions as one sending and settle them; what became of each, in their order. `clock`: what the
    phone's clock shows when the right one shows `now`.
    """
    inbox = Inbox(store)
    receipt = inbox.receive({"phone": phone, "clock": ms(clock or now), "actions": list(actions)}, now)
    assert receipt.unread == [] and receipt.received == list(
        dict.fromkeys(item["action"] for item in actions)
    )
    settle(store, now)
    told = {outcome["action"]: outcome for outcome in inbox.outcomes(receipt.received)[0]}
    return [told[item["action"]] for item in actions]


def settle(store: Store, now: datetime = NOW) -> None:
    """Settle everything that waits."""
    inbox = Inbox(store)
    assert inbox.catch_up(now) == 0, inbox.why_waiting


def outcomes(told: list[dict[str, Any]]) -> list[str]:
    return [item["outcome"] for item in told]
