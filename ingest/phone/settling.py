"""What phones sent comes into the record: of many words on one entry the last one that can be stands, whatever the order in which they came.

Words wait in `phone_actions` until they have a row in `phone_outcomes`. They are settled in turns, each one transaction over some thousand spells: of each
entry the latest word is tried, through the checks and the write of a file (`ingest.typed`); what was said before it is overtaken with it, all at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import duckdb
import pandas as pd

from ingest import people
from ingest.corrections import take_out
from ingest.history import Change, utc_now
from ingest.notation import folded
from ingest.phone import turn as turns
from ingest.phone.judging import Outcome, Remark, Verdict, judge, remarks_of
from ingest.phone.sharing import Row
from ingest.phone.turn import NEVER, SETTLED, Turn, Word
from ingest.records import TIME_ENTRIES
from ingest.store import Store
from ingest.typed import check_typed, put_rows

MOST_OVERTAKEN = 10_000
_Outcome = tuple[str, str, Sequence[Remark], Sequence[Remark]]
_DEPENDS_ON_OTHERS = frozenset({"done"})  # whether this can be said depends on the entries beside it: words that are tried side by side do not tell


class _Again(Exception):
    """The turn is undone and begun again, as something is known now that it has to go by: words that are refused, and words that were looked at side by side."""

    def __init__(self, refused: Mapping[str, Sequence[Remark]], looked_at: Iterable[str] = ()) -> None:
        self.refused, self.looked_at = refused, frozenset(looked_at)


def waiting(con: duckdb.DuckDBPyConnection) -> int:
    """How many words are not settled yet."""
    found: int = con.execute(f"SELECT count(*) FROM phone_actions ANTI JOIN {SETTLED} USING (action)").fetchall()[0][0]
    return found


def next_spells(store: Store, aside: Mapping[str, datetime]) -> list[str]:
    """The spells that the next turn would settle."""
    return turns.choose_spells(store.cursor(), None, aside)


def settle(store: Store, now: datetime | None = None, *, only: Sequence[str] | None = None, aside: Mapping[str, datetime] | None = None) -> int:
    """Settle words in one turn; how many, 0 where none is left but those aside.

    Whatever is raised, the words go on waiting.

    Parameters
    ----------
    only : words on these spells alone. aside : spells that are left out, unless a word on them came after that moment (UTC).
    """
    if not waiting(store.cursor()):
        return 0
    refused: dict[str, Sequence[Remark]] = {}
    looked_at: frozenset[str] = frozenset()
    while True:
        try:
            with store.writing() as con:
                if not turns.choose_spells(con, only, aside or {}):
                    return 0
                return _Settling(turns.read(con, now or utc_now()), refused, looked_at).settle()
        except _Again as again:
            refused |= again.refused
            looked_at |= again.looked_at


@dataclass(slots=True)
class _Settling:
    """One turn.

    Attributes
    ----------
    refused : words known to be refused, and why. looked_at : words that were looked at side by side, and may be stored unless they are refused.
    chosen : the words that are stored, with what they come to.
    """

    turn: Turn
    refused: Mapping[str, Sequence[Remark]]
    looked_at: frozenset[str]
    chosen: list[tuple[Word, Verdict]] = field(default_factory=list)
    outcomes: list[_Outcome] = field(default_factory=list)
    covers: list[dict[str, Any]] = field(default_factory=list)

    @property
    def con(self) -> duckdb.DuckDBPyConnection:
        return self.turn.con

    def settle(self) -> int:
        side_by_side: list[tuple[Word, Verdict]] = []
        for words in sorted(self.turn.candidates.values(), key=lambda words: words[0].order):
            open_ones = self._open(words)
            if len(open_ones) > 1 and not all(word.action.action in self.looked_at for word, _ in open_ones):
                side_by_side += open_ones
            elif open_ones:
                self.chosen.append(open_ones[0])
        if side_by_side:
            raise self._look_at(side_by_side)
        self._store()
        return self._keep_outcomes()

    def _open(self, words: Sequence[Word]) -> list[tuple[Word, Verdict]]:
        """Of words on one entry, the latest first, those that may be stored: the first of them is, where it can be."""
        found: list[tuple[Word, Verdict]] = []
        for word in words:
            if known := self.refused.get(word.action.action):
                self.outcomes.append((word.action.action, "refused", known, []))
                continue
            verdict = judge(self.turn, word)
            if verdict.outcome == "saved":
                found.append((word, verdict))
                if word.action.state == "logged" and word.action.action not in self.looked_at:
                    continue  # it may be refused yet, and then the one before it is tried
            elif not found or verdict.outcome == "refused":
                self._settled(word, verdict.outcome, verdict.faults, verdict.remarks)
            if verdict.outcome != "refused":
                break
        return found

    def _look_at(self, words: Sequence[tuple[Word, Verdict]]) -> _Again:
        """Look at many words at once, some of the same entry: each under a name of its own, and nothing is stored."""
        rows = [(word, {**row, "entry": f"{name} {word.action.action}"}) for word, verdict in words for name, row in verdict.rows.items()]
        checked = check_typed(self.con, TIME_ENTRIES, [row for _, row in rows], self.turn.context)
        faults = _by_action(checked.faults[~checked.faults["column"].isin(_DEPENDS_ON_OTHERS)], [word for word, _ in rows])
        return _Again(faults, {word.action.action for word, _ in words})

    # --- storing

    def _store(self) -> None:
        """Store what was chosen: spells that are struck or in hand again leave the record, rows come into it, and of what is shared out anew the rest leaves it."""
        before = int(self.con.execute("SELECT coalesce(max(number), 0) FROM history").fetchall()[0][0])
        held = {one.entry for spell in self.turn.held.values() for one in spell if not one.in_hand}
        logged = [(word, verdict) for word, verdict in self.chosen if word.action.state == "logged"]
        self._take_out([(word, verdict) for word, verdict in self.chosen if word.action.state != "logged"])
        faults, remarks = self._log(logged, held)
        for word, _ in logged:
            if word.action.action in faults:
                self._settled(word, "refused", faults[word.action.action], [])
        saved = [(word, verdict) for word, verdict in self.chosen if word.action.action not in faults]
        self._take_out([(word, verdict) for word, verdict in saved if word.action.state == "logged"])
        self.con.execute("DELETE FROM spells_in_hand WHERE entry IN (SELECT unnest(?::VARCHAR[]))", [[word.action.entry for word, _ in saved]])
        put_in_hand(self.turn, {word.action.entry: verdict.in_hand for word, verdict in saved if verdict.in_hand})
        for word, _ in saved:
            self._settled(word, "saved", [], remarks.get(word.action.action, []))
        self._note_changes(saved, held, before)

    def _log(self, logged: Sequence[tuple[Word, Verdict]], held: set[str]) -> tuple[dict[str, list[Remark]], dict[str, list[Remark]]]:
        """Store rows through the checks of a file, new ones together, what the history tells of by who says it; faults and remarks by action."""
        names = [name for _, verdict in logged for name in verdict.rows]
        known = "SELECT DISTINCT key FROM history WHERE kind = 'time_entries' AND key IN (SELECT unnest(?::VARCHAR[]))"
        told_of = held | {row[0] for row in self.con.execute(known, [names]).fetchall()}
        groups: dict[str, list[tuple[Word, Row]]] = {}
        for word, verdict in logged:
            for name, row in verdict.rows.items():
                groups.setdefault(word.action.person if name in told_of else "", []).append((word, row))
        faults: dict[str, list[Remark]] = {}
        remarks: dict[str, list[Remark]] = {}
        for group in groups.values():
            checked = put_rows(self.con, TIME_ENTRIES, [row for _, row in group], self._change(group[0][0], "corrected on the phone"), all_or_none=False)
            for found, into in ((checked.faults, faults), (checked.doubts, remarks)):
                for action, some in _by_action(found, [word for word, _ in group]).items():
                    into.setdefault(action, []).extend(some)
        several = {word.action.action for word, verdict in logged if len(verdict.rows) > 1}
        if together := {action: some for action, some in faults.items() if action in several}:
            raise _Again(together)  # of several works all are stored or none
        return faults, remarks

    def _take_out(self, words: Sequence[tuple[Word, Verdict]]) -> None:
        """Of each spell the entries but for those that a word says are taken back, unless a later word stands on them."""
        out: dict[str, list[str]] = {}
        by: dict[str, Word] = {}
        for word, _ in words:
            said = set(word.action.entries) if word.action.state == "logged" else set()  # also those on which a later word stands
            for one in self.turn.held.get(word.spell, []):
                if not one.in_hand and one.is_of(word.action.entry) and one.entry not in said and self.turn.last.get(one.entry, NEVER) < word.order:
                    out.setdefault(word.action.person, []).append(one.entry)
                    by.setdefault(word.action.person, word)
        for person, entries in out.items():
            take_out(self.con, entries, self._change(by[person], "on the phone"))

    def _note_changes(self, saved: Sequence[tuple[Word, Verdict]], held: set[str], before: int) -> None:
        """Keep what each word changed, so that all that a device did can be told, and taken back."""
        changed = [
            {"action": word.action.action, "entry": one.entry, "event": "corrected" if one.entry in verdict.rows else "taken back"}
            for word, verdict in saved
            for one in self.turn.held.get(word.spell, [])
            if one.is_of(word.action.entry)
        ]
        changed += [{"action": word.action.action, "entry": name, "event": "made"} for word, verdict in saved for name in verdict.rows if name not in held]
        self.con.execute(
            """INSERT INTO phone_changes SELECT c.action, c.entry, c.event, coalesce(h.number, $before)
            FROM (SELECT unnest(from_json($changed, '[{"action": "VARCHAR", "entry": "VARCHAR", "event": "VARCHAR"}]'), max_depth := 2)) AS c
            LEFT JOIN history AS h ON h.kind = 'time_entries' AND h.key = c.entry AND h.number > $before
            WHERE h.number IS NOT NULL OR c.event = 'made'""",
            {"changed": json.dumps(changed), "before": before},
        )

    # --- outcomes

    def _settled(self, word: Word, outcome: Outcome, faults: Sequence[Remark], remarks: Sequence[Remark]) -> None:
        self.outcomes.append((word.action.action, outcome, faults, remarks))
        if outcome != "refused":
            # of what waits for the principal one word of a device on an entry is enough to decide on
            self.covers.append({"action": word.action.action, "of_device": outcome == "held back"})

    def _keep_outcomes(self) -> int:
        """Keep what became of the words that were tried, and that those before them are overtaken: so many at once, the rest in the next turn."""
        keep_outcomes(self.con, self.outcomes, self.turn.now)
        self.con.execute(
            """CREATE OR REPLACE TEMP TABLE overtaken AS SELECT DISTINCT w.action, w.outcome IS NOT NULL AS has_outcome
            FROM (SELECT unnest(from_json(?, '[{"action": "VARCHAR", "of_device": "BOOLEAN"}]'), max_depth := 2)) AS c
            JOIN words AS v ON v.action = c.action JOIN words AS w ON w.entry = v.entry
            WHERE (w.waiting OR w.outcome = 'held back') AND w.word < v.word AND (NOT c.of_device OR w.device IS NOT DISTINCT FROM v.device)""",
            [json.dumps(self.covers)],
        )
        told = '{"faults": [], "remarks": []}'
        self.con.execute(
            "UPDATE phone_outcomes SET outcome = 'overtaken', settled_at = ?, told = ? WHERE action IN (SELECT action FROM overtaken WHERE has_outcome)",
            [self.turn.now, told],
        )
        overtaken: int = self.con.execute(
            f"""INSERT INTO phone_outcomes (action, outcome, settled_at, told)
            SELECT action, 'overtaken', ?::TIMESTAMP, ? FROM overtaken WHERE NOT has_outcome LIMIT {MOST_OVERTAKEN}""",
            [self.turn.now, told],
        ).fetchall()[0][0]
        return len(self.outcomes) + overtaken

    def _change(self, word: Word, reason: str) -> Change:
        return Change(by=word.action.person, reason=reason, at=self.turn.now)


def put_in_hand(turn: Turn, begun: Mapping[str, Mapping[str, Any]]) -> None:
    """Spells are in hand, by the names of the entries that they become."""
    if not begun:
        return
    named = {folded(one["person"]): one["person"] for one in begun.values() if folded(one["person"]) not in turn.people}
    people.keep_new(turn.con, sorted(named.values()), turn.now)
    turn.people.update(named)
    rows = [{"entry": entry, **one, "person": turn.people[folded(one["person"])], "in_hand_since": str(one["in_hand_since"])} for entry, one in begun.items()]
    shape = {**dict.fromkeys(rows[0], "VARCHAR"), "discovery": "BOOLEAN", "in_hand_since": "TIMESTAMP"}
    turn.con.execute("INSERT INTO spells_in_hand BY NAME SELECT unnest(from_json(?, ?), max_depth := 2)", [json.dumps(rows), json.dumps([shape])])


def keep_outcomes(con: duckdb.DuckDBPyConnection, outcomes: Sequence[_Outcome], now: datetime) -> None:
    """Words are settled; one that was taken in has a row already."""
    rows = [{"action": action, "outcome": outcome, "told": {"faults": list(faults), "remarks": list(remarks)}} for action, outcome, faults, remarks in outcomes]
    con.execute(
        """INSERT INTO phone_outcomes (action, outcome, settled_at, told)
        SELECT r.action, r.outcome, ?::TIMESTAMP, r.told FROM (SELECT unnest(from_json(?, '[{"action": "VARCHAR", "outcome": "VARCHAR", "told": "JSON"}]')) AS r)
        ON CONFLICT (action) DO UPDATE SET outcome = excluded.outcome, settled_at = excluded.settled_at, told = excluded.told""",
        [now, json.dumps(rows)],
    )


def _by_action(found: pd.DataFrame, words: Sequence[Word]) -> dict[str, list[Remark]]:
    """Faults or doubts as remarks, by the action whose row each is of."""
    by_action: dict[str, list[Remark]] = {}
    for line, some in remarks_of(found).items():
        by_action.setdefault(words[line - 1].action.action, []).extend(some)
    return by_action
