"""Works from memory struck out of the record with all that was told of them, and put back as they were.

They stay in the history alone: the work, its estimate, its hours and milestones, all under one instant.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from ingest.editing.corrections import as_row, delete_entries, text_of
from ingest.errors import BenchHoursError
from ingest.importing.estimate_versions import record_versions
from ingest.importing.form_rows import put_rows
from ingest.importing.milestones import MILESTONE_CONTENT, WITH_KEYS
from ingest.schema.csv_columns import ESTIMATES, MILESTONES, OBJECTS, TIME_ENTRIES
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import Change, record_earlier

_ASKED = "(SELECT unnest(?::VARCHAR[]))"
# what a work has that was not told from memory: with it, it is a work of the record like any other
_KEPT_BY = """
SELECT object, min(why) AS why FROM (
    SELECT object, 'it has a saved quote' AS why FROM quotes
    UNION ALL SELECT object, 'a version of its estimate was declined or withdrawn' FROM ended_versions
    UNION ALL SELECT object, 'an estimate of it is being written' FROM drafts
    UNION ALL SELECT object, 'a spell on it is in hand' FROM spells_in_hand
    UNION ALL SELECT returned_from, 'it came back as ' || object FROM objects
    UNION ALL SELECT l.object, 'hours are logged on it that are no total'
        FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE s.total IS NULL
) AS k
WHERE object IN (SELECT object FROM objects WHERE remembered) AND object IN {asked}
GROUP BY object ORDER BY object
"""
_STRUCK = """
SELECT key, changed_at FROM (
    SELECT key, arg_max(event, number) AS event, arg_max(changed_at, number) AS changed_at FROM history
    WHERE kind = 'objects' AND key NOT IN (SELECT object FROM objects) GROUP BY key
)
WHERE event = 'taken back'
QUALIFY changed_at = max(changed_at) OVER ()
ORDER BY key
"""


@dataclass(frozen=True, slots=True)
class StruckOut:
    """Works struck out together, and when (UTC)."""

    objects: list[str]
    at: datetime


def strike_out(store: Store, objects: Sequence[str], change: Change) -> tuple[list[str], dict[str, str]]:
    """Strike works from memory out of the record, in one transaction.

    Returns
    -------
    The codes of those struck out, and by code why another one stays. What is no work from memory is passed
    over.
    """
    taken_back = replace(change, event="taken back")
    with store.writing() as con:
        staying: dict[str, str] = dict(con.execute(_KEPT_BY.format(asked=_ASKED), [list(objects)]).fetchall())
        codes = [
            code
            for (code,) in con.execute(
                f"SELECT object FROM objects WHERE remembered AND object IN {_ASKED} ORDER BY object",
                [list(objects)],
            ).fetchall()
            if code not in staying
        ]
        _take_out(con, codes, taken_back)
    return codes, staying


def _take_out(con: Connection, codes: list[str], change: Change) -> None:
    of_them: list[object] = [codes]
    entries = con.execute(f"SELECT entry FROM time_entries WHERE object IN {_ASKED}", of_them).fetchall()
    delete_entries(con, [entry for (entry,) in entries], change)
    record_earlier(
        con,
        "milestones",
        change,
        f"""SELECT r.object AS key, to_json(r) AS earlier, {MILESTONE_CONTENT} AS content
        FROM milestones AS r {WITH_KEYS} WHERE r.object IN {_ASKED}""",
        of_them,
    )
    record_versions(
        con, change, f"(SELECT object, version FROM estimate_versions WHERE object IN {_ASKED})", of_them
    )
    record_earlier(
        con,
        "objects",
        change,
        f"""SELECT o.object AS key, to_json(o) AS earlier, NULL AS content FROM objects AS o
        WHERE o.object IN {_ASKED}""",
        of_them,
    )
    con.execute(
        f"DELETE FROM estimated_lines WHERE line IN (SELECT line FROM lines WHERE object IN {_ASKED})",
        of_them,
    )
    for table in ("estimate_versions", "milestones", "lines", "objects"):
        con.execute(f"DELETE FROM {table} WHERE object IN {_ASKED}", of_them)


def last_struck_out(con: Connection) -> StruckOut | None:
    """The works that were struck out last and are not back; None where there are none."""
    rows = con.execute(_STRUCK).fetchall()
    return StruckOut([code for code, _ in rows], rows[0][1]) if rows else None


def put_back(store: Store, change: Change) -> list[str]:
    """Put the works that were struck out last back into the record as they were, in one transaction; their
    codes.
    """
    with store.writing() as con:
        struck = last_struck_out(con)
        if struck is None:
            raise BenchHoursError("no work is struck out", "Load the page again.")
        works, versions, entries, milestones = (
            _earlier(con, kind, struck)
            for kind in ("objects", "estimate_versions", "time_entries", "milestones")
        )
        estimates = [row for item in versions for row in _version_rows(item["version"], item["lines"])]
        for form, rows in (
            (OBJECTS, [_named(item, OBJECTS.names) for item in works]),
            (ESTIMATES, estimates),
            (TIME_ENTRIES, [as_row(item) for item in entries]),
            (MILESTONES, [_named(item, MILESTONES.names) for item in milestones]),
        ):
            if rows:
                put_rows(con, form, rows, change)
    return struck.objects


def _version_rows(version: Mapping[str, Any], lines: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """The rows of a version; approved are those of no option and of the one that was taken."""
    return [
        _named({**line, **version}, ESTIMATES.names)
        | ({} if line["option"] in (None, version["approved_option"]) else {"approved_on": ""})
        for line in lines
    ]


def _named(item: Mapping[str, Any], names: Sequence[str]) -> dict[str, str]:
    return {name: text_of(item.get(name)) for name in names}


def _earlier(con: Connection, kind: str, struck: StruckOut) -> list[dict[str, Any]]:
    """What the history kept of those works when they were struck out."""
    return [
        json.loads(earlier)
        for (earlier,) in con.execute(
            f"""SELECT earlier FROM history
            WHERE kind = ? AND event = 'taken back' AND changed_at = ?
                AND coalesce(earlier->>'object', earlier->>'$.version.object') IN {_ASKED}
            ORDER BY number""",
            [kind, struck.at, struck.objects],
        ).fetchall()
    ]
