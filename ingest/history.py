"""What was, and who changed it: every change of what is held keeps the earlier row."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

import duckdb


def utc_now() -> datetime:
    """Now in UTC, without zone, as instants are stored."""
    return datetime.now(UTC).replace(tzinfo=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of the record.

    Attributes
    ----------
    by : who makes it; None where nobody said.
    reason : why, in words.
    at : when, in UTC.
    """

    by: str | None
    reason: str
    at: datetime = field(default_factory=utc_now)


def keep_earlier(con: duckdb.DuckDBPyConnection, kind: str, change: Change, query: str, values: list[object] | None = None) -> None:
    """Keep the rows of a query in the history before they are changed.

    Parameters
    ----------
    kind : the table they are of.
    query : gives `key` (text), `earlier` (JSON) and `content` (UUID or NULL); `values` are bound to it.
    """
    con.execute(
        f"""INSERT INTO history (number, kind, key, changed_at, changed_by, reason, earlier, content)
        SELECT (SELECT coalesce(max(number), 0) FROM history) + row_number() OVER (), ?, key, ?, ?, ?, earlier, content FROM ({query})""",
        [kind, change.at, change.by, change.reason, *(values or [])],
    )
