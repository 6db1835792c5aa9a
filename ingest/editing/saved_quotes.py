"""Quotes that become versions of an estimate, with what they stood on; and versions that came to nothing.

A saved quote is never reckoned anew from the record: what it stood on is kept with it, so that it says the
same whatever is logged, corrected or renamed later.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from ingest import autosave
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError
from ingest.importing.estimate_versions import next_version
from ingest.importing.form_rows import put_rows
from ingest.schema.csv_columns import ESTIMATES
from ingest.sql import Connection, statement
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.tables.audit_log import Change
from ingest.values.calendar_days import day_in_words
from ingest.values.numbers import written

_LINE_FIGURES = ("p10", "p50", "p80", "p90", "promised_hours", "own_hours", "worked_hours")
_OPTION_FIGURES = ("confidence", "promised_hours", "p10", "p50", "p80", "p90", "price", "currency")
_RATE = ("rate", "rate_low", "rate_high", "unit", "pinned")


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisedLine:
    """One line of an option.

    Attributes
    ----------
    person, quantity, unattended_hours, note : as they stand in the estimate.
    hours : likewise, in tenths that sum to the promise but for what may turn up (of what is done as it was
        worked); the others as in `quoted_lines`.
    """

    phase: str
    technique: str
    part: str
    person: str
    quantity: float | None
    hours: float | None
    unattended_hours: float | None
    note: str
    p10: float
    p50: float
    p80: float
    p90: float
    promised_hours: float
    own_hours: float | None
    worked_hours: float
    rate: float | None
    rate_low: float | None
    rate_high: float | None
    unit: str | None
    pinned: bool
    works: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisedOption:
    """What one option promises; see `quoted_options`. `stays`: lines of the estimate that stay as they were
    approved, and of which nothing was quoted: columns of its form.
    """

    option: str
    confidence: int
    promised_hours: float
    p10: float
    p50: float
    p80: float
    p90: float
    price: float | None
    currency: str
    stood_on: dict[str, Any]
    lines: list[PromisedLine] = field(default_factory=list)
    stays: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Promised:
    """What is promised of one work; see `quotes`. `written`: the quote as it was typed, of this work alone;
    `letter`: what `dashboard.documents.blocks.Letter.said` gave.
    """

    object: str
    as_of: date
    program: str
    works: int
    lines: int
    first_stage: bool
    written: dict[str, Any]
    letter: dict[str, Any] | None
    options: list[PromisedOption]


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """A saved quote as it is held; `options` without their lines, which `quoted_lines` has."""

    object: str
    version: int
    number: int | None
    as_of: date
    saved_at: datetime
    saved_by: str | None
    program: str
    works: int
    lines: int
    first_stage: bool
    written: dict[str, Any] | None
    letter: dict[str, Any] | None
    options: list[PromisedOption]


def save(
    store: Store, promised: Sequence[Promised], number: int | None, reason: str, change: Change
) -> list[tuple[str, int]]:
    """Store what is promised as the next version of each estimate, and let the quote go that was written; all
    or nothing.

    Parameters
    ----------
    number : under which the quote was written; None where it was not.
    reason : why there is a version after the first: what was found.

    Returns
    -------
    Each work with the number of its version.
    """
    saved = []
    with store.writing() as con:
        for item in promised:
            version = next_version(con, item.object)
            _check_forecast(con, item, version, change)
            put_rows(con, ESTIMATES, _rows(item, version, reason), change)
            saved.append((item.object, version))
        if number is not None:  # under the lock of writers, so that two windows do not save it twice
            if autosave.read(con, f"{autosave.QUOTE}{number}") is None:
                raise BenchHoursError(
                    f"quote {number} is not being written any more",
                    "It was saved or thrown away in another window: see Estimate.",
                )
            con.execute("DELETE FROM unsaved WHERE what = ?", [f"{autosave.QUOTE}{number}"])
        for item, (_, version) in zip(promised, saved, strict=True):
            _store(con, item, version, number, change)
    return saved


def _check_forecast(con: Connection, promised: Promised, version: int, change: Change) -> None:
    """Raise where what is promised could not become this version: nothing in it is promised, or something
    that is later than its day is known already.
    """
    last, ended = con.execute(
        """SELECT max(v.made_on), (SELECT finished_on FROM objects WHERE object = ?)
        FROM estimate_versions AS v
        WHERE object = ?""",
        [promised.object, promised.object],
    ).fetchall()[0]
    today, logged = con.execute(
        """SELECT timezone(?, timezone('UTC', ?::TIMESTAMP))::DATE,
            (SELECT max(s.day) FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE l.object = ?)""",
        [read_settings(con).zone, change.at, promised.object],
    ).fetchall()[0]
    if promised.as_of > today:
        raise BenchHoursError(f"{day_in_words(promised.as_of)} lies in the future", "Save it as of today.")
    if logged and logged > promised.as_of:
        raise BenchHoursError(
            f"{promised.object} was worked on until {day_in_words(logged)}, so what is said as of"
            f" {day_in_words(promised.as_of)} would be no forecast",
            "Quote it as of a later day.",
        )
    if last and last > promised.as_of:
        raise BenchHoursError(
            f"version {version - 1} of {promised.object} was made on {day_in_words(last)}, after"
            f" {day_in_words(promised.as_of)}",
            "Quote it as of a later day.",
        )
    if ended and ended <= promised.as_of:
        raise BenchHoursError(
            f"{promised.object} was finished on {day_in_words(ended)}",
            "Take that back under Works if there is more to do, or quote a new work.",
        )
    if not any(option.lines for option in promised.options):
        raise BenchHoursError(
            f"{promised.object} has no line that the price is for", "Write one on the sheet."
        )


def _rows(promised: Promised, version: int, reason: str) -> list[dict[str, str]]:
    """The version as rows of its form, all lines for each option, as a line's hours differ between them."""
    several = len(promised.options) > 1
    # Of several options each has its own price; the one agreed is recorded with the approval.
    price = promised.options[0].price if not several else None
    currency = promised.options[0].currency
    head = {
        "object": promised.object,
        "version": f"{version}",
        "made_on": f"{promised.as_of}",
        "reason": reason,
    }
    head |= {"price": f"{price!r}", "currency": currency} if price is not None else {}
    # of all options, and of the one that is agreed
    head |= {
        "tax_in_price": "yes",
        "tax_per_cent": (promised.options[0].stood_on.get("money") or {}).get("tax") or "0",
    }
    rows = []
    for option in promised.options:
        lines = [
            {name: getattr(line, name) for name in ("phase", "technique", "part", "person")}
            | {name: _number(getattr(line, name)) for name in ("quantity", "hours", "unattended_hours")}
            | {"note": line.note}
            for line in option.lines
        ]
        lines += [
            {name: value if isinstance(value, str) else _number(value) for name, value in stays.items()}
            for stays in option.stays
        ]
        for cells in lines:
            cells["option"] = option.option if several else ""
            rows.append(
                head | {name: cell for name, cell in cells.items() if cell or name in ("phase", "technique")}
            )
    return rows


def _number(value: float | None) -> str:
    return "" if value is None else written(value)


def _insert(con: Connection, table: str, values: Sequence[object]) -> None:
    con.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values))})", values)


def _store(con: Connection, promised: Promised, version: int, number: int | None, change: Change) -> None:
    """Store the quote behind a version: its head, its options and their lines."""
    key = [promised.object, version]
    counts = [promised.program, promised.works, promised.lines, promised.first_stage]
    texts = [_json(promised.written), _json(promised.letter)]
    _insert(con, "quotes", [*key, number, promised.as_of, change.at, change.by, *counts, *texts])
    several = len(promised.options) > 1
    for option in promised.options:
        name = option.option if several else ""
        figures = [getattr(option, figure) for figure in _OPTION_FIGURES]
        _insert(con, "quoted_options", [*key, name, *figures, _json(option.stood_on)])
        con.executemany(
            statement("ingest.editing", "insert_quoted_line"),
            [
                [
                    *(promised.object, version, name, place, line.phase, line.technique, line.part),
                    *(getattr(line, figure) for figure in _LINE_FIGURES),
                    *(promised.object, line.phase, line.technique, line.part),
                    *(getattr(line, name) for name in _RATE),
                    _json(line.works),
                ]
                for place, line in enumerate(option.lines, 1)
            ],
        )


def _json(value: object) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False)


def read(con: Connection, known_object: str, version: int) -> Saved | None:
    """The quote that a version was saved from; None where it was written by hand."""
    quotes = con.execute(
        "SELECT * FROM quotes WHERE object = ? AND version = ?", [known_object, version]
    ).fetchall()
    if not quotes:
        return None
    *head, written_quote, letter = quotes[0]
    rows = con.execute(
        """SELECT * EXCLUDE (object, version) FROM quoted_options
        WHERE object = ? AND version = ? ORDER BY option""",
        [known_object, version],
    ).fetchall()
    options = [
        PromisedOption(
            option=option, **dict(zip(_OPTION_FIGURES, figures, strict=True)), stood_on=json.loads(stood_on)
        )
        for option, *figures, stood_on in rows
    ]
    names = (
        *("object", "version", "number", "as_of", "saved_at", "saved_by"),
        *("program", "works", "lines", "first_stage"),
    )
    return Saved(
        **dict(zip(names, head, strict=True)),
        written=written_quote and json.loads(written_quote),
        letter=letter and json.loads(letter),
        options=options,
    )


def of_number(con: Connection, number: int) -> list[tuple[str, int]]:
    """The versions that a quote was saved as, by its number."""
    return con.execute(
        "SELECT object, version FROM quotes WHERE number = ? ORDER BY object, version", [number]
    ).fetchall()


def written_again(saved: Saved) -> Quote | None:
    """The quote as it was typed, to be gone on with; None where it did not come along (it is private)."""
    return quote_drafts.from_json(saved.written) if saved.written else None


# --- versions that came to nothing
