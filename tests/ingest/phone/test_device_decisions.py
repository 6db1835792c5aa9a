"""A device that logs corrects its own last days; the rest waits for the principal, who can also take back all
that a device did.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from ingest.devices import Device, Devices
from ingest.editing import corrections
from ingest.importing.files import import_files
from ingest.phone import apply_actions, device_decisions
from ingest.phone.form_state import bench
from ingest.phone.inbox import Inbox
from ingest.phone.verdicts import MOST_CHANGES
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store, migrations
from ingest.studio import people
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import Change
from tests import prepared
from tests.conftest import NOW, Bring, bring_into
from tests.frames import record
from tests.phones import PHONE, action, ms, name, quick_digest, settle
from tests.prepared import new_store

TODAY = NOW.date()
CHANGE = Change(by="principal", reason="decided", at=NOW + timedelta(hours=1))
HEAD = "entry,object,phase,technique,person,date,hours\n"


def _twenty_days(store: Store, folder: Path) -> None:
    """Of Ilse and of Maud one entry for each of the last twenty days, by her name and the days back."""
    rows = (
        f"{who}-{back},24-001,,retouching,{who},{TODAY - timedelta(days=back)},2\n"
        for who in ("Ilse", "Maud")
        for back in range(20)
    )
    bring_into(store, folder, "log.csv", HEAD + "".join(rows))


@pytest.fixture
def store(request: pytest.FixtureRequest) -> Iterator[Store]:
    """A studio with two works; with `devices`, one of Ilse and Maud."""
    if "devices" not in request.fixturenames:
        with prepared.new_studio(works=True) as opened:
            yield opened
        return
    with prepared.copied("twenty days", _twenty_days) as opened:
        yield opened


@pytest.fixture
def devices(store: Store, monkeypatch: pytest.MonkeyPatch) -> Devices:
    """The devices of a studio of Ilse and Maud."""
    monkeypatch.setattr("ingest.devices._slow_digest", quick_digest)
    return Devices(store)


def paired(devices: Devices, person: str | None = None, role: str = "logs") -> Device:
    found = devices.pair(devices.admit(role=role, person=person))
    assert found
    return found[0]


_numbers = iter(range(10**8, 10**9))


def word(
    entry: str,
    state: str = "logged",
    *,
    day: date = TODAY,
    hours: str = "3",
    person: str = "Ilse",
    at: datetime = NOW,
    **more: Any,
) -> dict[str, Any]:
    """A word on an entry that a file named."""
    row = {"date": f"{day}", "hours": hours} if state == "logged" else {}
    return {
        **action(entry, state, at=at, person=person, number=next(_numbers), row=row, **more),
        "entry": entry,
    }


def send(store: Store, device: Device | None, *words: dict[str, Any], now: datetime = NOW) -> list[str]:
    """Send words and settle them; the outcome of each."""
    inbox = Inbox(store)
    for first in range(0, len(words), 200):
        inbox.receive(
            {"phone": PHONE, "clock": ms(now), "actions": list(words[first : first + 200])},
            now,
            device=device,
        )
    settle(store, now)
    told = {
        outcome["action"]: outcome["outcome"]
        for outcome in inbox.outcomes([item["action"] for item in words])[0]
    }
    return [told[item["action"]] for item in words]


def hours(store: Store) -> dict[str, float]:
    return dict(store.cursor().execute("SELECT entry, hours FROM time_entries").fetchall())


def everything(store: Store) -> list[tuple[Any, ...]]:
    return store.cursor().execute("SELECT * EXCLUDE (line) FROM time_entries ORDER BY entry").fetchall()


def decide(store: Store, decision: device_decisions.Decision, **of: Any) -> dict[str, int]:
    return device_decisions.decide(store, decision, CHANGE, now=CHANGE.at, **of)


# --- what a device may change


@pytest.mark.parametrize("state", ["logged", "struck"])
@pytest.mark.parametrize(
    ("back", "outcome"), [(0, "saved"), (7, "saved"), (8, "held back"), (19, "held back")]
)
def test_a_device_of_a_person_changes_that_persons_last_seven_days(
    devices: Devices, store: Store, state: str, back: int, outcome: str
) -> None:
    before = everything(store)
    assert send(
        store, paired(devices, "Ilse"), word(f"Ilse-{back}", state, day=TODAY - timedelta(days=back))
    ) == [outcome]
    if outcome == "held back":
        assert everything(store) == before
    else:
        assert hours(store).get(f"Ilse-{back}") == (None if state == "struck" else 3.0)


def test_it_counts_when_a_word_arrived_and_no_clock_of_a_phone_makes_it_earlier(
    devices: Devices, store: Store
) -> None:
    long_ago = NOW - timedelta(days=15)
    told = Inbox(store).receive(
        {"phone": PHONE, "clock": ms(NOW), "actions": [word("Ilse-19", "struck", at=long_ago)]},
        NOW,
        device=paired(devices, "Ilse"),
    )
    settle(store)
    assert Inbox(store).outcomes(told.received)[0][0]["outcome"] == "held back"


def test_a_day_is_one_of_the_studio(devices: Devices, store: Store) -> None:
    """At half past eleven in the evening in UTC it is the next day in Berlin already."""
    late = datetime.combine(TODAY, datetime.min.time()) + timedelta(hours=23, minutes=30)
    assert send(store, paired(devices, "Ilse"), word("Ilse-7", "struck"), now=late) == ["held back"]


def test_a_day_is_one_of_the_studio_west_of_greenwich_too(
    devices: Devices, studio: Bring, store: Store
) -> None:
    """Eight in the evening is the next day in UTC already."""
    with store.writing() as con:
        write_settings(con, {"zone": "America/Los_Angeles"})
    days = {back: TODAY - timedelta(days=back) for back in (7, 8)}
    rows = "".join(
        f"late-{back},24-001,,retouching,Ilse,{day}T19:00,{day}T20:00\n" for back, day in days.items()
    )
    studio("late.csv", "entry,object,phase,technique,person,started_at,ended_at\n" + rows)
    noon = datetime.combine(TODAY, datetime.min.time()) + timedelta(hours=20)
    assert {item["entry"] for item in bench(store.cursor(), "Ilse", now=noon)["entries"]} & {
        "late-7",
        "late-8",
    } == {"late-7"}
    assert send(
        store, paired(devices, "Ilse"), word("late-7", "struck"), word("late-8", "struck"), now=noon
    ) == ["saved", "held back"]


def test_new_entries_of_any_day_come_in_from_any_device(devices: Devices, store: Store) -> None:
    old = [
        word(name(("new", number)), day=date(2026, 4, 1) + timedelta(days=number % 28))
        for number in range(2 * MOST_CHANGES)
    ]
    assert send(store, paired(devices, "Ilse"), *old[:MOST_CHANGES]) == ["saved"] * MOST_CHANGES
    assert send(store, paired(devices), *old[MOST_CHANGES:]) == ["saved"] * MOST_CHANGES


def test_a_shared_device_changes_only_what_was_logged_on_it(devices: Devices, store: Store) -> None:
    shared, other = paired(devices), paired(devices, "Ilse")
    here, there = word(name("here"), person="Maud"), word(name("there"))
    here["row"]["person"] = "Maud"
    assert send(store, shared, here) == ["saved"] and send(store, other, there) == ["saved"]
    words = [word("Ilse-0", "struck"), word(name("there"), "struck"), word("Maud-1", hours="9")]
    assert send(store, shared, *words) == ["held back"] * 3
    assert (
        send(store, shared, word(name("here"), hours="1")) == ["saved"] and hours(store)[name("here")] == 1.0
    )
    assert send(store, shared, word(name("here"), "struck")) == ["saved"]
    assert hours(store).keys() >= {"Ilse-0", name("there"), "Maud-1"}


def test_what_the_principal_took_in_is_not_made_on_the_device(devices: Devices, store: Store) -> None:
    shared, later = paired(devices), CHANGE.at + timedelta(minutes=1)
    assert send(store, shared, word("Ilse-0", hours="5")) == ["held back"]
    corrections.take_back(
        store, "Ilse-0", Change(by="principal", reason="twice", at=NOW + timedelta(minutes=1))
    )
    assert decide(store, "taken in") == {"saved": 1} and hours(store)["Ilse-0"] == 5.0
    assert send(store, shared, word("Ilse-0", hours="7", at=later), now=later) == ["held back"]


def test_a_shared_device_keeps_to_the_week_too(devices: Devices, store: Store) -> None:
    shared = paired(devices)
    assert send(store, shared, word(name("here"))) == ["saved"]
    later = NOW + timedelta(days=8)
    assert send(store, shared, word(name("here"), "struck", at=later), now=later) == ["held back"]


def test_a_shared_device_that_strikes_everything_strikes_nothing(devices: Devices, store: Store) -> None:
    before = everything(store)
    assert set(send(store, paired(devices), *[word(entry, "struck") for entry in hours(store)])) == {
        "held back"
    }
    assert everything(store) == before


def test_more_than_a_few_dozen_changes_in_a_day_wait_and_the_next_day_has_its_own(
    devices: Devices, studio: Bring, store: Store
) -> None:
    many = range(MOST_CHANGES + 5)
    studio(
        "more.csv",
        HEAD + "".join(f"m-{n},24-001,,retouching,Ilse,{TODAY - timedelta(days=n % 5)},0.1\n" for n in many),
    )
    ilse = paired(devices, "Ilse")
    told = send(store, ilse, *[word(f"m-{n}", "struck") for n in many])
    assert sorted(told) == ["held back"] * 5 + ["saved"] * MOST_CHANGES
    assert send(store, ilse, word("Ilse-0", "struck")) == ["held back"]
    again = told.index("saved")
    # not held any more: it is made anew
    assert send(store, ilse, word(f"m-{again}", hours="0.2")) == ["saved"]
    # another device of hers
    assert send(store, paired(devices, "Ilse"), word("Ilse-1", "struck")) == ["saved"]
    later = NOW + timedelta(hours=25)
    assert send(store, ilse, word("Ilse-2", "struck", at=later), now=later) == ["saved"]


def test_the_last_change_of_a_day_may_be_said_again(devices: Devices, studio: Bring, store: Store) -> None:
    many = range(MOST_CHANGES)
    studio(
        "more.csv",
        HEAD + "".join(f"m-{n},24-001,,retouching,Ilse,{TODAY - timedelta(days=n % 5)},0.1\n" for n in many),
    )
    ilse, later = paired(devices, "Ilse"), NOW + timedelta(minutes=1)
    assert set(send(store, ilse, *[word(f"m-{n}", hours="0.2") for n in many])) == {"saved"}
    assert send(
        store, ilse, word("m-0", hours="0.3", at=later), word("Ilse-0", "struck", at=later), now=later
    ) == ["saved", "held back"]


def test_changes_that_the_principal_took_in_do_not_count_for_the_device(
    devices: Devices, studio: Bring, store: Store
) -> None:
    many = range(MOST_CHANGES)
    studio(
        "old.csv",
        HEAD
        + "".join(f"m-{n},24-001,,retouching,Ilse,{TODAY - timedelta(days=30 + n % 5)},0.1\n" for n in many),
    )
    ilse = paired(devices, "Ilse")
    assert set(send(store, ilse, *[word(f"m-{n}", hours="0.2") for n in many])) == {"held back"}
    assert decide(store, "taken in") == {"saved": MOST_CHANGES}
    later = CHANGE.at + timedelta(minutes=1)
    assert send(store, ilse, word("Ilse-0", "struck", at=later), now=later) == ["saved"]


@pytest.mark.parametrize("device", ["principal", "here"])
def test_the_principal_changes_anything(devices: Devices, store: Store, device: str) -> None:
    words = [word(entry, "struck") for entry in hours(store)]
    of = None if device == "here" else paired(devices, None, "principal")
    assert set(send(store, of, *words)) == {"saved"} and hours(store) == {}


def test_a_wait_of_weeks_that_was_just_taken_off_may_still_be_said_more_of(
    devices: Devices, store: Store
) -> None:
    ilse, began = paired(devices, "Ilse"), NOW - timedelta(days=20)
    row = {"technique": "pressing", "mode": "unattended"}
    begin = action("press", "running", at=began, row=row, taps={"started_at": ms(began)})
    assert send(store, ilse, begin) == ["saved"]
    taps = {"started_at": ms(began), "ended_at": ms(NOW)}
    assert send(store, ilse, action("press", row=row, taps=taps)) == ["saved"]
    assert [item["entry"] for item in bench(store.cursor(), "Ilse", now=NOW)["entries"]].count(
        name("press")
    ) == 1
    assert send(store, ilse, action("press", row=row | {"note": "dry"}, taps=taps)) == ["saved"]


def test_many_words_on_one_old_entry_are_one_to_decide_on(devices: Devices, store: Store) -> None:
    told = send(
        store,
        paired(devices, "Ilse"),
        *[word("Ilse-19", hours=f"1.{n:02}", at=NOW + timedelta(seconds=n)) for n in range(50)],
        now=NOW + timedelta(minutes=2),
    )
    assert told == ["overtaken"] * 49 + ["held back"]
    assert len(device_decisions.held_back(store.cursor(), 10)) == 1


def test_what_one_device_asks_makes_the_question_of_another_no_less_open(
    devices: Devices, store: Store
) -> None:
    first, second = paired(devices, "Ilse"), paired(devices, "Ilse")
    later = NOW + timedelta(minutes=1)
    assert send(store, first, word("Ilse-19", hours="1")) == ["held back"]
    assert send(store, second, word("Ilse-19", hours="4", at=later), now=later) == ["held back"]
    assert {device: one.count for device, one in device_decisions.counts(store.cursor()).items()} == {
        first.device: 1,
        second.device: 1,
    }


# --- the principal decides


@pytest.fixture
def device(devices: Devices, store: Store) -> Device:
    """Ilse's device corrected one entry of hers that lies far back, and struck another."""
    ilse = paired(devices, "Ilse")
    assert (
        send(store, ilse, word("Ilse-19", day=TODAY - timedelta(days=19)), word("Ilse-18", "struck"))
        == ["held back"] * 2
    )
    return ilse


def test_what_waits_is_told_with_what_is_held_and_why(device: Device, store: Store) -> None:
    found = device_decisions.held_back(store.cursor(), 10)
    assert [
        (item.device_name, item.action_data["state"], item.entries[0]["hours"], item.why) for item in found
    ] == [
        (device.name, "logged", 2.0, "it waits for the principal, as the entry lies more than 7 days back"),
        (device.name, "struck", 2.0, "it waits for the principal, as the entry lies more than 7 days back"),
    ]
    assert (
        device_decisions.counts(store.cursor())
        == {device.device: device_decisions.Waiting(device_name=device.name, count=2, until=NOW)}
        and len(device_decisions.held_back(store.cursor(), 1)) == 1
    )
    assert device_decisions.held_back(store.cursor(), 10, "another") == []
    assert bench(store.cursor(), "Ilse", now=NOW)["held_back"] == 2 and "held_back" not in bench(
        store.cursor(), "Maud", now=NOW
    )


def test_what_is_taken_in_comes_into_the_record_and_what_is_left_out_never_does(
    device: Device, store: Store
) -> None:
    first, second = device_decisions.held_back(store.cursor(), 10)
    assert decide(store, "taken in", actions=[first.action]) == {"saved": 1}
    assert decide(store, "left out", actions=[second.action]) == {"left out": 1}
    assert hours(store)["Ilse-19"] == 3.0 and hours(store)["Ilse-18"] == 2.0
    assert device_decisions.counts(store.cursor()) == {} and apply_actions.waiting(store.cursor()) == 0
    assert decide(store, "taken in", actions=[second.action]) == {}  # decided once
    assert store.cursor().execute(
        "SELECT changed_by, earlier->>'hours' FROM history WHERE key = 'Ilse-19'"
    ).fetchall() == [("Ilse", "2.0")]
    assert "held_back" not in bench(store.cursor(), "Ilse", now=NOW)


def test_all_that_one_device_asks_is_decided_at_once_and_that_of_another_is_not(
    device: Device, devices: Devices, store: Store
) -> None:
    maud = paired(devices, "Maud")
    other = word("Maud-19", "struck", person="Maud")
    other["row"]["person"] = "Maud"
    assert send(store, maud, other) == ["held back"]
    assert decide(store, "taken in", device=device.device) == {"saved": 2}
    assert set(device_decisions.counts(store.cursor())) == {maud.device}
    assert decide(store, "left out") == {"left out": 1}


def test_what_came_after_it_was_counted_is_not_decided_with_it(device: Device, store: Store) -> None:
    until, later = device_decisions.counts(store.cursor())[device.device].until, NOW + timedelta(minutes=1)
    assert send(store, device, word("Ilse-17", "struck", at=later), now=later) == ["held back"]
    assert decide(store, "taken in", device=device.device, until=until) == {"saved": 2}
    assert [item.entries[0]["entry"] for item in device_decisions.held_back(store.cursor(), 10)] == [
        "Ilse-17"
    ] and "Ilse-17" in hours(store)


def test_words_of_others_are_settled_by_the_moment_of_settling_and_not_of_the_press(
    device: Device, store: Store
) -> None:
    """A press may wait for whoever writes: what was logged meanwhile does not lie in the future."""
    meanwhile = CHANGE.at + timedelta(minutes=10)
    spell = action(
        "meanwhile",
        taps={"started_at": ms(meanwhile - timedelta(minutes=5)), "ended_at": ms(meanwhile)},
        at=meanwhile,
    )
    Inbox(store).receive({"phone": PHONE, "clock": ms(meanwhile), "actions": [spell]}, meanwhile)
    device_decisions.decide(store, "taken in", CHANGE, now=meanwhile + timedelta(minutes=1))
    assert [outcome["outcome"] for outcome in Inbox(store).outcomes([spell["action"]])[0]] == ["saved"]


def test_what_waits_and_what_was_refused_follow_a_person_who_is_renamed(
    devices: Devices, store: Store
) -> None:
    wrong = word("Ilse-0")
    wrong["row"]["hours"] = "many"
    assert send(store, paired(devices, "Ilse"), word("Ilse-19", "struck"), wrong) == ["held back", "refused"]
    with store.writing() as con:
        people.rename(con, "Ilse", "Ilse Brandt", CHANGE)
    told = bench(store.cursor(), "Ilse Brandt", now=NOW)
    assert told["held_back"] == 1 and [item["entry"] for item in told["to_mend"]] == ["Ilse-0"]


def test_words_that_wait_keep_the_limits_of_their_device_through_an_export(
    devices: Devices, store: Store, tmp_path: Path
) -> None:
    words = [word("Ilse-19", "struck"), word("Maud-3", "struck")]
    Inbox(store).receive(
        {"phone": PHONE, "clock": ms(NOW), "actions": words}, NOW, device=paired(devices, "Ilse")
    )
    export(store, tmp_path / "out", private=True)
    with new_store() as other:
        assert all(
            import_file.complete
            for import_file in import_files(other, sorted((tmp_path / "out").iterdir()), now=NOW)
        )
        settle(other, NOW)
        told = {
            outcome["action"]: outcome["outcome"]
            for outcome in Inbox(other).outcomes([item["action"] for item in words])[0]
        }
        assert [told[item["action"]] for item in words] == ["held back", "refused"] and hours(
            other
        ).keys() >= {"Ilse-19", "Maud-3"}


def test_what_is_taken_in_counts_as_said_then(device: Device, store: Store) -> None:
    """The principal saw what is held: a correction made on the pages meanwhile does not overtake it; a word
    after it does.
    """
    row = corrections.as_row(
        record(store.cursor().execute("SELECT * FROM time_entries WHERE entry = 'Ilse-19'").df())
    )
    corrections.correct(
        store,
        "Ilse-19",
        {**row, "hours": "5"},
        Change(by="principal", reason="looked at", at=NOW + timedelta(minutes=5)),
    )
    assert decide(store, "taken in") == {"saved": 2} and hours(store)["Ilse-19"] == 3.0
    later = CHANGE.at + timedelta(minutes=1)
    assert send(store, None, word("Ilse-19", hours="4", at=later), now=later) == ["saved"]


def test_what_is_taken_in_and_cannot_be_is_refused_and_lies_with_who_said_it(
    devices: Devices, store: Store
) -> None:
    wrong = word("Ilse-19")
    wrong["row"]["hours"] = "many"
    assert send(store, paired(devices, "Ilse"), wrong) == ["held back"]
    assert decide(store, "taken in") == {"refused": 1}
    assert [item["entry"] for item in bench(store.cursor(), "Ilse", now=NOW)["to_mend"]] == ["Ilse-19"]


def test_a_later_word_that_stands_leaves_nothing_to_decide(device: Device, store: Store) -> None:
    later = NOW + timedelta(minutes=1)
    assert send(store, None, word("Ilse-19", hours="4", at=later), now=later) == ["saved"]
    assert [item.action_data["state"] for item in device_decisions.held_back(store.cursor(), 10)] == [
        "struck"
    ]


# --- all that a device did


def test_all_that_a_device_did_since_a_moment_is_taken_back_in_one_press(
    devices: Devices, store: Store
) -> None:
    ilse = paired(devices, "Ilse")
    early = NOW - timedelta(hours=2)
    kept = word(name("kept"), at=early)
    assert send(store, ilse, kept, now=early) == ["saved"]
    before, history = (
        everything(store),
        store.cursor().execute("SELECT count(*) FROM history").fetchall()[0][0],
    )
    words = [
        word(name("made")),
        word("Ilse-0", hours="9"),
        word("Ilse-1", "struck"),
        word(name("kept"), hours="9"),
        word("Ilse-19", "struck"),
    ]
    assert send(store, ilse, *words) == ["saved"] * 4 + ["held back"]
    assert send(
        store, ilse, word("Ilse-0", hours="8", at=NOW + timedelta(seconds=1)), now=NOW + timedelta(seconds=2)
    ) == ["saved"]
    seen = device_decisions.done_since(store.cursor(), ilse.device, NOW)
    assert (seen.made, seen.changed, seen.waiting, seen.stands) == (1, 3, 1, 0)
    done, left = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert done == seen and left == []
    assert everything(store) == before and device_decisions.counts(store.cursor()) == {}
    # what was done, and that it was taken back
    assert store.cursor().execute("SELECT count(*) FROM history").fetchall()[0][0] > history + 4
    assert (
        faults(store.cursor()) == []
        and not device_decisions.done_since(store.cursor(), ilse.device, NOW).anything
    )


@pytest.mark.parametrize(
    ("entry", "words", "was"),
    [("Ilse-0", ("struck", "logged"), 2.0), (name("made"), ("logged", "struck", "logged"), None)],
)
def test_no_device_shields_what_it_did_by_striking_it_and_logging_it_again(
    devices: Devices, store: Store, entry: str, words: tuple[str, ...], was: float | None
) -> None:
    ilse = paired(devices, "Ilse")
    for minutes, state in enumerate(words):
        at = NOW + timedelta(minutes=minutes)
        assert send(store, ilse, word(entry, state, hours="9", at=at), now=at) == ["saved"]
    done, left = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert done.stands == 0 and left == [] and hours(store).get(entry) == was


def test_what_somebody_else_put_back_stands(devices: Devices, store: Store) -> None:
    ilse, later = paired(devices, "Ilse"), NOW + timedelta(minutes=1)
    assert send(store, ilse, word("Ilse-0", "struck")) == ["saved"]
    assert send(store, None, word("Ilse-0", hours="4", at=later), now=later) == ["saved"]
    done, _ = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert done.stands == 1 and hours(store)["Ilse-0"] == 4.0


def test_an_entry_that_cannot_be_again_what_it_was_is_one_whatever_its_faults(
    devices: Devices, studio: Bring, store: Store
) -> None:
    studio(
        "more.csv",
        f"entry,object,phase,technique,person,date,hours,quantity,unit\nfaulty,24-001,,retouching,Ilse,{TODAY},1,2,dm2\n",
    )
    ilse = paired(devices, "Ilse")
    assert send(store, ilse, word("faulty", hours="9"), word("Ilse-0", hours="9")) == ["saved"] * 2
    with store.writing() as con:  # since then the hours and the unit that it had are such as no entry has
        con.execute(
            """
            UPDATE history SET earlier = json_merge_patch(earlier, '{"hours": 40.0, "unit": "m2"}')
            WHERE key = 'faulty'
            """
        )
    done, left = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert done.changed == 1 and len(left) == 1 and left[0].count(". ") >= 2
    assert hours(store)["faulty"] == 9.0 and hours(store)["Ilse-0"] == 2.0


def test_an_entry_of_a_phase_as_a_whole_that_cannot_be_again_what_it_was_is_named_so(
    devices: Devices, studio: Bring, store: Store
) -> None:
    studio("more.csv", f"{HEAD}whole,24-001,cleaning,,Ilse,{TODAY},1\n")
    ilse = paired(devices, "Ilse")
    whole = word("whole", hours="9")
    whole["row"] |= {"phase": "cleaning", "technique": ""}
    assert send(store, ilse, whole) == ["saved"]
    with store.writing() as con:
        con.execute(
            "UPDATE history SET earlier = json_merge_patch(earlier, '{\"hours\": 40.0}') WHERE key = 'whole'"
        )
    _, left = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert [sentence.partition(":")[0] for sentence in left] == ["24-001, cleaning as a whole"]


def test_a_wait_of_a_whole_phase_is_taken_off_by_another_as_the_line_that_it_was(
    devices: Devices, store: Store
) -> None:
    maud, began = paired(devices, "Maud"), NOW - timedelta(hours=5)
    waits = {"phase": "cleaning", "technique": "", "mode": "unattended"}
    tapped = {"started_at": ms(began)}
    begun = action("wait", "running", at=began, row=waits, taps=tapped)
    assert send(store, None, begun) == ["saved"]
    for phase, outcome in (("filling", "refused"), ("cleaning", "saved")):
        row = {**waits, "phase": phase, "person": "Ilse"}
        off = action("wait", person="Maud", row=row, taps={**tapped, "ended_at": ms(NOW)})
        assert send(store, maud, off) == [outcome]
    assert store.cursor().execute(
        "SELECT person, phase, technique, mode, hours FROM time_entries WHERE entry = ?", [name("wait")]
    ).fetchall() == [("Ilse", "cleaning", "", "unattended", 5.0)]


def test_an_entry_put_back_stands_under_the_name_of_who_put_it_back(devices: Devices, store: Store) -> None:
    assert send(store, None, word("Ilse-0", "struck")) == ["saved"]
    new, again = (
        word(name("new"), person="Maud", at=NOW + timedelta(minutes=1)),
        word("Ilse-0", hours="5", at=NOW + timedelta(minutes=2)),
    )
    new["row"]["person"] = "Maud"
    assert send(store, None, new, again, now=NOW + timedelta(minutes=3)) == ["saved"] * 2
    assert store.cursor().execute(
        "SELECT event, changed_by FROM history WHERE key = 'Ilse-0' ORDER BY number DESC LIMIT 1"
    ).fetchall() == [("put back", "Ilse")]


def test_what_others_said_later_stands(devices: Devices, store: Store) -> None:
    ilse = paired(devices, "Ilse")
    send(
        store,
        ilse,
        word("Ilse-0", hours="9"),
        word("Ilse-1", "struck"),
        word("Ilse-2", hours="9"),
        word(name("made")),
        word("Ilse-3", "struck"),
    )
    later = NOW + timedelta(minutes=1)
    send(store, None, word("Ilse-0", hours="4", at=later), word(name("made"), hours="5", at=later), now=later)
    corrections.put_back(store, "Ilse-1", Change(by="principal", reason="is right", at=later))
    done, _ = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert (done.made, done.changed, done.stands) == (0, 2, 3)
    told = hours(store)
    assert (told["Ilse-0"], told["Ilse-1"], told["Ilse-2"], told[name("made")], told["Ilse-3"]) == (
        4.0,
        2.0,
        2.0,
        5.0,
        2.0,
    )


def test_of_what_others_said_between_only_what_the_device_did_after_it_is_taken_back(
    devices: Devices, store: Store
) -> None:
    ilse = paired(devices, "Ilse")
    for minutes, of, said in ((0, ilse, "9"), (1, None, "4"), (2, ilse, "8"), (3, ilse, "7")):
        at = NOW + timedelta(minutes=minutes)
        assert send(store, of, word("Ilse-0", hours=said, at=at), now=at) == ["saved"]
    device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert hours(store)["Ilse-0"] == 4.0


def test_spells_in_hand_are_again_what_they_were(devices: Devices, store: Store) -> None:
    ilse, hers = paired(devices, "Ilse"), paired(devices, "Ilse")
    morning = NOW - timedelta(hours=3)
    begun = {
        entry: action(entry, "running", at=morning, taps={"started_at": ms(morning)})
        for entry in ("finished", "struck")
    }
    assert send(store, hers, *begun.values(), now=morning) == ["saved"] * 2
    before = store.cursor().execute("SELECT * FROM spells_in_hand ORDER BY entry").fetchall()
    more = [
        action("finished", taps={"started_at": ms(morning), "ended_at": ms(NOW)}),
        action("struck", "struck"),
        action("began", "running", taps={"started_at": ms(NOW)}),
    ]
    assert send(store, ilse, *more) == ["saved"] * 3
    done, _ = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    assert (done.made, done.in_hand) == (1, 3)
    assert store.cursor().execute(
        "SELECT * FROM spells_in_hand ORDER BY entry"
    ).fetchall() == before and name("finished") not in hours(store)


def test_what_a_device_sent_and_is_not_settled_yet_is_left_out_with_the_rest(
    devices: Devices, store: Store
) -> None:
    ilse = paired(devices, "Ilse")
    Inbox(store).receive(
        {"phone": PHONE, "clock": ms(NOW), "actions": [word("Ilse-0", "struck")]}, NOW, device=ilse
    )
    done, _ = device_decisions.take_back(store, ilse.device, NOW, CHANGE)
    settle(store)
    assert done.waiting == 1 and "Ilse-0" in hours(store)


def test_what_phones_changed_before_that_was_kept_is_told_by_the_history(
    devices: Devices, store: Store
) -> None:
    """The statements of the migration find what was noted as it happened."""
    words = [
        word(name("made")),
        word("Ilse-0", hours="9"),
        word("Ilse-1", "struck"),
        {**word(name("over")), "works": [{"object": "24-001"}, {"object": "24-002"}]},
    ]
    words[-1]["row"]["object"] = ""
    for minutes, some in enumerate((words, [word(name("made"), hours="4", at=NOW + timedelta(minutes=1))])):
        at = NOW + timedelta(minutes=minutes)
        assert set(send(store, paired(devices, "Ilse"), *some, now=at)) == {"saved"}
    con, every = store.cursor(), "SELECT action, entry, event, history FROM phone_changes ORDER BY ALL"
    noted = con.execute(every).fetchall()
    assert [event for _, _, event, _ in noted].count("made") == 3 and len(noted) == 6
    text = next(text for number, _, text in migrations() if number == 10)
    con.execute("DELETE FROM phone_changes")
    for extract_statement in duckdb.extract_statements(text):
        if "INSERT INTO phone_changes" in extract_statement.query:
            con.execute(extract_statement)
    assert con.execute(every).fetchall() == noted
