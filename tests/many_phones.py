"""Phones at once on a bad network, and a server that is killed under them: what was acknowledged is there,
once; in the end all is, and nothing else.

Each phone keeps its actions as the form does, and sends them as badly as a network can: not at all, in half,
without waiting for the answer, twice at once as two open tabs do, in another order than they were made in.
"""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from ingest.phone.inbox import Inbox
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from tests.conftest import bring_into
from tests.phones import action, ms, name
from tests.served import Server

WORKS = 40
TECHNIQUES = ("retouching", "facing", "filling", "surface cleaning dry", "accounts")
_FIRST_DAY = datetime(2026, 1, 5, 8, 0)


@dataclass
class Handset:
    """One phone with its queue, its clock and its network.

    Attributes
    ----------
    queue : what the studio has not acknowledged, by the names of the actions.
    truth : the rows that each entry should come to in the end, by their names; struck ones are not in it.
    clock_off : seconds by which the phone's clock is ahead.
    """

    number: int
    port: int
    seed: int
    clock_off: float
    queue: dict[str, dict[str, Any]] = field(default_factory=dict)
    truth: dict[str, dict[str, dict[str, str]]] = field(default_factory=dict)
    made: set[str] = field(default_factory=set)
    acknowledged: set[str] = field(default_factory=set)
    unread: list[Any] = field(default_factory=list)
    sendings: int = 0

    def __post_init__(self) -> None:
        self.rng = random.Random(f"{self.seed} {self.number}")
        self.id = name(("phone", self.seed, self.number))
        self.lock = threading.Lock()

    def live(self, entries: int) -> None:
        """A whole life of it: so many entries, some corrected or struck out, all of them sent in the end."""
        for said in self._actions(entries):
            with self.lock:
                self.made.add(said["action"])
                self.queue[said["action"]] = said
            if self.rng.random() < 0.5:
                self._send_somehow()
        while self.queue:
            self._send_somehow()

    def _actions(self, entries: int) -> Iterator[dict[str, Any]]:
        count = 0
        logged: list[str] = []
        for number in range(entries):
            seed = (self.seed, self.number, number)
            words = [(name(seed), self._row(number))]
            if logged and self.rng.random() < 0.2:
                words.append((self.rng.choice(logged), self._row(number)))
            logged.append(name(seed))
            for entry, row in words:
                struck = len(words) == 2 and entry != name(seed) and self.rng.random() < 0.3
                count += 1
                at = datetime.now(UTC).replace(tzinfo=None) + timedelta(seconds=self.clock_off)
                works = self._works(row)
                over = {"works": [{"object": code} for code in works], "split": "equally"} if works else {}
                said = action(
                    entry,
                    "struck" if struck else "logged",
                    at=at,
                    person=f"Person {self.number}",
                    number=count,
                    row={**row, "object": ""} if works else row,
                    **over,
                )
                self.truth.pop(entry, None)
                if not struck:
                    self.truth[entry] = shares(entry, row, works)
                yield {**said, "entry": entry, "action": name((entry, count))}

    def _works(self, row: dict[str, str]) -> list[str]:
        """Some spells go to two or three works."""
        codes = [f"26-{n:03}" for n in self.rng.sample(range(WORKS), self.rng.choice((2, 3)))]
        return codes if row["object"] and self.rng.random() < 0.15 else []

    def _row(self, number: int) -> dict[str, str]:
        technique = self.rng.choice(TECHNIQUES)
        hours = self.rng.choice(("1.5", "0.25", "2", "0.75"))
        day = _FIRST_DAY + timedelta(days=number // 5)
        return {
            "object": "" if technique == "accounts" else f"26-{self.rng.randrange(WORKS):03}",
            "technique": technique,
            "person": f"Person {self.number}",
            "date": f"{day:%Y-%m-%d}",
            "hours": hours,
            "note": f"{self.number} {number} {self.rng.random()}",
        }

    def _send_somehow(self) -> None:
        with self.lock:
            waiting = list(self.queue.values())
        if self.rng.random() < 0.4:
            self.rng.shuffle(waiting)
        batch = waiting[: self.rng.choice((1, 3, 20, 100))]
        how = self.rng.choices(("well", "twice", "half", "deaf", "not"), (6, 2, 1, 2, 1))[0]
        if not batch or how == "not":
            return
        tabs = [
            threading.Thread(target=self._send, args=(batch, how)) for _ in range(2 if how == "twice" else 1)
        ]
        for tab in tabs:
            tab.start()
        for tab in tabs:
            tab.join()

    def _send(self, batch: list[dict[str, Any]], how: str) -> None:
        clock = ms(datetime.now(UTC).replace(tzinfo=None) + timedelta(seconds=self.clock_off))
        body = json.dumps({"version": 1, "phone": self.id, "clock": clock, "actions": batch}).encode()
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            if how == "half":
                connection.putrequest("POST", "/log/v1/actions")
                connection.putheader("Content-Type", "application/json")
                connection.putheader("Content-Length", str(len(body)))
                connection.endheaders(body[: len(body) // 2])
                return
            connection.request("POST", "/log/v1/actions", body, {"Content-Type": "application/json"})
            if how == "deaf":
                return
            answer = connection.getresponse()
            said = json.loads(answer.read())
        except (OSError, http.client.HTTPException):
            time.sleep(0.5)  # the studio is away; the phone tries again
            return
        finally:
            connection.close()
        assert answer.status == 200, said
        with self.lock:
            self.sendings += 1
            self.acknowledged |= set(said["received"])
            self.unread += said["unread"]
            for item in said["received"]:
                self.queue.pop(item, None)


def shares(entry: str, row: dict[str, str], works: list[str]) -> dict[str, dict[str, str]]:
    """What a spell should come to: itself, or as much for each of its works."""
    if not works:
        return {entry: row}
    note = f"{row['note']} (one of {len(works)} works in one spell, shared equally)"
    return {
        f"{entry}+share {n}": {
            **row,
            "object": code,
            "hours": f"{float(row['hours']) / len(works)}",
            "note": note,
        }
        for n, code in enumerate(works, start=1)
    }


@dataclass(frozen=True)
class Told:
    """What a campaign came to: counts, and seconds it took."""

    phones: int
    entries: int
    actions: int
    sendings: int
    kills: int
    seconds: float


def campaign(folder: Path, *, phones: int, entries: int, kills: int, seed: int = 1) -> Told:
    """Let phones log while the server is killed at random moments; asserts that nothing is lost, doubled or
    invented.
    """
    begun = time.monotonic()
    db = folder / "studio.duckdb"
    with Store(db) as store:
        bring_into(
            store,
            folder,
            "objects.csv",
            "object,title\n" + "".join(f"26-{n:03},Work {n}\n" for n in range(WORKS)),
        )
    rng = random.Random(seed)
    server = Server(db)
    handsets = [
        Handset(number, server.port, seed, clock_off=rng.choice((0.0, 90.0, -400.0, 86_400.0)))
        for number in range(phones)
    ]
    threads = [threading.Thread(target=handset.live, args=(entries,), daemon=True) for handset in handsets]
    try:
        for thread in threads:
            thread.start()
        to_make = phones * entries
        for turn in range(kills):
            # spread over the whole of it, each at a moment of its own
            while sum(len(handset.acknowledged) for handset in handsets) < to_make * (turn + rng.random()) / (
                kills + 0.5
            ) and any(thread.is_alive() for thread in threads):
                time.sleep(0.005)
            time.sleep(rng.random() * 0.3)
            server.discard()
            _look_after_a_kill(db, handsets)
            server.start()
        for thread in threads:
            thread.join(600)
            assert not thread.is_alive(), "a phone could not send all it has"
    finally:
        server.stop()
    _look_at_the_end(db, handsets)
    return Told(
        phones=phones,
        entries=sum(len(rows) for handset in handsets for rows in handset.truth.values()),
        actions=sum(len(handset.made) for handset in handsets),
        sendings=sum(handset.sendings for handset in handsets),
        kills=kills,
        seconds=time.monotonic() - begun,
    )


def _look_after_a_kill(db: Path, handsets: list[Handset]) -> None:
    """What was acknowledged is there, each action once (it is the key), and none that no phone made."""
    acknowledged = set[str]().union(*(set(handset.acknowledged) for handset in handsets))
    with Store(db) as store:
        held = [row[0] for row in store.cursor().execute("SELECT action FROM phone_actions").fetchall()]
        assert faults(store.cursor()) == []
    made = set[str]().union(*(set(handset.made) for handset in handsets))
    assert len(held) == len(set(held)) and acknowledged <= set(held) <= made


def _look_at_the_end(db: Path, handsets: list[Handset]) -> None:
    assert all(handset.unread == [] and handset.made == handset.acknowledged for handset in handsets)
    with Store(db) as store:
        inbox = Inbox(store)
        inbox.catch_up()  # as whoever opens the record next
        assert inbox.trouble is None
        con = store.cursor()
        assert faults(con) == []
        assert {row[0] for row in con.execute("SELECT action FROM phone_actions").fetchall()} == set[
            str
        ]().union(*(handset.made for handset in handsets))
        assert (
            con.execute("SELECT action FROM phone_actions ANTI JOIN phone_outcomes USING (action)").fetchall()
            == []
        )
        assert con.execute("SELECT told FROM phone_outcomes WHERE outcome = 'refused'").fetchall() == []
        rows = con.execute(
            "SELECT entry, coalesce(object, ''), technique, person, day::VARCHAR, round(hours, 9), note FROM"
            " time_entries"
        ).fetchall()
    truth = {
        (
            entry,
            row["object"],
            row["technique"],
            row["person"],
            row["date"],
            round(float(row["hours"]), 9),
            row["note"],
        )
        for handset in handsets
        for rows_of_one in handset.truth.values()
        for entry, row in rows_of_one.items()
    }
    assert len(rows) == len(set(rows)) and set(rows) == truth
