"""What was said of a table at earlier times: rows came in by it, and would come in a second time by what is
said now.

It is kept beside what is said now, in the JSON of the reading and of each text: a list of what was said
(`reading`, or what the text `means`; none: it was not said) and `until` when.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from ingest.foreign.reading import Reading
from ingest.foreign.words import Meaning
from ingest.sql import Connection

_EARLIER = "earlier"
_Content = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierStatement:
    """How a table was read, and what its texts meant, at an earlier time.

    Attributes
    ----------
    meanings : by our column and the text, folded.
    """

    reading: Reading
    meanings: Mapping[tuple[str, str], Meaning]


def read_earlier(con: Connection, table_heads: str) -> list[EarlierStatement]:
    """What was said of a table before each time at which anything of it was said otherwise, the latest
    first.
    """
    reading, means_by_text = _read(con, table_heads)
    if reading is None:
        return []
    contents = (reading, *means_by_text.values())
    times = sorted({item["until"] for content in contents for item in content.get(_EARLIER, [])})
    return [
        EarlierStatement(
            reading=_reading_at(reading, time),
            meanings={
                key: meaning
                for key, means in means_by_text.items()
                if (meaning := _meaning_at(means, time)) is not None
            },
        )
        for time in reversed(times)
    ]


def read_all_earlier(con: Connection, table_heads: str) -> list[EarlierStatement]:
    """The same for who says something else than what is kept: that stands before all others."""
    reading, means_by_text = _read(con, table_heads)
    if reading is None:
        return []
    kept_now = EarlierStatement(
        reading=Reading.from_json(json.dumps(reading)),
        meanings={key: meaning_now(means) for key, means in means_by_text.items()},
    )
    return [kept_now, *read_earlier(con, table_heads)]


def _read(con: Connection, table_heads: str) -> tuple[_Content | None, dict[tuple[str, str], _Content]]:
    """What is kept of a table, now and earlier: its reading, None where there is none, and by our column and
    the text, folded, what the texts mean.
    """
    readings = con.execute("SELECT reading FROM foreign_tables WHERE heads = ?", [table_heads]).fetchall()
    words = con.execute(
        "SELECT column_name, spelling, means FROM foreign_words WHERE heads = ?", [table_heads]
    ).fetchall()
    return (
        json.loads(readings[0][0]) if readings and readings[0][0] else None,
        {(column, spelling): json.loads(means) for column, spelling, means in words},
    )


def meaning_now(means: Mapping[str, Any]) -> Meaning:
    """What a text means, without what it meant before."""
    return Meaning(**{name: value for name, value in means.items() if name != _EARLIER})


def means_after(before: Mapping[str, Any] | None, meaning: Meaning, now: datetime) -> _Content:
    """What is kept of a text that means something from now on; `before` is what was kept of it, None where
    nothing was said.
    """
    means: _Content = asdict(meaning)
    content = dict(before) if before is not None else None
    earlier = content.pop(_EARLIER, []) if content is not None else []
    if content != means:
        earlier = [*earlier, {"means": content, "until": now.isoformat()}]
    return means | ({_EARLIER: earlier} if earlier else {})


def reading_after(before: str | None, reading: Reading, now: datetime) -> str:
    """The JSON that is kept of a reading from now on; `before` is what was kept, None where nothing was."""
    if before is None:
        return reading.to_json()
    content: _Content = json.loads(before)
    earlier = content.pop(_EARLIER, [])
    if _as_to_values(Reading.from_json(before)) != _as_to_values(reading):
        earlier = [*earlier, {"reading": content, "until": now.isoformat()}]
    after: _Content = json.loads(reading.to_json())
    return json.dumps(after | ({_EARLIER: earlier} if earlier else {}), ensure_ascii=False, sort_keys=True)


def _as_to_values(reading: Reading) -> Reading:
    """A reading without what says only which rows are read."""
    return replace(reading, sheets=(), left_out=(), not_read=())


def _reading_at(content: Mapping[str, Any], time: str) -> Reading:
    for item in content.get(_EARLIER, []):
        if item["until"] >= time:
            return Reading.from_json(json.dumps(item["reading"]))
    return Reading.from_json(json.dumps(content))


def _meaning_at(means: Mapping[str, Any], time: str) -> Meaning | None:
    """What a text meant until a time; None: nobody had said it."""
    for item in means.get(_EARLIER, []):
        if item["until"] >= time:
            return Meaning(**item["means"]) if item["means"] else None
    return meaning_now(means)
