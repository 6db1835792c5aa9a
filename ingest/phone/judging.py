"""What one word of a phone comes to, before anything is stored: refused, overtaken, held back for the principal, or a change of the record."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

import duckdb
import pandas as pd

from ingest.faults import sentence
from ingest.notation import folded
from ingest.phone.bench import DAYS_BACK
from ingest.phone.sharing import Row, ShareError, rows_of
from ingest.phone.turn import A_DAY, Held, Turn, Word
from ingest.readings import Context
from ingest.records import TIME_ENTRIES
from ingest.typed import as_called, check_typed

Remark = dict[str, str]
Outcome = Literal["saved", "overtaken", "refused", "held back"]

MOST_CHANGES = 48
"""On so many spells a device that logs corrects or takes back in a day what the record held."""
_IN_HAND = ("object", "phase", "technique", "part", "person", "mode", "charge", "discovery", "note")
_CLOCK_WAS_SET_S = 120.0  # what is seen at sending is off by the time that the network takes, never by so much
_BEGIN = datetime(1970, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a word comes to.

    Attributes
    ----------
    outcome : `saved`: it may be stored, as far as can be told without the record.
    rows : of the time entries' form, by the names of the entries. in_hand : the columns of a spell in hand. Both are empty for a word that strikes.
    """

    outcome: Outcome
    faults: Sequence[Remark] = ()
    remarks: Sequence[Remark] = ()
    rows: Mapping[str, Row] = field(default_factory=dict)
    in_hand: Mapping[str, Any] = field(default_factory=dict)


class _NotSo(Exception):
    """What an action says cannot be, for these reasons."""

    def __init__(self, *faults: Remark) -> None:
        self.faults = faults


CALLED = {
    "object": "Work", "technique": "Technique", "phase": "Phase", "part": "Part", "person": "Who", "started_at": "From", "ended_at": "To", "date": "Day",
    "hours": "Hours", "quantity": "Quantity", "unit": "Unit", "done": "How far", "share": "Share", "mode": "Kind of time", "charge": "Charge", "note": "Note",
}  # fmt: skip
"""What the form calls the columns of a row; a remark on any other is a sentence by itself."""


def remark(column: str, value: str, code: str, **details: object) -> Remark:
    """A fault or a warning as the form shows it."""
    reason, mend = sentence(code, details)
    return {"column": column, "called": CALLED.get(column, ""), "value": value, "reason": as_called(reason, {}), "mend": as_called(mend, {})}


def remarks_of(found: pd.DataFrame) -> dict[int, list[Remark]]:
    """The faults or doubts of a check as remarks, by the line of the row that each is of."""
    remarks: dict[int, list[Remark]] = {}
    for line, column, value, code, details in found[["line", "column", "value", "code", "details"]].itertuples(index=False):
        remarks.setdefault(int(line), []).append(remark(column, value if isinstance(value, str) else "", code, **json.loads(details)))
    return remarks


def judge(turn: Turn, word: Word) -> Verdict:
    """What a word comes to as the record stands; counts it where it changes what is held."""
    state, entry = word.action.state, word.action.entry
    held = turn.held.get(word.spell, [])
    try:
        _check_whose(turn, word, held)
        rows = _rows(turn, word) if state == "logged" else {}
        begun = _begun(turn, word) if state == "running" else {}
    except _NotSo as error:
        return Verdict(outcome="refused", faults=error.faults)
    rows = {name: row for name, row in rows.items() if turn.last_word_on(name) < word.order}
    if turn.last_word_on(entry) >= word.order and not rows:
        return Verdict(outcome="overtaken")
    if why := _why_held_back(turn, word, [one for one in held if not one.in_hand and one.is_of(entry)]):
        return Verdict(outcome="held back", remarks=[remark("", "", why, days=DAYS_BACK, most=MOST_CHANGES)])
    return Verdict(outcome="saved", rows=rows, in_hand=begun)


# --- what a device may change


def _why_held_back(turn: Turn, word: Word, entries: Sequence[Held]) -> str:
    """Why the principal decides on a word on held entries, as a code of `ingest.faults`; empty: nobody has to, and the change is counted."""
    if not entries or not word.limited or word.decided:
        return ""
    first_day = word.received_at.replace(tzinfo=UTC).astimezone(ZoneInfo(turn.context.settings.zone)).date() - timedelta(days=DAYS_BACK)
    if any(one.last_day is not None and one.last_day < first_day for one in entries):
        return "held_back_too_old"
    if word.logs_for is None and any((word.device, one.entry) not in turn.made_on for one in entries):
        return "held_back_made_elsewhere"
    changed = turn.changed.setdefault(word.device, {})
    if sum(spell != word.spell and at > word.received_at - A_DAY for spell, at in changed.items()) >= MOST_CHANGES:
        return "held_back_too_many"
    changed[word.spell] = word.received_at
    return ""


def _check_whose(turn: Turn, word: Word, held: Sequence[Held]) -> None:
    """A device of one person says that person's entries only.

    But a wait that somebody else has in hand (pressing, drying) anybody takes off: it stays whose it was and what it was, and only its end is said, and what
    is known of it then. The device that did so may say so again, or take it back; nobody else's finished entry is touched.
    """
    if word.logs_for is None:
        return
    action, said = word.action, word.action.row.get("person", "")
    whose = turn.people.get(folded(said), said)
    if turn.people.get(folded(action.person), action.person) != word.logs_for:
        raise _NotSo(remark("person", action.person, "not_whom_device_logs_for", person=word.logs_for))
    if all(one.person == word.logs_for for one in held):
        if action.state != "struck" and whose != word.logs_for:
            raise _NotSo(remark("person", said, "not_whom_device_logs_for", person=word.logs_for))
        return
    takes_off = len(held) == 1 and held[0].mode == "unattended" and (held[0].in_hand or turn.by_device.get(action.entry) == word.device)
    if not takes_off or action.state == "struck" or action.works or not _leaves_it_as_it_is(turn, word, held[0], whose):
        raise _NotSo(remark("person", said, "entry_of_somebody_else", person=word.logs_for))


def _leaves_it_as_it_is(turn: Turn, word: Word, held: Held, whose: str) -> bool:
    read = _begun(turn, word)
    line = (read["object"], read["phase"], read["technique"], read["part"], read["charge"], bool(read["discovery"]))
    same_begin = held.since is not None and abs(read["in_hand_since"] - held.since) < timedelta(seconds=_CLOCK_WAS_SET_S)
    return whose == held.person and read["mode"] == held.mode and line == held.line and same_begin


# --- what a word says


def _rows(turn: Turn, word: Word) -> dict[str, Row]:
    """The rows that a logged action says, by the name of the entry that each is."""
    action = word.action
    row = {
        **dict.fromkeys(TIME_ENTRIES.names, ""),
        **action.row,
        **{name: f"{moment:%Y-%m-%dT%H:%M:%SZ}" for name, moment in _tapped(word).items()},
    }
    if action.taps:
        row |= {"date": "", "hours": ""}
    try:
        rows = rows_of(action, row, turn.context, turn.areas)
    except ShareError as error:
        raise _NotSo(remark(error.column, error.value, error.code, **error.details)) from error
    return {name: {**row, "entry": name} for name, row in zip(action.entries, rows, strict=True)}


def _tapped(word: Word) -> dict[str, datetime]:
    """The moments of the taps in UTC, to the second; one sent again later keeps what it was put right by at first.

    Two taps between which nobody set the phone's clock are put right alike, or a slow network would make their spell longer or shorter. One that is
    finished at once, or by that network before it was begun, is a spell of a second, to be undone or corrected like any other.
    """
    taps = word.action.taps
    off = {column: word.offsets[column] for column in taps}
    if max(off.values(), default=0.0) - min(off.values(), default=0.0) < _CLOCK_WAS_SET_S:
        off = dict.fromkeys(off, min(off.values(), default=0.0))
    moments = {column: (_BEGIN + timedelta(seconds=tap / 1000 + off[column])).replace(microsecond=0) for column, tap in taps.items()}
    began, ended = moments.get("started_at") or _of_the_studio(word.action.row.get("started_at", "")), moments.get("ended_at")
    if began and ended and began - timedelta(seconds=_CLOCK_WAS_SET_S) < ended <= began:
        moments["ended_at"] = began + timedelta(seconds=1)
    return moments


def _begun(turn: Turn, word: Word) -> Mapping[str, Any]:
    """What a word says of a spell from its begin on."""
    if not turn.begun:
        some = [one for words in turn.candidates.values() for one in words if one.action.state == "running" or one.logs_for is not None]
        turn.begun.update(read_begun(turn.con, turn.context, some))
    read = turn.begun[word.action.action]
    if isinstance(read, list):
        raise _NotSo(*read)
    return read


def read_begun(con: duckdb.DuckDBPyConnection, context: Context, words: Sequence[Word]) -> dict[str, Mapping[str, Any] | list[Remark]]:
    """The columns of spells in hand that words say, by their actions, or why they cannot be: each is checked as any row is, but for its end."""
    rows = [
        {name: word.action.row.get(name, "") for name in _IN_HAND}
        | {"started_at": word.action.row.get("started_at", "")}
        | {name: f"{moment:%Y-%m-%dT%H:%M:%SZ}" for name, moment in _tapped(word).items() if name == "started_at"}
        for word in words
    ]
    checked = check_typed(con, TIME_ENTRIES, rows, context)
    faults = remarks_of(checked.faults[checked.faults["code"] != "end_missing"])
    names = (*_IN_HAND, "in_hand_since")
    read = con.execute(f'SELECT line, {", ".join(_IN_HAND)}, started_at FROM resolved JOIN row_lines USING ("row")').fetchall()
    begun: dict[int, Mapping[str, Any] | list[Remark]] = {line: dict(zip(names, cells, strict=True)) for line, *cells in read}
    begun |= faults
    return {word.action.action: begun.get(line, [remark("technique", "", "empty")]) for line, word in enumerate(words, 1)}


def _of_the_studio(text: str) -> datetime | None:
    """An instant in UTC as the studio tells it to phones, without its zone; None for whatever a person wrote."""
    try:
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ")
    except ValueError:
        return None
