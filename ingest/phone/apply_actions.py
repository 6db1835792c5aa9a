"""Actions of phones applied to the record: of several on one entry the last acceptable one stands, in
whatever order they came.

Words wait in `phone_actions` until they have a row in `phone_outcomes`. They are settled in turns, each one
transaction over some thousand spells: of each entry the latest word is tried, through the checks and the
write of a file (`ingest.importing.form_rows`); what was said before it is overtaken with it, all at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pandas as pd

from ingest.editing.corrections import delete_entries
from ingest.importing.form_rows import check_typed, put_rows
from ingest.phone import entry_versions
from ingest.phone.entry_versions import NEVER, SETTLED, PendingAction, Turn
from ingest.phone.split_entries import Row
from ingest.phone.verdicts import Outcome, Remark, Verdict, judge, remarks_of
from ingest.schema.csv_columns import TIME_ENTRIES
from ingest.sql import Connection
from ingest.store import Store
from ingest.studio import people
from ingest.tables.audit_log import Change, utc_now
from ingest.values.spelling import folded

MOST_OVERTAKEN = 10_000
_Outcome = tuple[str, str, Sequence[Remark], Sequence[Remark]]
# whether this can be said depends on the entries beside it: words that are tried side by side do not tell
_DEPENDS_ON_OTHERS = frozenset({"done"})


class _TurnRestart(Exception):
    """The turn is undone and begun again, as something is known now that it has to go by: words that are
    refused, and words that were looked at side by side.
    """

    def __init__(self, refused: Mapping[str, Sequence[Remark]], looked_at: Iterable[str] = ()) -> None:
        self.refused, self.looked_at = refused, frozenset(looked_at)


def waiting(con: Connection) -> int:
    """Number of actions that are not settled."""
    count: int = con.execute(
        f"SELECT count(*) FROM phone_actions ANTI JOIN {SETTLED} USING (action)"
    ).fetchall()[0][0]
    return count


def next_spells(store: Store, aside: Mapping[str, datetime]) -> list[str]:
    """The spells that the next turn would settle."""
    return entry_versions.choose_spells(store.cursor(), None, aside)


def settle(
    store: Store,
    now: datetime | None = None,
    *,
    only: Sequence[str] | None = None,
    aside: Mapping[str, datetime] | None = None,
) -> int:
    """Settle words in one turn; how many, 0 where none is left but those aside.

    Whatever is raised, the words go on waiting.

    Parameters
    ----------
    only : words on these spells alone.
    aside : spells that are left out, unless a word on them came after that moment (UTC).
    """
    if not waiting(store.cursor()):
        return 0
    refused: dict[str, Sequence[Remark]] = {}
    looked_at: frozenset[str] = frozenset()
    while True:
        try:
            with store.writing() as con:
                if not entry_versions.choose_spells(con, only, aside or {}):
                    return 0
                return _Settling(entry_versions.read(con, now or utc_now()), refused, looked_at).settle()
        except _TurnRestart as again:
            refused |= again.refused
            looked_at |= again.looked_at


@dataclass(slots=True)
class _Settling:
    """One turn.

    Attributes
    ----------
    refused : words known to be refused, and why.
    looked_at : words that were looked at side by side, and may be stored unless they are refused.
    chosen : the words that are stored, with what they come to.
    """

    turn: Turn
    refused: Mapping[str, Sequence[Remark]]
    looked_at: frozenset[str]
    chosen: list[tuple[PendingAction, Verdict]] = field(default_factory=list)
    outcomes: list[_Outcome] = field(default_factory=list)
    covers: list[dict[str, Any]] = field(default_factory=list)

    @property
    def con(self) -> Connection:
        return self.turn.con

    def settle(self) -> int:
        side_by_side: list[tuple[PendingAction, Verdict]] = []
        for actions in sorted(self.turn.candidates.values(), key=lambda actions: actions[0].order):
            open_ones = self._open(actions)
            if len(open_ones) > 1 and not all(
                pending.action.action in self.looked_at for pending, _ in open_ones
            ):
                side_by_side += open_ones
            elif open_ones:
                self.chosen.append(open_ones[0])
        if side_by_side:
            raise self._look_at(side_by_side)
        self._store()
        return self._keep_outcomes()

    def _open(self, actions: Sequence[PendingAction]) -> list[tuple[PendingAction, Verdict]]:
        """Of actions on one entry, the latest first, those that may be stored; the first of them is, if it
        can be.
        """
        acceptable: list[tuple[PendingAction, Verdict]] = []
        for pending in actions:
            if faults := self.refused.get(pending.action.action):
                self.outcomes.append((pending.action.action, "refused", faults, []))
                continue
            verdict = judge(self.turn, pending)
            if verdict.outcome == "saved":
                acceptable.append((pending, verdict))
                if pending.action.state == "logged" and pending.action.action not in self.looked_at:
                    continue  # it may be refused yet, and then the one before it is tried
            elif not acceptable or verdict.outcome == "refused":
                self._settled(pending, verdict.outcome, verdict.faults, verdict.remarks)
            if verdict.outcome != "refused":
                break
        return acceptable

    def _look_at(self, actions: Sequence[tuple[PendingAction, Verdict]]) -> _TurnRestart:
        """Check many actions at once, each under a name of its own, without storing any."""
        rows = [
            (pending, {**row, "entry": f"{name} {pending.action.action}"})
            for pending, verdict in actions
            for name, row in verdict.rows.items()
        ]
        checked = check_typed(self.con, TIME_ENTRIES, [row for _, row in rows], self.turn.context)
        faults = _by_action(
            checked.faults[~checked.faults["column"].isin(_DEPENDS_ON_OTHERS)],
            [pending for pending, _ in rows],
        )
        return _TurnRestart(faults, {pending.action.action for pending, _ in actions})

    # --- storing

    def _store(self) -> None:
        """Store what was chosen: spells that are struck or in hand again leave the record, rows come into it,
        and of what is shared out anew the rest leaves it.
        """
        before = int(self.con.execute("SELECT coalesce(max(number), 0) FROM history").fetchall()[0][0])
        stored = {item.entry for spell in self.turn.stored.values() for item in spell if not item.in_hand}
        logged = [(pending, verdict) for pending, verdict in self.chosen if pending.action.state == "logged"]
        self._take_out(
            [(pending, verdict) for pending, verdict in self.chosen if pending.action.state != "logged"]
        )
        faults, remarks = self._log(logged, stored)
        for pending, _ in logged:
            if pending.action.action in faults:
                self._settled(pending, "refused", faults[pending.action.action], [])
        saved = [
            (pending, verdict) for pending, verdict in self.chosen if pending.action.action not in faults
        ]
        self._take_out([(pending, verdict) for pending, verdict in saved if pending.action.state == "logged"])
        self.con.execute(
            "DELETE FROM spells_in_hand WHERE entry IN (SELECT unnest(?::VARCHAR[]))",
            [[pending.action.entry for pending, _ in saved]],
        )
        put_in_hand(
            self.turn,
            {pending.action.entry: verdict.in_hand for pending, verdict in saved if verdict.in_hand},
        )
        for pending, _ in saved:
            self._settled(pending, "saved", [], remarks.get(pending.action.action, []))
        self._note_changes(saved, stored, before)

    def _log(
        self, logged: Sequence[tuple[PendingAction, Verdict]], stored: set[str]
    ) -> tuple[dict[str, list[Remark]], dict[str, list[Remark]]]:
        """Store rows through the checks of a file, new ones together, what the history tells of by who says
        it; faults and remarks by action.
        """
        names = [name for _, verdict in logged for name in verdict.rows]
        query = """SELECT DISTINCT key FROM history
            WHERE kind = 'time_entries' AND key IN (SELECT unnest(?::VARCHAR[]))"""
        recorded = stored | {row[0] for row in self.con.execute(query, [names]).fetchall()}
        groups: dict[str, list[tuple[PendingAction, Row]]] = {}
        for pending, verdict in logged:
            for name, row in verdict.rows.items():
                groups.setdefault(pending.action.person if name in recorded else "", []).append(
                    (pending, row)
                )
        faults: dict[str, list[Remark]] = {}
        remarks: dict[str, list[Remark]] = {}
        for group in groups.values():
            checked = put_rows(
                self.con,
                TIME_ENTRIES,
                [row for _, row in group],
                self._change(group[0][0], "corrected on the phone"),
                all_or_none=False,
            )
            for remarked, into in ((checked.faults, faults), (checked.doubts, remarks)):
                for action, some in _by_action(remarked, [pending for pending, _ in group]).items():
                    into.setdefault(action, []).extend(some)
        several = {pending.action.action for pending, verdict in logged if len(verdict.rows) > 1}
        if together := {action: some for action, some in faults.items() if action in several}:
            raise _TurnRestart(together)  # of several works all are stored or none
        return faults, remarks

    def _take_out(self, actions: Sequence[tuple[PendingAction, Verdict]]) -> None:
        """Take back the entries of each spell that its action does not carry, unless a later action stands on
        them.
        """
        out: dict[str, list[str]] = {}
        by: dict[str, PendingAction] = {}
        for pending, _ in actions:
            # also those on which a later word stands
            stated = set(pending.action.entries) if pending.action.state == "logged" else set()
            for item in self.turn.stored.get(pending.spell, []):
                if (
                    not item.in_hand
                    and item.is_of(pending.action.entry)
                    and item.entry not in stated
                    and self.turn.last.get(item.entry, NEVER) < pending.order
                ):
                    out.setdefault(pending.action.person, []).append(item.entry)
                    by.setdefault(pending.action.person, pending)
        for person, entries in out.items():
            delete_entries(self.con, entries, self._change(by[person], "on the phone"))

    def _note_changes(
        self, saved: Sequence[tuple[PendingAction, Verdict]], stored: set[str], before: int
    ) -> None:
        """Record what each action changed, so that all changes of a device can be listed and taken back."""
        changed = [
            {
                "action": pending.action.action,
                "entry": item.entry,
                "event": "corrected" if item.entry in verdict.rows else "taken back",
            }
            for pending, verdict in saved
            for item in self.turn.stored.get(pending.spell, [])
            if item.is_of(pending.action.entry)
        ]
        changed += [
            {"action": pending.action.action, "entry": name, "event": "made"}
            for pending, verdict in saved
            for name in verdict.rows
            if name not in stored
        ]
        self.con.execute(
            """INSERT INTO phone_changes
            SELECT c.action, c.entry, c.event, coalesce(h.number, $before)
            FROM (
                SELECT unnest(
                    from_json($changed, '[{"action": "VARCHAR", "entry": "VARCHAR", "event": "VARCHAR"}]'),
                    max_depth := 2
                )
            ) AS c
            LEFT JOIN history AS h ON h.kind = 'time_entries' AND h.key = c.entry AND h.number > $before
            WHERE h.number IS NOT NULL OR c.event = 'made'""",
            {"changed": json.dumps(changed), "before": before},
        )

    # --- outcomes

    def _settled(
        self, pending: PendingAction, outcome: Outcome, faults: Sequence[Remark], remarks: Sequence[Remark]
    ) -> None:
        self.outcomes.append((pending.action.action, outcome, faults, remarks))
        if outcome != "refused":
            # of what waits for the principal one word of a device on an entry is enough to decide on
            self.covers.append({"action": pending.action.action, "of_device": outcome == "held back"})

    def _keep_outcomes(self) -> int:
        """Store the outcomes of the actions that were tried, and mark earlier ones as overtaken: so many at
        once, the rest in the next turn.
        """
        keep_outcomes(self.con, self.outcomes, self.turn.now)
        self.con.execute(
            """CREATE OR REPLACE TEMP TABLE overtaken AS
            SELECT DISTINCT w.action, w.outcome IS NOT NULL AS has_outcome
            FROM (
                SELECT unnest(
                    from_json(?, '[{"action": "VARCHAR", "of_device": "BOOLEAN"}]'), max_depth := 2
                )
            ) AS c
            JOIN words AS v ON v.action = c.action JOIN words AS w ON w.entry = v.entry
            WHERE (w.waiting OR w.outcome = 'held back') AND w.word < v.word
                AND (NOT c.of_device OR w.device IS NOT DISTINCT FROM v.device)""",
            [json.dumps(self.covers)],
        )
        nothing = '{"faults": [], "remarks": []}'
        self.con.execute(
            """UPDATE phone_outcomes SET outcome = 'overtaken', settled_at = ?, told = ?
            WHERE action IN (SELECT action FROM overtaken WHERE has_outcome)""",
            [self.turn.now, nothing],
        )
        overtaken: int = self.con.execute(
            f"""INSERT INTO phone_outcomes (action, outcome, settled_at, told)
            SELECT action, 'overtaken', ?::TIMESTAMP, ? FROM overtaken
            WHERE NOT has_outcome LIMIT {MOST_OVERTAKEN}""",
            [self.turn.now, nothing],
        ).fetchall()[0][0]
        return len(self.outcomes) + overtaken

    def _change(self, pending: PendingAction, reason: str) -> Change:
        return Change(by=pending.action.person, reason=reason, at=self.turn.now)


def put_in_hand(turn: Turn, begun: Mapping[str, Mapping[str, Any]]) -> None:
    """Spells are in hand, by the names of the entries that they become."""
    if not begun:
        return
    named = {
        folded(item["person"]): item["person"]
        for item in begun.values()
        if folded(item["person"]) not in turn.people
    }
    people.keep_new(turn.con, sorted(named.values()), turn.now)
    turn.people.update(named)
    rows = [
        {
            "entry": entry,
            **spell,
            "person": turn.people[folded(spell["person"])],
            "in_hand_since": str(spell["in_hand_since"]),
        }
        for entry, spell in begun.items()
    ]
    shape = {**dict.fromkeys(rows[0], "VARCHAR"), "discovery": "BOOLEAN", "in_hand_since": "TIMESTAMP"}
    turn.con.execute(
        "INSERT INTO spells_in_hand BY NAME SELECT unnest(from_json(?, ?), max_depth := 2)",
        [json.dumps(rows), json.dumps([shape])],
    )


def keep_outcomes(con: Connection, outcomes: Sequence[_Outcome], now: datetime) -> None:
    """Words are settled; one that was taken in has a row already."""
    rows = [
        {"action": action, "outcome": outcome, "told": {"faults": list(faults), "remarks": list(remarks)}}
        for action, outcome, faults, remarks in outcomes
    ]
    con.execute(
        """INSERT INTO phone_outcomes (action, outcome, settled_at, told)
        SELECT r.action, r.outcome, ?::TIMESTAMP, r.told
        FROM (
            SELECT unnest(
                from_json(?, '[{"action": "VARCHAR", "outcome": "VARCHAR", "told": "JSON"}]')
            ) AS r
        ) ON CONFLICT (action) DO UPDATE SET outcome = excluded.outcome, settled_at = excluded.settled_at,
            told = excluded.told""",
        [now, json.dumps(rows)],
    )


def _by_action(frame: pd.DataFrame, actions: Sequence[PendingAction]) -> dict[str, list[Remark]]:
    """Faults or doubts as remarks, by the action whose row each is of."""
    by_action: dict[str, list[Remark]] = {}
    for line, some in remarks_of(frame).items():
        by_action.setdefault(actions[line - 1].action.action, []).extend(some)
    return by_action
