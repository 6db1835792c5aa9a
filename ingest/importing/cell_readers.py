"""Readers of cells: by kind of column, the value that a text has in the database.

A reader is applied once to each different text of a column, never row by row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from ingest.errors import NotationError
from ingest.schema import csv_columns
from ingest.sql import Connection
from ingest.studio.people import read_spellings
from ingest.studio.settings import Settings, read_settings
from ingest.studio.vocabulary import Vocabulary, read_vocabulary
from ingest.tables.audit_log import utc_now
from ingest.values import calendar_days, durations, numbers, sizes, spelling
from ingest.values.numbers import DecimalMark
from ingest.values.spelling import folded, look_alike, nearest_code


@dataclass(slots=True)
class Context:
    """Settings, vocabulary, objects and people that readers depend on.

    Attributes
    ----------
    objects, people : folded spelling to the spelling held; a reader of new ones adds to them, so that one
        file spells a new object or person in one way.
    codes : the objects held as codes are compared for slips; made at the first slip.
    spelled : other spellings of words, folded, as the file first writes them where it may mean new words.
    now : the present instant in UTC; nothing is logged that begins later.
    decimal_mark : how the file writes decimals, so that none in it can stand between thousands; empty where
        nothing is known, as of what is typed.
    """

    settings: Settings
    vocabulary: Vocabulary
    objects: dict[str, str] = field(default_factory=dict)
    people: dict[str, str] = field(default_factory=dict)
    decimal_mark: DecimalMark = ""
    now: datetime = field(default_factory=utc_now)
    codes: dict[str, str] = field(default_factory=dict)
    spelled: dict[str, str] = field(default_factory=dict)
    suggestions_left: int = 100

    def nearest_object(self, text: str) -> str | None:
        """The held object whose code a text may misspell. Dear where many are held, so it is asked a limited
        number of times.
        """
        self.suggestions_left -= 1
        if self.suggestions_left < 0:
            return None
        self.codes = self.codes or {look_alike(code): code for code in self.objects.values()}
        return nearest_code(text, self.codes)

    def number(self, text: str) -> str:
        """The text of a number as this file means it."""
        return numbers.of_a_file(text, self.decimal_mark)

    @property
    def today(self) -> date:
        """The present day on the studio's own calendar."""
        return self.now.replace(tzinfo=UTC).astimezone(ZoneInfo(self.settings.zone)).date()

    @classmethod
    def of(cls, con: Connection, *, now: datetime | None = None, decimal_mark: DecimalMark = "") -> Context:
        return cls(
            settings=read_settings(con),
            vocabulary=read_vocabulary(con),
            objects={folded(row[0]): row[0] for row in con.execute("SELECT object FROM objects").fetchall()},
            people=read_spellings(con),
            decimal_mark=decimal_mark,
            now=now or utc_now(),
        )


@dataclass(frozen=True, slots=True)
class Reader:
    """One way to read a cell.

    Attributes
    ----------
    sql_type : DuckDB type of the value.
    read : the text (stripped, not empty) to the value; raises `NotationError`.
    doubt : code and details of what must be said of a text that was read; None where nothing must be.
    at_once : SQL over `{text}` that reads the plainest texts in one pass and gives NULL for the rest, which
        then go through `read`; None where every different text does. A test holds the two to the same
        answers.
    """

    sql_type: str
    read: Callable[[Context, str], object]
    at_once: str | None = None
    doubt: Callable[[Context, str], tuple[str, dict[str, object]] | None] = lambda _, __: None


def _text(_: Context, text: str) -> str:
    return text


def _object(context: Context, text: str) -> str:
    stored = context.objects.get(folded(text))
    if stored is None:
        near = context.nearest_object(text)
        raise NotationError("unknown_object_near", near=near) if near else NotationError("unknown_object")
    return stored


def _new_object(context: Context, text: str) -> str:
    return context.objects.setdefault(folded(text), " ".join(text.split()))


def _person(context: Context, text: str) -> str:
    return context.people.setdefault(folded(text), " ".join(text.split()))


def _technique_in_doubt(context: Context, text: str) -> tuple[str, dict[str, object]] | None:
    others = context.vocabulary.also_begin_so(text)
    if not others:
        return None
    return "technique_in_doubt", {
        "technique": context.vocabulary.technique(text),
        "others": " or ".join(others),
    }


def _new_word(spellings: Callable[[Context], dict[str, str]]) -> Callable[[Context, str], str]:
    """A word that may be new: its name where it is one, as it is written where it is another spelling of one,
    so that `keyed` can ask which is meant.
    """

    def read(context: Context, text: str) -> str:
        written = " ".join(text.split())
        name = spellings(context).setdefault(folded(text), written)
        return name if folded(name) == folded(text) else context.spelled.setdefault(folded(text), written)

    return read


def _one_of(words: tuple[str, ...], spellings: dict[str, str], kind: str) -> Callable[[Context, str], str]:
    by_spelling = {folded(word): word for word in words} | spellings

    def read(_: Context, text: str) -> str:
        word = by_spelling.get(folded(text))
        if word is None:
            raise NotationError("not_one_of", kind=kind, choices=f"{', '.join(words[:-1])} or {words[-1]}")
        return word

    return read


def _between(
    low: float, high: float, unit: str, read: Callable[[str], float] = numbers.decimal
) -> Callable[[Context, str], float]:
    def read_between(context: Context, text: str) -> float:
        value = read(context.number(text))
        if not low <= value <= high:
            raise NotationError("out_of_range", unit=unit, low=low, high=high)
        return value

    return read_between


def _above_zero(high: float, unit: str, read: Callable[[str], float]) -> Callable[[Context, str], float]:
    def read_above(context: Context, text: str) -> float:
        value = read(context.number(text))
        if not 0 < value <= high:
            raise NotationError("not_above_zero", unit=unit, high=high)
        return value

    return read_above


def _amount(_: Context, text: str) -> float:
    """Of money; asked about in any file too, as no price has three decimals."""
    value = numbers.decimal(text)
    if not 0 <= value <= 1e9:
        raise NotationError("amount_out_of_range")
    return value


def _whole_between(low: int, high: int) -> Callable[[Context, str], int]:
    def read(context: Context, text: str) -> int:
        value = numbers.whole(context.number(text))
        if not low <= value <= high:
            raise NotationError("whole_out_of_range", low=low, high=high)
        return value

    return read


def _words(_: Context, text: str) -> str:
    return "|".join(word.strip() for word in text.split("|") if word.strip())


def _cautions(context: Context, text: str) -> str:
    caution_class = _one_of(csv_columns.CAUTIONS, {}, "caution class")
    return "|".join(caution_class(context, word) for word in text.split("|") if word.strip())


def _day(context: Context, text: str) -> str:
    return calendar_days.day(text, context.settings.day_order).isoformat()


def _day_or_period(context: Context, text: str) -> dict[str, str | None]:
    period = calendar_days.day_or_period(text, context.settings.day_order)
    return {"first": period.first.isoformat(), "last": period.last.isoformat(), "total": period.total}


def _total(_: Context, text: str) -> str:
    """The period of a total; empty where the cell says that the hours are none."""
    if folded(text) in csv_columns.TOTALS:
        return folded(text)
    return csv_columns.TOTALS[0] if spelling.yes_or_no(text) else ""


def _instant(context: Context, text: str) -> dict[str, str | None]:
    read = calendar_days.instant(text, context.settings.day_order, context.settings.zone)
    return {
        "wall": read.wall.isoformat(sep=" "),
        "utc": None if read.utc is None else read.utc.isoformat(sep=" "),
    }


_PLAIN_TEXT = "nullif(trim({text}), '')"
# An ISO day and time without zone; each format is strict, so nothing else slips through.
_PLAIN_INSTANT = (
    "CASE WHEN length({text}) IN (16, 19) AND {text} >= '1900' AND {text} < '2201' THEN struct_pack(wall :="
    " try_strptime({text}, ['%Y-%m-%d %H:%M', '%Y-%m-%dT%H:%M', '%Y-%m-%d %H:%M:%S', '%Y-%m-%dT%H:%M:%S']),"
    " utc := NULL::TIMESTAMP) END"
)
_UNIT_SPELLINGS = {
    "dm²": "dm2",
    "dm^2": "dm2",
    "square decimetre": "dm2",
    "pc": "pcs",
    "piece": "pcs",
    "pieces": "pcs",
    "centimetre": "cm",
    "centimetres": "cm",
}
_UNIT_SPELLINGS = {folded(spelling): unit for spelling, unit in _UNIT_SPELLINGS.items()}

READERS: dict[str, Reader] = {
    "text": Reader("VARCHAR", _text, _PLAIN_TEXT),
    "words": Reader("VARCHAR", _words),
    "object": Reader("VARCHAR", _object),
    "new_object": Reader("VARCHAR", _new_object),
    "person": Reader("VARCHAR", _person),
    "phase": Reader("VARCHAR", lambda context, text: context.vocabulary.phase(text)),
    "technique": Reader(
        "VARCHAR", lambda context, text: context.vocabulary.technique(text), doubt=_technique_in_doubt
    ),
    "new_phase": Reader("VARCHAR", _new_word(lambda context: context.vocabulary.phase_spellings)),
    "new_technique": Reader("VARCHAR", _new_word(lambda context: context.vocabulary.technique_spellings)),
    "position": Reader("INTEGER", _whole_between(0, 10_000)),
    "version": Reader("INTEGER", _whole_between(1, 1_000)),
    "grade": Reader("INTEGER", _whole_between(0, 3)),
    "unit": Reader("VARCHAR", _one_of(csv_columns.UNITS, _UNIT_SPELLINGS, "unit")),
    "unit_or_none": Reader("VARCHAR", _one_of((*csv_columns.UNITS, "none"), _UNIT_SPELLINGS, "unit")),
    "mode": Reader("VARCHAR", _one_of(csv_columns.MODES, {}, "mode")),
    "charge": Reader("VARCHAR", _one_of(csv_columns.CHARGES, {}, "charge")),
    "shape": Reader(
        "VARCHAR",
        _one_of(
            csv_columns.SHAPES, {"tondo": "round", "circle": "round", "rectangular": "rectangle"}, "shape"
        ),
    ),
    "condition": Reader("VARCHAR", _one_of(csv_columns.CONDITIONS, {}, "condition grade")),
    "cautions": Reader("VARCHAR", _cautions),
    "currency": Reader("VARCHAR", lambda _, text: numbers.currency(text)),
    "day": Reader("DATE", _day),
    "day_or_period": Reader('STRUCT("first" DATE, "last" DATE, total VARCHAR)', _day_or_period),
    "total": Reader("VARCHAR", _total),
    "instant": Reader("STRUCT(wall TIMESTAMP, utc TIMESTAMP)", _instant, _PLAIN_INSTANT),
    "hours": Reader(
        "DOUBLE", _above_zero(csv_columns.LONGEST_UNATTENDED_HOURS * 10, "hours", durations.hours)
    ),
    "estimate_hours": Reader(
        "DOUBLE", _between(0, csv_columns.LARGEST_ESTIMATE_HOURS, "hours", durations.hours)
    ),
    "quantity": Reader("DOUBLE", _between(0, csv_columns.LARGEST_QUANTITY, "units")),
    "amount": Reader("DOUBLE", _amount),
    "per_cent": Reader("DOUBLE", lambda context, text: numbers.per_cent(context.number(text))),
    "side": Reader("DOUBLE", _above_zero(csv_columns.LARGEST_SIDE_CM, "cm", sizes.centimetres)),
    "area": Reader("DOUBLE", _above_zero(csv_columns.LARGEST_QUANTITY, "dm²", sizes.square_decimetres)),
    "yes_or_no": Reader("BOOLEAN", lambda _, text: spelling.yes_or_no(text)),
}
