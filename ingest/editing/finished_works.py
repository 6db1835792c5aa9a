"""Works said to be finished, many in one act, and that act taken back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd

from ingest.editing.corrections import text_of
from ingest.errors import BenchHoursError
from ingest.importing.check import Checked
from ingest.importing.form_rows import put_rows
from ingest.schema.csv_columns import OBJECTS
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import Change

# a change on a page by which a work was finished, as long as it is by that very day that it is finished
_FINISHED = """
SELECT key, changed_at FROM (
    SELECT h.key, h.changed_at, h.event, h.earlier->>'finished_on' AS before, o.finished_on::VARCHAR AS now,
        CASE WHEN lead(h.number) OVER later IS NULL THEN now
            ELSE lead(h.earlier->>'finished_on') OVER later END AS after
    FROM history AS h JOIN objects AS o ON o.object = h.key
    WHERE h.kind = 'objects'
    WINDOW later AS (PARTITION BY h.key ORDER BY h.number)
)
WHERE event = 'corrected' AND before IS NULL AND after = now
QUALIFY changed_at = max(changed_at) OVER ()
ORDER BY key
"""


@dataclass(frozen=True, slots=True)
class FinishedTogether:
    """Works finished in one act, and when it was done (UTC)."""

    objects: list[str]
    at: datetime


def finish(store: Store, days: Mapping[str, date], change: Change) -> Checked:
    """Finish works, each on its day, in one transaction: all of them or none.

    Parameters
    ----------
    days : by the code of each work. One that was finished elsewhere meanwhile keeps its day.

    Returns
    -------
    The report of the check, with its warnings. Raises `RowsRefused` where a day cannot be.
    """
    with store.writing() as con:
        return _say_finished(
            con, "finished_on IS NULL", list(days), {code: f"{on}" for code, on in days.items()}, change
        )


def last_finished(con: Connection) -> FinishedTogether | None:
    """The works that were finished by the last such act on a page; None where there is none."""
    rows = con.execute(_FINISHED).fetchall()
    return FinishedTogether([code for code, _ in rows], rows[0][1]) if rows else None


def take_back(store: Store, change: Change) -> list[str]:
    """Take back the last such act: its works are on the bench again. Their codes."""
    with store.writing() as con:
        finished = last_finished(con)
        if finished is None:
            raise BenchHoursError("no work was finished here", "Load the page again.")
        _say_finished(con, "finished_on IS NOT NULL", finished.objects, {}, change)
    return finished.objects


def _say_finished(
    con: Connection, which: str, codes: Sequence[str], days: Mapping[str, str], change: Change
) -> Checked:
    """Store works as they are held, but for the day on which they were finished."""
    works: pd.DataFrame = (
        con.sql(
            f"""SELECT * FROM objects
            WHERE {which} AND object IN (SELECT unnest(?::VARCHAR[])) ORDER BY object""",
            params=[list(codes)],
        )
        .to_arrow_table()
        .to_pandas()
    )
    rows = [
        {name: text_of(work[name]) for name in OBJECTS.names if name in work}
        | {"finished_on": days.get(work["object"], "")}
        for work in works.to_dict("records")
    ]
    return put_rows(con, OBJECTS, rows, change, labels={"finished_on": "Finished on"})
