"""What the form shows: the works on the bench, the words, who is in the studio, what is in hand, and a person's own last days."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import duckdb

from ingest.cautions import SHORTLY, WORDS
from ingest.history import utc_now
from ingest.notation import folded, written
from ingest.phone.actions import ROW
from ingest.settings import read_settings
from ingest.sql import statement

DAYS_BACK = 7
_TECHNIQUES = """
SELECT t.technique, t.phase, t.unit, t.mode, t.cautions, s.written AS aliases, u.hours AS usual_hours
FROM techniques AS t JOIN phases AS p USING (phase)
LEFT JOIN (SELECT key, list(written ORDER BY written) AS written FROM spellings WHERE kind = 'technique' GROUP BY key) AS s ON s.key = t.key
LEFT JOIN (  -- how long a spell of it usually is here, where that can be told
    SELECT l.technique, median(s.hours) AS hours FROM spells AS s JOIN lines AS l ON l.line = s.line
    WHERE s.mode <> 'unattended' AND s.started_at >= $now - INTERVAL 400 DAYS GROUP BY l.technique HAVING count(*) >= 3
) AS u ON u.technique = t.technique
WHERE t.retired_on IS NULL AND p.retired_on IS NULL ORDER BY p.position, t.technique
"""
# Hours and hands of others are theirs: of them only what waits by itself is told, so that anybody can take it off.
_IN_HAND = "SELECT * FROM spells_in_hand ORDER BY in_hand_since, entry"
# By the day on which a spell ended: a wait of weeks that was just taken off is still to be said more of.
_OWN_DAYS = "SELECT * FROM time_entries WHERE person = ? AND greatest(day, timezone(?, timezone('UTC', ended_at))::DATE) >= ? ORDER BY day, started_at NULLS LAST, entry"
# Under the name that a person has now: a word keeps the one under which it was said.
_WHOSE = "coalesce((SELECT any_value(s.person) FROM person_spellings AS s WHERE s.written = said->>'person'), said->>'person')"
# What is refused and the last word on its entry: of one phone by its count, of several by when they were made.
_TO_MEND = f"""
WITH refused AS (SELECT DISTINCT a.entry FROM phone_actions AS a JOIN phone_outcomes AS o USING (action) WHERE o.outcome = 'refused'),
said AS (
    SELECT a.*, o.outcome, o.told, min(a.made_at) OVER (PARTITION BY a.phone, a.entry ORDER BY a.number ROWS BETWEEN CURRENT ROW AND UNBOUNDED FOLLOWING) AS said_at
    FROM phone_actions AS a JOIN phone_outcomes AS o USING (action) SEMI JOIN refused USING (entry)
)
SELECT action, entry, number, said, told FROM said WHERE true
QUALIFY row_number() OVER (PARTITION BY entry ORDER BY said_at DESC, number DESC, action DESC) = 1 AND outcome = 'refused' AND coalesce({_WHOSE} = ?, true)
ORDER BY made_at, number
"""
_HELD_BACK = f"SELECT count(*) FROM phone_outcomes AS o JOIN phone_actions AS a USING (action) WHERE o.outcome = 'held back' AND {_WHOSE} = ?"


def bench(
    con: duckdb.DuckDBPyConnection, person: str | None = None, *, everyone: bool = False, brief: bool = False, titles: bool = True, now: datetime | None = None
) -> dict[str, Any]:
    """The whole state as JSON can say it; keys and their meaning are in DEVELOPERS.md.

    Parameters
    ----------
    person : whose own entries of the last days go along, in any spelling that the studio knows; None: nobody's.
    everyone : what all have in hand, for a tablet that several share.
    brief : without what can come a moment later: other spellings, usual hours, units, the mode hands_on, and more than one line of a work.
    titles : of the works; else their codes alone.
    now : the present instant in UTC.
    """
    now = now or utc_now()
    known = con.execute("SELECT person FROM person_spellings WHERE spelling = ?", [folded(person or "")]).fetchall()
    person = known[0][0] if known else person
    settings = read_settings(con)
    today = now.replace(tzinfo=UTC).astimezone(ZoneInfo(settings.zone)).date()
    said: dict[str, Any] = {
        "version": 1, "clock": _ms(now), "zone": settings.zone, "today": f"{today}", "studio": settings.studio, "ask_after_hours": settings.ask_after_hours,
        "cautions": WORDS, "caution": SHORTLY,
        "phases": [{"phase": phase} | ({"studio_time": True} if position == 0 else {}) for phase, position in con.execute("SELECT phase, position FROM phases WHERE retired_on IS NULL ORDER BY position, phase").fetchall()],
        "techniques": [_but_empty(row) for row in _rows(con, _TECHNIQUES, {"now": now})],
        "people": [row[0] for row in con.execute("SELECT person FROM people WHERE coalesce(left_on > ?, true) ORDER BY person", [today]).fetchall()],
        "works": [_but_empty(row | {"lines": [_but_empty(line) for line in row["lines"] or []]}) for row in _rows(con, statement("ingest.queries", "phone_works"), {"today": today})],
        "in_hand": _in_hand(con, person, everyone),
    }  # fmt: skip
    for one in said["works"]:
        if brief:
            one["lines"] = one.get("lines", [])[:1]
        if not titles:
            one.pop("title", None)
    for one in said["techniques"]:
        if brief:
            for later in ("aliases", "usual_hours", "unit"):
                one.pop(later, None)
            if one["mode"] == "hands_on":
                del one["mode"]
        if "cautions" in one:
            one["cautions"] = one["cautions"].split("|")
        if "aliases" in one:
            one["aliases"] = [word for word in one["aliases"] if word != one["technique"]]
    if person is not None:
        said |= {"person": person, "entries": _own_days(con, person, settings.zone, today), "to_mend": to_mend(con, person)}
        if held_back := con.execute(_HELD_BACK, [person]).fetchall()[0][0]:
            said["held_back"] = held_back
    return said


def _in_hand(con: duckdb.DuckDBPyConnection, person: str | None, everyone: bool) -> list[dict[str, Any]]:
    found = []
    for row in _rows(con, _IN_HAND):
        if everyone or row["person"] == person or row["mode"] == "unattended":
            own = everyone or row["person"] == person
            found.append({"entry": row["entry"], "since": _ms(row["in_hand_since"]), "row": _texts(row if own else row | {"note": ""})})
        else:
            found.append({"object": row["object"] or ""})
    return found


def _own_days(con: duckdb.DuckDBPyConnection, person: str, zone: str, today: date) -> list[dict[str, Any]]:
    rows = _rows(con, _OWN_DAYS, [person, zone, today - timedelta(days=DAYS_BACK)])
    return [{"entry": row["entry"], "day": f"{row['day']}", "hours": row["hours"], "row": _texts(row) | _when(row)} for row in rows]


def _when(row: dict[str, Any]) -> dict[str, str]:
    if row["started_at"]:
        return {
            name: f"{row[name]:%Y-%m-%dT%H:%M:%S}{f'.{row[name].microsecond:06d}' if row[name].microsecond else ''}Z" for name in ("started_at", "ended_at")
        }
    return {"date": f"{row['day']}", "hours": written(row["hours"])}


def to_mend(con: duckdb.DuckDBPyConnection, person: str | None = None) -> list[dict[str, Any]]:
    """What was refused and is still the last word on its entry, of one person or of all: `{action, entry, number, faults, …}` and what the phone said."""
    return [
        {"action": action, "entry": entry, "number": number, **json.loads(said), **json.loads(told)}
        for action, entry, number, said, told in con.execute(_TO_MEND, [person]).fetchall()
    ]


def _texts(row: dict[str, Any]) -> dict[str, str]:
    """The columns of a row as they are written in the form; those that say nothing are left out."""
    texts = {}
    for name in ROW:
        value = row.get(name)
        if name in ("started_at", "ended_at", "date", "hours") or value in (None, ""):
            continue
        texts[name] = ("yes" if value else "no") if isinstance(value, bool) else written(value) if isinstance(value, float) else str(value)
    return texts


def _rows(con: duckdb.DuckDBPyConnection, query: str, values: object = None) -> list[dict[str, Any]]:
    found = con.execute(query, values)
    names = [column[0] for column in found.description or []]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def _but_empty(row: dict[str, Any]) -> dict[str, Any]:
    """Without what is unknown or empty: it has a long way to go."""
    return {name: round(value, 3) if isinstance(value, float) else value for name, value in row.items() if value not in (None, "", [])}


def _ms(moment: datetime) -> int:
    return int(moment.replace(tzinfo=UTC).timestamp() * 1000)
