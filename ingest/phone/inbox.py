"""Inbox of phones' actions: each is on the disk before it is acknowledged, and settled right after.

Two steps, because the checks of a row take longer than a phone at the bench should wait, and because what
cannot be stored (a work that is not there yet, hours that nobody can read) is then safe here too, until
somebody mends it.
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
from ingest.phone import apply_actions
from ingest.phone.actions import MOST_ACTIONS, Action, ActionError, uuid, whole_ms
from ingest.phone.entry_versions import SETTLED, spell_sql
from ingest.store import Store
from ingest.tables.audit_log import utc_now

_RETRY_S = 3.0  # between two tries where the file could not be written
# what phones send at about the same time is settled at once: one transaction costs as much for twenty entries
# as for one
_GATHER_S = 0.15
_BETWEEN_S = 0.01  # between two turns, so that whoever else waits for the processor gets it
_ASIDE_RETRY_S = 600.0
_KEPT_THERE = "Nothing is lost: the phone keeps it and sends it again."
_KEPT_HERE = (
    "Nothing is lost: what arrived is kept in the studio and tried again; see that the disk has room and the"
    " machine is well."
)
_SHAPE = json.dumps(
    [
        {
            "action": "VARCHAR",
            "phone": "VARCHAR",
            "number": "BIGINT",
            "entry": "VARCHAR",
            "made_at": "TIMESTAMP",
            "clock_off": "DOUBLE",
            "received_at": "TIMESTAMP",
            "said": "JSON",
            "device": "VARCHAR",
            "logs_for": "VARCHAR",
            "role": "VARCHAR",
        }
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """Result of a sending.

    Attributes
    ----------
    received : actions that are on the disk now, or were before.
    unread : actions that are none, by what they call themselves (or their place in the sending, from 0), and
        why.
    clock_off : seconds by which the phone's clock is behind (below 0: ahead), taken from the moment of
        sending.
    """

    received: list[str]
    unread: list[tuple[str | int, ActionError]]
    clock_off: float


class Inbox:
    """The inbox of one store. `settling` must run for what arrives to come into the record."""

    def __init__(self, store: Store) -> None:
        self._store = store
        # an action must not be stored twice, and DuckDB lets the second of two writers of one key fail
        self._door = threading.Lock()
        self._news = threading.Event()
        self._stopped = False
        self.settled = 0
        """How many were settled so far: who waits for one looks again when it grows."""
        self.trouble: BenchHoursError | None = None
        """Why what arrived cannot be settled just now; it is tried again every few seconds."""
        self._aside: dict[str, _Aside] = {}

    def receive(
        self, sending: object, now: datetime | None = None, *, device: Device | None = None
    ) -> Receipt:
        """Store a sending, `{phone, clock, actions}`; returns once it is on the disk.

        `device`: from which it comes; one of a person who logs says that person's own entries only.

        Raises `ActionError` where it is no sending at all, `StoreError` where it cannot be kept.
        """
        if not isinstance(sending, dict) or not isinstance(sending.get("actions"), list):
            raise ActionError(
                "this is no sending of actions", "Send a JSON object with phone, clock and actions."
            )
        if len(sending["actions"]) > MOST_ACTIONS:
            raise ActionError(
                f"{len(sending['actions']):,} actions are too many at once", f"Send at most {MOST_ACTIONS}."
            )
        phone, clock = uuid(sending.get("phone"), "phone"), whole_ms(sending.get("clock"), "clock")
        now = now or utc_now()
        off = (now - _BEGIN).total_seconds() - clock / 1000
        actions, unread = _read(sending["actions"])
        rows = [
            {
                "action": action.action,
                "phone": phone,
                "number": action.number,
                "entry": action.entry,
                "made_at": _made_at(action, off, now),
                "clock_off": off,
                "received_at": now.isoformat(sep=" "),
                "said": action.to_json(),
                "device": device and device.device,
                "logs_for": device.person if device and device.role == "logs" else None,
                "role": device and device.role,
            }
            for action in actions
        ]
        if rows:
            self._keep(rows)
            self._news.set()
        return Receipt(received=[action.action for action in actions], unread=unread, clock_off=off)

    def _keep(self, rows: list[dict[str, Any]]) -> None:
        try:
            with self._store.cursor() as con, self._door:
                con.execute(
                    """INSERT INTO phone_actions BY NAME
                    SELECT unnest(from_json(?, ?), max_depth := 2) ON CONFLICT DO NOTHING""",
                    [json.dumps(rows), _SHAPE],
                )
        except duckdb.Error as error:
            raise StoreError(f"the studio's file cannot be written ({why(error)})", _KEPT_THERE) from error

    def outcomes(self, actions: Sequence[str]) -> tuple[list[dict[str, Any]], list[str]]:
        """Outcomes of settled actions, `{action, outcome, faults, remarks}`, and the actions that are not
        here at all.

        A phone may hold for arrived what is not here any more: the studio went back to a backup. It has to
        send that again.
        """
        with self._store.cursor() as con:
            rows = con.execute(
                f"""SELECT asked.action, o.outcome, o.told, p.action IS NULL
                FROM (SELECT unnest(?::VARCHAR[]) AS action) AS asked
                LEFT JOIN phone_actions AS p ON p.action = asked.action
                LEFT JOIN {SETTLED} AS o ON o.action = asked.action""",
                [list(actions)],
            ).fetchall()
        settled = [
            {"action": action, "outcome": outcome, **json.loads(remarks)}
            for action, outcome, remarks, _ in rows
            if outcome
        ]
        missing = [action for action, outcome, _, lacks in rows if lacks and not outcome]
        if len(settled) + len(missing) < len(rows):
            self._news.set()  # they may have come with a backup, and not by the door
        return settled, missing

    def aside(self, actions: Sequence[str]) -> BenchHoursError | None:
        """Reason why some of these actions wait while others are settled; None where none does."""
        aside = self._aside
        spells = self._waiting_of("action IN (SELECT unnest(?::VARCHAR[]))", [list(actions)]) if aside else []
        return next((aside[spell].error for spell in spells if spell in aside), None)

    @property
    def why_waiting(self) -> BenchHoursError | None:
        """Reason why arrived actions are not settled: none can be, or some could not be taken in."""
        return self.trouble or next((item.error for item in list(self._aside.values())), None)

    def catch_up(self, now: datetime | None = None, *, within_s: float | None = None) -> int:
        """Settle pending actions without a thread; returns the number still pending, as there is `trouble` or
        the time is over.
        """
        self._settle(now, None if within_s is None else time.monotonic() + within_s)
        return apply_actions.waiting(self._store.cursor())

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
            due = min((item.again_at for item in self._aside.values()), default=None)
            self._news.wait(
                _RETRY_S if self.trouble else None if due is None else max(0.0, due - time.monotonic())
            )
            if not self._stopped:
                time.sleep(_GATHER_S)
            self._news.clear()
            if self._stopped:
                return
            self._settle()

    def _settle(self, now: datetime | None = None, until: float | None = None) -> None:
        """Settle turn by turn until nothing is pending, the time is over or the machine fails; an error of
        the program is narrowed down to its spells.
        """
        try:
            self._aside = {
                spell: item for spell, item in self._aside.items() if item.again_at > time.monotonic()
            }
            while not self._stopped and (until is None or time.monotonic() < until):
                aside = {spell: item.until for spell, item in self._aside.items()}
                failed: Exception | None = None
                try:
                    count = apply_actions.settle(self._store, now, aside=aside)
                except Exception as error:
                    if is_machine_failure(error):
                        raise
                    failed = error
                if failed:
                    count = self._settle_apart(apply_actions.next_spells(self._store, aside), now, failed)
                self.settled += count
                self.trouble = None
                if not count:
                    self._forget_settled()
                    return
                time.sleep(_BETWEEN_S)
        except Exception as error:
            if not is_machine_failure(error):  # what waits cannot even be read: nothing is known of why
                traceback.print_exc(file=sys.stderr)
            self.trouble = (
                error
                if isinstance(error, StoreError)
                else StoreError(f"the studio cannot settle it just now ({why(error)})", _KEPT_HERE)
            )

    def _settle_apart(self, spells: Sequence[str], now: datetime | None, error: Exception) -> int:
        """Settle halves of spells that failed together, down to those that fail; these are put aside. Returns
        the number settled or put aside.
        """
        if len(spells) <= 1:
            for spell in spells:
                self._put_aside(spell, error)
            return len(spells)
        done = 0
        for some in (spells[: len(spells) // 2], spells[len(spells) // 2 :]):
            again: Exception | None = None
            try:
                while count := apply_actions.settle(self._store, now, only=some):
                    done += count
            except Exception as fault:
                if is_machine_failure(fault):
                    raise
                again = fault
            if again:
                done += self._settle_apart(some, now, again)
        return done

    def _put_aside(self, spell: str, error: Exception) -> None:
        """Put actions on a spell aside until the next start, a later action on it, or ten minutes: an error
        of the program is no fault of theirs.
        """
        # once of a kind is enough to find it by
        if not any(type(error) is type(item.cause) for item in self._aside.values()):
            traceback.print_exception(error, file=sys.stderr)
        with self._store.cursor() as con:
            of_spell = f"SELECT max(received_at) FROM phone_actions WHERE {spell_sql('entry')} = ?"
            until = con.execute(of_spell, [spell]).fetchall()[0][0]
        message = BenchHoursError(
            f"an entry could not be taken in ({type(error).__name__})",
            "Nothing is lost: it is kept in the studio and tried again; its window tells what happened.",
        )
        self._aside[spell] = _Aside(until, message, error, time.monotonic() + _ASIDE_RETRY_S)

    def _forget_settled(self) -> None:
        """Drop spells put aside that were settled since, by a later action or another process."""
        if self._aside:
            waiting = self._waiting_of(
                f"{spell_sql('entry')} IN (SELECT unnest(?::VARCHAR[]))", [list(self._aside)]
            )
            self._aside = {spell: self._aside[spell] for spell in waiting}

    def _waiting_of(self, condition: str, values: list[object]) -> list[str]:
        """Spells of the unsettled actions that meet a condition."""
        with self._store.cursor() as con:
            waiting = f"""SELECT DISTINCT {spell_sql("entry")} FROM phone_actions
                ANTI JOIN {SETTLED} USING (action)
                WHERE {condition}"""
            return [row[0] for row in con.execute(waiting, values).fetchall()]


@dataclass(frozen=True, slots=True)
class _Aside:
    """Actions on a spell set aside after an error of the program: those that came until `until` (UTC), tried
    again at `again_at` (monotonic clock).
    """

    until: datetime
    error: BenchHoursError
    cause: Exception
    again_at: float


_MACHINE_FAILURES = (
    OSError,
    MemoryError,
    StoreError,
    duckdb.IOException,
    duckdb.FatalException,
    duckdb.InternalException,
    duckdb.OutOfMemoryException,
    duckdb.TransactionException,
    duckdb.ConnectionException,
    duckdb.InterruptException,
)


def is_machine_failure(error: BaseException | None) -> bool:
    """True for failures that say nothing of the data: no room, handle or memory, a file that is gone, a
    database that cannot be written.
    """
    while error is not None:
        if isinstance(error, _MACHINE_FAILURES):
            return True
        error = error.__cause__
    return False


def _read(raw: list[Any]) -> tuple[list[Action], list[tuple[str | int, ActionError]]]:
    """The actions of a sending, each once, and those that are none."""
    actions: dict[str, Action] = {}
    unread: list[tuple[str | int, ActionError]] = []
    for place, item in enumerate(raw):
        try:
            action = Action.read(item)
            actions.setdefault(action.action, action)
        except ActionError as error:
            name = item.get("action") if isinstance(item, dict) else None
            unread.append((name if isinstance(name, str) else place, error))
    return list(actions.values()), unread


def _made_at(action: Action, off: float, now: datetime) -> str:
    """Time of an action in UTC, by the phone's clock put right, and never after its arrival."""
    return min(_BEGIN + timedelta(milliseconds=action.made_at) + timedelta(seconds=off), now).isoformat(
        sep=" "
    )


_BEGIN = datetime(1970, 1, 1)
