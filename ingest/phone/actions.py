"""Actions of a phone: each carries the whole time entry as it should be after it.

So an action needs no other to be understood: sent twice, late or out of order, they end in the same record.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, cast

from ingest.errors import BenchHoursError
from ingest.schema.csv_columns import TIME_ENTRIES

State = Literal["running", "logged", "struck"]
Split = Literal["equally", "by area", "own shares"]
STATES = ("running", "logged", "struck")
SPLITS = ("equally", "by area", "own shares")
ROW = tuple(name for name in TIME_ENTRIES.names if name != "entry")
TAPS = ("started_at", "ended_at")
MOST_ACTIONS = 200
MOST_WORKS = 30
_LONGEST_TEXT = 20_000
_LONGEST_NAME = 200
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
SHARE = "+share "
"""Stands between the name of a spell over several works and the number of one of its shares."""
_FIRST_TAP, _LAST_TAP = -2_208_988_800_000, 7_289_654_400_000  # 1900 and 2200, in ms since 1970


class ActionError(BenchHoursError):
    """An action, or a whole sending, that is not one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """One work of a spell over several: its code and, where the shares are said, how large its own is, as
    written.
    """

    object: str
    share: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One action of a phone.

    Attributes
    ----------
    action : UUID made on the phone; a second sending is known by it.
    entry : the time entry that it is about: a UUID made on the phone, or the name of an entry that is held.
    number : the phone's own count.
    made_at : when, in ms since 1970 by the phone's clock.
    state : running: begun and not finished; logged: a time entry; struck: neither any more.
    person : who says so.
    row : columns of the time entries' form, as written.
    taps : moments of `started_at` and `ended_at` by the phone's clock, in ms since 1970; they win over those
        columns of `row`.
    works, split : a spell over several works, and how it is shared out among them; then `row` has no object.
    """

    action: str
    entry: str
    number: int
    made_at: int
    state: State
    person: str
    row: Mapping[str, str] = field(default_factory=dict)
    taps: Mapping[str, int] = field(default_factory=dict)
    works: tuple[Share, ...] = ()
    split: Split = "equally"

    @property
    def entries(self) -> list[str]:
        """The names of the entries that it says once it is logged: of several works one for each."""
        return (
            [f"{self.entry}{SHARE}{number}" for number in range(1, len(self.works) + 1)]
            if self.works
            else [self.entry]
        )

    @classmethod
    def read(cls, raw: object) -> Action:
        """Read what came as JSON; keys that are not known are passed over, so that a newer form may say more.
        Raises `ActionError`.
        """
        content = _object(raw, "an action")
        state, split = content.get("state"), content.get("split") or "equally"
        if state not in STATES:
            raise ActionError(f"state is {_shown(state)}", f"Say {', '.join(STATES[:-1])} or {STATES[-1]}.")
        if split not in SPLITS:
            raise ActionError(f"split is {_shown(split)}", f"Say {', '.join(SPLITS[:-1])} or {SPLITS[-1]}.")
        row = {
            name: _text(text, name)
            for name, text in _object(content.get("row") or {}, "row").items()
            if name in ROW
        }
        taps = {
            name: _whole(moment, name, _FIRST_TAP, _LAST_TAP)
            for name, moment in _object(content.get("taps") or {}, "taps").items()
            if name in TAPS
        }
        works = content.get("works") or []
        if not isinstance(works, list) or len(works) > MOST_WORKS:
            raise ActionError("works is no list of at most 30", "Give each work as {object, share}.")
        shares = tuple(
            Share(object=_text(item.get("object"), "object"), share=_text(item.get("share") or "", "share"))
            for item in (_object(w, "a work") for w in works)
        )
        return cls(
            action=uuid(content.get("action"), "action"),
            entry=_name(content.get("entry"), "entry"),
            number=_whole(content.get("number"), "number", 0, 2**53),
            made_at=_whole(content.get("made_at"), "made_at", _FIRST_TAP, _LAST_TAP),
            state=cast(State, state),
            person=_name(content.get("person"), "person"),
            row=row,
            taps=taps,
            works=shares,
            split=cast(Split, split),
        )

    def to_json(self) -> dict[str, Any]:
        """Its stored form, beside the columns of its own; `from_json` reads it."""
        works = [{"object": work.object, "share": work.share} for work in self.works]
        return {
            "state": self.state,
            "person": self.person,
            "row": dict(self.row),
            "taps": dict(self.taps),
            "works": works,
            "split": self.split,
        }

    @classmethod
    def from_json(cls, content: Mapping[str, Any], *, action: str, entry: str, number: int) -> Action:
        """An action as it was stored; its moment was put right when it came."""
        works = tuple(Share(object=item["object"], share=item["share"]) for item in content["works"])
        return cls(
            action=action,
            entry=entry,
            number=number,
            made_at=0,
            state=content["state"],
            person=content["person"],
            row=content["row"],
            taps=content["taps"],
            works=works,
            split=content.get("split", "equally"),
        )


def uuid(raw: object, what: str) -> str:
    """A UUID in small letters."""
    text = raw.lower() if isinstance(raw, str) else ""
    if not _UUID.fullmatch(text):
        raise ActionError(
            f"{what} is {_shown(raw)}", "Make a UUID for it, like 123e4567-e89b-12d3-a456-426614174000."
        )
    return text


def whole_ms(raw: object, what: str) -> int:
    """A moment in ms since 1970."""
    return _whole(raw, what, _FIRST_TAP, _LAST_TAP)


def _object(raw: object, what: str) -> dict[str, Any]:
    if not isinstance(raw, dict):
        raise ActionError(f"{what} is {_shown(raw)}", "Send a JSON object.")
    return raw


def _whole(raw: object, what: str, least: int, most: int) -> int:
    if isinstance(raw, float) and raw.is_integer():
        raw = int(raw)
    if not isinstance(raw, int) or isinstance(raw, bool) or not least <= raw <= most:
        raise ActionError(f"{what} is {_shown(raw)}", "Send a whole number.")
    return raw


def _name(raw: object, what: str) -> str:
    text = _text(raw, what).strip()
    if not text or len(text) > _LONGEST_NAME:
        raise ActionError(f"{what} is {_shown(raw)}", f"Send a text of 1 to {_LONGEST_NAME} characters.")
    return text


def _text(raw: object, what: str) -> str:
    if not isinstance(raw, str) or len(raw) > _LONGEST_TEXT:
        raise ActionError(f"{what} is {_shown(raw)}", f"Send a text of at most {_LONGEST_TEXT:,} characters.")
    if "\0" in raw or any("\ud800" <= letter <= "\udfff" for letter in raw):
        raise ActionError(f"{what} has signs in it that are no text", "Type it again.")
    return raw


def _shown(raw: object) -> str:
    if raw is None:
        return "missing"
    text = ascii(raw)
    return f"{text[:60]} …" if len(text) > 60 else text
