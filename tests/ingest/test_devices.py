"""Devices come in by a code that is good once, and are known by a secret that the database does not hold."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from ingest import backup, people
from ingest.devices import CODE_MINUTES, IDLE_DAYS, Device, Devices, Event
from ingest.errors import BenchHoursError
from ingest.history import Change
from ingest.phone.bench import bench
from ingest.phone.inbox import Inbox
from ingest.phone.settling import settle_all
from ingest.store import Store
from tests.conftest import NOW, Bring
from tests.phones import PHONE, action, ms, name

MINUTE = timedelta(minutes=1)


@pytest.fixture
def devices(store: Store, bring: Bring) -> Devices:
    bring("objects.csv", "object,title\n24-001,Ferry in snow\n24-002,Weir at dusk\n")
    bring("log.csv", "object,phase,technique,person,date,hours\n24-001,,retouching,Ilse,2026-05-20,2\n24-002,,facing,Maud,2026-05-18,1\n")
    return Devices(store)


def paired(devices: Devices, role: str = "logs", person: str | None = "Ilse", **more: Any) -> tuple[Device, str]:
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


@pytest.mark.parametrize(("after", "good"), [(CODE_MINUTES * MINUTE - timedelta(seconds=1), True), (CODE_MINUTES * MINUTE, False), (timedelta(days=1), False)])
def test_a_code_is_good_for_ten_minutes(devices: Devices, after: timedelta, good: bool) -> None:
    code = devices.admit(role="principal", now=NOW)
    assert (devices.pair(code, now=NOW + after) is not None) is good


def test_a_code_that_is_withdrawn_pairs_nothing(devices: Devices) -> None:
    code = devices.admit(role="principal", now=NOW)
    devices.withdraw(code)
    assert devices.pair(code, now=NOW) is None


def test_codes_and_secrets_are_long_enough_and_the_file_holds_neither(tmp_path: Path) -> None:
    """50 bits of a code that is good for ten minutes and a few guesses a minute; 128 bits of a secret (OWASP ASVS 5.0, 7.2.3 asks for 128)."""
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
    assert known and known.revoked_at == NOW and not known.may_come_in(NOW)


def test_a_device_that_nobody_used_for_ninety_days_has_to_be_paired_anew(devices: Devices) -> None:
    device, _ = paired(devices)
    assert device.may_come_in(NOW + timedelta(days=IDLE_DAYS) - MINUTE) and not device.may_come_in(NOW + timedelta(days=IDLE_DAYS))
    devices.keep({device.device: NOW + timedelta(days=80)}, [])
    assert devices.listed()[0].may_come_in(NOW + timedelta(days=160))


def test_a_browser_that_is_paired_again_is_one_device(devices: Devices) -> None:
    first, _ = paired(devices)
    second, _ = devices.pair(devices.admit(role="reviews", now=NOW), in_place_of=first.device, now=NOW) or pytest.fail("refused")
    assert [(one.device, one.revoked_at) for one in devices.listed()] == [(second.device, None), (first.device, NOW)]


def test_devices_of_one_name_are_told_apart_and_can_be_renamed(devices: Devices) -> None:
    assert [paired(devices, name="the tablet")[0].name for _ in range(3)] == ["the tablet", "the tablet 2", "the tablet 3"]
    one = devices.listed()[0]
    devices.rename(one.device, "  in the   lining room ")
    assert devices.of_name(one.device).name == "in the lining room"  # type: ignore[union-attr]
    for wrong in ("", " ", "x" * 61):
        with pytest.raises(BenchHoursError):
            devices.rename(one.device, wrong)


def test_what_cannot_be_a_device_is_refused_in_words(devices: Devices) -> None:
    for said in ({"role": "owner"}, {"role": "logs", "person": "Nobody"}, {"role": "logs", "name": "x" * 61}):
        with pytest.raises(BenchHoursError) as caught:
            devices.admit(**said)
        assert caught.value.mend


def test_a_person_who_is_renamed_keeps_the_device_and_its_name_in_actions(devices: Devices, store: Store) -> None:
    device, _ = paired(devices)
    sent(store, device, action("a", row={"date": "2026-06-01", "hours": "2"}))
    with store.writing() as con:
        people.rename(con, "Ilse", "Ilse B", Change(by="principal", reason="a test", at=NOW))
    assert devices.listed()[0].person == "Ilse B"
    assert settled(store, "a") == ["saved"]


def test_what_goes_on_at_the_door_is_one_row_and_what_happens_later_another(devices: Devices) -> None:
    for minutes, times in ((0, 3), (5, 2), (30, 1)):
        at = NOW + minutes * MINUTE
        devices.keep({}, [Event("a code that is none", "192.0.2.7", at, at, times)])
    assert [(one.times, one.first_at, one.last_at) for one in devices.events()] == [(1, NOW + 30 * MINUTE, NOW + 30 * MINUTE), (5, NOW, NOW + 5 * MINUTE)]


def test_a_backup_that_is_brought_back_does_not_let_in_who_was_sent_away_since(tmp_path: Path) -> None:
    path = tmp_path / "studio.duckdb"
    with Store(path) as store:
        devices = Devices(store)
        device, secret = devices.pair(devices.admit(role="principal")) or pytest.fail("refused")
        copy = backup.back_up(store)
        devices.revoke(device.device)
        later, later_secret = devices.pair(devices.admit(role="logs")) or pytest.fail("refused")
        backup.bring_back(store, copy.file)
        assert devices.of_secret(secret).revoked_at is not None and devices.of_secret(later_secret) == later  # type: ignore[union-attr]
    for damaged in (False, True):
        if damaged:
            path.write_bytes(b"x" * 10_000)
        else:
            path.unlink()
        backup.restore(copy.file, path, force=True)
        with Store(path) as store:
            assert Devices(store).listed() == []  # nobody can tell who was sent away: paired anew


# --- whom a device logs for


def sent(store: Store, device: Device | None, *actions: dict[str, Any]) -> None:
    Inbox(store).receive({"phone": PHONE, "clock": ms(NOW), "actions": list(actions)}, NOW, device=device)


def settled(store: Store, *entries: str) -> list[str]:
    settle_all(store, NOW)
    con = store.cursor()
    return [
        con.execute("SELECT outcome FROM phone_outcomes JOIN phone_actions USING (action) WHERE entry = ? ORDER BY received_at DESC, number DESC LIMIT 1", [name(entry)]).fetchall()[0][0]
        for entry in entries
    ]  # fmt: skip


def faults(store: Store, entry: str) -> str:
    return str(store.cursor().execute("SELECT told FROM phone_outcomes JOIN phone_actions USING (action) WHERE entry = ? ORDER BY number DESC LIMIT 1", [name(entry)]).fetchall()[0][0])  # fmt: skip


def test_a_device_of_one_person_logs_that_persons_entries_only(devices: Devices, store: Store) -> None:
    ilse, _ = paired(devices)
    done = {"date": "2026-06-01", "hours": "2"}
    sent(store, ilse, action("own", row=done), action("other", row=done | {"person": "Maud"}), action("as other", person="Maud", row=done | {"person": "Maud"}))
    assert settled(store, "own", "other", "as other") == ["saved", "refused", "refused"]
    assert "is not whom this device logs for" in faults(store, "other") and "This device logs for Ilse" in faults(store, "other")


@pytest.mark.parametrize("state", ["logged", "struck", "running"])
def test_a_device_of_one_person_changes_no_entry_of_another(devices: Devices, store: Store, state: str) -> None:
    ilse, _ = paired(devices)
    sent(store, None, action("hers", person="Maud", row={"person": "Maud", "date": "2026-06-01", "hours": "2"}))
    assert settled(store, "hers") == ["saved"]
    held = store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").fetchall()
    for person in ("Ilse", "Maud"):
        more = {"taps": {"started_at": ms(NOW - MINUTE)}} if state == "running" else {}
        row = {"person": person} | ({"date": "2026-06-01", "hours": "9"} if state == "logged" else {})
        sent(store, ilse, action("hers", state, at=NOW + MINUTE, row=row, **more))
        assert settled(store, "hers") == ["refused"], person
    assert store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").fetchall() == held


def test_what_waits_by_itself_anybody_takes_off_and_it_stays_a_wait_of_who_began_it(devices: Devices, store: Store) -> None:
    ilse, _ = paired(devices)
    wait = {"technique": "pressing", "mode": "unattended", "person": "Maud"}
    began = NOW - timedelta(hours=5)
    sent(store, None, action("wait", "running", person="Maud", at=began, row=wait, taps={"started_at": ms(began)}))
    assert settled(store, "wait") == ["saved"]
    taps = {"started_at": ms(began), "ended_at": ms(NOW - MINUTE)}
    for wrong in ({"mode": "hands_on"}, {"mode": ""}):
        sent(store, ilse, action("wait", at=NOW - MINUTE, row=wait | wrong, taps=taps))
        assert settled(store, "wait") == ["refused"], wrong
    sent(store, ilse, action("wait", at=NOW - MINUTE, row=wait | {"person": "Ilse"}, taps=taps))
    assert settled(store, "wait") == ["refused"]
    sent(store, ilse, action("wait", at=NOW - MINUTE, row=wait, taps=taps))
    assert settled(store, "wait") == ["saved"]
    assert store.cursor().execute("SELECT person, mode FROM time_entries WHERE entry = ?", [name("wait")]).fetchall() == [("Maud", "unattended")]


def test_a_shared_device_and_one_of_the_principal_log_for_anybody(devices: Devices, store: Store) -> None:
    for number, (role, person) in enumerate((("logs", None), ("principal", None), ("principal", "Ilse"))):
        device, _ = paired(devices, role, person)
        sent(store, device, action(f"m{number}", person="Maud", row={"person": "Maud", "date": "2026-06-01", "hours": "1"}))
        assert settled(store, f"m{number}") == ["saved"]


def test_a_shared_device_is_told_no_titles(devices: Devices, store: Store) -> None:
    assert [one.get("title") for one in bench(store.cursor(), now=NOW)["works"]] == ["Ferry in snow", "Weir at dusk"]
    assert all("title" not in one for one in bench(store.cursor(), now=NOW, titles=False)["works"])


def test_codes_are_read_back_from_the_record_by_nobody(devices: Devices, store: Store) -> None:
    """Not by an export either: see `test_export` for what leaves."""
    code = devices.admit(role="logs", now=NOW, name="n")
    told = str(store.cursor().execute("SELECT * FROM pairing_codes").fetchall())
    assert code not in told and code.replace("-", "") not in told
