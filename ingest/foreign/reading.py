"""A reading: what somebody says of a table that is in other words than ours, so that its rows become ours.

It is said once and kept under the heads of the table (`ingest.foreign.memory`); what the texts of its cells
mean is said apart (`ingest.foreign.words`).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, get_args

from ingest.errors import BenchHoursError
from ingest.schema.csv_columns import ESTIMATES, OBJECTS, TIME_ENTRIES, Form
from ingest.values.calendar_days import DAY_ORDERS, DayOrder

RowKind = Literal["time entries", "estimates", "objects"]
Origin = Literal["column", "fixed", "head", "sheet"]
HoursUnit = Literal["hours", "minutes", "days"]
Test = Literal["empty", "is", "begins", "contains", "before", "after"]

FORMS: Mapping[RowKind, Form] = {"time entries": TIME_ENTRIES, "estimates": ESTIMATES, "objects": OBJECTS}
FROM_TO = "from_to"
"""Besides the columns of time entries: one cell with the clock time of begin and end, like `9:00–12:30`."""
WORD_COLUMNS = ("object", "phase", "technique", "person")
"""Columns whose texts must be words of the studio."""
WIDE = ("date", "weekday", "person", "object", "phase", "technique")
"""What the heads of a wide table may be. A weekday is one of the week in which the row's `date` lies."""
ANY, CELL = "", "cell"
"""As the column of a rule: any column; the cell of a wide table."""
TODAY = "today"
_LONGEST_DAY_HOURS = 24.0


class ReadingError(BenchHoursError):
    """A reading by which no table can be read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where the text of one of our columns comes from.

    Attributes
    ----------
    origin : a column of the table; fixed, the same for all rows; the head of a wide column; the name of the
        sheet.
    text : the column (as `ingest.importing.csv_file.distinct_names` has it), or what is fixed.
    """

    origin: Origin
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveOut:
    """A rule for rows that are none: totals, rows without a work, other years.

    Attributes
    ----------
    column : of the table; `ANY` or `CELL`.
    test : `begins` is of whole words; `before` and `after` are of the row's day, and look at no column.
    text : what is tested for, in any case; of a day, ISO or `TODAY`.
    """

    column: str = ANY
    test: Test
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the rows of a table are and how they are written.

    Attributes
    ----------
    rows : what each row is.
    columns : by our column (or `FROM_TO`), where it comes from.
    not_read : columns of the table that are known and not read.
    sheets : the sheets that are read; empty: each that has these heads.
    head_rows : over how many rows the heads stand.
    day_order : how days in numbers are written; `unset` refuses those that can be read two ways.
    year : of days that are written without one.
    serial_days : numbers in the place of a day are days since 30 December 1899, as spreadsheets count.
    hours_unit, hours_a_day : what a bare number of hours is; hours of a working day where it is `days`.
    wide_of : what the heads of the columns are that stand neither in `columns` nor in `not_read`; None: the
        table is not wide.
    filled_down : columns of the table in which an empty cell means what stands above it.
    left_out : rules for rows that are none.
    """

    rows: RowKind
    columns: Mapping[str, Source]
    not_read: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()
    head_rows: int = 1
    day_order: DayOrder = "unset"
    year: int | None = None
    serial_days: bool = False
    hours_unit: HoursUnit = "hours"
    hours_a_day: float = 8.0
    wide_of: str | None = None
    filled_down: tuple[str, ...] = ()
    left_out: tuple[LeaveOut, ...] = field(default=())

    @property
    def form(self) -> Form:
        return FORMS[self.rows]

    @property
    def fixed_names(self) -> set[str]:
        """The columns of the table that are known by name: all of them, but for the wide ones."""
        sources = {source.text for source in self.columns.values() if source.origin == "column"}
        return sources | set(self.not_read)

    def to_json(self) -> str:
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Reading:
        """A reading as it was kept; raises `ReadingError` where it is none."""
        try:
            content: dict[str, Any] = json.loads(text)
            content.pop("earlier", None)  # see `ingest.foreign.earlier`
            reading = cls(
                **{
                    **content,
                    "columns": {name: Source(**source) for name, source in content["columns"].items()},
                    "left_out": tuple(LeaveOut(**rule) for rule in content["left_out"]),
                    **{name: tuple(content[name]) for name in ("not_read", "sheets", "filled_down")},
                }
            )
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise ReadingError("what was said of this table cannot be read", "Say it again.") from error
        return reading


def missing(reading: Reading) -> list[str]:
    """What must still be said before a table can be read by it: our columns, in their order."""
    if reading.rows == "time entries":
        columns = set(reading.columns)
        wide = {reading.wide_of} - {None}
        # without a technique or a phase the hours are of the work as a whole
        needed = [name for name in ("object", "person") if name not in columns | wide]
        if reading.wide_of != "date" and not columns & {"date", "started_at"}:
            needed.append("date")
        if (
            not reading.wide_of
            and not columns & {"hours", FROM_TO}
            and not columns >= {"started_at", "ended_at"}
        ):
            needed.append("hours")
        return needed
    if reading.rows == "objects":
        return [name for name in ("object",) if name not in reading.columns]
    needed = [name for name in ("object", "version", "made_on") if name not in reading.columns]
    if not reading.wide_of and not reading.columns.keys() & {"hours", "quantity"}:
        needed.append("hours")
    return [name for name in needed if name != reading.wide_of]


def check_reading(reading: Reading, names: Sequence[str]) -> None:
    """Raise `ReadingError` where no table with these columns can be read so."""
    if needed := missing(reading):
        raise ReadingError(
            f"nothing was said of {', '.join(needed)}",
            "Say from which column it comes, or what it is for all rows.",
        )
    ours = {*reading.form.names, *((FROM_TO,) if reading.rows == "time entries" else ())}
    for name, source in reading.columns.items():
        if name not in ours:
            raise ReadingError(f'"{name}" is no column of {reading.rows}', "Leave it out.")
        if source.origin not in get_args(Origin):
            raise ReadingError(f'"{source.origin}" is no place where "{name}" can come from', "Say it again.")
    strangers = [name for name in sorted(reading.fixed_names) if name not in names]
    if strangers:
        raise ReadingError(
            f"the table has no column {', '.join(strangers)}", "Say again from which columns it is read."
        )
    if reading.wide_of is not None and reading.wide_of not in WIDE:
        raise ReadingError(
            f'the heads of a table cannot be "{reading.wide_of}"', f"Say one of {', '.join(WIDE)}."
        )
    if reading.wide_of and reading.columns.keys() & {
        reading.wide_of,
        "hours",
        "started_at",
        "ended_at",
        FROM_TO,
    }:
        raise ReadingError(
            "a table with a column for each has its hours in these columns, and what they are in their heads",
            "Take the columns for both away.",
        )
    if reading.day_order not in DAY_ORDERS or not 0 < reading.hours_a_day <= _LONGEST_DAY_HOURS:
        raise ReadingError("the order of days or the hours of a day cannot be so", "Say them again.")


def word_columns(reading: Reading) -> tuple[str, ...]:
    """Our columns whose texts need a meaning: what is fixed for all rows was said in our own words."""
    words_said = {name for name, source in reading.columns.items() if source.origin == "fixed"}
    return tuple(name for name in WORD_COLUMNS if name not in words_said)
