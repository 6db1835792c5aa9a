"""Words of phones end in one true record, whatever is late, doubled, out of order or by a wrong clock."""

from __future__ import annotations

import asyncio
import errno
import gzip
import itertools
import json
import os
import re
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from typing import Any

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from dashboard.services import demo
from ingest.devices import DEVICE_HEADER, LOCAL_DEVICE, Devices
from ingest.editing import corrections
from ingest.phone import apply_actions
from ingest.phone import page as phone_page
from ingest.phone.actions import Action, ActionError
from ingest.phone.form_state import bench
from ingest.phone.inbox import Inbox
from ingest.phone.routes import routes
from ingest.phone.split_entries import shared_out
from ingest.safekeeping.integrity import faults as integrity_faults
from ingest.store import Store
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import Change
from ingest.values.numbers import decimal
from tests import ROOT, SAMPLES
from tests.benchmarks.form import leave_on_the_bench
from tests.conftest import CHANGE, NOW, Bring, entries, faults
from tests.frames import record
from tests.phones import PHONE, action, ms, name, outcomes, send, settle
from tests.prepared import new_store, new_studio

MORNING = datetime(2026, 6, 1, 8, 5, 30)  # UTC; the studio's clock shows two hours more
OBJECTS = (
    "object,title,shape,height_cm,width_cm\n24-001,Ferry in snow,rectangle,60,80\n24-002,Weir at"
    " dusk,oval,40,30\n24-003,Blank,irregular,,\n"
)


def rows_of(
    store: Store, columns: str = "entry, object, technique, person, hours, counted_hours"
) -> list[tuple[Any, ...]]:
    return store.cursor().execute(f"SELECT {columns} FROM time_entries ORDER BY entry").fetchall()


def in_hand(
    store: Store, columns: str = "entry, object, technique, person, mode, in_hand_since"
) -> list[tuple[Any, ...]]:
    return store.cursor().execute(f"SELECT {columns} FROM spells_in_hand ORDER BY entry").fetchall()


def begun(entry: str, at: datetime = MORNING, **more: Any) -> dict[str, Any]:
    return action(entry, "running", at=at, taps={"started_at": ms(at)}, **more)


def finished(
    entry: str, at: datetime = MORNING, until: datetime | None = None, **more: Any
) -> dict[str, Any]:
    until = until or at + timedelta(minutes=90)
    return action(entry, at=until, taps={"started_at": ms(at), "ended_at": ms(until)}, **more)


def test_a_spell_begun_and_finished_by_taps_is_one_entry_of_its_clock_times(
    studio: Bring, store: Store
) -> None:
    assert outcomes(send(store, begun("a"))) == ["saved"]
    assert (
        in_hand(store) == [(name("a"), "24-001", "retouching", "Ilse", "hands_on", MORNING)]
        and rows_of(store) == []
    )
    assert outcomes(
        send(
            store,
            finished(
                "a",
                row={
                    "done": "¾",
                    "quantity": "2,5",
                    "note": "two layers",
                    "discovery": "yes",
                    "charge": "extra",
                },
            ),
        )
    ) == ["saved"]
    assert in_hand(store) == []
    assert rows_of(
        store,
        "entry, object, phase, technique, person, day::VARCHAR, started_at, hours, mode, charge, quantity,"
        " unit, done, discovery, note",
    ) == [
        (
            name("a"),
            "24-001",
            "retouching",
            "retouching",
            "Ilse",
            "2026-06-01",
            MORNING,
            1.5,
            "hands_on",
            "extra",
            2.5,
            "dm2",
            75.0,
            True,
            "two layers",
        )
    ]
    assert integrity_faults(store.cursor()) == []


def test_undoing_a_finish_takes_the_entry_out_and_the_spell_in_hand_again(
    studio: Bring, store: Store
) -> None:
    first = begun("a")
    send(store, first, finished("a", until=NOW - timedelta(minutes=9)))
    send(store, {**first, "action": name("undone"), "number": 10**6, "made_at": ms(NOW)})
    assert rows_of(store) == [] and [row[0] for row in in_hand(store)] == [name("a")]
    assert in_hand(store)[0][-1] == MORNING
    send(store, action("a", "struck", at=NOW, number=10**6 + 1))
    assert rows_of(store) == [] and in_hand(store) == []


@settings(max_examples=8)
@given(data=some.data())
def test_any_order_of_arrival_any_doubling_and_any_cut_into_sendings_end_in_the_same_record(
    data: some.DataObject,
) -> None:
    """The oracle: of each entry the last word of all phones stands; of one phone that is the one it counted
    last, however slow its network was at each sending.
    """
    phones = data.draw(some.integers(1, 2))
    words: list[dict[str, Any]] = []
    moments = sorted(data.draw(some.lists(some.integers(0, 60), min_size=1, max_size=12)))
    for number, minutes in enumerate(moments):
        at = MORNING + timedelta(minutes=minutes)
        state = data.draw(some.sampled_from(["running", "logged", "struck", "logged"]))
        row = (
            {"note": f"note {number}", "date": "2026-06-01", "hours": f"{number + 1}.25"}
            if state == "logged"
            else {}
        )
        taps: dict[str, Any] = {"taps": {"started_at": ms(at)}} if state == "running" else {}
        words.append(
            action(data.draw(some.sampled_from("abc")), state, at=at, number=number, row=row, **taps)
        )
    owner = {word["action"]: name(("phone", data.draw(some.integers(1, phones)))) for word in words}
    # each phone counts up, and all of them in the order of their moments
    last = {word["entry"]: word for word in words}
    arriving = data.draw(some.permutations(words)) + data.draw(
        some.lists(some.sampled_from(words), max_size=5)
    )
    with new_studio(works=True) as store:
        while arriving:
            count = data.draw(some.integers(1, len(arriving)))
            # between the phone's word what time it is and the arrival
            slow = timedelta(seconds=data.draw(some.integers(0, 3600)) if phones == 1 else 0)
            for phone in sorted(set(owner.values())):
                if sending := [item for item in arriving[:count] if owner[item["action"]] == phone]:
                    send(store, *sending, phone=phone, clock=NOW - slow)
            arriving = arriving[count:]
        logged = {item["entry"]: item["row"] for item in last.values() if item["state"] == "logged"}
        assert {entry: (note, hours) for entry, note, hours in rows_of(store, "entry, note, hours")} == {
            entry: (row["note"], float(row["hours"])) for entry, row in logged.items()
        }
        assert {row[0] for row in in_hand(store)} == {
            item["entry"] for item in last.values() if item["state"] == "running"
        }
        assert integrity_faults(store.cursor()) == []
        assert apply_actions.waiting(store.cursor()) == 0


def test_two_phones_of_one_person_that_finish_the_same_spell_leave_one_entry_by_the_later_tap(
    studio: Bring, store: Store
) -> None:
    early, late = (
        finished("a", until=MORNING + timedelta(minutes=30)),
        finished("a", until=MORNING + timedelta(minutes=40)),
    )
    send(store, begun("a"))
    assert outcomes(send(store, late, phone=name(1)) + send(store, early, phone=name(2))) == [
        "saved",
        "overtaken",
    ]
    assert [row[-1] for row in rows_of(store)] == [pytest.approx(40 / 60)]


@pytest.mark.parametrize(
    "wrong", [timedelta(minutes=-7), timedelta(minutes=3), timedelta(days=1), timedelta(days=-1)]
)
def test_a_wrong_phone_clock_is_put_right_by_what_is_seen_at_sending(
    studio: Bring, store: Store, wrong: timedelta
) -> None:
    by_its_clock = finished("a", at=MORNING + wrong)
    told = Inbox(store).receive({"phone": PHONE, "clock": ms(NOW + wrong), "actions": [by_its_clock]}, NOW)
    settle(store, NOW)
    assert told.clock_off == pytest.approx(-wrong.total_seconds())
    assert rows_of(store, "started_at, ended_at, hours") == [(MORNING, MORNING + timedelta(minutes=90), 1.5)]


def test_a_tap_sent_again_after_the_phone_clock_was_set_right_keeps_its_moment(
    studio: Bring, store: Store
) -> None:
    wrong = timedelta(hours=-5)
    send(store, begun("a", at=MORNING + wrong), clock=NOW + wrong)
    until = MORNING + timedelta(minutes=90)
    # by now its clock is right
    send(store, action("a", at=NOW, taps={"started_at": ms(MORNING + wrong), "ended_at": ms(until)}))
    assert rows_of(store, "started_at, ended_at") == [(MORNING, until)]


@pytest.mark.parametrize(("slow_begin", "slow_end"), [(20, 0), (0, 20)])
def test_a_spell_is_as_long_as_the_phone_measured_it_however_slow_the_network_was(
    studio: Bring, store: Store, slow_begin: int, slow_end: int
) -> None:
    until = MORNING + timedelta(seconds=15)
    for said, at, slow in ((begun("a"), MORNING, slow_begin), (finished("a", until=until), until, slow_end)):
        send(store, said, now=at + timedelta(seconds=slow + 5), clock=at + timedelta(seconds=5))
    assert rows_of(store, "started_at, hours") == [(MORNING, pytest.approx(15 / 3600))]


def test_begun_and_finished_in_one_second_is_a_spell_of_a_second(studio: Bring, store: Store) -> None:
    send(store, begun("a"), finished("a", until=MORNING + timedelta(milliseconds=300)))
    assert rows_of(store, "started_at, hours") == [(MORNING, pytest.approx(1 / 3600))]


@pytest.mark.parametrize("early", [0, 3])  # seconds by which the network makes the end seem too early
def test_finished_at_once_after_the_studio_told_when_it_began_is_a_spell_of_a_second(
    studio: Bring, store: Store, early: int
) -> None:
    send(store, begun("a"))
    told = {"started_at": f"{MORNING:%Y-%m-%dT%H:%M:%SZ}"}
    end = action(
        "a",
        at=MORNING + timedelta(milliseconds=300),
        row=told,
        taps={"ended_at": ms(MORNING - timedelta(seconds=early) + timedelta(milliseconds=300))},
    )
    assert outcomes(send(store, end)) == ["saved"]
    assert rows_of(store, "started_at, hours") == [(MORNING, pytest.approx(1 / 3600))]


def test_a_person_is_known_in_any_spelling_of_the_name(studio: Bring, store: Store) -> None:
    send(store, action("a", row={"date": "2026-06-01", "hours": "2"}))
    told = bench(store.cursor(), " ILSE", now=NOW)
    assert told["person"] == "Ilse" and [item["hours"] for item in told["entries"]] == [2.0]


def test_times_that_are_typed_are_those_of_the_studio_whatever_the_phone_clock_says(
    studio: Bring, store: Store
) -> None:
    send(
        store,
        action("a", row={"started_at": "2026-06-01 9:15", "ended_at": "2026-06-01 10:45"}),
        clock=NOW + timedelta(days=1),
    )
    assert rows_of(store, "started_at, hours") == [(datetime(2026, 6, 1, 7, 15), 1.5)]


WRITTEN = [
    "1.5",
    "1,5",
    "1:30",
    "1h30",
    "90 min",
    "PT1H30M",
    "90'",
    "1 h 30 min",
    "1½",
    "1,450",
    "x",
    "-1",
    "0",
    "25",
    "2 std",
    "P1D",
    "1:75",
    ".5",
    "½",
]


@pytest.mark.parametrize("text", WRITTEN)
def test_hours_are_understood_on_the_phone_as_in_a_file(studio: Bring, store: Store, text: str) -> None:
    """By the same parser: the same value or the same refusal, word for word."""
    report = studio(
        "log.csv", f'object,phase,technique,person,date,hours\n24-001,,retouching,Maud,2026-05-01,"{text}"\n'
    )
    told = send(store, action("a", row={"date": "2026-05-01", "hours": text}))[0]
    of_file = store.cursor().execute("SELECT hours FROM time_entries WHERE person = 'Maud'").fetchall()
    of_phone = store.cursor().execute("SELECT hours FROM time_entries WHERE person = 'Ilse'").fetchall()
    assert of_phone == of_file
    assert [f"2 {item['column']}: {item['reason']}" for item in told["faults"]] == faults(report)


def test_what_is_refused_stays_in_the_studio_until_it_is_mended(studio: Bring, store: Store) -> None:
    told = send(store, action("a", row={"object": "24-01", "date": "2026-06-01", "hours": "2"}))[0]
    assert told["outcome"] == "refused" and told["faults"] == [
        {
            "column": "object",
            "called": "Work",
            "value": "24-01",
            "reason": "is not a known object",
            "mend": 'Did you mean "24-001"?',
        }
    ]
    waiting = bench(store.cursor(), "Ilse", now=NOW)["to_mend"]
    assert [(item["entry"], item["row"]["hours"], item["faults"]) for item in waiting] == [
        (name("a"), "2", told["faults"])
    ]
    assert bench(store.cursor(), "Maud", now=NOW)["to_mend"] == [] and rows_of(store) == []
    assert outcomes(
        send(
            store,
            action(
                "a", at=NOW + timedelta(seconds=1), row={"date": "2026-06-01", "hours": "2"}, number=10**7
            ),
        )
    ) == ["saved"]
    assert bench(store.cursor(), "Ilse", now=NOW)["to_mend"] == [] and [
        row[-1] for row in rows_of(store)
    ] == [2.0]


def test_a_refused_correction_leaves_the_entry_as_it_was(studio: Bring, store: Store) -> None:
    send(store, finished("a"))
    assert outcomes(
        send(store, action("a", at=NOW, row={"date": "2026-06-01", "hours": "many"}, number=10**7))
    ) == ["refused"]
    assert [row[-1] for row in rows_of(store)] == [1.5]


@pytest.mark.parametrize(
    ("row", "column", "reason"),
    [
        ({"technique": "retuching"}, "technique", "is not a known technique"),
        ({"object": "99-999"}, "object", "is not a known object"),
        ({"object": ""}, "object", "is empty, but retouching is work on an object"),
        ({"object": "", "technique": ""}, "object", "is empty, and so are phase and technique"),
        ({"mode": "sideways"}, "mode", "is not a mode"),
    ],
)
def test_a_beginning_that_cannot_be_is_refused_with_its_reason(
    studio: Bring, store: Store, row: dict[str, str], column: str, reason: str
) -> None:
    told = send(store, begun("a", row=row))[0]
    assert [(item["column"], item["reason"]) for item in told["faults"]] == [(column, reason)] and in_hand(
        store
    ) == []


def test_a_beginning_in_the_future_is_refused(studio: Bring, store: Store) -> None:
    told = send(store, begun("a", at=NOW + timedelta(minutes=11)))[0]
    assert told["faults"][0]["reason"] == "lies in the future"


def test_gel_beside_scraping_counts_once_and_pressing_never(studio: Bring, store: Store) -> None:
    """Contract of hours: attended time counts outside one's own hands-on spells only."""
    send(store, finished("gel", row={"technique": "gel poultice"}, until=MORNING + timedelta(hours=2)))
    send(
        store,
        finished(
            "scrape",
            at=MORNING + timedelta(minutes=30),
            until=MORNING + timedelta(minutes=90),
            row={"technique": "adhesive residue removal"},
        ),
    )
    send(store, finished("press", until=MORNING + timedelta(hours=3), row={"technique": "pressing"}))
    assert dict(rows_of(store, "technique, counted_hours")) == {
        "gel poultice": 1.0,
        "adhesive residue removal": 1.0,
        "pressing": 0.0,
    }


def test_pressing_may_be_taken_off_by_another_and_stays_with_who_put_it_on(
    studio: Bring, store: Store
) -> None:
    send(store, begun("press", row={"technique": "pressing"}))
    seen = bench(store.cursor(), "Maud", now=NOW)["in_hand"]
    assert seen == [
        {
            "entry": name("press"),
            "since": ms(MORNING),
            "row": {
                "object": "24-001",
                "phase": "structural repair",
                "technique": "pressing",
                "person": "Ilse",
                "mode": "unattended",
                "charge": "quoted",
            },
        }
    ]
    send(
        store,
        {
            **finished(
                "press", row={"technique": "pressing", "person": "Ilse"}, until=NOW - timedelta(minutes=1)
            ),
            "person": "Maud",
        },
    )
    assert rows_of(store, "technique, person, mode") == [("pressing", "Ilse", "unattended")]


def test_what_others_have_in_hand_is_told_without_name_hours_or_technique_unless_the_tablet_is_shared(
    studio: Bring, store: Store
) -> None:
    send(store, begun("a"))
    send(store, finished("b", at=MORNING - timedelta(hours=3)))
    assert (
        bench(store.cursor(), "Maud", now=NOW)["in_hand"] == [{"object": "24-001"}]
        and bench(store.cursor(), "Maud", now=NOW)["entries"] == []
    )
    assert bench(store.cursor(), everyone=True, now=NOW)["in_hand"][0]["row"]["person"] == "Ilse"
    assert [item["hours"] for item in bench(store.cursor(), "Ilse", now=NOW)["entries"]] == [1.5]


# --- one spell over several works


@given(total=some.floats(0.01, 16), weights=some.lists(some.floats(0.01, 1e4), min_size=1, max_size=30))
def test_shares_sum_to_the_whole_and_are_as_their_weights(total: float, weights: list[float]) -> None:
    ends = shared_out(total, weights)
    shares = [end - start for start, end in itertools.pairwise([0.0, *ends])]
    assert ends[-1] == total and len(shares) == len(weights)
    for share, weight in zip(shares, weights, strict=True):
        assert share == pytest.approx(total * weight / sum(weights), rel=1e-6, abs=1e-9)


BOTH = (("24-001", ""), ("24-002", ""))


def over(entry: str, split: str, *works: tuple[str, str], at: datetime = NOW, **row: str) -> dict[str, Any]:
    about = {"object": "", "technique": "varnishing by spray", "date": "2026-06-01", "hours": "1h30", **row}
    return action(
        entry,
        at=at,
        row=about,
        works=[{"object": code, "share": share} for code, share in works],
        split=split,
    )


@pytest.mark.parametrize(
    ("split", "shares", "hours"),
    [
        ("equally", ("", ""), [0.75, 0.75]),
        # 60 × 80 cm and an oval of 40 × 30 cm
        ("by area", ("", ""), [1.5 * 48 / (48 + 9.42477796), 1.5 * 9.42477796 / (48 + 9.42477796)]),
        ("own shares", ("2", "0,5"), [1.2, 0.3]),
    ],
)
def test_one_spell_over_several_works_is_shared_out(
    bring: Bring, store: Store, split: str, shares: tuple[str, str], hours: list[float]
) -> None:
    bring("objects.csv", OBJECTS)
    assert outcomes(send(store, over("a", split, ("24-001", shares[0]), ("24-002", shares[1])))) == ["saved"]
    assert rows_of(store, "entry, object") == [
        (f"{name('a')}+share 1", "24-001"),
        (f"{name('a')}+share 2", "24-002"),
    ]
    assert [row[0] for row in rows_of(store, "hours")] == pytest.approx(hours)


def test_clock_times_of_a_shared_spell_follow_one_another_so_that_no_minute_counts_twice(
    bring: Bring, store: Store
) -> None:
    bring("objects.csv", OBJECTS)
    spell = over(
        "a",
        "equally",
        *BOTH,
        ("24-003", ""),
        date="",
        hours="",
        started_at="2026-06-01 9:00",
        ended_at="2026-06-01 10:00",
    )
    send(store, spell)
    assert rows_of(store, "started_at, ended_at") == [
        (datetime(2026, 6, 1, 7, a), datetime(2026, 6, 1, 8) if b == 60 else datetime(2026, 6, 1, 7, b))
        for a, b in ((0, 20), (20, 40), (40, 60))
    ]


@pytest.mark.parametrize(
    ("spell", "column", "reason"),
    [
        (over("a", "by area", ("24-001", ""), ("24-003", "")), "object", "has no size to share by"),
        (over("a", "equally", ("24-001", ""), ("24-00X", "")), "object", "is not a known object"),
        (over("a", "own shares", ("24-001", "1"), ("24-002", "0")), "share", "is no share"),
        (over("a", "equally", ("24-001", ""), ("24-001", "")), "object", "names a work twice"),
        (over("a", "equally", *BOTH, done="50"), "done", "cannot be said of several works at once"),
        (over("a", "equally", *BOTH, hours="long"), "hours", "cannot be read as hours"),
        (
            over(
                "a",
                "equally",
                *BOTH,
                date="",
                hours="",
                started_at="2026-03-29 02:30",
                ended_at="2026-03-29 04:00",
            ),
            "started_at",
            "never was on the clock: it was put forward over this hour",
        ),
    ],
)
def test_a_shared_spell_with_a_fault_stores_none_of_its_shares(
    bring: Bring, store: Store, spell: dict[str, Any], column: str, reason: str
) -> None:
    bring("objects.csv", OBJECTS)
    told = send(store, finished("other"), spell)
    assert [(item["column"], item["reason"]) for item in told[1]["faults"]] == [(column, reason)]
    assert [row[0] for row in rows_of(store)] == [name("other")]  # what came with it is stored


def test_a_shared_spell_said_anew_of_fewer_works_takes_the_others_back_and_a_later_word_on_one_share_stands(
    bring: Bring, store: Store
) -> None:
    bring("objects.csv", OBJECTS)
    three = over("a", "equally", *BOTH, ("24-003", ""))
    send(store, three)
    # said before, arrives later
    two = over("a", "equally", ("24-001", ""), ("24-003", ""), at=NOW + timedelta(minutes=1))
    share = {
        **action(
            "x",
            at=NOW + timedelta(minutes=2),
            row={"object": "24-002", "date": "2026-06-01", "hours": "0:20"},
        ),
        "entry": f"{name('a')}+share 2",
    }
    send(store, share, now=NOW + timedelta(minutes=3))
    send(store, two, now=NOW + timedelta(minutes=4))
    assert rows_of(store, "entry, object, hours") == [
        (f"{name('a')}+share 1", "24-001", 0.75),
        (f"{name('a')}+share 2", "24-002", pytest.approx(1 / 3)),
    ]
    send(store, action("a", "struck", at=NOW + timedelta(minutes=5)), now=NOW + timedelta(minutes=6))
    assert rows_of(store) == []


def test_each_share_is_corrected_and_struck_out_by_itself(bring: Bring, store: Store) -> None:
    bring("objects.csv", OBJECTS)
    send(store, over("a", "equally", *BOTH))
    first, second = (f"{name('a')}+share {number}" for number in (1, 2))
    send(
        store,
        {
            **action("x", at=NOW + timedelta(minutes=1), row={"date": "2026-06-01", "hours": "1"}),
            "entry": first,
        },
        now=NOW + timedelta(minutes=1),
    )
    assert rows_of(store, "entry, hours") == [(first, 1.0), (second, 0.75)]
    send(
        store,
        {**action("y", "struck", at=NOW + timedelta(minutes=2)), "entry": first},
        now=NOW + timedelta(minutes=2),
    )
    assert rows_of(store, "entry, hours") == [(second, 0.75)]


def test_an_entry_of_a_file_is_shared_out_and_undone_without_a_rest(studio: Bring, store: Store) -> None:
    studio(
        "log.csv",
        "entry,object,phase,technique,person,date,hours\nslip-1,24-001,,facing,Ilse,2026-05-30,3\nslip-1+2,24-001,,facing,Ilse,2026-05-31,4\n",
    )
    send(store, {**over("a", "equally", *BOTH), "entry": "slip-1"})
    assert sorted(rows_of(store, "object, hours")) == [("24-001", 0.75), ("24-001", 4.0), ("24-002", 0.75)]
    back = {
        **action(
            "x",
            at=NOW + timedelta(minutes=1),
            row={"technique": "facing", "date": "2026-05-30", "hours": "3"},
        ),
        "entry": "slip-1",
    }
    send(store, back, now=NOW + timedelta(minutes=1))
    assert sorted(rows_of(store, "entry, hours")) == [("slip-1", 3.0), ("slip-1+2", 4.0)]


# --- beside the studio's pages


def test_corrections_and_strikes_on_the_phone_keep_what_was_said_before_and_who_said_so(
    studio: Bring, store: Store
) -> None:
    studio(
        "log.csv",
        "entry,object,phase,technique,person,date,hours\nslip-1,24-001,,facing,Ilse,2026-05-30,2\nslip-2,24-001,,facing,Ilse,2026-05-31,3\n",
    )
    fixed = {
        **action("x", row={"technique": "facing", "date": "2026-05-30", "hours": "2:30"}),
        "entry": "slip-1",
    }
    struck = {**action("y", "struck"), "entry": "slip-2"}
    send(store, fixed, struck)
    assert rows_of(store, "entry, hours") == [("slip-1", 2.5)]
    told = (
        store.cursor()
        .execute("SELECT key, event, changed_by, reason, earlier->>'hours' FROM history ORDER BY key")
        .fetchall()
    )
    assert told == [
        ("slip-1", "corrected", "Ilse", "corrected on the phone", "2.0"),
        ("slip-2", "taken back", "Ilse", "on the phone", "3.0"),
    ]
    assert integrity_faults(store.cursor()) == []


def test_a_correction_made_on_the_pages_is_not_undone_by_an_older_word_that_arrives_late(
    studio: Bring, store: Store
) -> None:
    send(store, action("a", at=MORNING, row={"date": "2026-06-01", "hours": "2"}))
    row = corrections.as_row(record(entries(store)))
    corrections.correct(
        store,
        name("a"),
        {**row, "hours": "3"},
        Change(by="principal", reason="looked at", at=NOW + timedelta(seconds=1)),
    )
    old = action("a", at=NOW - timedelta(minutes=5), row={"date": "2026-06-01", "hours": "4"}, number=10**7)
    assert outcomes(send(store, old, now=NOW + timedelta(hours=1))) == ["overtaken"]
    new = action("a", at=NOW + timedelta(minutes=5), row={"date": "2026-06-01", "hours": "5"}, number=10**7)
    assert outcomes(send(store, new, now=NOW + timedelta(hours=1))) == ["saved"]
    assert [row[-1] for row in rows_of(store)] == [5.0]


def test_a_queue_that_arrives_after_days_is_taken_in_its_own_order(studio: Bring, store: Store) -> None:
    """Two corrections made on the phone while it was away: neither takes the other for a change made
    elsewhere.
    """
    words = [
        action("a", at=MORNING + timedelta(minutes=n), row={"date": "2026-05-20", "hours": str(n)})
        for n in (1, 2, 3)
    ]
    assert outcomes(send(store, *words, now=NOW + timedelta(days=4))) == ["overtaken", "overtaken", "saved"]
    assert [row[-1] for row in rows_of(store)] == [3.0]
    assert outcomes(
        send(
            store,
            action("a", at=MORNING + timedelta(minutes=9), row={"date": "2026-05-20", "hours": "9"}),
            now=NOW + timedelta(days=5),
        )
    ) == ["saved"]
    assert [row[-1] for row in rows_of(store)] == [9.0]


def test_renamed_words_and_people_reach_what_is_in_hand(studio: Bring, store: Store) -> None:
    from ingest.studio import people, vocabulary  # noqa: PLC0415

    send(store, begun("a"))
    with store.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "inpainting in dots", CHANGE)
        vocabulary.rename(con, "phase", "retouching", "colour", CHANGE)
        people.rename(con, "Ilse", "Ilse Brand", CHANGE)
    assert (
        in_hand(store, "phase, technique, person") == [("colour", "inpainting in dots", "Ilse Brand")]
        and integrity_faults(store.cursor()) == []
    )
    assert outcomes(send(store, finished("a"))) == ["saved"]  # the phone still has the old words
    assert rows_of(store, "technique, person") == [("inpainting in dots", "Ilse Brand")]


def test_a_spell_in_hand_is_in_no_figure(studio: Bring, store: Store) -> None:
    before = store.changes()
    send(store, begun("a"))
    assert store.cursor().execute("SELECT count(*) FROM spells").fetchall() == [(0,)]
    send(store, finished("a"))
    assert store.changes() > before


# --- what cannot be


@pytest.mark.parametrize(
    ("sent", "what"),
    [
        ([], "this is no sending of actions"),
        ({"actions": []}, "phone is missing"),
        ({"phone": "me", "clock": 1, "actions": []}, "phone is 'me'"),
        ({"phone": PHONE, "clock": "noon", "actions": []}, "clock is 'noon'"),
        ({"phone": PHONE, "clock": 1, "actions": [{}] * 201}, "201 actions are too many at once"),
    ],
)
def test_what_is_no_sending_is_refused_as_a_whole(store: Store, sent: object, what: str) -> None:
    with pytest.raises(ActionError) as caught:
        Inbox(store).receive(sent)
    assert caught.value.what == what


@pytest.mark.parametrize(
    ("wrong", "what"),
    [
        ({"action": "x"}, "action is 'x'"),
        ({"entry": ""}, "entry is ''"),
        ({"state": "paused"}, "state is 'paused'"),
        ({"number": 1.5}, "number is 1.5"),
        ({"made_at": True}, "made_at is True"),
        ({"person": None}, "person is missing"),
        ({"row": {"note": "a\0b"}}, "note has signs in it that are no text"),
        ({"row": {"note": "\ud800"}}, "note has signs in it that are no text"),
        ({"row": {"hours": 2}}, "hours is 2"),
        ({"row": {"note": "x" * 20_001}}, "note is '" + "x" * 59 + " …"),
        ({"taps": {"started_at": "now"}}, "started_at is 'now'"),
        ({"works": [{"object": 1}]}, "object is 1"),
        ({"split": "by weight"}, "split is 'by weight'"),
    ],
)
def test_an_action_that_is_none_is_told_and_the_others_of_its_sending_are_kept(
    studio: Bring, store: Store, wrong: dict[str, Any], what: str
) -> None:
    good, bad = finished("a"), {**finished("b"), **wrong}
    receipt = Inbox(store).receive({"phone": PHONE, "clock": ms(NOW), "actions": [bad, good]}, NOW)
    assert receipt.received == [good["action"]] and [error.what for _, error in receipt.unread] == [what]


def test_a_newer_form_may_say_more(studio: Bring, store: Store) -> None:
    later = {**finished("a"), "mood": "good", "row": {**finished("a")["row"], "humidity": "55"}}
    assert outcomes(send(store, later)) == ["saved"] and len(rows_of(store)) == 1


def test_the_interface_of_version_1_is_understood_as_it_was_when_it_landed(
    bring: Bring, store: Store
) -> None:
    """A form left open across an update sends what it always sent: this file is never changed."""
    bring("objects.csv", OBJECTS)
    sent = json.loads((SAMPLES / "phone_1.json").read_text(encoding="utf-8"))
    now = datetime(2026, 6, 1, 18)
    receipt = Inbox(store).receive(sent, now)
    settle(store, now)
    assert receipt.unread == [] and {
        outcome["outcome"] for outcome in Inbox(store).outcomes(receipt.received)[0]
    } == {"saved", "overtaken"}
    assert rows_of(store, "object, technique, hours, mode, done, charge") == [
        ("24-001", "retouching", 1.5, "hands_on", 50.0, "quoted"),
        ("24-001", "varnishing by spray", 1.0, "hands_on", None, "extra"),
        ("24-002", "varnishing by spray", 0.5, "hands_on", None, "extra"),
    ]
    assert in_hand(store, "technique, mode") == [("pressing", "unattended")]


def test_a_fault_of_ours_keeps_no_other_entry_waiting_and_refuses_nothing(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The word that met it waits aside and is said; it comes in at the next start, or with a later word on
    its entry.
    """
    inbox, real = Inbox(store), Action.from_json
    sent = [
        finished("a"),
        finished("bad"),
        finished("worse", at=MORNING - timedelta(hours=6)),
        finished("c", at=MORNING - timedelta(hours=3)),
    ]
    inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": sent}, NOW)

    def broken(kept: Any, *, action: str, entry: str, number: int) -> Action:
        if entry in (name("bad"), name("worse")) and kept["row"].get("note") != "again":
            raise ZeroDivisionError
        return real(kept, action=action, entry=entry, number=number)

    with monkeypatch.context() as later:
        later.setattr(Action, "from_json", broken)
        with inbox.settling():
            for _ in range(1000):
                if apply_actions.waiting(store.cursor()) == 2 and inbox.why_waiting:
                    break
                time.sleep(0.01)
        assert {row[0] for row in rows_of(store)} == {name("a"), name("c")} and inbox.trouble is None
        assert store.cursor().execute(
            "SELECT count(*) FROM phone_outcomes WHERE outcome = 'refused'"
        ).fetchall() == [(0,)]
        told = inbox.aside([sent[1]["action"]])
        assert told and "ZeroDivisionError" in told.what and inbox.aside([sent[0]["action"]]) is None
        printed = capsys.readouterr().err
        assert printed.count("\nZeroDivisionError\n") == 1, printed  # one of a kind is enough
        inbox = Inbox(store)
        assert inbox.catch_up(NOW) == 2 and inbox.catch_up(NOW) == 2  # it is not tried again and again
        inbox.receive(
            {
                "phone": PHONE,
                "clock": ms(NOW),
                "actions": [finished("bad", row={"note": "again"}, number=10**7)],
            },
            NOW + timedelta(seconds=1),
        )
        later.setattr(Action, "from_json", real)
        assert inbox.catch_up(NOW) == 1  # a later word on it was worth a try
    assert Inbox(store).catch_up(NOW) == 0 and len(rows_of(store)) == 4


def test_thousands_of_words_on_one_entry_and_on_many_settle_in_a_few_turns(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As after a kill. Counted in turns, not in seconds: a turn is one transaction."""
    inbox, turns = Inbox(store), []
    monkeypatch.setattr(apply_actions, "MOST_OVERTAKEN", 1000)
    for first in range(0, 2400, 200):
        words = [
            action(
                "one",
                at=MORNING + timedelta(seconds=n),
                row={"date": "2026-06-01", "hours": "2", "note": f"{n}"},
                number=n,
            )
            for n in range(first, first + 200)
        ]
        inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": words}, NOW)
        others = [
            action(f"many {n}", row={"date": "2026-05-20", "hours": "0.01"})
            for n in range(first, first + 200)
        ]
        inbox.receive({"phone": name("other"), "clock": ms(NOW), "actions": others}, NOW)
    real = apply_actions.settle

    def settle(*about: Any, **options: Any) -> Any:
        turns.append(real(*about, **options))
        return turns[-1]

    monkeypatch.setattr(apply_actions, "settle", settle)
    assert inbox.catch_up(NOW) == 0 and len(turns) <= 5
    assert len(rows_of(store)) == 2401 and dict(rows_of(store, "entry, note"))[name("one")] == "2399"
    counts = (
        store.cursor()
        .execute("SELECT outcome, count(*) FROM phone_outcomes GROUP BY outcome ORDER BY outcome")
        .fetchall()
    )
    assert counts == [("overtaken", 2399), ("saved", 2401)]


def test_of_many_words_on_one_entry_the_last_that_can_be_stored_stands_and_the_faulty_ones_behind_it_are_tried_together(  # noqa: E501
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox, turns = Inbox(store), []
    for first in range(0, 600, 200):
        words = [
            action(
                "one",
                at=MORNING + timedelta(seconds=n),
                row={"date": "2026-06-01", "hours": "2" if n <= 20 else "long", "note": f"{n}"},
                number=n,
            )
            for n in range(first, first + 200)
        ]
        inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": words}, NOW)
    real = apply_actions.settle

    def settle(*about: Any, **options: Any) -> Any:
        turns.append(real(*about, **options))
        return turns[-1]

    monkeypatch.setattr(apply_actions, "settle", settle)
    assert inbox.catch_up(NOW) == 0 and len(turns) <= 13  # 1, 2, 4, 8 … of them
    assert rows_of(store, "hours, note") == [(2.0, "20")]
    counts = dict(
        store.cursor().execute("SELECT outcome, count(*) FROM phone_outcomes GROUP BY outcome").fetchall()
    )
    assert counts == {"saved": 1, "overtaken": 20, "refused": 579}


def _raised(error: Exception) -> Any:
    def fail(*_: object, **__: object) -> Any:
        raise error

    return fail


FAULTS_OF_THE_MACHINE = [
    (
        FileNotFoundError(errno.ENOENT, "No usable temporary directory found"),
        "No usable temporary directory found",
    ),
    (OSError(errno.EMFILE, "Too many open files"), "Too many open files"),
    (OSError(errno.ENOSPC, "No space left on device"), "the disk is full"),
    (MemoryError("out of memory"), "out of memory"),
    (duckdb.IOException("IO Error: Could not write file: No space left on device"), "the disk is full"),
    (duckdb.OutOfMemoryException("Out of Memory Error: failed to allocate"), "failed to allocate"),
]


@pytest.mark.parametrize("where", ["the checks", "taking out", "the transaction"])
def test_a_fault_of_the_machine_refuses_nothing_and_all_that_came_meanwhile_comes_in_afterwards(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    """One fault after the other, each on a day of its own."""
    inbox = Inbox(store)
    for turn, (fault, why) in enumerate(FAULTS_OF_THE_MACHINE):
        of_fault, morning = f"{type(fault).__name__}, {why}", MORNING - timedelta(days=turn)
        a, held, struck = (f"{entry} {turn}" for entry in ("a", "held", "struck"))
        send(store, finished(held, at=morning), finished(struck, at=morning - timedelta(hours=9)))
        words = [
            finished(a, at=morning),
            action(struck, "struck", number=10**7),
            action(held, row={"date": f"{morning:%Y-%m-%d}", "hours": "2"}, number=10**7 + 1),
        ]
        with monkeypatch.context() as broken:
            match where:
                case "the checks":
                    broken.setattr(apply_actions, "put_rows", _raised(fault))
                case "taking out":
                    broken.setattr(apply_actions, "delete_entries", _raised(fault))
                case _:
                    broken.setattr(store, "writing", _raised(fault))
            for number, word in enumerate(words):  # they come while the machine fails
                inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": [word]}, NOW)
                assert inbox.catch_up(NOW) >= (number if where == "taking out" else number + 1), of_fault
            assert (
                inbox.trouble
                and why in inbox.trouble.what
                and len(inbox.outcomes([word["action"] for word in words])[0]) < 3
            ), of_fault
            assert {row[0] for row in rows_of(store)} >= {name(held), name(struck)}, of_fault
        assert inbox.catch_up(NOW) == 0 and inbox.trouble is None, of_fault
        assert {outcome["outcome"] for outcome in inbox.outcomes([word["action"] for word in words])[0]} == {
            "saved"
        }, of_fault
        now = dict(rows_of(store, "entry, hours"))
        assert (now.get(name(a)), now.get(name(held)), now.get(name(struck))) == (1.5, 2.0, None), of_fault
        assert len(now) == 2 * (turn + 1), of_fault


def test_where_no_file_can_be_opened_what_comes_is_kept_and_settled_later(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The handles of the process are used up: whatever the way in opens, it fails, and nothing is refused for
    it.
    """
    inbox, sent = (
        Inbox(store),
        [finished(str(number), at=MORNING - timedelta(hours=2 * number)) for number in range(3)],
    )
    with monkeypatch.context() as broken:
        broken.setattr(os, "open", _raised(OSError(errno.EMFILE, "Too many open files")))
        broken.setattr("builtins.open", _raised(OSError(errno.EMFILE, "Too many open files")))
        inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": sent}, NOW)
        inbox.catch_up(NOW)
        told = {outcome["outcome"] for outcome in inbox.outcomes([item["action"] for item in sent])[0]}
    assert told <= {"saved"}
    assert inbox.catch_up(NOW) == 0 and len(rows_of(store)) == 3


def test_what_could_not_be_taken_in_is_tried_again_also_while_phones_ask_for_it(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox, real, tries = Inbox(store), Action.from_json, 0

    def broken(kept: Any, *, action: str, entry: str, number: int) -> Action:
        nonlocal tries
        tries += 1
        if tries < 3:  # once together with others, once by itself
            raise ZeroDivisionError
        return real(kept, action=action, entry=entry, number=number)

    monkeypatch.setattr(Action, "from_json", broken)
    monkeypatch.setattr("ingest.phone.inbox._ASIDE_RETRY_S", 1.0)
    sent = finished("bad")
    inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": [sent]}, NOW)
    with inbox.settling():
        asked = time.monotonic()
        while not (settled := inbox.outcomes([sent["action"]])[0]) and time.monotonic() < asked + 20:
            time.sleep(0.1)
        assert tries >= 3 and [item["outcome"] for item in settled] == ["saved"] and inbox.why_waiting is None


def test_what_was_put_aside_is_said_no_more_once_a_later_word_settled_it(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox = Inbox(store)
    inbox.receive({"phone": PHONE, "clock": ms(NOW), "actions": [finished("bad")]}, NOW)
    with monkeypatch.context() as broken:
        broken.setattr(Action, "from_json", _raised(ZeroDivisionError()))
        assert inbox.catch_up(NOW) == 1 and inbox.why_waiting
    later = NOW + timedelta(seconds=9)
    inbox.receive(
        {
            "phone": PHONE,
            "clock": ms(later),
            "actions": [finished("bad", row={"note": "again"}, number=10**7)],
        },
        later,
    )
    assert inbox.catch_up(later) == 0 and inbox.why_waiting is None


def test_a_studio_that_lost_what_had_arrived_says_so_and_settles_what_came_back_with_a_backup(
    studio: Bring, store: Store
) -> None:
    sent = [finished("a"), finished("b", at=MORNING - timedelta(hours=3))]
    Inbox(store).receive({"phone": PHONE, "clock": ms(NOW), "actions": sent}, NOW)
    gone = sent[1]["action"]
    store.cursor().execute("DELETE FROM phone_actions WHERE action = ?", [gone])
    inbox = Inbox(store)  # nothing came by its door
    with inbox.settling():
        for _ in range(500):
            settled, missing = inbox.outcomes([item["action"] for item in sent])
            if settled:
                break
            time.sleep(0.01)
    assert [item["action"] for item in settled] == [sent[0]["action"]] and missing == [gone]


def test_no_text_of_the_script_goes_over_an_end_of_line() -> None:
    """Ends of lines are left out of what is sent: only a text between backticks could have one."""
    sources = [*(ROOT / "ingest" / "phone" / "static" / "script").glob("*.js")]
    assert len(sources) > 10
    for source in sources:
        for number, line in enumerate(source.read_text(encoding="utf-8").splitlines(), start=1):
            assert line.count("`") % 2 == 0, f"{source.name}:{number}"


def test_spaces_about_signs_are_left_out_of_code_and_of_no_text() -> None:
    """A text in double quotes is sent as it is; one between backticks must have no such sign in spaces."""
    sent = phone_page.page().after
    texts = 0
    for source in (ROOT / "ingest" / "phone" / "static" / "script").glob("*.js"):
        for line in source.read_text(encoding="utf-8").splitlines():
            if line.strip().startswith("//"):
                continue
            assert line.count('"') % 2 == 0, line
            for text in re.findall(r'"[^"]*"', line):
                assert text in sent
                texts += 1
            for text in between_backticks(line):
                assert re.search(r" [-+*/=?:<>|&]+ | [{}]|\{ ", text) is None, line
                assert text in sent
    assert texts > 500 and "=>{" in sent


def between_backticks(line: str) -> list[str]:
    """The texts of a line between backticks and about what is filled in, also within that."""
    texts: list[str] = []
    within = [""]  # "`": a text, "{": code in brackets, "$": code that is filled into a text
    for sign, before in zip(line, f" {line}", strict=False):
        if sign == "`" and within[-1] == "`":
            within.pop()
        elif sign == "`":
            within.append("`")
            texts.append("")
        elif within[-1] == "`":
            if sign == "{" and before == "$":
                texts[-1] = texts[-1].removesuffix("$")
                within.append("$")
            else:
                texts[-1] += sign
        elif sign == "{":
            within.append("{")
        elif sign == "}" and len(within) > 1 and within.pop() == "$":
            texts.append("")
    return texts


def test_the_form_for_forty_works_and_seventy_techniques_is_sent_in_20_kb() -> None:
    with new_store() as store:
        demo.fill(store)
        leave_on_the_bench(store, 40, 70)
        state = bench(store.cursor(), brief=True)
        heads, sent = answered(store, "/log")
    assert (
        len(state["works"]) == 40 and len(state["techniques"]) == 70 and heads[b"content-encoding"] == b"gzip"
    )
    before, after = (part.encode() for part in (phone_page.page().before, phone_page.page().after))
    assert (page := gzip.decompress(sent)).startswith(before) and page.endswith(after)
    assert json.loads(page[len(before) : -len(after)])["works"] == state["works"]
    around = 586  # heads, measured over a socket
    assert len(sent) + around <= 20 * 1024


def test_half_a_letter_that_a_phone_sent_is_told_again_as_a_question_mark(store: Store) -> None:
    _, sent = answered(
        store, "/log/v1/actions", {"phone": PHONE, "clock": ms(NOW), "actions": [{"action": "\ud800"}]}
    )
    assert [load["action"] for load in json.loads(sent)["unread"]] == ["?"]


def answered(store: Store, path: str, said: object = None) -> tuple[dict[bytes, bytes], bytes]:
    """Heads and body of what the route of a path sends to a browser on this machine."""
    heads = [
        (b"accept-encoding", b"gzip"),
        (b"content-type", b"application/json"),
        (DEVICE_HEADER.encode(), LOCAL_DEVICE.encode()),
    ]
    scope = {
        "type": "http",
        "method": "POST" if said else "GET",
        "path": path,
        "query_string": b"",
        "headers": heads,
    }
    sent: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": json.dumps(said).encode() if said else b""}

    route = next(route for route in routes(store, Inbox(store), Devices(store)) if route.path == path)
    with ThreadPoolExecutor(1) as pool:  # the browser of other tests has the loop of this thread
        pool.submit(asyncio.run, route.app(scope, receive, send)).result()  # type: ignore[arg-type]
    return dict(sent[0]["headers"]), b"".join(message["body"] for message in sent[1:])


def test_the_form_asks_after_as_many_hours_as_the_studio_said(studio: Bring, store: Store) -> None:
    with store.writing() as con:
        write_settings(con, {"ask_after_hours": "2,5"})
    assert bench(store.cursor(), now=NOW)["ask_after_hours"] == decimal("2.5")


def test_the_works_of_the_form_have_the_lines_last_worked_on_top_and_those_estimated_and_not_begun_behind(
    studio: Bring, store: Store
) -> None:
    studio(
        "estimates.csv",
        "object,version,made_on,phase,technique,part,hours\n24-001,1,2024-01-03,,filling,,2\n24-001,1,2024-01-03,,facing,,2\n24-001,1,2024-01-03,,frame"
        " cleaning,frame,1\n",
    )
    studio(
        "log.csv",
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,5\n24-001,,retouching,Ilse,2024-02-03,1\n24-002,,facing,Ilse,2024-02-02,1\n",
    )
    studio("done.csv", "object,finished_on\n24-002,2024-03-01\n")
    works = bench(store.cursor(), now=NOW)["works"]
    assert [work["object"] for work in works] == ["24-001"]
    assert [(line["technique"], line.get("part"), line.get("last_day")) for line in works[0]["lines"]] == [
        ("retouching", None, "2024-02-03"),
        ("facing", None, "2024-02-01"),
        ("filling", None, None),
        ("frame cleaning", "frame", None),
    ]
