"""Verdict on one action before anything is stored: refused, overtaken, held back for the principal, or a
change of the record.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

import pandas as pd

from ingest.faults import sentence
from ingest.importing.cell_readers import Context
from ingest.importing.form_rows import check_typed, with_labels
from ingest.phone.entry_versions import A_DAY, PendingAction, StoredSpell, Turn
from ingest.phone.form_state import DAYS_BACK
from ingest.phone.split_entries import Row, ShareError, rows_of
from ingest.schema.csv_columns import TIME_ENTRIES
from ingest.sql import Connection
from ingest.values.spelling import folded

Remark = dict[str, str]
Outcome = Literal["saved", "overtaken", "refused", "held back"]

MOST_CHANGES = 48
"""On so many spells a device that logs corrects or takes back in a day what the record held."""
_IN_HAND = ("object", "phase", "technique", "part", "person", "mode", "charge", "discovery", "note")
_CLOCK_WAS_SET_S = (
    120.0  # what is seen at sending is off by the time that the network takes, never by so much
)
_BEGIN = datetime(1970, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Verdict on an action.

    Attributes
    ----------
    outcome : `saved`: it may be stored, as far as can be told without the record.
    rows : of the time entries' form, by the names of the entries.
    in_hand : the columns of a spell in hand. Both are empty for a word that strikes.
    """

    outcome: Outcome
    faults: Sequence[Remark] = ()
    remarks: Sequence[Remark] = ()
    rows: Mapping[str, Row] = field(default_factory=dict)
    in_hand: Mapping[str, Any] = field(default_factory=dict)


class _ActionRejected(Exception):
    """An action that cannot be, with its faults."""

    def __init__(self, *faults: Remark) -> None:
        self.faults = faults


COLUMN_LABELS = {
    "object": "Work",
    "technique": "Technique",
    "phase": "Phase",
    "part": "Part",
    "person": "Who",
    "started_at": "From",
    "ended_at": "To",
    "date": "Day",
    "hours": "Hours",
    "quantity": "Quantity",
    "unit": "Unit",
    "done": "How far",
    "share": "Share",
    "mode": "Kind of time",
    "charge": "Charge",
    "note": "Note",
}
"""What the form calls the columns of a row; a remark on any other is a sentence by itself."""


def remark(column: str, value: str, code: str, **details: object) -> Remark:
    """A fault or a warning as the form shows it."""
    reason, mend = sentence(code, details)
    return {
        "column": column,
        "called": COLUMN_LABELS.get(column, ""),
        "value": value,
        "reason": with_labels(reason, {}),
        "mend": with_labels(mend, {}),
    }


def remarks_of(frame: pd.DataFrame) -> dict[int, list[Remark]]:
    """The faults or doubts of a check as remarks, by the line of the row that each is of."""
    remarks: dict[int, list[Remark]] = {}
    for line, column, value, code, details in frame[
        ["line", "column", "value", "code", "details"]
    ].itertuples(index=False):
        remarks.setdefault(int(line), []).append(
            remark(column, value if isinstance(value, str) else "", code, **json.loads(details))
        )
    return remarks


def judge(turn: Turn, pending: PendingAction) -> Verdict:
    """Verdict on an action as the record stands; counts it where it changes stored entries."""
    state, entry = pending.action.state, pending.action.entry
    stored = turn.stored.get(pending.spell, [])
    try:
        _check_whose(turn, pending, stored)
        rows = _rows(turn, pending) if state == "logged" else {}
        begun = _begun(turn, pending) if state == "running" else {}
    except _ActionRejected as error:
        return Verdict(outcome="refused", faults=error.faults)
    rows = {name: row for name, row in rows.items() if turn.last_word_on(name) < pending.order}
    if turn.last_word_on(entry) >= pending.order and not rows:
        return Verdict(outcome="overtaken")
    if why := _why_held_back(
        turn, pending, [item for item in stored if not item.in_hand and item.is_of(entry)]
    ):
        return Verdict(outcome="held back", remarks=[remark("", "", why, days=DAYS_BACK, most=MOST_CHANGES)])
    return Verdict(outcome="saved", rows=rows, in_hand=begun)


# --- what a device may change


def _why_held_back(turn: Turn, pending: PendingAction, entries: Sequence[StoredSpell]) -> str:
    """Code of `ingest.faults` why the principal decides on an action; empty where nobody has to, and the
    change is counted.
    """
    if not entries or not pending.limited or pending.decided:
        return ""
    first_day = pending.received_at.replace(tzinfo=UTC).astimezone(
        ZoneInfo(turn.context.settings.zone)
    ).date() - timedelta(days=DAYS_BACK)
    if any(entry.last_day is not None and entry.last_day < first_day for entry in entries):
        return "held_back_too_old"
    if pending.logs_for is None and any(
        (pending.device, entry.entry) not in turn.made_on for entry in entries
    ):
        return "held_back_made_elsewhere"
    changed = turn.changed.setdefault(pending.device, {})
    if (
        sum(spell != pending.spell and at > pending.received_at - A_DAY for spell, at in changed.items())
        >= MOST_CHANGES
    ):
        return "held_back_too_many"
    changed[pending.spell] = pending.received_at
    return ""


def _check_whose(turn: Turn, pending: PendingAction, stored: Sequence[StoredSpell]) -> None:
    """A device of one person says that person's entries only.

    But a wait that somebody else has in hand (pressing, drying) anybody takes off: it stays whose it was and
    what it was, and only its end is said, and what is known of it then. The device that did so may say so
    again, or take it back; nobody else's finished entry is touched.
    """
    if pending.logs_for is None:
        return
    action, written = pending.action, pending.action.row.get("person", "")
    whose = turn.people.get(folded(written), written)
    if turn.people.get(folded(action.person), action.person) != pending.logs_for:
        raise _ActionRejected(
            remark("person", action.person, "not_whom_device_logs_for", person=pending.logs_for)
        )
    if all(spell.person == pending.logs_for for spell in stored):
        if action.state != "struck" and whose != pending.logs_for:
            raise _ActionRejected(
                remark("person", written, "not_whom_device_logs_for", person=pending.logs_for)
            )
        return
    takes_off = (
        len(stored) == 1
        and stored[0].mode == "unattended"
        and (stored[0].in_hand or turn.by_device.get(action.entry) == pending.device)
    )
    if (
        not takes_off
        or action.state == "struck"
        or action.works
        or not _leaves_it_as_it_is(turn, pending, stored[0], whose)
    ):
        raise _ActionRejected(remark("person", written, "entry_of_somebody_else", person=pending.logs_for))


def _leaves_it_as_it_is(turn: Turn, pending: PendingAction, stored: StoredSpell, whose: str) -> bool:
    read = _begun(turn, pending)
    line = (
        read["object"],
        read["phase"],
        read["technique"],
        read["part"],
        read["charge"],
        bool(read["discovery"]),
    )
    same_begin = stored.since is not None and abs(read["in_hand_since"] - stored.since) < timedelta(
        seconds=_CLOCK_WAS_SET_S
    )
    return whose == stored.person and read["mode"] == stored.mode and line == stored.line and same_begin


# --- what a word says


def _rows(turn: Turn, pending: PendingAction) -> dict[str, Row]:
    """The rows of a logged action, by the name of the entry."""
    action = pending.action
    row = {
        **dict.fromkeys(TIME_ENTRIES.names, ""),
        **action.row,
        **{name: f"{moment:%Y-%m-%dT%H:%M:%SZ}" for name, moment in _tapped(pending).items()},
    }
    if action.taps:
        row |= {"date": "", "hours": ""}
    try:
        rows = rows_of(action, row, turn.context, turn.areas)
    except ShareError as error:
        raise _ActionRejected(remark(error.column, error.value, error.code, **error.details)) from error
    return {name: {**row, "entry": name} for name, row in zip(action.entries, rows, strict=True)}


def _tapped(pending: PendingAction) -> dict[str, datetime]:
    """The moments of the taps in UTC, to the second; one sent again later keeps what it was put right by at
    first.

    Two taps between which nobody set the phone's clock are put right alike, or a slow network would make
    their spell longer or shorter. One that is finished at once, or by that network before it was begun, is a
    spell of a second, to be undone or corrected like any other.
    """
    taps = pending.action.taps
    off = {column: pending.offsets[column] for column in taps}
    if max(off.values(), default=0.0) - min(off.values(), default=0.0) < _CLOCK_WAS_SET_S:
        off = dict.fromkeys(off, min(off.values(), default=0.0))
    moments = {
        column: (_BEGIN + timedelta(seconds=tap / 1000 + off[column])).replace(microsecond=0)
        for column, tap in taps.items()
    }
    began, ended = (
        moments.get("started_at") or _studio_instant(pending.action.row.get("started_at", "")),
        moments.get("ended_at"),
    )
    if began and ended and began - timedelta(seconds=_CLOCK_WAS_SET_S) < ended <= began:
        moments["ended_at"] = began + timedelta(seconds=1)
    return moments


def _begun(turn: Turn, pending: PendingAction) -> Mapping[str, Any]:
    """The spell in hand that an action carries, without its end."""
    if not turn.begun:
        some = [
            pending
            for actions in turn.candidates.values()
            for pending in actions
            if pending.action.state == "running" or pending.logs_for is not None
        ]
        turn.begun.update(read_begun(turn.con, turn.context, some))
    read = turn.begun[pending.action.action]
    if isinstance(read, list):
        raise _ActionRejected(*read)
    return read


def read_begun(
    con: Connection, context: Context, actions: Sequence[PendingAction]
) -> dict[str, Mapping[str, Any] | list[Remark]]:
    """Columns of the spells in hand that actions carry, or their faults, by action; each is checked as any
    row is, except its end.
    """
    rows = [
        {name: pending.action.row.get(name, "") for name in _IN_HAND}
        | {"started_at": pending.action.row.get("started_at", "")}
        | {
            name: f"{moment:%Y-%m-%dT%H:%M:%SZ}"
            for name, moment in _tapped(pending).items()
            if name == "started_at"
        }
        for pending in actions
    ]
    checked = check_typed(con, TIME_ENTRIES, rows, context)
    faults = remarks_of(checked.faults[checked.faults["code"] != "end_missing"])
    names = (*_IN_HAND, "in_hand_since")
    read = con.execute(
        f'SELECT line, {", ".join(_IN_HAND)}, started_at FROM resolved JOIN row_lines USING ("row")'
    ).fetchall()
    begun: dict[int, Mapping[str, Any] | list[Remark]] = {
        line: dict(zip(names, cells, strict=True)) for line, *cells in read
    }
    begun |= faults
    return {
        pending.action.action: begun.get(line, [remark("object", "", "object_and_phase_missing")])
        for line, pending in enumerate(actions, 1)
    }


def _studio_instant(text: str) -> datetime | None:
    """An instant in UTC as the studio sends it to phones, without its zone; None for what a person wrote."""
    try:
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ")
    except ValueError:
        return None
