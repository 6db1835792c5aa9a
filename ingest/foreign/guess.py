"""A first guess of how a table is read, from its heads and what stands below: offered, never applied
unasked.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from ingest.foreign import notations
from ingest.foreign.appearance import (
    MOST,
    TOTALS,
    WORDS,
    Contents,
    clock_time,
    day_in_any_order,
    is_head_of,
    is_of_a_promise,
    length,
    reads,
)
from ingest.foreign.calendar_cells import HEADS as CALENDAR_HEADS
from ingest.foreign.long_rows import named_heads
from ingest.foreign.reading import CELL, FROM_TO, TODAY, LeaveOut, Reading, RowKind, Source
from ingest.foreign.sheets import ROWS_LOOKED_AT, Book, Sheet, heads
from ingest.foreign.words import Studio
from ingest.importing.csv_file import distinct_names
from ingest.values.parsing import DayOrder, folded

_LOOKED_AT = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A reading to begin with, and where its heads stand: the row of the sheet, from 0."""

    sheet: Sheet
    row: int
    reading: Reading


def guess(book: Book, studio: Studio) -> Guess:
    """The likeliest sheet, the row of its heads, and what its columns seem to be. What it cannot tell it
    leaves unsaid (`ingest.foreign.reading.missing`).
    """
    sheet, row = max(
        ((sheet, likeliest_head_row(sheet)) for sheet in book.sheets),
        key=lambda item: len(item[0].lines) - item[1],
    )
    return guess_at(book, studio, sheet, row)


def guess_at(
    book: Book, studio: Studio, sheet: Sheet, row: int, *, rows: RowKind | None = None, head_rows: int = 1
) -> Guess:
    """The same where the sheet and the row of its heads are known.

    Parameters
    ----------
    row : of the heads, from 0.
    rows : what each row is, where that is known too.
    head_rows : over how many rows the heads stand.
    """
    if book.kind == "calendar" and rows in (None, "time entries"):
        return Guess(sheet=sheet, row=0, reading=_of_calendar(sheet, studio))
    columns = _Columns(sheet, row, studio, book.path.stem, head_rows)
    return Guess(sheet=sheet, row=row, reading=columns.reading(rows))


def likeliest_head_row(sheet: Sheet) -> int:
    """The row with the most heads that are words, from 0; of equal ones the first."""

    def score(row: int) -> float:
        texts = [text for text in heads(sheet, row) if text]
        words = [text for text in texts if re.search(r"[^\W\d_]", text) and len(text) < 40]
        known = sum(1 for text in words if any(is_head_of(text, name) for name in WORDS))
        days = sum(1 for text in texts if reads(text, day_in_any_order))
        return len(set(words)) + 2 * known + (days if days > 2 else 0) - row / ROWS_LOOKED_AT

    return max(range(min(len(sheet.lines), ROWS_LOOKED_AT)), key=score)


class _Columns:
    """The columns of one table, with what they seem to be."""

    def __init__(self, sheet: Sheet, row: int, studio: Studio, file: str, head_rows: int = 1) -> None:
        self._head_rows = head_rows
        self._written = heads(sheet, row, head_rows)
        self._names = distinct_names(self._written)
        cells = sheet.cells.iloc[row + head_rows : row + head_rows + _LOOKED_AT].set_axis(self._names, axis=1)
        self._sums, is_sum = _sums(cells)
        self._contents = Contents(cells[~is_sum], studio)
        self._sheet_name = sheet.name
        self._above = [file, sheet.name, *sheet.cells.iloc[:row].to_numpy().ravel()]
        self._studio = studio
        self._head = dict(zip(self._names, self._written, strict=True))
        self._free = [
            name for name in self._names if (self._contents.cells[name] != "").any() or self._head[name]
        ]
        self._columns: dict[str, Source] = {}

    def reading(self, rows: RowKind | None = None) -> Reading:
        rows = rows or self._kind()
        wide = self._wide() if rows == "time entries" else None
        wide_names = self._wide_names(wide)
        self._free = [name for name in self._free if name not in wide_names]
        {"time entries": self._entries, "estimates": self._estimates, "objects": self._objects}[rows](wide)
        named = {source.text for source in self._columns.values()}
        filled_down = tuple(
            source.text
            for name, source in self._columns.items()
            if name in ("date", "object")
            and source.origin == "column"
            and self._contents.is_written_once(source.text)
        )
        known = named_heads(self._written)
        return Reading(
            rows=rows,
            columns=self._columns,
            not_read=tuple(name for name in self._names if name in known - named - set(wide_names)),
            head_rows=self._head_rows,
            day_order=self._day_order(wide_names),
            year=self._year(wide_names) if wide == "date" else None,
            serial_days=self._has_serial_days(),
            hours_unit="minutes" if self._in_minutes() else "hours",
            wide_of=wide,
            filled_down=filled_down,
            left_out=self._rules(filled_down, wide),
        )

    # --- what the rows are

    def _kind(self) -> RowKind:
        named = {column for column in WORDS for text in self._written if is_head_of(text, column)}
        has_day = any(self._contents.share(name, day_in_any_order) > MOST for name in self._free)
        if named & {"height_cm", "width_cm", "owner", "maker"} and "hours" not in named:
            return "objects"
        if "price" in named and "hours" in named and not has_day:
            return "estimates"
        return "estimates" if self._is_of_promises() else "time entries"

    def _is_of_promises(self) -> bool:
        """Heads speak of an estimate, and no other says when somebody worked and how long: a diary may have
        what was promised beside it.
        """
        if is_of_a_promise(self._sheet_name):
            return any(is_head_of(text, "hours") for text in self._written)
        others = [name for name in self._names if not is_of_a_promise(self._head[name])]
        return len(others) < len(self._names) and not (
            any(self._contents.share(name, day_in_any_order) > MOST for name in others)
            and any(is_head_of(self._head[name], "hours") for name in others)
        )

    def _wide(self) -> str | None:
        heads_written = [text for text in self._written if text]
        if sum(reads(text, day_in_any_order) for text in heads_written) > 2:
            return "date"
        if sum(reads(text, notations.weekday) for text in heads_written) > 2:
            return "weekday"
        for column in ("person", "object"):
            if sum(self._studio.known(column, text) is not None for text in heads_written) > 1:
                return column
        return None

    def _wide_names(self, wide: str | None) -> list[str]:
        is_wide: Callable[[str], bool] = {
            "date": lambda text: reads(text, day_in_any_order),
            "weekday": lambda text: reads(text, notations.weekday),
            "person": lambda text: self._studio.known("person", text) is not None,
            "object": lambda text: self._studio.known("object", text) is not None,
        }.get(wide or "", lambda _: False)
        return [name for name, text in self._head.items() if text and is_wide(text)]

    # --- which column is which

    def _entries(self, wide: str | None) -> None:
        self._times(wide)
        for column in ("object", "technique", "person", "phase"):
            if column != wide:
                self._take(column, self._contents.share_of_words(column), also_unnamed=True)
        for column in ("object", "technique", "person", "note"):
            if column != wide:
                self._take(column, lambda name: float(self._contents.share(name, length) < MOST))
        for column in ("object", "technique"):  # a work stands before what was done to it
            if (
                column != wide
                and column not in self._columns
                and (repeating := self._contents.repeating(self._free))
            ):
                self._give(column, repeating[0])
        if "person" not in self._columns and wide != "person" and len(people := self._people()) == 1:
            self._columns["person"] = Source(origin="fixed", text=people[0])

    def _times(self, wide: str | None) -> None:
        if wide != "date":
            self._take("date", lambda name: self._contents.share(name, day_in_any_order), also_unnamed=True)
            if "date" not in self._columns:
                self._take("date", self._contents.share_of_serials)
        for column in ("started_at", "ended_at"):
            self._take(column, lambda name: self._contents.share(name, clock_time))
        if self._columns.keys() & {"started_at", "ended_at"} == {"started_at"}:
            del self._columns["started_at"]
        if not wide and "started_at" not in self._columns:
            self._take(FROM_TO, lambda name: self._contents.share(name, notations.from_to), also_unnamed=True)
        if not wide and FROM_TO not in self._columns:
            self._take(
                "hours",
                lambda name: self._contents.share(name, length),
                also_unnamed="started_at" not in self._columns,
            )

    def _estimates(self, _: str | None) -> None:
        self._take("hours", lambda name: self._contents.share(name, length))
        if "hours" not in self._columns:  # a column that is called "quoted" and no more
            promised = [name for name in self._free if is_of_a_promise(self._head[name])]
            lengths = [name for name in promised if self._contents.share(name, length) >= MOST]
            if lengths:
                self._give("hours", lengths[0])
        self._take("price", lambda _: 1.0)
        self._days_of_a_promise()
        for column in ("object", "technique", "phase", "note"):
            self._take(column, self._contents.share_of_words(column), also_unnamed=column != "note")
            self._take(column, lambda _: 1.0)
        self._columns["version"] = Source(origin="fixed", text="1")

    def _days_of_a_promise(self) -> None:
        """The day on which it was promised is both, where no other is of an agreement."""

        def share_of_days(name: str) -> float:
            return self._contents.share(name, day_in_any_order)

        agreed = [
            name
            for name in self._free
            if is_head_of(self._head[name], "approved_on") and share_of_days(name) >= MOST
        ]
        self._take("made_on", share_of_days)
        made_on = self._columns.get("made_on")
        if len(agreed) == 1 and made_on is not None and made_on.text == agreed[0]:
            self._columns["approved_on"] = made_on
        else:
            self._take("approved_on", share_of_days)

    def _objects(self, _: str | None) -> None:
        for column in ("title", "maker", "owner", "height_cm", "width_cm", "received_on", "note"):
            self._take(column, lambda _: 1.0)
        codes = [name for name in self._free if self._contents.are_codes(name)]
        if codes:
            self._columns["object"] = Source(origin="column", text=codes[0])
        elif "title" in self._columns:
            self._columns["object"] = self._columns["title"]

    def _take(self, column: str, share: Callable[[str], float], *, also_unnamed: bool = False) -> None:
        """Give one of our columns the likeliest that is still free: by its head and what is in it, or by what
        is in it alone.
        """
        if column in self._columns:
            return
        shares = {name: share(name) for name in self._free}
        by_head = [name for name in self._free if column in WORDS and is_head_of(self._head[name], column)]
        for names in (by_head, self._free if also_unnamed else []):
            if names and shares[best := max(names, key=lambda name: shares[name])] >= MOST:
                self._give(column, best)
                return

    def _give(self, column: str, name: str) -> None:
        self._columns[column] = Source(origin="column", text=name)
        self._free.remove(name)

    def _people(self) -> Sequence[str]:
        return sorted(set(self._studio.context.people.values()))

    # --- how it is written

    def _day_order(self, wide_names: Sequence[str]) -> DayOrder:
        texts = [self._head[name] for name in wide_names]
        for column in ("date", "received_on", "made_on"):
            if column in self._columns:
                texts += list(self._contents.filled(self._columns[column].text))
        pairs = [
            (int(match[1]), int(match[2]))
            for text in texts
            if (match := re.search(r"\b(\d{1,2})[./-](\d{1,2})\b", text)) and not re.match(r"\d{4}", text)
        ]
        if any(first > 12 for first, _ in pairs):
            return "dmy"
        if any(second > 12 for _, second in pairs):
            return "mdy"
        return self._studio.context.settings.day_order

    def _year(self, wide_names: Sequence[str]) -> int | None:
        """The year of heads that name none, if it stands above them or in the name of the sheet or file."""
        if any(re.search(r"\b(19|20)\d\d\b", self._head[name]) for name in wide_names):
            return None
        years = {int(year) for text in self._above for year in re.findall(r"(?<!\d)20\d\d(?!\d)", text)}
        return years.pop() if len(years) == 1 else None

    def _has_serial_days(self) -> bool:
        source = self._columns.get("date")
        return (
            source is not None
            and source.origin == "column"
            and self._contents.share_of_serials(source.text) > 0
        )

    def _in_minutes(self) -> bool:
        source = self._columns.get("hours")
        if source is None:
            return False
        numbers = pd.to_numeric(self._contents.filled(source.text), errors="coerce").dropna()
        in_head = re.search(r"\bmin", folded(self._head[source.text])) is not None
        return len(numbers) > 0 and (in_head or float(numbers.median()) > 16)

    def _rules(self, filled_down: Sequence[str], wide: str | None) -> tuple[LeaveOut, ...]:
        rules = [LeaveOut(test="begins", text=text) for text in self._sums]
        source = self._columns.get("date") if not wide else self._columns.get("object")
        if source and source.text not in filled_down and (self._contents.cells[source.text] == "").any():
            rules.append(LeaveOut(column=source.text, test="empty"))
        if wide and (self._contents.cells == "0").any(axis=None):
            rules.append(LeaveOut(column=CELL, test="is", text="0"))
        return tuple(rules)


def _sums(cells: pd.DataFrame) -> tuple[list[str], pd.Series[bool]]:
    """The words with which rows of sums begin, and which rows are such."""
    words, rows = [], pd.Series(False, index=cells.index)
    for word in TOTALS:
        begins = cells.apply(lambda column, word=word: column.str.match(rf"(?i){word}\b"))
        if begins.any(axis=None):
            words.append(word)
            rows |= begins.any(axis=1)
    return words, rows


def _of_calendar(sheet: Sheet, studio: Studio) -> Reading:
    """A calendar has the columns that it has: the work is in its summary, what was done a category."""
    columns: Mapping[str, Source] = {
        name: Source(origin="column", text=text)
        for name, text in (
            *(("date", "date"), ("started_at", "start"), ("ended_at", "end"), ("object", "summary")),
            *((("technique", "categories"),) if (sheet.cells.iloc[1:, 1] != "").any() else ()),
        )
    }
    people = sorted(set(studio.context.people.values()))
    if len(people) == 1:
        columns = {**columns, "person": Source(origin="fixed", text=people[0])}
    named = {source.text for source in columns.values()}
    return Reading(
        rows="time entries",
        columns=columns,
        not_read=tuple(name for name in CALENDAR_HEADS if name not in named),
        left_out=(
            LeaveOut(column="whole_day", test="is", text="yes"),
            LeaveOut(column="status", test="is", text="cancelled"),
            LeaveOut(test="after", text=TODAY),
        ),
    )
