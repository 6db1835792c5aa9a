"""One turn of settling: the spells with pending actions, all actions ever sent on them, and their stored
state, read by set-based queries.

Leaves the temporary tables `turn` (`spell`), `words`, all that phones ever said of those spells (in it
`word`, by which words are ordered: when it was said, the phone's count, the action), and `candidates`, those
of them that may be the last on their entry.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from ingest.importing.cell_readers import Context
from ingest.phone.actions import SHARE, Action
from ingest.sql import Connection, statement

Order = tuple[datetime, int, str]
"""When a word was said, the phone's count, the action: the greater one is the later."""
NEVER: Order = (datetime.min, 0, "")
MOST_SPELLS = 4_000
"""Spells settled in one turn: a turn is short, so that pages can write between two."""
MOST_CANDIDATES = 8_000
A_DAY = timedelta(days=1)


def spell_sql(entry: str) -> str:
    """SQL for the spell of which an entry is a share; the entry itself where it is of none."""
    return f"split_part({entry}, '{SHARE}', 1)"


ACTION_TIME = (
    f"min(a.made_at) OVER (PARTITION BY a.phone, {spell_sql('a.entry')} ORDER BY a.number ROWS BETWEEN"
    " CURRENT ROW AND UNBOUNDED FOLLOWING)"
)
"""SQL for the time of an action. A phone's count gives the order of its actions; their times are only as good
as its network was fast. Where the two differ, an earlier action is no later than the next one."""
SETTLED = "(FROM phone_outcomes WHERE outcome <> 'taken in')"


@dataclass(frozen=True, slots=True, kw_only=True)
class PendingAction:
    """An action that is not settled, with the context of its arrival.

    Attributes
    ----------
    said_at, received_at : UTC, the phone's clock put right.
    device : from which it came; None: this machine.
    limited : as a device that logs, which corrects its own last days only.
    logs_for : the only person for whom that device logs.
    decided : the principal took it in.
    offsets : of each tap, the seconds by which the phone's clock was behind when the tap first came.
    """

    action: Action
    spell: str
    said_at: datetime
    received_at: datetime
    device: str | None
    limited: bool
    logs_for: str | None
    decided: bool
    offsets: Mapping[str, float]

    @property
    def order(self) -> Order:
        return self.said_at, self.action.number, self.action.action


@dataclass(frozen=True, slots=True)
class StoredSpell:
    """A spell in the record: in hand, or an entry.

    Attributes
    ----------
    line : object, phase, technique, part, charge, discovery.
    since : UTC; None without a clock.
    last_day : on which it ended, as far as is known; of a spell in hand there is none.
    """

    entry: str
    in_hand: bool
    person: str
    mode: str
    line: tuple[Any, ...]
    since: datetime | None
    last_day: date | None

    def is_of(self, entry: str) -> bool:
        """True if it is that entry, or a share of it."""
        return self.entry == entry or self.entry.startswith(f"{entry}{SHARE}")


@dataclass(slots=True, kw_only=True)
class Turn:
    """The spells of a turn and their context.

    Attributes
    ----------
    candidates : of each entry the latest words that wait, the latest first.
    stored : by spell.
    last : the last word on each entry that stands.
    by_device : which device said it.
    people : the present name of a person by every spelling.
    begun : what words say of spells from their begin on, by their actions; read where it is asked about
        (`judging.read_begun`).
    made_on : the devices on which an entry was made, with it, but for what the principal took in.
    changed : by device the spells of which it changed what was held, within the last day of this turn, and
        when.
    """

    con: Connection
    now: datetime
    context: Context
    candidates: Mapping[str, Sequence[PendingAction]] = field(default_factory=dict)
    stored: dict[str, list[StoredSpell]] = field(default_factory=dict)
    last: dict[str, Order] = field(default_factory=dict)
    by_device: dict[str, str | None] = field(default_factory=dict)
    people: dict[str, str] = field(default_factory=dict)
    areas: dict[str, float | None] = field(default_factory=dict)
    begun: dict[str, Mapping[str, Any] | list[dict[str, str]]] = field(default_factory=dict)
    made_on: set[tuple[str | None, str]] = field(default_factory=set)
    changed: dict[str | None, dict[str, datetime]] = field(default_factory=dict)

    def last_word_on(self, entry: str) -> Order:
        """Order of the last action on an entry, or on the spell of which it is a share."""
        return max(self.last.get(entry, NEVER), self.last.get(entry.partition(SHARE)[0], NEVER))


def choose_spells(con: Connection, only: Sequence[str] | None, aside: Mapping[str, datetime]) -> list[str]:
    """The spells of the next turn, those with the oldest words first.

    Parameters
    ----------
    only : of these alone.
    aside : spells that are left out, unless a word on them came after this moment (UTC).
    """
    spell = spell_sql("a.entry")
    among = (
        f"SEMI JOIN (SELECT unnest($only::VARCHAR[]) AS spell) AS s ON s.spell = {spell}"
        if only is not None
        else ""
    )
    con.execute(
        statement(
            "ingest.phone", "turn_spells", spell=spell, settled=SETTLED, among=among, most_spells=MOST_SPELLS
        ),
        {"aside": json.dumps([{"spell": name, "until": str(until)} for name, until in aside.items()])}
        | ({} if only is None else {"only": list(only)}),
    )
    return [row[0] for row in con.execute("FROM turn").fetchall()]


def read(con: Connection, now: datetime) -> Turn:
    """All that the spells in the table `turn` need to be settled."""
    turn = Turn(
        con=con,
        now=now,
        context=Context.of(con, now=now),
        people=dict(con.execute("SELECT spelling, person FROM person_spellings").fetchall()),
    )
    con.execute(
        statement(
            "ingest.phone", "turn_actions", spell_of_a_entry=spell_sql("a.entry"), action_time=ACTION_TIME
        )
    )
    _read_last(turn)
    turn.candidates = _candidates(con)
    _read_stored(turn)
    return turn


def _read_last(turn: Turn) -> None:
    """Read the last actions that stand, of phones and, from the history, of other changes."""
    for entry, word, device in turn.con.execute(
        "SELECT entry, max(word), arg_max(device, word) FROM words WHERE outcome = 'saved' GROUP BY entry"
    ).fetchall():
        turn.last[entry], turn.by_device[entry] = tuple(word), device
    elsewhere = turn.con.execute(
        f"""SELECT h.key, max(h.changed_at) FROM history AS h JOIN turn AS t ON t.spell = {spell_sql("h.key")}
        WHERE h.kind = 'time_entries'
            AND NOT EXISTS (FROM words AS w WHERE w.outcome = 'saved' AND w.settled_at = h.changed_at)
        GROUP BY h.key"""
    ).fetchall()
    for entry, changed_at in elsewhere:
        turn.last[entry] = max(turn.last.get(entry, NEVER), (changed_at, 0, ""))


def _candidates(con: Connection) -> dict[str, list[PendingAction]]:
    """The latest word that waits of each entry, and as many before it as were refused behind it: of a
    thousand faulty words few turns are made.

    A word on a whole spell comes before those on its shares.
    """
    con.execute(statement("ingest.phone", "turn_candidates", share=SHARE, most_candidates=MOST_CANDIDATES))
    candidates: dict[str, list[PendingAction]] = {}
    for word in _read_candidates(con):
        candidates.setdefault(word.action.entry, []).append(word)
    return candidates


def pending_actions(con: Connection, actions: Sequence[str]) -> list[PendingAction]:
    """Words by the names of their actions, settled or not."""
    con.execute(
        f"""CREATE OR REPLACE TEMP TABLE candidates AS
        SELECT a.*, {spell_sql("a.entry")} AS spell, (made_at, number, action) AS word, false AS decided
        FROM phone_actions AS a
        WHERE action IN (SELECT unnest(?::VARCHAR[]))""",
        [list(actions)],
    )
    return _read_candidates(con)


def _read_candidates(con: Connection) -> list[PendingAction]:
    """Rows of the table `candidates`, the latest first."""
    rows = con.execute(
        """SELECT c.action, entry, spell, number, said, struct_extract(word, 1), received_at, device,
            coalesce(role = 'logs', false), coalesce(s.person, logs_for), decided
        FROM candidates AS c LEFT JOIN person_spellings AS s ON s.written = logs_for
        ORDER BY c.word DESC"""
    ).fetchall()
    actions = [
        Action.from_json(json.loads(content), action=action, entry=entry, number=number)
        for action, entry, _, number, content, *_ in rows
    ]
    offsets = _offsets(con) if any(action.taps for action in actions) else {}
    return [
        PendingAction(
            action=action,
            spell=spell,
            said_at=said_at,
            received_at=received_at,
            device=device,
            limited=limited,
            logs_for=logs_for,
            decided=decided,
            offsets=offsets.get(action.action, {}),
        )
        for action, (_, _, spell, _, _, said_at, received_at, device, limited, logs_for, decided) in zip(
            actions, rows, strict=True
        )
    ]


def _offsets(con: Connection) -> dict[str, dict[str, float]]:
    """By action and column, the seconds by which the phone's clock was behind when a tap first came."""
    offsets: dict[str, dict[str, float]] = {}
    tap = "({said}->'taps'->>column_name)"
    for action, column, off in con.execute(
        statement(
            "ingest.phone", "tap_clock_offsets", tap=tap.format(said="said"), a_tap=tap.format(said="a.said")
        )
    ).fetchall():
        offsets.setdefault(action, {})[column] = off
    return offsets


def _read_stored(turn: Turn) -> None:
    """Read the stored spells, the sizes of works that they are shared out over, and the changes of the
    devices concerned.
    """
    con = turn.con
    rows = con.execute(
        statement(
            "ingest.phone",
            "spells_stored",
            spell_of_entry=spell_sql("entry"),
            spell_of_e_entry=spell_sql("e.entry"),
        ),
        [turn.context.settings.zone],
    ).fetchall()
    for spell, *about in rows:
        turn.stored.setdefault(spell, []).append(StoredSpell(*about))
    works = sorted(
        {share.object for some in turn.candidates.values() for word in some for share in word.action.works}
    )
    if works:
        turn.areas = dict(
            con.execute(
                "SELECT object, area_dm2 FROM object_areas WHERE object IN (SELECT unnest(?::VARCHAR[]))",
                [works],
            ).fetchall()
        )
    came = [word.received_at for some in turn.candidates.values() for word in some if word.limited]
    if not came:
        return
    decided = "(SELECT action FROM phone_decisions)"
    turn.made_on = set(
        con.execute(
            f"""SELECT DISTINCT a.device, c.entry FROM phone_changes AS c
            JOIN phone_actions AS a ON a.action = c.action
            JOIN turn AS t ON t.spell = {spell_sql("c.entry")}
            WHERE c.event = 'made' AND c.action NOT IN {decided}"""
        ).fetchall()
    )
    for device, spell, at in con.execute(
        f"""SELECT a.device, {spell_sql("c.entry")} AS spell, max(a.received_at) FROM phone_changes AS c
        JOIN phone_actions AS a ON a.action = c.action
        WHERE c.event <> 'made' AND a.received_at > ? AND c.action NOT IN {decided}
            AND a.device IN (SELECT device FROM candidates)
        GROUP BY ALL""",
        [min(came) - A_DAY],
    ).fetchall():
        turn.changed.setdefault(device, {})[spell] = at
