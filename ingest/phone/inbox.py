"""Where actions of phones arrive: each is on the disk before it is acknowledged, and settled right after.

Two steps, because the checks of a row take longer than a phone at the bench should wait, and because what cannot be stored
(a work that is not there yet, hours that nobody can read) is then safe here too, until somebody mends it.
"""

from __future__ import annotations

import json
import sys
import threading
import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import duckdb

from ingest.devices import Device
from ingest.errors import BenchHoursError, StoreError, why
from ingest.history import utc_now
from ingest.phone import settling
from ingest.phone.actions import MOST_ACTIONS, Action, ActionError, uuid, whole_ms
from ingest.store import Store

_AGAIN_S = 3.0  # between two tries where the file could not be written
_GATHER_S = 0.15  # what phones send at about the same time is settled at once: one transaction costs as much for twenty entries as for one
_KEPT_THERE = "Nothing is lost: the phone keeps it and sends it again."
_SHAPE = json.dumps(
    [{"action": "VARCHAR", "phone": "VARCHAR", "number": "BIGINT", "entry": "VARCHAR", "made_at": "TIMESTAMP", "clock_off": "DOUBLE", "received_at": "TIMESTAMP", "said": "JSON", "device": "VARCHAR", "logs_for": "VARCHAR"}]
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """What became of a sending.

    Attributes
    ----------
    received : actions that are on the disk now, or were before.
    unread : actions that are none, by what they call themselves (or their place in the sending, from 0), and why.
    clock_off : seconds by which the phone's clock is behind (below 0: ahead), taken from the moment of sending.
    """

    received: list[str]
    unread: list[tuple[str | int, ActionError]]
    clock_off: float


class Inbox:
    """The inbox of one store. `settling` must run for what arrives to come into the record."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._door = threading.Lock()  # an action must not be stored twice, and DuckDB lets the second of two writers of one key fail
        self._news = threading.Event()
        self._stopped = False
        self.settled = 0
        """How many were settled so far: who waits for one looks again when it grows."""
        self.trouble: BenchHoursError | None = None
        """Why what arrived cannot be settled just now."""

    def receive(self, said: object, now: datetime | None = None, *, device: Device | None = None) -> Receipt:
        """Keep a sending, `{phone, clock, actions}`, and say what was kept once it is on the disk.

        `device`: from which it comes; one of a person who logs says that person's own entries only.

        Raises `ActionError` where it is no sending at all, `StoreError` where it cannot be kept.
        """
        if not isinstance(said, dict) or not isinstance(said.get("actions"), list):
            raise ActionError("this is no sending of actions", "Send a JSON object with phone, clock and actions.")
        if len(said["actions"]) > MOST_ACTIONS:
            raise ActionError(f"{len(said['actions']):,} actions are too many at once", f"Send at most {MOST_ACTIONS}.")
        phone, clock = uuid(said.get("phone"), "phone"), whole_ms(said.get("clock"), "clock")
        now = now or utc_now()
        off = _seconds(now) - clock / 1000
        actions, unread = _read(said["actions"])
        rows = [
            {
                "action": one.action, "phone": phone, "number": one.number, "entry": one.entry, "made_at": _made_at(one, off, now), "clock_off": off,
                "received_at": now.isoformat(sep=" "), "said": one.kept(), "device": device and device.device,
                "logs_for": device.person if device and device.role == "logs" else None,
            }
            for one in actions
        ]  # fmt: skip
        if rows:
            self._keep(rows)
            self._news.set()
        return Receipt(received=[one.action for one in actions], unread=unread, clock_off=off)

    def _keep(self, rows: list[dict[str, Any]]) -> None:
        con = self._store.cursor()
        try:
            with self._door:
                con.execute("INSERT INTO phone_actions SELECT unnest(from_json(?, ?), max_depth := 2) ON CONFLICT DO NOTHING", [json.dumps(rows), _SHAPE])
        except duckdb.Error as error:
            raise StoreError(f"the studio's file cannot be written ({why(error)})", _KEPT_THERE) from error
        finally:
            con.close()

    def outcomes(self, actions: Sequence[str]) -> tuple[list[dict[str, Any]], list[str]]:
        """What became of actions, of those that are settled: `{action, outcome, faults, remarks}`; and those that are not here at all.

        A phone may hold for arrived what is not here any more: the studio went back to a backup. It has to send that again.
        """
        con = self._store.cursor()
        try:
            rows = con.execute(
                """SELECT asked.action, o.outcome, o.told, p.action IS NULL FROM (SELECT unnest(?::VARCHAR[]) AS action) AS asked
                LEFT JOIN phone_actions AS p ON p.action = asked.action LEFT JOIN phone_outcomes AS o ON o.action = asked.action""",
                [list(actions)],
            ).fetchall()
        finally:
            con.close()
        settled = [{"action": action, "outcome": outcome, **json.loads(told)} for action, outcome, told, _ in rows if outcome]
        missing = [action for action, outcome, _, lacks in rows if lacks and not outcome]
        if len(settled) + len(missing) < len(rows):
            self._news.set()  # they may have come with a backup, and not by the door
        return settled, missing

    def catch_up(self) -> None:
        """Settle now what waits, for who runs no thread for it; `trouble` tells where that could not be done."""
        self._settle()

    @contextmanager
    def settling(self) -> Iterator[None]:
        """Settle what waits and what arrives until the block ends, in a thread of its own."""
        worker = threading.Thread(target=self._work, daemon=True, name="phones")
        self._news.set()
        worker.start()
        try:
            yield
        finally:
            self._stopped = True
            self._news.set()
            worker.join()

    def _work(self) -> None:
        while True:
            self._news.wait(None if self.trouble is None else _AGAIN_S)
            if not self._stopped:
                time.sleep(_GATHER_S)
            self._news.clear()
            if self._stopped:
                return
            self._settle()

    def _settle(self) -> None:
        try:
            while not self._stopped and (count := settling.settle(self._store)):
                self.settled += count
            self.trouble = None
        except StoreError as error:
            self.trouble = error
        except (duckdb.IOException, duckdb.FatalException) as error:
            self.trouble = StoreError(f"the studio's file cannot be read ({why(error)})", _KEPT_THERE)
        except Exception:
            traceback.print_exc(file=sys.stderr)
            self._settle_one_by_one()

    def _settle_one_by_one(self) -> None:
        """Something that was not foreseen: it must not keep the others waiting."""
        self.trouble = None
        try:
            for (action,) in (
                self._store.cursor().execute("SELECT action FROM phone_actions ANTI JOIN phone_outcomes USING (action) ORDER BY made_at, number").fetchall()
            ):
                try:
                    settling.settle(self._store, only=action)
                except StoreError:
                    raise
                except Exception as error:
                    settling.refuse_unread(self._store, action, error)
                self.settled += 1
        except (StoreError, duckdb.Error) as error:
            self.trouble = error if isinstance(error, StoreError) else StoreError(f"the studio's file cannot be written ({why(error)})", _KEPT_THERE)


def _read(raw: list[Any]) -> tuple[list[Action], list[tuple[str | int, ActionError]]]:
    """The actions of a sending, each once, and those that are none."""
    actions: dict[str, Action] = {}
    unread: list[tuple[str | int, ActionError]] = []
    for place, one in enumerate(raw):
        try:
            action = Action.read(one)
            actions.setdefault(action.action, action)
        except ActionError as error:
            name = one.get("action") if isinstance(one, dict) else None
            unread.append((name if isinstance(name, str) else place, error))
    return list(actions.values()), unread


def _made_at(one: Action, off: float, now: datetime) -> str:
    """When an action was made, in UTC: by the phone's clock put right, and never after it arrived."""
    return min(_BEGIN + timedelta(milliseconds=one.made_at) + timedelta(seconds=off), now).isoformat(sep=" ")


def _seconds(moment: datetime) -> float:
    return (moment - _BEGIN).total_seconds()


_BEGIN = datetime(1970, 1, 1)
