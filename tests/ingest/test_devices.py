"""Devices come in by a code that is good once, and are known by a secret that the database does not hold."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from ingest.devices import CODE_MINUTES, IDLE_DAYS, MOST_DAYS, Device, Devices, Event
from ingest.errors import BenchHoursError
from ingest.phone.form_state import bench
from ingest.phone.inbox import Inbox
from ingest.safekeeping import backup, restore
from ingest.store import Store
from ingest.studio import people
from ingest.tables.audit_log import Change
from tests import prepared
from tests.conftest import CHANGE, NOW, Bring, bring_into
from tests.phones import PHONE, action, ms, name, quick_digest, settle

MINUTE = timedelta(minutes=1)


def _two_hours(store: Store, folder: Path) -> None:
    bring_into(
        store,
        folder,
        "log.csv",
        "object,phase,technique,person,date,hours\n24-001,,retouching,Ilse,2026-05-20,2\n24-002,,facing,Maud,2026-05-18,1\n",
    )


@pytest.fixture
def store() -> Iterator[Store]:
    """A studio with two works; Ilse and Maud have logged hours on one each."""
    with prepared.copied("two hours", _two_hours) as opened:
        yield opened


@pytest.fixture
def devices(store: Store, monkeypatch: pytest.MonkeyPatch) -> Devices:
    """Devices whose codes are digested quickly; tests with a file of their own digest them as slowly as it is
    done.
    """
    monkeypatch.setattr("ingest.devices._slow_digest", quick_digest)
    return Devices(store)


def paired(
    devices: Devices, role: str = "logs", person: str | None = "Ilse", **more: Any
) -> tuple[Device, str]:
    found = devices.pair(devices.admit(role=role, person=person, now=NOW, **more), now=NOW)
    assert found
    return found


def test_a_code_pairs_one_device_and_is_used_up(devices: Devices) -> None:
    code = devices.admit(role="logs", person=" ILSE", now=NOW)
    device, secret = devices.pair(f" {code.lower().replace('-', ' ')} ", now=NOW) or pytest.fail("refused")
    assert (device.person, device.role, device.name) == ("Ilse", "logs", "Ilse's device")
    assert devices.of_secret(secret) == device and devices.of_name(device.device) == device
    assert devices.pair(code, now=NOW) is None
    assert devices.listed() == [device]


@pytest.mark.parametrize(
    ("after", "good"),
    [
        (CODE_MINUTES * MINUTE - timedelta(seconds=1), True),
        (CODE_MINUTES * MINUTE, False),
        (timedelta(days=1), False),
    ],
)
def test_a_code_is_good_for_ten_minutes(devices: Devices, after: timedelta, good: bool) -> None:
    code = devices.admit(role="principal", now=NOW)
    assert (devices.pair(code, now=NOW + after) is not None) is good


def test_a_code_that_is_withdrawn_pairs_nothing(devices: Devices) -> None:
    code = devices.admit(role="principal", now=NOW)
    devices.withdraw(code)
    assert devices.pair(code, now=NOW) is None


def test_codes_and_secrets_are_long_enough_and_the_file_holds_neither(tmp_path: Path) -> None:
    """50 bits of a code that is good for ten minutes and a few guesses a minute; 128 bits of a secret (OWASP
    ASVS 5.0, 7.2.3 asks for 128).
    """
    path = tmp_path / "studio.duckdb"
    with Store(path) as store:
        devices = Devices(store)
        used, waiting = devices.admit(role="principal"), devices.admit(role="logs")
        _, secret = devices.pair(used) or pytest.fail("refused")
        store.cursor().execute("CHECKPOINT")
    assert len(set("".join(used.split("-")))) > 3 and len(used.replace("-", "")) * 5 == 50
    assert len(bytes.fromhex(secret)) * 8 == 128
    content = path.read_bytes()
    for text in (secret, used, waiting, used.replace("-", ""), waiting.replace("-", "")):
        assert text.encode() not in content and bytes.fromhex(secret) not in content


def test_a_device_that_was_sent_away_is_known_and_may_not_come_in(devices: Devices) -> None:
    device, secret = paired(devices)
    devices.revoke(device.device, NOW)
    known = devices.of_secret(secret)
    assert known and known.revoked_at == NOW and not known.is_admitted(NOW)


def test_a_device_that_nobody_used_for_ninety_days_has_to_be_paired_anew(devices: Devices) -> None:
    device, _ = paired(devices)
    assert device.is_admitted(NOW + timedelta(days=IDLE_DAYS) - MINUTE) and not device.is_admitted(
        NOW + timedelta(days=IDLE_DAYS)
    )
    devices.keep({device.device: NOW + timedelta(days=80)}, [])
    assert devices.listed()[0].is_admitted(NOW + timedelta(days=160))


def test_a_device_is_paired_anew_after_two_years_however_often_it_is_used(devices: Devices) -> None:
    device, _ = paired(devices)
    for days, good in ((MOST_DAYS - 1, True), (MOST_DAYS, False)):
        devices.keep({device.device: NOW + timedelta(days=days)}, [])
        assert devices.listed()[0].is_admitted(NOW + timedelta(days=days)) is good


def test_only_the_latest_codes_wait(devices: Devices) -> None:
    codes = [devices.admit(role="logs", now=NOW + timedelta(seconds=number)) for number in range(10)]
    assert [devices.pair(code, now=NOW + MINUTE) is not None for code in codes] == [False] * 2 + [True] * 8


def test_two_that_use_one_code_at_once_are_one_device(devices: Devices) -> None:
    code = devices.admit(role="principal", now=NOW)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: devices.pair(code, now=NOW), range(16)))
    assert sum(item is not None for item in found) == 1 == len(devices.listed())


def test_a_browser_that_is_paired_again_is_one_device(devices: Devices) -> None:
    first, _ = paired(devices)
    second, _ = devices.pair(
        devices.admit(role="reviews", now=NOW), in_place_of=first.device, now=NOW
    ) or pytest.fail("refused")
    assert [(item.device, item.revoked_at) for item in devices.listed()] == [
        (second.device, None),
        (first.device, NOW),
    ]


def test_devices_of_one_name_are_told_apart_and_can_be_renamed(devices: Devices) -> None:
    assert [paired(devices, name="the tablet")[0].name for _ in range(3)] == [
        "the tablet",
        "the tablet 2",
        "the tablet 3",
    ]
    one = devices.listed()[0]
    devices.rename(one.device, "  in the   lining room ")
    assert devices.of_name(one.device).name == "in the lining room"  # type: ignore[union-attr]
    for wrong in ("", " ", "x" * 61, "the tablet 2"):
        with pytest.raises(BenchHoursError):
            devices.rename(one.device, wrong)


def test_what_cannot_be_a_device_is_refused_in_words(devices: Devices) -> None:
    wrong: list[dict[str, Any]] = [
        {"role": "owner"},
        {"role": "logs", "person": "Nobody"},
        {"role": "logs", "name": "x" * 61},
    ]
    for device in wrong:
        with pytest.raises(BenchHoursError) as caught:
            devices.admit(**device)
        assert caught.value.mend


def test_a_person_who_is_renamed_keeps_the_device_and_its_name_in_actions(
    devices: Devices, store: Store
) -> None:
    device, _ = paired(devices)
    sent(store, device, action("a", row={"date": "2026-06-01", "hours": "2"}))
    with store.writing() as con:
        people.rename(con, "Ilse", "Ilse B", Change(by="principal", reason="a test", at=NOW))
    assert devices.listed()[0].person == "Ilse B" and devices.listed()[0].is_admitted(NOW)
    assert settled(store, "a") == ["saved"]


def test_a_device_stays_its_persons_when_joining_two_is_undone_by_a_backup(tmp_path: Path) -> None:
    with Store(tmp_path / "studio.duckdb") as store:
        bring_into(store, tmp_path, "objects.csv", "object\n24-001\n")
        bring_into(
            store,
            tmp_path,
            "log.csv",
            "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2026-05-20,2\n24-001,,facing,Maud,2026-05-18,1\n",
        )
        devices = Devices(store)
        device, _ = paired(devices)
        copy = backup.back_up(store)
        with store.writing() as con:
            people.join(con, "Ilse", "Maud", CHANGE)
        assert devices.listed()[0].person == "Maud"
        with store.writing() as con:
            people.rename(con, "Maud", "Maud Q", CHANGE)
        later, _ = devices.pair(devices.admit(role="logs", person="Maud Q", now=NOW), now=NOW) or pytest.fail(
            "refused"
        )
        restore.restore_into(store, copy.file)
        now = {item.device: item for item in devices.listed()}
        assert now[device.device].person == "Ilse" and now[device.device].is_admitted(NOW)
        assert not now[later.device].is_admitted(NOW)  # nobody is called so any more


def test_a_device_of_a_person_who_left_comes_in_no_more(devices: Devices, store: Store) -> None:
    device, _ = paired(devices)
    with store.writing() as con:
        people.leave(con, "Ilse", (NOW + timedelta(days=2)).date(), CHANGE)
    assert devices.listed()[0].is_admitted(NOW) and not devices.listed()[0].is_admitted(
        NOW + timedelta(days=2)
    )
    with store.writing() as con:
        people.leave(con, "Ilse", None, CHANGE)
    assert devices.of_name(device.device).is_admitted(NOW + timedelta(days=2))  # type: ignore[union-attr]


def test_a_backup_holds_no_device_that_could_come_in_where_it_is_opened(tmp_path: Path) -> None:
    with Store(tmp_path / "studio.duckdb") as store:
        devices = Devices(store)
        devices.pair(devices.admit(role="principal"))
        devices.admit(role="principal")
        copy = backup.back_up(store)
    with Store(copy.file) as opened:
        assert (
            Devices(opened).listed() == [] and opened.cursor().execute("FROM pairing_codes").fetchall() == []
        )


def test_what_goes_on_at_the_door_is_one_row_and_what_happens_later_another(devices: Devices) -> None:
    for minutes, times in ((0, 3), (5, 2), (30, 1)):
        at = NOW + minutes * MINUTE
        devices.keep({}, [Event("a code that is none", "192.0.2.7", at, at, times)])
    assert [(event.times, event.first_at, event.last_at) for event in devices.events()] == [
        (1, NOW + 30 * MINUTE, NOW + 30 * MINUTE),
        (5, NOW, NOW + 5 * MINUTE),
    ]


def test_a_backup_that_is_brought_back_does_not_let_in_who_was_sent_away_since(tmp_path: Path) -> None:
    path = tmp_path / "studio.duckdb"
    with Store(path) as store:
        devices = Devices(store)
        device, secret = devices.pair(devices.admit(role="principal")) or pytest.fail("refused")
        copy = backup.back_up(store)
        devices.revoke(device.device)
        later, later_secret = devices.pair(devices.admit(role="logs")) or pytest.fail("refused")
        restore.restore_into(store, copy.file)
        assert devices.of_secret(secret).revoked_at is not None and devices.of_secret(later_secret) == later  # type: ignore[union-attr]
    for damaged in (False, True):
        if damaged:
            path.write_bytes(b"x" * 10_000)
        else:
            path.unlink()
        restore.restore(copy.file, path, force=True)
        with Store(path) as store:
            assert Devices(store).listed() == []  # nobody can tell who was sent away: paired anew


# --- whom a device logs for


def sent(store: Store, device: Device | None, *actions: dict[str, Any]) -> None:
    Inbox(store).receive({"phone": PHONE, "clock": ms(NOW), "actions": list(actions)}, NOW, device=device)


def settled(store: Store, *entries: str) -> list[str]:
    settle(store, NOW)
    con = store.cursor()
    return [
        con.execute(
            "SELECT outcome FROM phone_outcomes JOIN phone_actions USING (action) WHERE entry = ? ORDER BY"
            " received_at DESC, number DESC LIMIT 1",
            [name(entry)],
        ).fetchall()[0][0]
        for entry in entries
    ]


def faults(store: Store, entry: str) -> str:
    return str(
        store.cursor()
        .execute(
            "SELECT told FROM phone_outcomes JOIN phone_actions USING (action) WHERE entry = ? ORDER BY"
            " number DESC LIMIT 1",
            [name(entry)],
        )
        .fetchall()[0][0]
    )


def test_a_device_of_one_person_logs_that_persons_entries_only(devices: Devices, store: Store) -> None:
    ilse, _ = paired(devices)
    done = {"date": "2026-06-01", "hours": "2"}
    sent(
        store,
        ilse,
        action("own", row=done),
        action("other", row=done | {"person": "Maud"}),
        action("as other", person="Maud", row=done | {"person": "Maud"}),
    )
    assert settled(store, "own", "other", "as other") == ["saved", "refused", "refused"]
    assert "is not whom this device logs for" in faults(
        store, "other"
    ) and "This device logs for Ilse" in faults(store, "other")


@pytest.mark.parametrize("state", ["logged", "struck", "running"])
def test_a_device_of_one_person_changes_no_entry_of_another(
    devices: Devices, store: Store, state: str
) -> None:
    ilse, _ = paired(devices)
    sent(
        store, None, action("hers", person="Maud", row={"person": "Maud", "date": "2026-06-01", "hours": "2"})
    )
    assert settled(store, "hers") == ["saved"]
    held = store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").fetchall()
    for person in ("Ilse", "Maud"):
        more: dict[str, Any] = {"taps": {"started_at": ms(NOW - MINUTE)}} if state == "running" else {}
        row = {"person": person} | ({"date": "2026-06-01", "hours": "9"} if state == "logged" else {})
        sent(store, ilse, action("hers", state, at=NOW + MINUTE, row=row, **more))
        assert settled(store, "hers") == ["refused"], person
    assert store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").fetchall() == held


WAIT = {
    "technique": "pressing",
    "phase": "structural repair",
    "mode": "unattended",
    "charge": "quoted",
    "person": "Maud",
}
BEGAN = NOW - timedelta(hours=5)
TAPS = {"started_at": ms(BEGAN), "ended_at": ms(NOW - MINUTE)}


@pytest.fixture
def waiting(devices: Devices, store: Store) -> Device:
    """Maud has a pressing in hand; the device of Ilse."""
    sent(
        store,
        None,
        action("wait", "running", person="Maud", at=BEGAN, row=WAIT, taps={"started_at": ms(BEGAN)}),
    )
    assert settled(store, "wait") == ["saved"]
    return paired(devices)[0]


def held_wait(store: Store) -> list[tuple[Any, ...]]:
    return (
        store.cursor()
        .execute(
            "SELECT person, mode, object, technique, started_at FROM time_entries WHERE entry = ?",
            [name("wait")],
        )
        .fetchall()
    )


def test_what_waits_by_itself_anybody_takes_off_and_it_stays_a_wait_of_who_began_it(
    waiting: Device, store: Store
) -> None:
    wrong: list[dict[str, Any]] = [
        {"row": {"mode": "hands_on"}},
        {"row": {"person": "Ilse"}},
        {"row": {"object": "24-002"}},
        {"row": {"technique": "lining"}},
        {"row": {"part": "frame"}},
        {"row": {"charge": "own_cost"}},
        {"row": {"discovery": "yes"}},
        {"taps": {**TAPS, "started_at": ms(BEGAN - timedelta(hours=1))}},
        {"row": {"object": ""}, "works": [{"object": "24-001"}, {"object": "24-002"}]},
        {"state": "struck"},
    ]
    for item in wrong:
        said = {"taps": TAPS, **item, "row": WAIT | item.get("row", {})}
        sent(store, waiting, action("wait", said.pop("state", "logged"), at=NOW - MINUTE, **said))
        assert settled(store, "wait") == ["refused"], item
    assert held_wait(store) == []
    sent(
        store,
        waiting,
        action("wait", at=NOW - MINUTE, row=WAIT | {"done": "50", "note": "weights off"}, taps=TAPS),
    )
    assert settled(store, "wait") == ["saved"]
    assert held_wait(store) == [("Maud", "unattended", "24-001", "pressing", BEGAN)]


def test_who_took_a_wait_off_may_say_more_of_it_or_take_that_back_and_no_other_device_may(
    waiting: Device, devices: Devices, store: Store
) -> None:
    other, _ = paired(devices)
    sent(store, waiting, action("wait", at=NOW - 5 * MINUTE, row=WAIT, taps=TAPS))
    assert settled(store, "wait") == ["saved"]
    sent(store, other, action("wait", at=NOW - 4 * MINUTE, row=WAIT | {"note": "mine"}, taps=TAPS))
    assert settled(store, "wait") == ["refused"]
    sent(store, waiting, action("wait", at=NOW - 3 * MINUTE, row=WAIT | {"note": "weights off"}, taps=TAPS))
    assert settled(store, "wait") == ["saved"]
    sent(
        store,
        waiting,
        action("wait", "running", at=NOW - 2 * MINUTE, row=WAIT, taps={"started_at": ms(BEGAN)}),
    )
    assert settled(store, "wait") == ["saved"] and held_wait(store) == []


@pytest.mark.parametrize("state", ["logged", "struck", "running"])
def test_a_wait_that_is_logged_already_is_changed_by_nobody_elses_device(
    devices: Devices, bring: Bring, store: Store, state: str
) -> None:
    bring(
        "waits.csv",
        "entry,object,phase,technique,person,started_at,ended_at,mode\nslip-1,24-001,,pressing,Maud,2026-05-01"
        " 10:00,2026-05-02 10:00,unattended\n",
    )
    ilse, _ = paired(devices)
    held = store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").fetchall()
    taps = {"started_at": ms(NOW - timedelta(days=31))} | ({"ended_at": ms(NOW)} if state == "logged" else {})
    sent(store, ilse, action("x", state, row=WAIT, taps=taps) | {"entry": "slip-1"})
    settle(store, NOW)
    assert store.cursor().execute("SELECT outcome FROM phone_outcomes").fetchall() == [("refused",)]
    assert store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").fetchall() == held


def test_a_note_on_a_wait_of_somebody_else_is_not_told(waiting: Device, store: Store) -> None:
    sent(
        store,
        None,
        action(
            "noted",
            "running",
            person="Maud",
            at=BEGAN,
            row=WAIT | {"object": "24-002", "note": "as Bankside asked"},
            taps={"started_at": ms(BEGAN)},
        ),
    )
    settle(store, NOW)
    assert "Bankside" in str(bench(store.cursor(), "Maud", now=NOW)["in_hand"]) and "Bankside" not in str(
        bench(store.cursor(), "Ilse", now=NOW)["in_hand"]
    )


def test_a_shared_device_and_one_of_the_principal_log_for_anybody(devices: Devices, store: Store) -> None:
    for number, (role, person) in enumerate((("logs", None), ("principal", None), ("principal", "Ilse"))):
        device, _ = paired(devices, role, person)
        sent(
            store,
            device,
            action(f"m{number}", person="Maud", row={"person": "Maud", "date": "2026-06-01", "hours": "1"}),
        )
        assert settled(store, f"m{number}") == ["saved"]


def test_a_shared_device_is_told_no_titles(devices: Devices, store: Store) -> None:
    assert [item.get("title") for item in bench(store.cursor(), now=NOW)["works"]] == [
        "Ferry in snow",
        "Weir at dusk",
    ]
    assert all("title" not in item for item in bench(store.cursor(), now=NOW, titles=False)["works"])


def test_codes_are_read_back_from_the_record_by_nobody(devices: Devices, store: Store) -> None:
    """Not by an export either: see `test_export` for what leaves."""
    code = devices.admit(role="logs", now=NOW, name="n")
    told = str(store.cursor().execute("SELECT * FROM pairing_codes").fetchall())
    assert code not in told and code.replace("-", "") not in told
