"""The phones and other devices that may come in: paired by a code that is good once, known by a secret, sent
away at once.

The database keeps digests of codes and secrets only. What a device is for (its person and its role) is said
when its code is made, and never changes: a device that is to do something else is paired anew.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Literal, get_args

from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.store import Store
from ingest.studio import people
from ingest.tables.audit_log import utc_now
from ingest.values.spelling import folded

Role = Literal["logs", "reviews", "principal"]
ROLES: tuple[Role, ...] = get_args(Role)
ACCESS_TABLES = ("devices", "pairing_codes", "door_events")
"""Tables that say who may come in; they stay as they are whatever backup is brought back."""

DEVICE_HEADER = "x-bench-hours-device"
"""Request header in which the server's guard gives the device's UUID; a browser's own value is dropped."""
LOCAL_DEVICE = "here"
"""Value of that header for whoever sits at this machine, where the pages are open to nobody else."""
CODE_MINUTES = 10
IDLE_DAYS = 90
MOST_DAYS = 730
"""However often it is used, a device is paired anew after so many days."""
_MOST_CODES = 8
_LETTERS = (  # base 32 of RFC 4648: nothing in it is mistaken for anything else in it
    "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
)
_CODE_LENGTH = 10  # 50 bits, where ten minutes allow some hundred guesses
_SECRET_BYTES = 16
_MOST_NAME = 60
_MOST_EVENTS = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device that was paired.

    Attributes
    ----------
    device : a UUID, which is no secret.
    name : as the principal calls it.
    person : whose it is, by the present name; None: several share it.
    in_record : that person is still in the record.
    left_on : the day on which that person left the studio; None: is there.
    role : logs: the form only; reviews: figures without paces, people and prices; principal: all.
    paired_at, seen_at, revoked_at : UTC; `revoked_at` None: it was not sent away.
    """

    device: str
    name: str
    person: str | None
    in_record: bool = True
    left_on: date | None = None
    role: Role
    paired_at: datetime
    seen_at: datetime
    revoked_at: datetime | None

    def refusal_reason(self, now: datetime) -> str:
        """Reason why the device is not admitted; empty where it is."""
        if self.revoked_at is not None:
            return "sent away"
        if not self.in_record:
            return "of nobody in the record"
        if self.left_on and self.left_on <= now.date():
            return "of somebody who has left"
        if now - self.seen_at >= timedelta(days=IDLE_DAYS):
            return f"not used for {IDLE_DAYS} days"
        return f"paired {MOST_DAYS} days ago" if now - self.paired_at >= timedelta(days=MOST_DAYS) else ""

    def is_admitted(self, now: datetime) -> bool:
        """True unless there is a reason to refuse it."""
        return not self.refusal_reason(now)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at the door, so many times between two moments (UTC)."""

    what: str
    about: str
    first_at: datetime
    last_at: datetime
    times: int


class Devices:
    """The devices of one store. Those known are kept in memory and read again after each write, so that
    asking costs no query.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._read_at = -1
        self._by_secret: Mapping[str, Device] = {}

    # --- who is it?

    def of_secret(self, secret: str) -> Device | None:
        """The device that carries a secret, be it that it was sent away; None: none ever paired here."""
        return self._read().get(_digest(secret))

    def of_name(self, device: str) -> Device | None:
        """The device of a UUID."""
        return next((item for item in self._read().values() if item.device == device), None)

    def listed(self) -> list[Device]:
        """Every device: those that were not sent away first, the latest paired first."""
        return sorted(
            self._read().values(), key=lambda item: (item.revoked_at is not None, -item.paired_at.timestamp())
        )

    def has_principal(self) -> bool:
        """True if some device of the principal is admitted."""
        now = utc_now()
        return any(item.role == "principal" and item.is_admitted(now) for item in self._read().values())

    def _read(self) -> Mapping[str, Device]:
        with self._lock:
            writes = self._store.writes
            if writes != self._read_at:
                con = self._store.cursor()
                try:
                    rows = con.execute(_READ_DEVICES).fetchall()
                finally:
                    con.close()
                names = [column.name for column in fields(Device)]
                self._by_secret = {
                    secret: Device(**dict(zip(names, values, strict=True))) for secret, *values in rows
                }
                self._read_at = writes
            return self._by_secret

    # --- pairing

    def admit(
        self, *, role: str, person: str | None = None, name: str = "", now: datetime | None = None
    ) -> str:
        """Make a code that pairs one device within ten minutes; shown once, and kept as a digest.

        Raises where the role is none, the person is not in the record, or the name is too long.
        """
        if role not in ROLES:
            raise BenchHoursError(f'"{role}" is no role', f"Say {', '.join(ROLES[:-1])} or {ROLES[-1]}.")
        name = " ".join(name.split())
        if len(name) > _MOST_NAME:
            raise BenchHoursError(
                f"the name of a device cannot have {len(name)} characters",
                f"Call it something of at most {_MOST_NAME}.",
            )
        now = now or utc_now()
        code, salt = (
            "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH)),
            secrets.token_bytes(_SECRET_BYTES),
        )
        slow = _slow_digest(code, salt)
        with self._store.writing(counts=False) as con:
            if person is not None:
                person = people.find(con, person)
            folded_name = None if person is None else folded(person)
            con.execute("DELETE FROM pairing_codes WHERE good_until <= ?", [now])
            con.execute(
                """DELETE FROM pairing_codes
                WHERE code NOT IN (SELECT code FROM pairing_codes ORDER BY good_until DESC LIMIT ?)""",
                [_MOST_CODES - 1],
            )
            until = now + timedelta(minutes=CODE_MINUTES)
            con.execute(
                "INSERT INTO pairing_codes VALUES (?, ?, ?, ?, ?, ?)",
                [slow, salt.hex(), name or _default_name(role, person), folded_name, role, until],
            )
        return f"{code[:5]}-{code[5:]}"

    def pair(
        self, code: str, *, in_place_of: str | None = None, now: datetime | None = None
    ) -> tuple[Device, str] | None:
        """Use a code up: the device that it pairs and its secret; None where the code is none, too old, or
        used already, which is not told apart.

        `in_place_of`: the UUID of the device as which the same browser came in so far, which is sent away.
        """
        now = now or utc_now()
        waiting = self._waiting(code)
        if waiting is None:
            return None
        secret = secrets.token_hex(_SECRET_BYTES)
        with self._store.writing(counts=False) as con:
            rows = con.execute(
                "DELETE FROM pairing_codes WHERE code = ? RETURNING name, person, role, good_until", [waiting]
            ).fetchall()
            if not rows or rows[0][-1] <= now:  # somebody else was faster, or it is too old
                return None
            name, person, role, _ = rows[0]
            if in_place_of:
                con.execute(
                    "UPDATE devices SET revoked_at = ? WHERE device = ? AND revoked_at IS NULL",
                    [now, in_place_of],
                )
            taken = {
                row[0] for row in con.execute("SELECT name FROM devices WHERE revoked_at IS NULL").fetchall()
            }
            unique_name = next(
                words for n in range(1, 10_000) if (words := name if n == 1 else f"{name} {n}") not in taken
            )
            row = [str(uuid.uuid4()), unique_name, person, role, _digest(secret), now, now]
            con.execute("INSERT INTO devices VALUES (?, ?, ?, ?, ?, ?, ?, NULL)", row)
        device = self.of_secret(secret)
        assert device is not None
        return device, secret

    def withdraw(self, code: str) -> None:
        """A code that was made is good no more."""
        with self._store.writing(counts=False) as con:
            con.execute("DELETE FROM pairing_codes WHERE code = ?", [self._waiting(code)])

    def _waiting(self, code: str) -> str | None:
        """Digest of a code that waits; None where it is none of those."""
        code = "".join(letter for letter in code.upper() if letter.isalnum()).translate(_MISREAD)
        con = self._store.cursor()
        try:
            rows = con.execute("SELECT code, salt FROM pairing_codes").fetchall()
        finally:
            con.close()
        return next(
            (
                digest
                for digest, salt in rows
                if hmac.compare_digest(digest, _slow_digest(code, bytes.fromhex(salt)))
            ),
            None,
        )

    # --- afterwards

    def rename(self, device: str, name: str) -> None:
        """Call a device otherwise."""
        name = " ".join(name.split())
        if not name or len(name) > _MOST_NAME:
            raise BenchHoursError(
                "a device needs a name", f"Call it something of 1 to {_MOST_NAME} characters."
            )
        with self._store.writing(counts=False) as con:
            if con.execute(
                "SELECT EXISTS (FROM devices WHERE name = ? AND device <> ? AND revoked_at IS NULL)",
                [name, device],
            ).fetchall()[0][0]:
                raise BenchHoursError(
                    f'another device is called "{name}"', "Call this one so that the two can be told apart."
                )
            con.execute("UPDATE devices SET name = ? WHERE device = ?", [name, device])

    def revoke(self, device: str, now: datetime | None = None) -> None:
        """Send a device away, from now on and for good."""
        now = now or utc_now()
        with self._store.writing(counts=False) as con:
            for (name,) in con.execute(
                "UPDATE devices SET revoked_at = ? WHERE device = ? AND revoked_at IS NULL RETURNING name",
                [now, device],
            ).fetchall():
                _record_event(con, Event("sent away", name, now, now, 1))

    def keep(self, last_seen: Mapping[str, datetime], events: Sequence[Event]) -> None:
        """Note when devices were last seen, and what happened at the door; a thing that goes on from the last
        note of it is one row.
        """
        if not last_seen and not events:
            return
        with self._store.writing(counts=False) as con:
            for device, at in last_seen.items():
                con.execute(
                    "UPDATE devices SET seen_at = greatest(seen_at, ?) WHERE device = ?", [at, device]
                )
            for event in events:
                _record_event(con, event)
            con.execute(
                """DELETE FROM door_events
                WHERE last_at < (
                    SELECT min(last_at)
                    FROM (SELECT last_at FROM door_events ORDER BY last_at DESC LIMIT ?)
                )""",
                [_MOST_EVENTS],
            )

    def events(self, most: int = 30) -> list[Event]:
        """Events at the door, the latest first."""
        con = self._store.cursor()
        try:
            rows = con.execute(
                """SELECT what, about, first_at, last_at, times FROM door_events
                ORDER BY last_at DESC, first_at DESC LIMIT ?""",
                [most],
            ).fetchall()
        finally:
            con.close()
        return [Event(*row) for row in rows]


# The secret, then columns in the order of the attributes of `Device`. The person is stored under the name of
# the day of pairing and looked up, as people are renamed, merged and restored.
_READ_DEVICES = """
SELECT d.secret, d.device, d.name, coalesce(s.person, d.person), d.person IS NULL OR s.person IS NOT NULL,
    p.left_on, d.role, d.paired_at, d.seen_at, d.revoked_at
FROM devices AS d LEFT JOIN person_spellings AS s ON s.spelling = d.person
LEFT JOIN people AS p ON p.person = s.person
"""
_SAME_EVENT = timedelta(minutes=10)
_MISREAD = str.maketrans("018", "OIB")  # signs that a code never has, read for those that look like them


def _record_event(con: Connection, event: Event) -> None:
    went_on = con.execute(
        """UPDATE door_events SET last_at = greatest(last_at, $last), times = times + $times
        WHERE what = $what AND about = $about AND last_at > $since
        RETURNING 1""",
        {
            "last": event.last_at,
            "times": event.times,
            "what": event.what,
            "about": event.about,
            "since": event.first_at - _SAME_EVENT,
        },
    ).fetchall()
    if not went_on:
        con.execute(
            "INSERT INTO door_events VALUES (?, ?, ?, ?, ?)",
            [event.what, event.about, event.first_at, event.last_at, event.times],
        )


def _default_name(role: str, person: str | None) -> str:
    """Name of a device that was given none."""
    whose = f"{person}'s" if person else "the principal's" if role == "principal" else "shared"
    return f"{whose} device"


def _digest(text: str) -> str:
    """Digest of a secret. A plain hash is enough for 128 random bits."""
    return hashlib.sha256(text.encode(errors="replace")).hexdigest()


def _slow_digest(code: str, salt: bytes) -> str:
    """Digest of a code, which is short: a fast hash could be tried for all codes within ten minutes (OWASP
    ASVS 5.0, 6.5.2).
    """
    return hashlib.scrypt(code.encode(errors="replace"), salt=salt, n=2**14, r=8, p=1).hex()
