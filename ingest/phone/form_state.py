"""State of the form: works on the bench, vocabulary, people, spells in hand, and a person's own last days."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from ingest.phone.actions import ROW
from ingest.sql import Connection, statement
from ingest.studio.hazards import SHORTLY, WORDS
from ingest.studio.settings import read_settings
from ingest.tables.audit_log import utc_now
from ingest.values.numbers import written
from ingest.values.spelling import folded

DAYS_BACK = 7
_TECHNIQUES = statement("ingest.phone", "form_techniques")
# Hours and hands of others are theirs: of them only what waits by itself is told, so that anybody can take it
# off.
_IN_HAND = "SELECT * FROM spells_in_hand ORDER BY in_hand_since, entry"
# By the day on which a spell ended: a wait of weeks that was just taken off is still to be said more of. A
# total of several days is of none of them.
_OWN_DAYS = """SELECT * FROM time_entries
    WHERE person = ? AND total IS NULL AND greatest(day, timezone(?, timezone('UTC', ended_at))::DATE) >= ?
    ORDER BY day, started_at NULLS LAST, entry"""
# Under the name that a person has now: a word keeps the one under which it was said.
_WHOSE = (
    "coalesce((SELECT any_value(s.person) FROM person_spellings AS s WHERE s.written = said->>'person'),"
    " said->>'person')"
)
# What is refused and the last word on its entry: of one phone by its count, of several by when they were
# made.
_TO_MEND = statement("ingest.phone", "actions_to_mend", whose=_WHOSE)
_HELD_BACK = f"""SELECT count(*) FROM phone_outcomes AS o JOIN phone_actions AS a USING (action)
    WHERE o.outcome = 'held back' AND {_WHOSE} = ?"""


def bench(
    con: Connection,
    person: str | None = None,
    *,
    everyone: bool = False,
    brief: bool = False,
    titles: bool = True,
    now: datetime | None = None,
) -> dict[str, Any]:
    """The whole state of the form, ready for JSON; its keys are described in API.md.

    Parameters
    ----------
    person : whose entries of the last days are included, in any known spelling; None: nobody's.
    everyone : include spells in hand of all people, for a shared tablet.
    brief : without what the phone can fetch later: other spellings, usual hours, units, the mode hands_on,
        and all lines of a work but one and the work as a whole.
    titles : include the titles of works.
    now : the present instant in UTC.
    """
    now = now or utc_now()
    spelled = con.execute(
        "SELECT person FROM person_spellings WHERE spelling = ?", [folded(person or "")]
    ).fetchall()
    person = spelled[0][0] if spelled else person
    settings = read_settings(con)
    today = now.replace(tzinfo=UTC).astimezone(ZoneInfo(settings.zone)).date()
    state: dict[str, Any] = {
        "version": 1,
        "clock": _ms(now),
        "zone": settings.zone,
        "today": f"{today}",
        "studio": settings.studio,
        "ask_after_hours": settings.ask_after_hours,
        "cautions": WORDS,
        "caution": SHORTLY,
        "phases": _phases(con),
        "techniques": _techniques(con, now, brief),
        "people": [
            row[0]
            for row in con.execute(
                "SELECT person FROM people WHERE coalesce(left_on > ?, true) ORDER BY person", [today]
            ).fetchall()
        ],
        "works": _works(con, today, brief, titles),
        "in_hand": _in_hand(con, person, everyone),
    }
    if person is not None:
        state |= {
            "person": person,
            "entries": _own_days(con, person, settings.zone, today),
            "to_mend": to_mend(con, person),
        }
        if held_back := con.execute(_HELD_BACK, [person]).fetchall()[0][0]:
            state["held_back"] = held_back
    return state


def _phases(con: Connection) -> list[dict[str, Any]]:
    return [
        {"phase": phase} | ({"studio_time": True} if position == 0 else {})
        for phase, position in con.execute(
            "SELECT phase, position FROM phases WHERE retired_on IS NULL ORDER BY position, phase"
        ).fetchall()
    ]


def _techniques(con: Connection, now: datetime, brief: bool) -> list[dict[str, Any]]:
    techniques = [_but_empty(row) for row in _rows(con, _TECHNIQUES, {"now": now})]
    for technique in techniques:
        if brief:
            for name in ("aliases", "usual_hours", "unit"):
                technique.pop(name, None)
            if technique["mode"] == "hands_on":
                del technique["mode"]
        if "cautions" in technique:
            technique["cautions"] = technique["cautions"].split("|")
        if "aliases" in technique:
            technique["aliases"] = [word for word in technique["aliases"] if word != technique["technique"]]
    return techniques


def _works(con: Connection, today: date, brief: bool, titles: bool) -> list[dict[str, Any]]:
    works = []
    for row in _rows(con, statement("ingest.phone", "phone_works"), {"today": today}):
        work = _but_empty(row | {"lines": [_but_empty(line) for line in row["lines"] or []]})
        if brief:
            lines = work.get("lines", [])
            # the work as a whole, where it is estimated and not begun, is what is begun first
            work["lines"] = lines[:1] + [
                line for line in lines[1:] if not line.keys() & {"phase", "technique", "last_day"}
            ]
        if not titles:
            work.pop("title", None)
        works.append(work)
    return works


def _in_hand(con: Connection, person: str | None, everyone: bool) -> list[dict[str, Any]]:
    spells = []
    for row in _rows(con, _IN_HAND):
        if everyone or row["person"] == person or row["mode"] == "unattended":
            own = everyone or row["person"] == person
            spells.append(
                {
                    "entry": row["entry"],
                    "since": _ms(row["in_hand_since"]),
                    "row": _texts(row if own else row | {"note": ""}),
                }
            )
        else:
            spells.append({"object": row["object"] or ""})
    return spells


def _own_days(con: Connection, person: str, zone: str, today: date) -> list[dict[str, Any]]:
    rows = _rows(con, _OWN_DAYS, [person, zone, today - timedelta(days=DAYS_BACK)])
    return [
        {
            "entry": row["entry"],
            "day": f"{row['day']}",
            "hours": row["hours"],
            "row": _texts(row) | _when(row),
        }
        for row in rows
    ]


def _when(row: dict[str, Any]) -> dict[str, str]:
    if row["started_at"]:
        return {
            name: (f"{row[name].isoformat(timespec='microseconds' if row[name].microsecond else 'seconds')}Z")
            for name in ("started_at", "ended_at")
        }
    return {"date": f"{row['day']}", "hours": written(row["hours"])}


def to_mend(con: Connection, person: str | None = None) -> list[dict[str, Any]]:
    """Refused actions that are still the last on their entry, of a person or of all.

    Each is `{action, entry, number, faults, …}` and what the phone sent.
    """
    return [
        {"action": action, "entry": entry, "number": number, **json.loads(sent), **json.loads(outcome)}
        for action, entry, number, sent, outcome in con.execute(_TO_MEND, [person]).fetchall()
    ]


def _texts(row: dict[str, Any]) -> dict[str, str]:
    """The columns of a row as they are written in the form; those that say nothing are left out."""
    texts = {}
    for name in ROW:
        value = row.get(name)
        if name in ("started_at", "ended_at", "date", "hours") or value in (None, ""):
            continue
        texts[name] = (
            ("yes" if value else "no")
            if isinstance(value, bool)
            else written(value)
            if isinstance(value, float)
            else str(value)
        )
    return texts


def _rows(con: Connection, query: str, values: object = None) -> list[dict[str, Any]]:
    result = con.execute(query, values)
    names = [column[0] for column in result.description or []]
    return [dict(zip(names, row, strict=True)) for row in result.fetchall()]


def _but_empty(row: dict[str, Any]) -> dict[str, Any]:
    """The row without unknown and empty values, to keep the answer small."""
    return {
        name: round(value, 3) if isinstance(value, float) else value
        for name, value in row.items()
        if value not in (None, "", [])
    }


def _ms(moment: datetime) -> int:
    return int(moment.replace(tzinfo=UTC).timestamp() * 1000)
