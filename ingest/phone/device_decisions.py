"""Decisions of the principal about devices: actions held back are taken in or left out; all changes since a
moment are taken back.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

from ingest.editing.corrections import as_row, delete_entries
from ingest.importing.cell_readers import Context
from ingest.importing.form_rows import put_rows
from ingest.phone import entry_versions
from ingest.phone.apply_actions import keep_outcomes, put_in_hand
from ingest.phone.entry_versions import SETTLED, Turn, spell_sql
from ingest.phone.inbox import Inbox
from ingest.phone.verdicts import read_begun, remark
from ingest.schema.csv_columns import TIME_ENTRIES
from ingest.sql import Connection, statement
from ingest.store import Store
from ingest.tables.audit_log import Change
from ingest.values.line_names import line_name

Decision = Literal["taken in", "left out"]
_PATIENCE_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBack:
    """An action on a stored entry that waits for the principal.

    Attributes
    ----------
    device : the UUID of the device.
    called : its name; empty where it is not known any more.
    said : the action as it is kept: state, person, row, taps, works.
    held : the entries as they stand, columns of `time_entries`; empty where none is held any more.
    why : one sentence without a full stop.
    """

    action: str
    device: str
    device_name: str
    received_at: datetime
    action_data: dict[str, Any]
    entries: list[dict[str, Any]]
    why: str


def held_back(con: Connection, most: int, device: str | None = None) -> list[HeldBack]:
    """Actions that wait for the principal, the oldest first, at most so many; of one device or of all."""
    rows = con.execute(
        statement("ingest.phone", "actions_held_back", spell_of_entry=spell_sql("entry")),
        {"device": device, "most": most},
    ).fetchall()
    return [
        HeldBack(
            action=action,
            device=device or "",
            device_name=name or "",
            received_at=received_at,
            action_data=json.loads(sent),
            entries=[json.loads(item) for item in entries or []],
            why=" ".join(load["reason"] for load in json.loads(outcome)["remarks"]),
        )
        for action, device, name, received_at, sent, outcome, _, entries in rows
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """Number of a device's actions that wait for the principal, its name (empty where unknown), and when the
    last was held back (UTC).
    """

    device_name: str
    count: int
    until: datetime


def counts(con: Connection) -> dict[str, Waiting]:
    """Actions that wait for the principal, by device."""
    rows = con.execute(
        """SELECT coalesce(a.device, ''), coalesce(any_value(d.name), '') AS called, count(*),
            max(o.settled_at)
        FROM phone_outcomes AS o JOIN phone_actions AS a ON a.action = o.action
        LEFT JOIN devices AS d ON d.device = a.device
        WHERE o.outcome = 'held back' GROUP BY 1 ORDER BY called, 1"""
    ).fetchall()
    return {
        device: Waiting(device_name=name, count=count, until=until) for device, name, count, until in rows
    }


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
    """Take words in, or leave them out: those named, or all that wait, of one device or of any. How many came
    to which outcome.

    A word that is taken in counts as said now, and meets the checks of any other: it may be refused, and then
    lies with whoever said it, to be mended.

    Parameters
    ----------
    until : only words that wait since then (UTC) at the latest: those that came since were not seen by who
        decides.
    now : the present instant in UTC when all is settled; the machine's clock where not given.
    """
    with store.writing(counts=False) as con:
        con.execute(
            """CREATE OR REPLACE TEMP TABLE decided AS
            SELECT o.action FROM phone_outcomes AS o JOIN phone_actions AS a ON a.action = o.action
            WHERE o.outcome = 'held back'
                AND ($actions IS NULL OR o.action IN (SELECT unnest($actions::VARCHAR[])))
                AND coalesce(coalesce(a.device, '') = $device, true)
                AND coalesce(o.settled_at <= $until, true)""",
            {"actions": None if actions is None else list(actions), "device": device, "until": until},
        )
        names = [row[0] for row in con.execute("SELECT action FROM decided").fetchall()]
        con.execute(
            "INSERT INTO phone_decisions SELECT action, ?, ?, ? FROM decided",
            [decision, change.at, change.by],
        )
        if decision == "left out":
            _leave_out(con, names, change.at)
        else:
            con.execute(
                "UPDATE phone_outcomes SET outcome = 'taken in' WHERE action IN (SELECT action FROM decided)"
            )
    if decision == "left out":
        return {"left out": len(names)} if names else {}
    Inbox(store).catch_up(now, within_s=_PATIENCE_S)
    with store.cursor() as con:
        query = """SELECT outcome, count(*) FROM phone_outcomes
            WHERE action IN (SELECT unnest(?::VARCHAR[])) GROUP BY outcome"""
        return dict(con.execute(query, [names]).fetchall())


def _leave_out(con: Connection, actions: Sequence[str], now: datetime) -> None:
    keep_outcomes(
        con, [(action, "left out", [], [remark("", "", "left_out_by_principal")]) for action in actions], now
    )


# --- all that a device did


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """Changes of a device since a moment that nobody changed later.

    Attributes
    ----------
    made : entries that it made.
    changed : entries that it corrected or took back.
    in_hand : spells that it began, finished or struck in hand.
    waiting : words of it that are not settled, or wait for the principal.
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


def done_since(con: Connection, device: str, since: datetime) -> Done:
    """The changes that taking back would undo; `since` is in UTC, by arrival."""
    _find(con, device, since)
    made, changed, stands = con.execute(
        """SELECT count(*) FILTER (NOT stands AND event = 'made' AND is_held),
            count(*) FILTER (NOT stands AND event <> 'made'), count(*) FILTER (stands)
        FROM to_go_back"""
    ).fetchall()[0]
    waiting = con.execute("SELECT count(*) FROM to_leave_out").fetchall()[0][0]
    return Done(
        made=made,
        changed=changed,
        in_hand=len(_in_hand_before(con, device, since)),
        waiting=waiting,
        stands=stands,
    )


def take_back(store: Store, device: str, since: datetime, change: Change) -> tuple[Done, list[str]]:
    """Take back all that a device did since a moment (UTC): entries that it made are taken back, those that
    it corrected or took back are again what they were before, spells in hand too, and its words that wait are
    left out. What others said later stands. The history keeps it all.

    Returns
    -------
    What was done, and a sentence for each entry that cannot be again what it was.
    """
    with store.writing() as con:
        done = done_since(con, device, since)
        rows = con.execute(
            "SELECT entry, event, earlier FROM to_go_back WHERE NOT stands ORDER BY entry"
        ).fetchall()
        delete_entries(con, [entry for entry, event, _ in rows if event == "made"], change)
        back = [as_row(json.loads(earlier)) for _, event, earlier in rows if event != "made"]
        left: list[str] = []
        if back:
            report = put_rows(con, TIME_ENTRIES, back, change, all_or_none=False)
            sentences: dict[int, list[str]] = {}
            for line, column, reason, mend in report.problems[
                ["line", "column", "reason", "mend"]
            ].itertuples(index=False):
                sentences.setdefault(int(line), []).append(f"{column} {reason}. {mend}")
            left = [
                f"{back[line - 1]['object'] or 'studio time'},"
                f" {line_name(back[line - 1]['phase'], back[line - 1]['technique'])}: {' '.join(some)}"
                for line, some in sentences.items()
            ]
        _go_back_in_hand(con, device, since, change)
        waiting = [row[0] for row in con.execute("SELECT action FROM to_leave_out").fetchall()]
        con.execute(
            "INSERT INTO phone_decisions SELECT action, 'left out', ?, ? FROM to_leave_out",
            [change.at, change.by],
        )
        _leave_out(con, waiting, change.at)
    return replace(done, changed=done.changed - len(left)), left


def _find(con: Connection, device: str, since: datetime) -> None:
    """The tables `to_go_back` (`entry`, `event` and `earlier` of the first change of a device that no other
    change followed, `is_held`, `stands`: somebody said otherwise later) and `to_leave_out` (`action`).

    Of an entry that a device and others changed in turn only what the device did after the last of the others
    goes back.
    """
    of_device = "a.device = $device AND a.received_at >= $since"
    # A change is the row that the history has of it; an entry is made, or put back, after a row and before
    # the next.
    place = "2 * c.history + (c.event = 'made')::BIGINT"
    con.execute(
        statement("ingest.phone", "changes_to_go_back", place=place, of_device=of_device),
        {"device": device, "since": since},
    )
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE to_leave_out AS
        SELECT a.action FROM phone_actions AS a LEFT JOIN {SETTLED} AS o ON o.action = a.action
        WHERE {of_device} AND coalesce(o.outcome, 'held back') = 'held back'""",
        {"device": device, "since": since},
    )


def _in_hand_before(con: Connection, device: str, since: datetime) -> list[tuple[str, str | None]]:
    """Spells whose last action is the device's and whose state differs now: the entry, and the action that
    had it in hand before (None: none).
    """
    return con.execute(
        statement("ingest.phone", "in_hand_before", action_time=entry_versions.ACTION_TIME),
        {"device": device, "since": since},
    ).fetchall()


def _go_back_in_hand(con: Connection, device: str, since: datetime, change: Change) -> None:
    before = _in_hand_before(con, device, since)
    con.execute(
        "DELETE FROM spells_in_hand WHERE entry IN (SELECT unnest(?::VARCHAR[]))",
        [[entry for entry, _ in before]],
    )
    turn = Turn(
        con=con,
        now=change.at,
        context=Context.of(con),
        people=dict(con.execute("SELECT spelling, person FROM person_spellings").fetchall()),
    )
    words = entry_versions.pending_actions(con, [action for _, action in before if action])
    begun = read_begun(con, turn.context, words) if words else {}
    put_in_hand(
        turn,
        {
            word.action.entry: read
            for word in words
            if not isinstance(read := begun[word.action.action], list)
        },
    )
