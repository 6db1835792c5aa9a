"""What phones sent comes into the record: the later word on an entry stands, whatever the order in which the words came.

Actions wait in `phone_actions` until they have a row in `phone_outcomes`. Settling them is one transaction, through the checks and the
write of a file (`ingest.typed`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import duckdb
import pandas as pd

from ingest import people
from ingest.corrections import take_out
from ingest.errors import NotationError
from ingest.history import Change, utc_now
from ingest.notation import folded
from ingest.phone.actions import SHARE, Action, share_of, spell_of
from ingest.phone.sharing import Row, ShareError, rows_of
from ingest.readings import READERS, Context
from ingest.records import TIME_ENTRIES
from ingest.store import Store
from ingest.typed import as_called, own_faults, put_rows

Remark = dict[str, str]
_Word = tuple[datetime, int, str]
"""When a word was said, the phone's count, the action: the greater one is the later."""

AT_ONCE = 200
_IN_HAND = ("object", "phase", "technique", "part", "person", "mode", "charge", "discovery", "note")
_CLOCK_WAS_SET_S = 120.0  # what is seen at sending is off by the time that the network takes, never by so much
_NOT_YET = timedelta(minutes=10)  # as of any row: a clock may be a little ahead


@dataclass(frozen=True, slots=True, kw_only=True)
class _Waiting:
    """An action that waits, with what was seen when it came: `said_at` in UTC, its clock put right; `device`, and `logs_for`: the only person for whom that logs."""

    action: Action
    said_at: datetime
    clock_off: float
    logs_for: str | None
    device: str | None

    @property
    def word(self) -> _Word:
        return self.said_at, self.action.number, self.action.action


@dataclass(frozen=True, slots=True)
class _Owned:
    """A spell as it stands: in hand, or an entry; whose; mode; object, phase, technique, part, charge and discovery; since when (UTC; None without a clock)."""

    in_hand: bool
    person: str
    mode: str
    said: tuple[Any, ...]
    since: datetime | None


class _FallTogether(Exception):
    """Rows of an action of several works of which one cannot be stored: none of them may be."""

    def __init__(self, faults: Mapping[str, list[Remark]]) -> None:
        self.faults = faults


def waits(con: duckdb.DuckDBPyConnection) -> bool:
    """Some action is not settled yet."""
    found: bool = con.execute("SELECT EXISTS (FROM phone_actions ANTI JOIN phone_outcomes USING (action))").fetchall()[0][0]
    return found


def settle(store: Store, now: datetime | None = None, only: str | None = None) -> int:
    """Settle up to 200 of the actions that wait (or one, by its name); how many.

    Raises `StoreError` where the file cannot be written: then they go on waiting.
    """
    if not waits(store.cursor()):
        return 0
    refused: dict[str, list[Remark]] = {}
    while True:
        try:
            with store.writing() as con:
                return _Settling(con, now or utc_now(), refused).settle(only)
        except _FallTogether as fault:
            refused |= fault.faults


def settle_all(store: Store, now: datetime | None = None) -> None:
    """Settle everything that waits."""
    while settle(store, now):
        pass


def refuse_unread(store: Store, action: str, error: Exception) -> None:
    """Refuse an action that nothing could be made of, so that it does not keep the others waiting."""
    fault = _remark("", "", f"cannot be taken in ({type(error).__name__})", "Write it anew; what happened is told in the studio's window.")
    with store.writing(counts=False) as con:
        _keep_outcomes(con, [(action, "refused", [fault], [])], utc_now())


@dataclass(slots=True)
class _Settling:
    """One transaction in which actions are settled.

    Attributes
    ----------
    refused : actions known to be refused, and why.
    last : the last word on each entry that is known so far.
    by_device : the device that said the last word of a phone on an entry.
    """

    con: duckdb.DuckDBPyConnection
    now: datetime
    refused: Mapping[str, list[Remark]]
    context: Context = field(init=False)
    last: dict[str, _Word] = field(default_factory=dict)
    taps: dict[tuple[str, str, int], float] = field(default_factory=dict)
    by_device: dict[str, str | None] = field(default_factory=dict)
    outcomes: list[tuple[str, str, list[Remark], list[Remark]]] = field(default_factory=list)

    def settle(self, only: str | None) -> int:
        self.context = Context.of(self.con)
        self._read_what_was_said(only)
        waiting = self._waiting()
        for turn in _in_turn(waiting):
            self._settle_turn(turn)
        _keep_outcomes(self.con, self.outcomes, self.now)
        return len(self.outcomes)

    def _read_what_was_said(self, only: str | None) -> None:
        """All that phones ever said of the entries that wait; the last word on each, of a phone or elsewhere; by what each tap was put right when it first came.

        A phone knows the order of its own words, by its count. When they were said is known only as well as the network was fast as they were sent: where the
        two differ, an earlier word of a phone was said no later than the next one.
        """
        self.con.execute(
            f"""CREATE OR REPLACE TEMP TABLE of_phones AS
            WITH waiting AS (
                SELECT * FROM phone_actions ANTI JOIN phone_outcomes USING (action) WHERE coalesce(action = $only, true) ORDER BY made_at, number, action LIMIT $at_once
            )
            SELECT a.*, o.settled_at, o.outcome, w.action IS NOT NULL AS in_turn,
                min(a.made_at) OVER (PARTITION BY a.phone, {_SPELL_OF.format(entry="a.entry")} ORDER BY a.number ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING) AS said_at
            FROM phone_actions AS a LEFT JOIN phone_outcomes AS o ON o.action = a.action LEFT JOIN waiting AS w ON w.action = a.action
            WHERE {_SPELL_OF.format(entry="a.entry")} IN (SELECT {_SPELL_OF.format(entry="entry")} FROM waiting)""",
            {"only": only, "at_once": AT_ONCE},
        )
        rows = self.con.execute(
            f"""SELECT entry, max((said_at, number, action)) FROM of_phones WHERE outcome = 'saved' GROUP BY entry
            UNION ALL
            SELECT key, (max(changed_at), 0, '') FROM history AS h WHERE kind = 'time_entries' AND {_SPELL_OF.format(entry="key")} IN (SELECT {_SPELL_OF.format(entry="entry")} FROM of_phones)
                AND NOT EXISTS (SELECT 1 FROM of_phones AS p WHERE p.outcome = 'saved' AND p.settled_at = h.changed_at) GROUP BY key"""
        ).fetchall()
        for entry, word in rows:
            self.last[entry] = max(self.last.get(entry, _NEVER), tuple(word))
        self.by_device |= dict(
            self.con.execute("SELECT entry, arg_max(device, (said_at, number, action)) FROM of_phones WHERE outcome = 'saved' GROUP BY entry").fetchall()
        )
        for entry, column, tap, clock_off in self.con.execute(
            """SELECT entry, column_name, (said->'taps'->>column_name)::BIGINT AS tap, arg_min(clock_off, received_at)
            FROM of_phones, (VALUES ('started_at'), ('ended_at')) AS t(column_name) WHERE tap IS NOT NULL GROUP BY ALL"""
        ).fetchall():
            self.taps[entry, column, tap] = clock_off

    def _waiting(self) -> list[_Waiting]:
        rows = self.con.execute(
            """SELECT action, entry, number, said_at, clock_off, said, coalesce(s.person, logs_for), device FROM of_phones
            LEFT JOIN person_spellings AS s ON s.written = logs_for WHERE in_turn ORDER BY said_at, number, action""",
        ).fetchall()
        return [
            _Waiting(
                action=Action.of_kept(json.loads(said), action=action, entry=entry, number=number),
                said_at=said_at,
                clock_off=clock_off,
                logs_for=logs_for,
                device=device,
            )
            for action, entry, number, said_at, clock_off, said, logs_for, device in rows
        ]

    def _settle_turn(self, turn: Sequence[_Waiting]) -> None:
        """Settle actions of which no two are about the same entry."""
        rows: list[tuple[_Waiting, str, Row]] = []
        asked = [one for one in turn if one.action.action not in self.refused]
        self.outcomes += [(one.action.action, "refused", self.refused[one.action.action], []) for one in turn if one.action.action in self.refused]
        areas, owners = self._areas(asked), self._owners(asked)
        for one in asked:
            try:
                self._check_whose(one, owners.get(spell_of(one.action.entry), []))
                said = self._entries(one, areas)
                if one.action.state == "running":
                    in_hand = self._in_hand(one)
            except _NotSo as fault:
                self.outcomes.append((one.action.action, "refused", [fault.remark], []))
                continue
            open_to = {name: row for name, row in said.items() if self._last_word_on(name) < one.word}
            if self._last_word_on(one.action.entry) >= one.word and not open_to:
                self.outcomes.append((one.action.action, "overtaken", [], []))
                continue
            if one.action.state == "logged":
                rows += [(one, name, row) for name, row in open_to.items()]
            elif one.action.state == "running":
                self._take_in_hand(one, in_hand)
            else:
                self._take_out(one, [])
                self._saved(one, [])
        self._log(rows)

    def _entries(self, one: _Waiting, areas: Mapping[str, float | None]) -> dict[str, Row]:
        """The rows that a logged action says, by the name of the entry that each is."""
        if one.action.state != "logged":
            return {}
        row = {
            **dict.fromkeys(TIME_ENTRIES.names, ""),
            **one.action.row,
            **{name: f"{moment:%Y-%m-%dT%H:%M:%SZ}" for name, moment in self._tapped(one).items()},
        }
        if one.action.taps:
            row |= {"date": "", "hours": ""}
        try:
            rows = rows_of(one.action, row, self.context, areas)
        except ShareError as error:
            raise _NotSo(error.column, error.value, error.what, error.mend) from error
        names = [share_of(one.action.entry, number + 1) for number in range(len(rows))] if one.action.works else [one.action.entry]
        return {name: {**row, "entry": name} for name, row in zip(names, rows, strict=True)}

    def _tapped(self, one: _Waiting) -> dict[str, datetime]:
        """The moments of the taps in UTC, to the second; one sent again later keeps what it was put right by at first.

        Two taps between which nobody set the phone's clock are put right alike, or a slow network would make their spell longer or shorter. One that is
        finished at once, or by that network before it was begun, is a spell of a second, to be undone or corrected like any other.
        """
        taps = one.action.taps
        off = {column: self.taps.get((one.action.entry, column, tap), one.clock_off) for column, tap in taps.items()}
        if max(off.values(), default=0.0) - min(off.values(), default=0.0) < _CLOCK_WAS_SET_S:
            off = dict.fromkeys(off, min(off.values(), default=0.0))
        moments = {column: datetime.fromtimestamp(tap / 1000 + off[column], UTC).replace(microsecond=0, tzinfo=None) for column, tap in taps.items()}
        began, ended = moments.get("started_at") or _of_the_studio(one.action.row.get("started_at", "")), moments.get("ended_at")
        if began and ended and began - timedelta(seconds=_CLOCK_WAS_SET_S) < ended <= began:
            moments["ended_at"] = began + timedelta(seconds=1)
        return moments

    def _areas(self, turn: Iterable[_Waiting]) -> dict[str, float | None]:
        codes = sorted({share.object for one in turn for share in one.action.works})
        return (
            dict(self.con.execute("SELECT object, area_dm2 FROM object_areas WHERE list_contains(?::VARCHAR[], object)", [codes]).fetchall()) if codes else {}
        )

    def _owners(self, turn: Iterable[_Waiting]) -> dict[str, list[_Owned]]:
        """Whose the spells are that devices of one person speak of, as they stand, by the name of the spell."""
        asked = sorted({spell_of(one.action.entry) for one in turn if one.logs_for is not None})
        if not asked:
            return {}
        rows = self.con.execute(
            f"""SELECT {_SPELL_OF.format(entry="entry")} AS spell, in_hand, person, mode, said, since FROM (
                SELECT entry, true AS in_hand, person, mode, (object, phase, technique, part, charge, coalesce(discovery, false)) AS said, in_hand_since AS since FROM spells_in_hand
                UNION ALL SELECT entry, false, person, mode, (object, phase, technique, part, charge, coalesce(discovery, false)), started_at FROM time_entries
            ) WHERE list_contains(?::VARCHAR[], spell)""",
            [asked],
        ).fetchall()
        owned: dict[str, list[_Owned]] = {}
        for spell, *about in rows:
            owned.setdefault(spell, []).append(_Owned(*about))
        return owned

    def _check_whose(self, one: _Waiting, held: Sequence[_Owned]) -> None:
        """A device of one person says that person's entries only.

        But a wait that somebody else has in hand (pressing, drying) anybody takes off: it stays whose it was and what it was, and only its end is said, and what
        is known of it then. The device that did so may say so again, or take it back; nobody else's finished entry is touched.
        """
        if one.logs_for is None:
            return
        said = one.action.row.get("person", "")
        known = dict(
            self.con.execute("SELECT spelling, person FROM person_spellings WHERE spelling IN (?, ?)", [folded(said), folded(one.action.person)]).fetchall()
        )
        whose = known.get(folded(said), said)
        mend = f"This device logs for {one.logs_for}; others log on theirs, or on the studio's pages."
        if known.get(folded(one.action.person), one.action.person) != one.logs_for:
            raise _NotSo("person", one.action.person, "is not whom this device logs for", mend)
        if all(owned.person == one.logs_for for owned in held):
            if one.action.state != "struck" and whose != one.logs_for:
                raise _NotSo("person", said, "is not whom this device logs for", mend)
            return
        takes_off = len(held) == 1 and held[0].mode == "unattended" and (held[0].in_hand or self.by_device.get(one.action.entry) == one.device)
        if not takes_off or one.action.state == "struck" or one.action.works or not self._leaves_it_as_it_is(one, held[0], whose):
            raise _NotSo("person", said, "says an entry of somebody else", mend)

    def _leaves_it_as_it_is(self, one: _Waiting, held: _Owned, whose: str) -> bool:
        read = self._in_hand(one)
        said = (read["object"], read["phase"], read["technique"], read["part"], read["charge"], bool(read["discovery"]))
        same_begin = held.since is not None and abs(read["in_hand_since"] - held.since) < timedelta(seconds=_CLOCK_WAS_SET_S)
        return whose == held.person and read["mode"] == held.mode and said == held.said and same_begin

    def _last_word_on(self, entry: str) -> _Word:
        return max(self.last.get(entry, _NEVER), self.last.get(spell_of(entry), _NEVER))

    # --- spells in hand

    def _in_hand(self, one: _Waiting) -> dict[str, Any]:
        """A spell that is begun, each of its words read as in any row."""
        row, read = one.action.row, dict[str, Any]()
        for column in TIME_ENTRIES.columns:
            text = row.get(column.name, "").strip()
            if column.name not in _IN_HAND:
                continue
            if not text and column.filled:
                raise _NotSo(column.name, "", "is empty", "Fill it in.")
            try:
                read[column.name] = READERS[column.reading].read(self.context, text) if text else None
            except NotationError as error:
                raise _NotSo(column.name, text, error.what, error.mend) from error
        technique = self.context.vocabulary.techniques[read["technique"]]
        read["phase"] = read["phase"] or technique.phase
        if read["object"] is None and self.context.vocabulary.phases[read["phase"]] > 0:
            raise _NotSo("object", "", f"is empty, but {read['phase']} is work on an object", "Give the object, or take a phase of studio time.")
        if "started_at" in one.action.taps:
            since = self._tapped(one)["started_at"]
        else:
            try:
                said = READERS["instant"].read(self.context, row.get("started_at", "").strip())
            except NotationError as error:
                raise _NotSo("started_at", row.get("started_at", ""), error.what, error.mend) from error
            assert isinstance(said, dict)
            since = datetime.fromisoformat(said["utc"]) if said["utc"] else _utc_of(self.con, said["wall"], self.context.settings.zone)
        if since > self.now + _NOT_YET:
            raise _NotSo("started_at", f"{since:%Y-%m-%dT%H:%M:%SZ}", "lies in the future", "Begin it when it is begun.")
        return read | {"mode": read["mode"] or technique.mode, "charge": read["charge"] or "quoted", "part": read["part"] or "", "in_hand_since": since}

    def _take_in_hand(self, one: _Waiting, read: dict[str, Any]) -> None:
        """The spell is in hand; what was logged of it before was undone."""
        self._take_out(one, [])
        known = self.con.execute("SELECT person FROM person_spellings WHERE spelling = ?", [folded(read["person"])]).fetchall()
        if known:
            read = {**read, "person": known[0][0]}
        else:
            people.keep_new(self.con, [read["person"]], self.now)
        columns = ["entry", *read]
        self.con.execute(f"INSERT INTO spells_in_hand ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})", [one.action.entry, *read.values()])
        self._saved(one, [])

    def _take_out(self, one: _Waiting, but: Sequence[str]) -> None:
        """The spell is no more in hand, and its entries but for these are taken back, unless a later word stands on them."""
        entry = one.action.entry
        self.con.execute("DELETE FROM spells_in_hand WHERE entry = ?", [entry])
        held = self.con.execute("SELECT entry FROM spells WHERE entry = ? OR starts_with(entry, ?)", [entry, share_of(entry, "")]).fetchall()
        out = [name for (name,) in held if name not in but and self.last.get(name, _NEVER) < one.word]
        if out:
            take_out(self.con, out, self._change(one, "on the phone"))

    # --- entries

    def _log(self, rows: list[tuple[_Waiting, str, Row]]) -> None:
        """Store rows through the checks of a file: new ones together, corrections by who makes them."""
        held = {
            row[0] for row in self.con.execute("SELECT entry FROM spells WHERE list_contains(?::VARCHAR[], entry)", [[name for _, name, _ in rows]]).fetchall()
        }
        groups: dict[str, list[tuple[_Waiting, str, Row]]] = {}
        for row in rows:
            groups.setdefault(row[0].action.person if row[1] in held else "", []).append(row)
        faults: dict[str, list[Remark]] = {}
        remarks: dict[str, list[Remark]] = {}
        for group in groups.values():
            report = put_rows(self.con, TIME_ENTRIES, [row for *_, row in group], self._change(group[0][0], "corrected on the phone"), all_or_none=False)
            for found, into in ((own_faults(report.problems), faults), (report.warnings, remarks)):
                for number, remark in _remarks(found):
                    into.setdefault(group[number - 1][0].action.action, []).append(remark)
        together = {name: told for name, told in faults.items() if sum(one.action.action == name for one, *_ in rows) > 1}
        if together:
            raise _FallTogether(together)
        names: dict[str, list[str]] = {}
        for one, name, _ in rows:
            names.setdefault(one.action.action, []).append(name)
        for one in {one.action.action: one for one, *_ in rows}.values():
            if one.action.action in faults:
                self.outcomes.append((one.action.action, "refused", faults[one.action.action], []))
                continue
            self._take_out(one, names[one.action.action])
            self._saved(one, remarks.get(one.action.action, []))

    def _saved(self, one: _Waiting, remarks: list[Remark]) -> None:
        self.outcomes.append((one.action.action, "saved", [], remarks))
        self.last[one.action.entry] = max(self.last.get(one.action.entry, _NEVER), one.word)
        self.by_device[one.action.entry] = one.device

    def _change(self, one: _Waiting, reason: str) -> Change:
        return Change(by=one.action.person, reason=reason, at=self.now)


class _NotSo(Exception):
    """Something that an action says and that cannot be."""

    def __init__(self, column: str, value: str, reason: str, mend: str) -> None:
        self.remark = _remark(column, value, reason, mend)


_CALLED = {
    "object": "Work", "technique": "Technique", "phase": "Phase", "part": "Part", "person": "Who", "started_at": "From", "ended_at": "To", "date": "Day",
    "hours": "Hours", "quantity": "Quantity", "unit": "Unit", "done": "How far", "share": "Share", "mode": "Kind of time", "charge": "Charge", "note": "Note",
}  # fmt: skip
"""What the form calls the columns of a row; a remark on any other is a sentence by itself."""
_NEVER: _Word = (datetime.min, 0, "")
_SPELL_OF = f"split_part({{entry}}, '{SHARE}', 1)"  # as `actions.spell_of`


def _in_turn(waiting: Sequence[_Waiting]) -> list[list[_Waiting]]:
    """The first action of each spell, then the second of each, and so on: in one turn no two are about the same."""
    turns: list[list[_Waiting]] = []
    seen: dict[str, int] = {}
    for one in waiting:
        spell = spell_of(one.action.entry)
        number = seen.get(spell, 0)
        seen[spell] = number + 1
        if number == len(turns):
            turns.append([])
        turns[number].append(one)
    return turns


def _remark(column: str, value: str, reason: str, mend: str) -> Remark:
    return {"column": column, "called": _CALLED.get(column, ""), "value": value, "reason": reason, "mend": mend}


def _remarks(found: pd.DataFrame) -> Iterable[tuple[int, Remark]]:
    for row, column, value, reason, mend in found[["row", "column", "value", "reason", "mend"]].itertuples(index=False):
        yield int(row), _remark(column, value if isinstance(value, str) else "", as_called(reason, {}), as_called(mend, {}))


def _keep_outcomes(con: duckdb.DuckDBPyConnection, outcomes: Sequence[tuple[str, str, list[Remark], list[Remark]]], now: datetime) -> None:
    rows = [{"action": action, "outcome": outcome, "told": {"faults": faults, "remarks": remarks}} for action, outcome, faults, remarks in outcomes]
    con.execute(
        """INSERT INTO phone_outcomes SELECT r.action, r.outcome, ?, r.told FROM (SELECT unnest(from_json(?, '[{"action": "VARCHAR", "outcome": "VARCHAR", "told": "JSON"}]')) AS r)
        ON CONFLICT DO NOTHING""",
        [now, json.dumps(rows)],
    )


def _of_the_studio(text: str) -> datetime | None:
    """An instant in UTC as the studio tells it to phones, without its zone; None for whatever a person wrote."""
    try:
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ")
    except ValueError:
        return None


def _utc_of(con: duckdb.DuckDBPyConnection, wall: str, zone: str) -> datetime:
    found: datetime = con.execute("SELECT timezone('UTC', timezone(?, ?::TIMESTAMP))", [zone, wall]).fetchall()[0][0]
    return found
