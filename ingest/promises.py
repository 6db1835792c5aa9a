"""Quotes that become versions of an estimate, with what they stood on; and versions that came to nothing.

A saved quote is never reckoned anew from the record: what it stood on is kept with it, so that it says the same whatever is logged, corrected or renamed later.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

import duckdb

from ingest import quotes, unsaved
from ingest.errors import BenchHoursError
from ingest.estimates import next_version
from ingest.history import Change, keep_earlier
from ingest.notation import day_in_words, written
from ingest.quotes import Quote
from ingest.records import ESTIMATES
from ingest.settings import read_settings
from ingest.store import Store
from ingest.typed import put_rows

OUTCOMES = ("declined", "withdrawn")
_FIGURES = ("p10", "p50", "p80", "p90", "promised_hours")
_RATE = ("rate", "rate_low", "rate_high", "unit", "pinned")


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisedLine:
    """One line of an option.

    Attributes
    ----------
    person, quantity, unattended_hours, note : as they stand in the estimate. hours : likewise, in tenths that sum to the promise but for what may turn up (of what is done as it was worked); the others as in `quoted_lines`.
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
    """What one option promises; see `quoted_options`. `stays`: lines of the estimate that stay as they were approved, and of which nothing was quoted: columns of its form."""

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
    """What is promised of one work; see `quotes`. `written`: the quote as it was typed, of this work alone; `letter`: what `dashboard.letter.blocks.Letter.said` gave."""

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


def save(store: Store, promised: Sequence[Promised], number: int | None, reason: str, change: Change) -> list[tuple[str, int]]:
    """Store what is promised as the next version of each estimate, and let the quote go that was written; all or nothing.

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
        for one in promised:
            version = next_version(con, one.object)
            _check_forecast(con, one, version, change)
            put_rows(con, ESTIMATES, _rows(one, version, reason), change)
            saved.append((one.object, version))
        if number is not None:  # under the lock of writers, so that two windows do not save it twice
            if unsaved.read(con, f"{unsaved.QUOTE}{number}") is None:
                raise BenchHoursError(f"quote {number} is not being written any more", "It was saved or thrown away in another window: see Estimate.")
            con.execute("DELETE FROM unsaved WHERE what = ?", [f"{unsaved.QUOTE}{number}"])
        for one, (_, version) in zip(promised, saved, strict=True):
            _keep(con, one, version, number, change)
    return saved


def _check_forecast(con: duckdb.DuckDBPyConnection, one: Promised, version: int, change: Change) -> None:
    """Raise where what is promised could not become this version: nothing in it is promised, or something that is later than its day is known already."""
    last, ended = con.execute(
        "SELECT max(v.made_on), (SELECT finished_on FROM objects WHERE object = ?) FROM estimate_versions AS v WHERE object = ?", [one.object, one.object]
    ).fetchall()[0]
    today, logged = con.execute(
        "SELECT timezone(?, timezone('UTC', ?::TIMESTAMP))::DATE, (SELECT max(s.day) FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE l.object = ?)",
        [read_settings(con).zone, change.at, one.object],
    ).fetchall()[0]
    if one.as_of > today:
        raise BenchHoursError(f"{day_in_words(one.as_of)} lies in the future", "Save it as of today.")
    if logged and logged > one.as_of:
        raise BenchHoursError(
            f"{one.object} was worked on until {day_in_words(logged)}, so what is said as of {day_in_words(one.as_of)} would be no forecast",
            "Quote it as of a later day.",
        )
    if last and last > one.as_of:
        raise BenchHoursError(
            f"version {version - 1} of {one.object} was made on {day_in_words(last)}, after {day_in_words(one.as_of)}", "Quote it as of a later day."
        )
    if ended and ended <= one.as_of:
        raise BenchHoursError(f"{one.object} was finished on {day_in_words(ended)}", "Take that back under Works if there is more to do, or quote a new work.")
    if not any(option.lines for option in one.options):
        raise BenchHoursError(f"{one.object} has no line that the price is for", "Write one on the sheet.")


def _rows(one: Promised, version: int, reason: str) -> list[dict[str, str]]:
    """The version as rows of its form: of options each with all of its lines, as a line has other hours in each."""
    several = len(one.options) > 1
    price = one.options[0].price if not several else None  # of options each has its own; the one agreed is noted with the approval
    currency = one.options[0].currency
    head = {"object": one.object, "version": f"{version}", "made_on": f"{one.as_of}", "reason": reason}
    head |= {"price": f"{price!r}", "currency": currency} if price is not None else {}
    head |= {
        "tax_in_price": "yes",
        "tax_per_cent": (one.options[0].stood_on.get("money") or {}).get("tax") or "0",
    }  # of all options, and of the one that is agreed
    rows = []
    for option in one.options:
        for line in option.lines:
            cells = {
                "phase": line.phase, "technique": line.technique, "part": line.part, "person": line.person, "quantity": _number(line.quantity), "hours": _number(line.hours),
                "unattended_hours": _number(line.unattended_hours), "option": option.option if several else "", "note": line.note,
            }  # fmt: skip
            rows.append({**head, **{name: cell for name, cell in cells.items() if cell or name in ("phase", "technique")}})
        for stays in option.stays:
            cells = {name: value if isinstance(value, str) else _number(value) for name, value in stays.items()} | {"option": option.option if several else ""}
            rows.append({**head, **{name: cell for name, cell in cells.items() if cell or name in ("phase", "technique")}})
    return rows


def _number(value: float | None) -> str:
    return "" if value is None else written(value)


def _keep(con: duckdb.DuckDBPyConnection, one: Promised, version: int, number: int | None, change: Change) -> None:
    con.execute(
        "INSERT INTO quotes VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            one.object,
            version,
            number,
            one.as_of,
            change.at,
            change.by,
            one.program,
            one.works,
            one.lines,
            one.first_stage,
            _json(one.written),
            _json(one.letter),
        ],
    )
    several = len(one.options) > 1
    for option in one.options:
        name = option.option if several else ""
        con.execute(
            "INSERT INTO quoted_options VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [one.object, version, name, option.confidence, option.promised_hours, option.p10, option.p50, option.p80, option.p90, option.price, option.currency, _json(option.stood_on)],
        )  # fmt: skip
        con.executemany(
            """INSERT INTO quoted_lines SELECT ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,
                EXISTS (SELECT 1 FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE l.object = ? AND l.phase = ? AND l.technique = ? AND l.part = ?
                    AND s.charge <> 'own_cost'), ?, ?, ?, ?, ?, ?""",
            [
                [
                    one.object, version, name, place, line.phase, line.technique, line.part, *(getattr(line, figure) for figure in _FIGURES), line.own_hours, line.worked_hours,
                    one.object, line.phase, line.technique, line.part,
                    *(getattr(line, name) for name in _RATE), _json(line.works),
                ]
                for place, line in enumerate(option.lines, 1)
            ],
        )  # fmt: skip


def _json(said: object) -> str | None:
    return None if said is None else json.dumps(said, ensure_ascii=False)


def read(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> Saved | None:
    """The quote that a version was saved from; None where it was written by hand."""
    found = con.execute("SELECT * FROM quotes WHERE object = ? AND version = ?", [known_object, version]).fetchall()
    if not found:
        return None
    *head, written_quote, letter = found[0]
    rows = con.execute(
        "SELECT * EXCLUDE (object, version) FROM quoted_options WHERE object = ? AND version = ? ORDER BY option", [known_object, version]
    ).fetchall()
    options = [
        PromisedOption(
            option=option, confidence=confidence, promised_hours=promised, p10=p10, p50=p50, p80=p80, p90=p90, price=price, currency=currency, stood_on=json.loads(stood_on),
        )
        for option, confidence, promised, p10, p50, p80, p90, price, currency, stood_on in rows
    ]  # fmt: skip
    names = ("object", "version", "number", "as_of", "saved_at", "saved_by", "program", "works", "lines", "first_stage")
    return Saved(
        **dict(zip(names, head, strict=True)), written=written_quote and json.loads(written_quote), letter=letter and json.loads(letter), options=options
    )


def of_number(con: duckdb.DuckDBPyConnection, number: int) -> list[tuple[str, int]]:
    """The versions that a quote was saved as, by its number."""
    return con.execute("SELECT object, version FROM quotes WHERE number = ? ORDER BY object, version", [number]).fetchall()


def written_again(saved: Saved) -> Quote | None:
    """The quote as it was typed, to be gone on with; None where it did not come along (it is private)."""
    return quotes.of_said(saved.written) if saved.written else None


# --- versions that came to nothing


def end(con: duckdb.DuckDBPyConnection, known_object: str, version: int, outcome: str, on: date, today: date, change: Change) -> None:
    """Note that the owner declined a version, or the studio withdrew it; raises where that cannot be. It stays, is counted, and is no yardstick and no figure from then on."""
    if outcome not in OUTCOMES:
        raise BenchHoursError(f'"{outcome}" is no outcome', f"Say {' or '.join(OUTCOMES)}.")
    found = con.execute("SELECT made_on, approved_on FROM estimate_versions WHERE object = ? AND version = ?", [known_object, version]).fetchall()
    if not found:
        raise BenchHoursError(f"{known_object} has no version {version}", "Load the page again.")
    made_on, approved_on = found[0]
    if approved_on:
        raise BenchHoursError(
            f"version {version} was approved on {day_in_words(approved_on)}", "Take the approval back first, or make the next version for a change."
        )
    if ended := _ended(con, known_object, version):
        raise BenchHoursError(f"version {version} was {ended[0]} on {day_in_words(ended[1])} already", "Load the page again.")
    if on < made_on:
        raise BenchHoursError(f"version {version} was made on {day_in_words(made_on)}, after that day", "Give the day of the word.")
    if on > today:
        raise BenchHoursError(f"{day_in_words(on)} lies in the future", "Note it when it has been said.")
    con.execute("INSERT INTO ended_versions VALUES (?, ?, ?, ?, ?)", [known_object, version, outcome, on, change.reason or None])


def take_back_end(con: duckdb.DuckDBPyConnection, known_object: str, version: int, change: Change) -> None:
    """The version stands after all."""
    if not _ended(con, known_object, version):
        raise BenchHoursError(f"version {version} of {known_object} stands", "Load the page again.")
    keep_earlier(
        con, "ended_versions", replace(change, event="taken back"), "SELECT object || ' version ' || version AS key, to_json(e) AS earlier, NULL AS content FROM ended_versions AS e WHERE object = ? AND version = ?",
        [known_object, version],
    )  # fmt: skip
    con.execute("DELETE FROM ended_versions WHERE object = ? AND version = ?", [known_object, version])


def _ended(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> tuple[str, date] | None:
    rows: list[tuple[str, date]] = con.execute(
        "SELECT outcome, ended_on FROM ended_versions WHERE object = ? AND version = ?", [known_object, version]
    ).fetchall()
    return rows[0] if rows else None
