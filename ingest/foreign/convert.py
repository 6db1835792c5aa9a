"""A foreign table in our words: rows of one of our forms, ready for the check, each with its number in the
file.

What cannot be turned into ours is a fault of its cell; the row is rejected with it and nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.foreign import notations
from ingest.foreign.long_rows import WIDE_HEAD, LongRows, left_out_by_day
from ingest.foreign.notations import FAULT_COLUMNS, faults_of, read_texts
from ingest.foreign.reading import CELL, FROM_TO, Reading, word_columns
from ingest.foreign.words import Meaning, Meanings, Studio, codes_are_new
from ingest.schema.csv_columns import Form
from ingest.values.numbers import DecimalMark
from ingest.values.spelling import folded

_HOURS = ("hours", "low_hours", "high_hours", "unattended_hours")
_NUMBERS = ("quantity", "price", "tax_per_cent", "height_cm", "width_cm", "area_dm2")
_DAYS = ("date", "made_on", "approved_on", "received_on", "due_on", "finished_on")
_ISO_DAY = r"\d{4}-\d{2}-\d{2}"
NOT_SAID = "meaning_not_given"


@dataclass(slots=True, kw_only=True)
class ConvertedRows:
    """Rows of one of our forms.

    Attributes
    ----------
    cells : frame of texts, columns of the form; where a text could not be turned into ours, it stands as it
        was.
    lines : by row, its number in the file.
    places : by row, that of the table of which it is made, from 0.
    faults : of cells, frame of `ingest.foreign.notations.FAULT_COLUMNS`.
    left_out : how many rows of the table are none, by what was said.
    not_read : as of `ingest.foreign.long_rows.LongRows`.
    new_works : code to title, of the new works that these rows are of.
    """

    form: Form
    cells: pd.DataFrame
    lines: npt.NDArray[np.int64]
    places: npt.NDArray[np.int64]
    faults: pd.DataFrame
    left_out: int = 0
    not_read: tuple[str, ...] = ()
    new_works: dict[str, str] = field(default_factory=dict)

    def first(self, most: int | None) -> ConvertedRows:
        """So many of the rows, or all."""
        if most is None or most >= len(self.lines):
            return self
        return replace(
            self,
            cells=self.cells.head(most),
            lines=self.lines[:most],
            places=self.places[:most],
            faults=self.faults[self.faults["row"] < most],
        )


def source_texts(rows: LongRows, reading: Reading) -> dict[str, pd.Series[str]]:
    """By our column, the text of each row in the table's own words."""
    index = rows.texts.index
    texts: dict[str, pd.Series[str]] = {}
    for name, source in reading.columns.items():
        match source.origin:
            case "column":
                texts[name] = rows.texts[source.text]
            case "head":
                texts[name] = rows.texts[WIDE_HEAD]
            case "sheet":
                texts[name] = pd.Series(rows.sheet, index=index, dtype="str")
            case "fixed":
                texts[name] = pd.Series(source.text, index=index, dtype="str")
    if reading.wide_of:
        texts["hours"] = rows.texts[CELL]
        if reading.wide_of != "weekday":
            texts[reading.wide_of] = rows.texts[WIDE_HEAD]
    return texts


def convert(
    rows: LongRows, reading: Reading, meanings: Meanings, studio: Studio, *, mark: DecimalMark, today: str
) -> ConvertedRows:
    """Turn rows into ours.

    Parameters
    ----------
    mark : how the file writes decimals.
    today : ISO day, for rules that say so.
    """
    converter = _Converter(rows, reading, mark)
    converter.days()
    converter.hours()
    converter.clocks()
    converter.numbers()
    converter.words(meanings, studio)
    return converter.result(today, sum(rows.left_out))


def days_of(rows: LongRows, reading: Reading, *, mark: DecimalMark) -> pd.Series[str]:
    """The day of each row that one can tell, ISO; empty where one cannot."""
    converter = _Converter(rows, reading, mark)
    converter.days()
    converter.clocks()
    return converter.day_texts()


class _Converter:
    """The columns of one table on their way; `texts` by our column, turned one after the other."""

    def __init__(self, rows: LongRows, reading: Reading, mark: DecimalMark) -> None:
        self._rows, self._reading, self._mark = rows, reading, mark
        self._texts = source_texts(rows, reading)
        self._faults: list[pd.DataFrame] = []
        self._out = np.zeros(len(rows.lines), dtype=bool)
        self._new_works: dict[str, str] = {}

    def _read(
        self, column: str, read: Callable[[str], str], texts: pd.Series[str] | None = None
    ) -> pd.Series[str]:
        turned, faults = read_texts(self._texts[column] if texts is None else texts, column, read)
        self._faults.append(faults)
        return turned

    def days(self) -> None:
        read = partial(
            notations.day,
            order=self._reading.day_order,
            year=self._reading.year,
            serial=self._reading.serial_days,
        )
        for column in _DAYS:
            if column in self._texts:
                self._texts[column] = self._read(column, read)
        if self._reading.wide_of == "weekday":
            offsets = self._read(
                "date", lambda text: str(notations.weekday(text)), self._rows.texts[WIDE_HEAD]
            )
            days = pd.to_datetime(self._texts["date"], format="%Y-%m-%d", errors="coerce")
            monday = days - pd.to_timedelta(days.dt.day_of_week, unit="D")
            moved = monday + pd.to_timedelta(pd.to_numeric(offsets, errors="coerce"), unit="D")
            self._texts["date"] = moved.dt.strftime("%Y-%m-%d").fillna(self._texts["date"]).astype("str")

    def hours(self) -> None:
        read = partial(
            notations.hours,
            unit=self._reading.hours_unit,
            hours_a_day=self._reading.hours_a_day,
            mark=self._mark,
        )
        for column in _HOURS:
            if column in self._texts:
                self._texts[column] = self._read(column, read)

    def clocks(self) -> None:
        """Clock times get their day; a row with clock times says its day by them."""
        if FROM_TO in self._texts:
            both = self._read("started_at", notations.from_to, self._texts.pop(FROM_TO))
            parts = both.str.partition("|")
            self._texts["started_at"], self._texts["ended_at"] = parts[0], parts[2]
        else:
            for column in {"started_at", "ended_at"} & self._texts.keys():
                # nearly each of these is another text
                texts = self._texts[column]
                is_iso = texts.str.fullmatch(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?")
                read = partial(notations.instant, reading=self._reading)
                self._texts[column] = self._read(column, read, texts.where(~is_iso, "")).where(~is_iso, texts)
        if "date" not in self._texts:
            return
        day = self._texts["date"]
        readable = day.str.fullmatch(_ISO_DAY)
        for column in {"started_at", "ended_at"} & self._texts.keys():
            texts = self._texts[column]
            clock_only = texts.str.fullmatch(r"\d\d:\d\d(:\d\d)?")
            # of a row whose day cannot be read that alone is said
            self._texts[column] = texts.where(~clock_only, (day + "T" + texts).where(readable, ""))
        if "started_at" in self._texts:
            self._texts["date"] = day.where((self._texts["started_at"] == "") | ~readable, "")

    def numbers(self) -> None:
        for column in _NUMBERS:
            if column in self._texts:
                self._texts[column] = self._read(column, lambda text: notations.number(text, self._mark))

    def words(self, meanings: Meanings, studio: Studio) -> None:
        """Put what the texts mean into our columns: what a technique means stands over what a phase does, and
        that over what a work does.
        """
        index = self._rows.texts.index
        sources = {
            column: self._texts[column] for column in word_columns(self._reading) if column in self._texts
        }
        for column in ("person", "object", "phase", "technique"):
            if column not in sources:
                continue
            codes, different = pd.factorize(sources[column])
            values: dict[str, dict[int, str]] = {}
            unsaid = np.full(len(different), "", dtype=object)
            out = np.zeros(len(different), dtype=bool)
            for place, text in enumerate(map(str, different)):
                if not text:
                    continue
                meaning = meanings.get((column, folded(text))) or studio.known(
                    column, text, as_code=codes_are_new(self._reading)
                )
                if meaning is None:
                    unsaid[place] = NOT_SAID
                    continue
                out[place] = meaning.left_out
                for name, value in meaning.values.items():
                    values.setdefault(name, {})[place] = value
                self._note_new(meaning, studio)
            for name, by_place in values.items():
                self._put(name, codes, by_place, len(different), index)
            self._out |= out[codes]
            self._faults.append(faults_of(codes, column, unsaid, np.full(len(different), "{}", dtype=object)))

    def _note_new(self, meaning: Meaning, studio: Studio) -> None:
        code = meaning.values.get("object", "")
        if meaning.new_title and folded(code) not in studio.context.objects:
            self._new_works[code] = meaning.new_title

    def _put(
        self,
        name: str,
        codes: npt.NDArray[np.int64],
        by_place: Mapping[int, str],
        size: int,
        index: pd.Index[int],
    ) -> None:
        says = np.zeros(size, dtype=bool)
        texts = np.full(size, "", dtype=object)
        for place, value in by_place.items():
            says[place], texts[place] = True, value
        before = self._texts.get(name, pd.Series("", index=index, dtype="str"))
        self._texts[name] = before.where(~says[codes], pd.Series(texts[codes], index=index, dtype="str"))

    def result(self, today: str, left_out: int) -> ConvertedRows:
        by_day, _ = left_out_by_day(self.day_texts(), self._reading.left_out, today)
        out = self._out | by_day
        form = self._reading.form
        needed = [name for name in form.stars if name not in self._texts]
        columns = [name for name in form.names if name in self._texts or name in needed]
        empty = pd.Series("", index=self._rows.texts.index, dtype="str")
        cells = pd.DataFrame({name: self._texts.get(name, empty) for name in columns})
        cells = cells[~out].reset_index(drop=True)
        named = set(cells["object"]) if self._reading.rows != "objects" else set()
        return ConvertedRows(
            form=form,
            cells=cells,
            lines=self._rows.lines[~out],
            places=np.flatnonzero(~out),
            faults=_moved(self._faults, ~out),
            left_out=left_out + int(out.sum()),
            not_read=self._rows.not_read,
            new_works={code: title for code, title in self._new_works.items() if code in named},
        )

    def day_texts(self) -> pd.Series[str]:
        """The day of each row that one can tell, ISO."""
        texts = self._texts
        days = texts.get("date", texts.get("made_on", texts.get("received_on")))
        if days is None:
            days = pd.Series("", index=self._rows.texts.index, dtype="str")
        if "started_at" in texts:
            days = days.where(days != "", texts["started_at"].str.slice(0, 10))
        return days.where(days.str.fullmatch(_ISO_DAY), "")


def _moved(faults: Sequence[pd.DataFrame], staying: npt.NDArray[np.bool_]) -> pd.DataFrame:
    """Faults of the rows that stay, by their number among these."""
    everything = pd.concat(faults) if faults else pd.DataFrame(columns=list(FAULT_COLUMNS))
    rows = everything["row"].to_numpy(dtype=np.int64)
    number = np.cumsum(staying) - 1
    of_staying: pd.DataFrame = everything[staying[rows]].assign(row=number[rows[staying[rows]]])
    return of_staying
