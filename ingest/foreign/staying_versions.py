"""Versions of estimates that came in before and cannot be moved, for who reads their table or says its words
otherwise now.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from ingest.foreign.counted_twice import check_table
from ingest.foreign.earlier import read_all_earlier
from ingest.foreign.reading import Reading
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.words import Meanings
from ingest.importing.row_status import untouched
from ingest.importing.versions_said_otherwise import VERSION_KEY
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import utc_now

Why = Literal["approved", "ended", "quoted", "followed"]
_CODES = "('version_approved', 'version_ended', 'version_quoted', 'version_stands_elsewhere')"
_STAYING = f"""
    SELECT DISTINCT v.object, v.version, v.approved_on, x.outcome,
        (v.object, v.version) IN (SELECT (object, version) FROM quotes) AS is_quoted
    FROM resolved AS r JOIN versions_said_otherwise AS o USING (object, version)
    JOIN estimate_versions AS v ON o.earlier = {VERSION_KEY.format(row="v")}
    LEFT JOIN ended_versions AS x ON x.object = v.object AND x.version = v.version
    WHERE r."row" IN (SELECT "row" FROM faults WHERE code IN {_CODES})
    ORDER BY v.object, v.version
"""
_CAN_MOVE = f"""
    SELECT count(*) FROM resolved AS r JOIN versions_said_otherwise AS o USING (object, version)
    WHERE o.earlier IS NOT NULL AND {untouched("r")}
"""
_NEXT_VERSIONS = """
    SELECT r.object, coalesce(max(v.version), 0) + 1 FROM resolved AS r LEFT JOIN estimate_versions AS v
    ON v.object = r.object WHERE r.object IS NOT NULL GROUP BY r.object ORDER BY r.object
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class StayingVersion:
    """A version that stays as it is held.

    Attributes
    ----------
    why : it was approved, it has ended, it was saved from a quote, or a later version follows it.
    approved_on : where it was approved. outcome : how it ended, where it has.
    """

    object: str
    version: int
    why: Why
    approved_on: date | None = None
    outcome: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StayingVersions:
    """What of the versions that came in before cannot be moved.

    Attributes
    ----------
    versions : those that stay.
    can_move : how many rows are of versions that can be moved.
    next_versions : by work of the table, the number of its next version.
    """

    versions: Sequence[StayingVersion]
    can_move: int
    next_versions: Mapping[str, int]


def staying_versions(
    store: Store,
    table_heads: str,
    sheets: Sequence[tuple[Book, Sheet, int]],
    reading: Reading,
    meanings: Meanings,
    now: datetime | None = None,
) -> StayingVersions:
    """The versions that stay though rows of them are said otherwise now; nothing is written.

    Parameters
    ----------
    table_heads : under which what was said is kept.
    sheets : that are read alike, each with its file and the row of its heads, from 0.
    meanings : by our column and the text, folded.
    """
    versions: dict[tuple[str, int], StayingVersion] = {}
    next_versions: dict[str, int] = {}
    can_move = 0
    with store.reading() as con:
        before = read_all_earlier(con, table_heads)
        for table in sheets:
            check_table(con, table, reading, meanings, before, now or utc_now(), become="correction")
            versions |= {(item.object, item.version): item for item in _read_staying(con)}
            can_move += int(con.execute(_CAN_MOVE).fetchall()[0][0])
            next_versions |= dict(con.execute(_NEXT_VERSIONS).fetchall())
    return StayingVersions(versions=[*versions.values()], can_move=can_move, next_versions=next_versions)


def _read_staying(con: Connection) -> list[StayingVersion]:
    return [
        StayingVersion(
            object=code,
            version=version,
            why="approved" if approved_on else "ended" if outcome else "quoted" if quoted else "followed",
            approved_on=approved_on,
            outcome=outcome or "",
        )
        for code, version, approved_on, outcome, quoted in con.execute(_STAYING).fetchall()
    ]
