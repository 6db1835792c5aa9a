"""One spell over several works: spraying three in one go, one trip with two in the car."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from ingest.errors import NotationError
from ingest.importing.cell_readers import READERS, Context
from ingest.phone.actions import Action
from ingest.values.durations import hours
from ingest.values.numbers import decimal, written

Row = dict[str, str]
_SHARED_OUT = {"equally": "equally", "by area": "by area", "own shares": "by shares of its own"}


class ShareError(NotationError):
    """A spell that cannot be shared out; `column` says what it is about."""

    def __init__(self, column: str, value: str, code: str, /, **details: object) -> None:
        self.column, self.value = column, value
        super().__init__(code, **details)


def rows_of(action: Action, row: Row, context: Context, areas: Mapping[str, float | None]) -> list[Row]:
    """The rows of the time entries' form that an action says: one, or one for each of its works.

    Clock times are shared out one after the other, so that the hours of a person count once and sum to the
    spell.

    Parameters
    ----------
    row : columns to texts; clock times that were tapped are put right already.
    areas : dm2 by the code of each work that is known, None where it has no size.
    """
    if not action.works:
        return [row]
    for column in ("quantity", "done"):
        if row.get(column):
            raise ShareError(column, row[column], "not_of_several_works")
    codes = [work.object for work in action.works]
    if len(set(codes)) != len(codes):
        raise ShareError("object", ", ".join(codes), "work_named_twice")
    weights = _weights(action, areas, context)
    remark = f"one of {len(codes)} works in one spell, shared {_SHARED_OUT[action.split]}"
    rows = [
        {**row, "object": code, "note": f"{row['note']} ({remark})" if row.get("note") else remark}
        for code in codes
    ]
    if row.get("started_at") or row.get("ended_at"):
        begin, end = (_instant(context, row.get(name, ""), name) for name in ("started_at", "ended_at"))
        bounds = [
            begin + timedelta(seconds=round(share))
            for share in shared_out((end - begin).total_seconds(), weights)
        ]
        for share_row, first, last in zip(rows, [begin, *bounds], bounds, strict=False):
            share_row |= {
                "started_at": f"{first:%Y-%m-%dT%H:%M:%SZ}",
                "ended_at": f"{last:%Y-%m-%dT%H:%M:%SZ}",
                "date": "",
                "hours": "",
            }
        return rows
    try:
        total = hours(context.number(row.get("hours", "").strip()))
    except NotationError as error:
        raise ShareError("hours", row.get("hours", ""), error.code, **error.details) from error
    for share_row, share in zip(rows, np.diff(shared_out(total, weights), prepend=0.0), strict=True):
        share_row["hours"] = written(float(share))
    return rows


def shared_out(total: float, weights: Sequence[float]) -> list[float]:
    """Cumulative ends of the shares of a total by weight; the last ends at the total."""
    ends = np.cumsum(weights)
    return [float(end) for end in total * ends[:-1] / ends[-1]] + [total]


def _weights(action: Action, areas: Mapping[str, float | None], context: Context) -> list[float]:
    if action.split == "by area":
        sizes = {work.object: areas.get(work.object) for work in action.works}
        for code, area in sizes.items():
            if not area and code in areas:
                raise ShareError("object", code, "no_size_to_share_by")
        return [area or 1.0 for area in sizes.values()]  # a work that is not known is refused with its row
    if action.split == "own shares":
        return [_own(work.share, context) for work in action.works]
    return [1.0] * len(action.works)


def _own(text: str, context: Context) -> float:
    try:
        value = decimal(context.number(text.strip()))
    except NotationError as error:
        raise ShareError("share", text, error.code, **error.details) from error
    if not 0 < value <= 1_000_000:
        raise ShareError("share", text, "not_a_share")
    return value


def _instant(context: Context, text: str, column: str) -> datetime:
    """The instant of a clock time as it is read in any row; one that was on the clock twice is taken as the
    first.
    """
    if not text.strip():
        raise ShareError(column, text, "times_or_hours_missing")
    try:
        read = READERS["instant"].read(context, text.strip())
    except NotationError as error:
        raise ShareError(column, text, error.code, **error.details) from error
    assert isinstance(read, dict)
    if read["utc"]:
        return datetime.fromisoformat(read["utc"])
    wall, zone = datetime.fromisoformat(read["wall"]), ZoneInfo(context.settings.zone)
    utc = wall.replace(tzinfo=zone).astimezone(UTC)
    if utc.astimezone(zone).replace(tzinfo=None) != wall:
        raise ShareError(column, text, "never_on_the_clock_shared")
    return utc.replace(tzinfo=None)
