"""What the principal decides about devices: a word held back is taken in or left out, and all that a device did since a moment is taken back."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

import duckdb

from ingest.corrections import as_row, take_out
from ingest.history import Change
from ingest.phone import turn as turns
from ingest.phone.inbox import Inbox
from ingest.phone.judging import read_begun, remark
from ingest.phone.settling import keep_outcomes, put_in_hand
from ingest.phone.turn import SETTLED, Turn, spell_sql
from ingest.readings import Context
from ingest.records import TIME_ENTRIES
from ingest.store import Store
from ingest.typed import put_rows

Decision = Literal["taken in", "left out"]
_PATIENCE_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBack:
    """A word on a held entry that waits for the principal.

    Attributes
    ----------
    device : the UUID of the device. called : its name; empty where it is not known any more.
    said : the action as it is kept: state, person, row, taps, works.
    held : the entries as they stand, columns of `time_entries`; empty where none is held any more.
    why : one sentence without a full stop.
    """

    action: str
    device: str
    called: str
    received_at: datetime
    said: dict[str, Any]
    held: list[dict[str, Any]]
    why: str


def held_back(con: duckdb.DuckDBPyConnection, most: int, device: str | None = None) -> list[HeldBack]:
    """The words that wait for the principal, the oldest first, at most so many; of one device or of all."""
    rows = con.execute(
        f"""WITH shown AS (
            SELECT a.action, a.entry, a.device, d.name, a.received_at, a.number, a.said, o.told FROM phone_outcomes AS o JOIN phone_actions AS a ON a.action = o.action
            LEFT JOIN devices AS d ON d.device = a.device WHERE o.outcome = 'held back' AND coalesce(a.device = $device, true)
            ORDER BY a.received_at, a.number, a.action LIMIT $most
        ), entries AS (SELECT {spell_sql("entry")} AS spell, * FROM time_entries WHERE {spell_sql("entry")} IN (SELECT {spell_sql("entry")} FROM shown))
        SELECT s.action, s.device, s.name, s.received_at, s.said, s.told, s.number, list(to_json(e) ORDER BY e.entry) FILTER (e.entry IS NOT NULL)
        FROM shown AS s LEFT JOIN entries AS e ON e.entry = s.entry OR (e.spell = s.entry AND e.entry <> s.entry)
        GROUP BY ALL ORDER BY s.received_at, s.number, s.action""",
        {"device": device, "most": most},
    ).fetchall()
    return [
        HeldBack(
            action=action, device=device or "", called=called or "", received_at=received_at, said=json.loads(said), held=[json.loads(one) for one in held or []],
            why=" ".join(one["reason"] for one in json.loads(told)["remarks"]),
        )
        for action, device, called, received_at, said, told, _, held in rows
    ]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """How many words of a device wait for the principal, its name (empty where it is not known any more), and since when the last of them does, in UTC."""

    called: str
    count: int
    until: datetime


def counts(con: duckdb.DuckDBPyConnection) -> dict[str, Waiting]:
    """What waits for the principal, by device."""
    rows = con.execute(
        """SELECT coalesce(a.device, ''), coalesce(any_value(d.name), '') AS called, count(*), max(o.settled_at)
        FROM phone_outcomes AS o JOIN phone_actions AS a ON a.action = o.action
        LEFT JOIN devices AS d ON d.device = a.device WHERE o.outcome = 'held back' GROUP BY 1 ORDER BY called, 1"""
    ).fetchall()
    return {device: Waiting(called=called, count=count, until=until) for device, called, count, until in rows}


def decide(
    store: Store,
    decision: Decision,
    change: Change,
    *,
    actions: Sequence[str] | None = None,
    device: str | None = None,
    until: datetime | None = None,
    now: datetime | None = None,
) -> dict[str, int]:
    """Take words in, or leave them out: those named, or all that wait, of one device or of any. How many came to which outcome.

    A word that is taken in counts as said now, and meets the checks of any other: it may be refused, and then lies with whoever said it, to be mended.

    Parameters
    ----------
    until : only words that wait since then (UTC) at the latest: those that came since were not seen by who decides.
    now : the present instant in UTC when all is settled; the machine's clock where not given.
    """
    with store.writing(counts=False) as con:
        con.execute(
            """CREATE OR REPLACE TEMP TABLE decided AS SELECT o.action FROM phone_outcomes AS o JOIN phone_actions AS a ON a.action = o.action
            WHERE o.outcome = 'held back' AND ($actions IS NULL OR o.action IN (SELECT unnest($actions::VARCHAR[]))) AND coalesce(coalesce(a.device, '') = $device, true)
            AND coalesce(o.settled_at <= $until, true)""",
            {"actions": None if actions is None else list(actions), "device": device, "until": until},
        )
        found = [row[0] for row in con.execute("SELECT action FROM decided").fetchall()]
        con.execute("INSERT INTO phone_decisions SELECT action, ?, ?, ? FROM decided", [decision, change.at, change.by])
        if decision == "left out":
            _leave_out(con, found, change.at)
        else:
            con.execute("UPDATE phone_outcomes SET outcome = 'taken in' WHERE action IN (SELECT action FROM decided)")
    if decision == "left out":
        return {"left out": len(found)} if found else {}
    Inbox(store).catch_up(now, within_s=_PATIENCE_S)
    with store.cursor() as con:
        asked = "SELECT outcome, count(*) FROM phone_outcomes WHERE action IN (SELECT unnest(?::VARCHAR[])) GROUP BY outcome"
        return dict(con.execute(asked, [found]).fetchall())


def _leave_out(con: duckdb.DuckDBPyConnection, actions: Sequence[str], now: datetime) -> None:
    keep_outcomes(con, [(action, "left out", [], [remark("", "", "left_out_by_principal")]) for action in actions], now)


# --- all that a device did


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What a device did since a moment, and nobody said otherwise later.

    Attributes
    ----------
    made : entries that it made. changed : entries that it corrected or took back.
    in_hand : spells that it began, finished or struck in hand. waiting : words of it that are not settled, or wait for the principal.
    stands : entries that it touched and that stand, as somebody said otherwise later.
    """

    made: int
    changed: int
    in_hand: int
    waiting: int
    stands: int

    @property
    def anything(self) -> bool:
        return bool(self.made or self.changed or self.in_hand or self.waiting)


def done_since(con: duckdb.DuckDBPyConnection, device: str, since: datetime) -> Done:
    """What taking back would take back; `since` is in UTC, by when it arrived."""
    _find(con, device, since)
    made, changed, stands = con.execute(
        """SELECT count(*) FILTER (NOT stands AND event = 'made' AND is_held), count(*) FILTER (NOT stands AND event <> 'made'), count(*) FILTER (stands) FROM to_go_back"""
    ).fetchall()[0]
    waiting = con.execute("SELECT count(*) FROM to_leave_out").fetchall()[0][0]
    return Done(made=made, changed=changed, in_hand=len(_in_hand_before(con, device, since)), waiting=waiting, stands=stands)


def take_back(store: Store, device: str, since: datetime, change: Change) -> tuple[Done, list[str]]:
    """Take back all that a device did since a moment (UTC): entries that it made are taken back, those that it corrected or took back are again what they were
    before, spells in hand too, and its words that wait are left out. What others said later stands. The history keeps it all.

    Returns
    -------
    What was done, and a sentence for each entry that cannot be again what it was.
    """
    with store.writing() as con:
        done = done_since(con, device, since)
        rows = con.execute("SELECT entry, event, earlier FROM to_go_back WHERE NOT stands ORDER BY entry").fetchall()
        take_out(con, [entry for entry, event, _ in rows if event == "made"], change)
        back = [as_row(json.loads(earlier)) for _, event, earlier in rows if event != "made"]
        left: list[str] = []
        if back:
            report = put_rows(con, TIME_ENTRIES, back, change, all_or_none=False)
            sentences: dict[int, list[str]] = {}
            for line, column, reason, mend in report.problems[["line", "column", "reason", "mend"]].itertuples(index=False):
                sentences.setdefault(int(line), []).append(f"{column} {reason}. {mend}")
            left = [f"{back[line - 1]['object'] or 'studio time'}, {back[line - 1]['technique']}: {' '.join(some)}" for line, some in sentences.items()]
        _go_back_in_hand(con, device, since, change)
        waiting = [row[0] for row in con.execute("SELECT action FROM to_leave_out").fetchall()]
        con.execute("INSERT INTO phone_decisions SELECT action, 'left out', ?, ? FROM to_leave_out", [change.at, change.by])
        _leave_out(con, waiting, change.at)
    return replace(done, changed=done.changed - len(left)), left


def _find(con: duckdb.DuckDBPyConnection, device: str, since: datetime) -> None:
    """The tables `to_go_back` (`entry`, `event` and `earlier` of the first change of a device that no other change followed, `is_held`, `stands`: somebody said
    otherwise later) and `to_leave_out` (`action`).

    Of an entry that a device and others changed in turn only what the device did after the last of the others goes back.
    """
    of_device = "a.device = $device AND a.received_at >= $since"
    # A change is the row that the history has of it; an entry is made, or put back, after a row and before the next.
    place = "2 * c.history + (c.event = 'made')::BIGINT"
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE to_go_back AS
        WITH own AS (
            SELECT c.entry, c.event, c.history, {place} AS place FROM phone_changes AS c JOIN phone_actions AS a ON a.action = c.action WHERE {of_device}
        ), others AS (
            SELECT entry, max(place) AS latest FROM (
                SELECT h.key AS entry, 2 * h.number AS place FROM history AS h SEMI JOIN own ON own.entry = h.key
                WHERE h.kind = 'time_entries' AND h.number NOT IN (SELECT history FROM own WHERE event <> 'made' OR h.event = 'put back')
                UNION ALL
                SELECT c.entry, {place} FROM phone_changes AS c JOIN phone_actions AS a ON a.action = c.action SEMI JOIN own ON own.entry = c.entry
                WHERE c.event = 'made' AND NOT coalesce({of_device}, false)
            ) GROUP BY entry
        ), run AS (
            SELECT own.entry, arg_min(event, place) FILTER (place > coalesce(latest, -1)) AS event, arg_min(history, place) FILTER (place > coalesce(latest, -1)) AS first,
                arg_max(event, place) AS last_event
            FROM own LEFT JOIN others USING (entry) GROUP BY own.entry
        )
        SELECT r.entry, r.event, h.earlier, s.entry IS NOT NULL AS is_held,
            r.event IS NULL OR (r.last_event = 'taken back') = (s.entry IS NOT NULL) AS stands
        FROM run AS r LEFT JOIN history AS h ON h.number = r.first AND r.event <> 'made' LEFT JOIN (SELECT DISTINCT entry FROM spells) AS s ON s.entry = r.entry""",
        {"device": device, "since": since},
    )
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE to_leave_out AS SELECT a.action FROM phone_actions AS a LEFT JOIN {SETTLED} AS o ON o.action = a.action
        WHERE {of_device} AND coalesce(o.outcome, 'held back') = 'held back'""",
        {"device": device, "since": since},
    )


def _in_hand_before(con: duckdb.DuckDBPyConnection, device: str, since: datetime) -> list[tuple[str, str | None]]:
    """Of the spells on which a device said the last word that stands: its entry, and the action before that had it in hand (None: it was not in hand), where it is otherwise now."""
    return con.execute(
        f"""WITH own AS (
            SELECT DISTINCT a.entry FROM phone_actions AS a JOIN phone_outcomes AS o ON o.action = a.action
            WHERE a.device = $device AND a.received_at >= $since AND o.outcome = 'saved'
        ), said AS (
            SELECT a.action, a.entry, a.said->>'state' AS state, (coalesce(d.decided_at, {turns.SAID_AT}), a.number, a.action) AS word,
                coalesce(a.device = $device AND a.received_at >= $since, false) AS is_own
            FROM phone_actions AS a SEMI JOIN own ON own.entry = a.entry JOIN phone_outcomes AS o ON o.action = a.action AND (o.outcome = 'saved' OR (o.outcome = 'overtaken' AND a.said->>'state' = 'running'))
            LEFT JOIN phone_decisions AS d ON d.action = a.action
        ), told AS (
            SELECT entry, arg_max(is_own, word) AS is_last, arg_max(state, word) FILTER (NOT is_own) AS state, arg_max(action, word) FILTER (NOT is_own) AS action
            FROM said GROUP BY entry
        )
        SELECT t.entry, CASE WHEN t.state = 'running' THEN t.action END FROM told AS t LEFT JOIN spells_in_hand AS i ON i.entry = t.entry
        WHERE t.is_last AND (coalesce(t.state = 'running', false) <> (i.entry IS NOT NULL)) ORDER BY t.entry""",
        {"device": device, "since": since},
    ).fetchall()


def _go_back_in_hand(con: duckdb.DuckDBPyConnection, device: str, since: datetime, change: Change) -> None:
    before = _in_hand_before(con, device, since)
    con.execute("DELETE FROM spells_in_hand WHERE entry IN (SELECT unnest(?::VARCHAR[]))", [[entry for entry, _ in before]])
    turn = Turn(con=con, now=change.at, context=Context.of(con), people=dict(con.execute("SELECT spelling, person FROM person_spellings").fetchall()))
    words = turns.words(con, [action for _, action in before if action])
    begun = read_begun(con, turn.context, words) if words else {}
    put_in_hand(turn, {word.action.entry: read for word in words if not isinstance(read := begun[word.action.action], list)})
