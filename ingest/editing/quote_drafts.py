"""Quotes being written: everything typed is kept as it is left, under a number, among what is not saved yet;
and how it reads.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from ingest import autosave
from ingest.autosave import QUOTE
from ingest.editing.estimate_drafts import LINE_COLUMNS, fault_sentences, is_blank
from ingest.errors import FileError
from ingest.faults import sentence
from ingest.importing.cell_readers import READERS, Context
from ingest.importing.cell_values import read_cells
from ingest.importing.check import read_remarks
from ingest.importing.csv_file import open_csv
from ingest.importing.estimate_versions import next_version
from ingest.importing.estimate_warnings import LINES_SUMMED
from ingest.importing.estimates import NEITHER_HOURS_NOR_QUANTITY, VERSION_HAS_FAULT
from ingest.importing.form_rows import check_typed, own_faults
from ingest.importing.rows import rows_of_file, rows_typed
from ingest.schema.csv_columns import ESTIMATES, OBJECTS, header_name, not_misspelt
from ingest.sql import Connection, statement
from ingest.store import Store
from ingest.values.line_names import line_names
from ingest.values.numbers import of_a_file
from ingest.values.spelling import folded

MARKS = ("incident", "earlier damage", "agreed extra")
COST_COLUMNS = ("what", "amount", "first_stage")
_LAST_NUMBER = "number of the last quote"
_NOBODYS_CODE = "the new work"
DESCRIBED = tuple(
    column.name
    for column in OBJECTS.columns
    if column.name
    not in (
        *("object", "received_on", "due_on", "finished_on", "returned_from", "commission", "note"),
        "remembered",
    )
)
_FILE_COLUMNS = (*LINE_COLUMNS, "unit", "wording")
_NUMBERS = tuple(column.name for column in ESTIMATES.columns if READERS[column.reading].sql_type == "DOUBLE")


@dataclass(slots=True, kw_only=True)
class QuotedWork:
    """One work of a quote, as it is typed.

    Attributes
    ----------
    object : code of a work that is held, or empty: then it is `described`, columns of the objects form to
        text.
    identified : for the letter, beyond what is held: `medium`, `marks`, `condition`.
    lines : `LINE_COLUMNS`, `mark` and `wording` (as the letter says it) to text;
    costs : outside costs and materials, `COST_COLUMNS` to text.
    left_out : technique that may turn up, to the reason why it will not.
    """

    object: str = ""
    described: dict[str, str] = field(default_factory=dict)
    identified: dict[str, str] = field(default_factory=dict)
    lines: list[dict[str, str]] = field(default_factory=list)
    costs: list[dict[str, str]] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)

    @property
    def display_name(self) -> str:
        """Its code, its title, or "the new work"."""
        return self.object or self.described.get("title", "") or _NOBODYS_CODE

    @property
    def filled(self) -> dict[int, dict[str, str]]:
        """The lines that are not blank, by their number on the sheet."""
        return {number: line for number, line in enumerate(self.lines, 1) if not is_blank(line)}


@dataclass(slots=True, kw_only=True)
class Quote:
    """A quote being written.

    Attributes
    ----------
    works : those that it is about; they share a letter, travel and a total.
    terms : of the price, as text: `confidence`, `rate`, `currency`, `minimum`, `ceiling`, `tax`, `payments`,
        `travel_hours`, `travel_cost`, `first_stage`, `begin_on`, `revision` (of a work under way, `whole`:
        all of it is priced anew; else what was approved stays and what was found is added).
    letter : `form`, `addressee`, `made_on`, `opening`, `closing`, `dots` and clauses of its own, as text.
    number : under which it is kept; None: not yet.
    kept_at, kept_by : when, in UTC, and from which visit.
    """

    works: list[QuotedWork] = field(default_factory=list)
    terms: dict[str, str] = field(default_factory=dict)
    letter: dict[str, str] = field(default_factory=dict)
    number: int | None = None
    kept_at: datetime | None = None
    kept_by: str = ""

    def to_json(self) -> dict[str, Any]:
        """As JSON says it."""
        return {"works": [asdict(work) for work in self.works], "terms": self.terms, "letter": self.letter}


def read(con: Connection, number: int) -> Quote | None:
    """A quote by its number, if it is kept."""
    saved = autosave.read(con, f"{QUOTE}{number}")
    return None if saved is None else _of(saved, number)


def read_all(con: Connection) -> list[Quote]:
    """Every quote being written, the latest begun first."""
    saved = autosave.read_all(con, QUOTE)
    numbers = sorted(
        (int(number) for name in saved if (number := name.removeprefix(QUOTE)).isdecimal()), reverse=True
    )
    return [_of(saved[f"{QUOTE}{number}"], number) for number in numbers]


def of_work(con: Connection, known_object: str) -> Quote | None:
    """The latest quote being written that has a work."""
    return next(
        (quote for quote in read_all(con) if any(work.object == known_object for work in quote.works)), None
    )


def _of(saved: autosave.Autosaved, number: int) -> Quote:
    quote = from_json(saved.value if isinstance(saved.value, dict) else {})
    quote.number, quote.kept_at, quote.kept_by = number, saved.at, saved.by
    return quote


def from_json(content: Mapping[str, Any]) -> Quote:
    """A quote from what `Quote.said` gave."""
    names = {item.name for item in fields(QuotedWork)}
    works = [
        QuotedWork(**{name: value for name, value in work.items() if name in names})
        for work in content.get("works") or []
        if isinstance(work, dict)
    ]
    return Quote(
        works=works or [QuotedWork()],
        terms=dict(content.get("terms") or {}),
        letter=dict(content.get("letter") or {}),
    )


def keep(store: Store, quote: Quote, by: str) -> Quote:
    """Store a quote; a new one gets the next number."""
    if quote.number is None:
        # under the lock of writers, so that two windows that begin at once do not get the same one; a number
        # that stood on a letter never comes again
        with store.writing(counts=False) as con:
            used = autosave.read(con, _LAST_NUMBER)
            names = con.execute("SELECT what FROM unsaved WHERE starts_with(what, ?)", [QUOTE]).fetchall()
            taken = [int(tail) for (name,) in names if (tail := name.removeprefix(QUOTE)).isdecimal()]
            quote.number = max([*taken, used.value if used and isinstance(used.value, int) else 0]) + 1
            autosave.put(con, f"{QUOTE}{quote.number}", quote.to_json(), by)
            autosave.put(con, _LAST_NUMBER, quote.number, by)
        saved = autosave.read(store.cursor(), f"{QUOTE}{quote.number}")
        assert saved is not None
    else:
        saved = autosave.keep(store, f"{QUOTE}{quote.number}", quote.to_json(), by)
    quote.kept_at, quote.kept_by = saved.at, by
    return quote


def throw_away(store: Store, number: int) -> None:
    """Forget a quote that is being written."""
    autosave.forget(store, f"{QUOTE}{number}")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadWork:
    """A work of a quote, read.

    Attributes
    ----------
    problems, notes : sentences about faults that keep a line out, and about others.
    about : sentences about faults of the description.
    object_row : columns of the objects form, None where unknown; `area_dm2` as stored or by shape and size.
    lines : frame of the lines without a fault, equal ones summed, in the order of work: `number` (on the
        sheet, of equal ones the first), `phase`, `technique`, `part`, `option`, `person`, `quantity`, `unit`
        (of the technique), `condition` (that bears on it), `hours`, `low_hours`, `high_hours` (null where not
        given), `unattended_hours` (elapsed), `mark`, `wording`, `note`.
    left_aside : how many lines of the sheet have a fault.
    """

    problems: list[str]
    notes: list[str]
    about: list[str]
    object_row: dict[str, Any]
    lines: pd.DataFrame
    left_aside: int


_READ_LINES = statement("ingest.editing", "quote_lines")


def read_over(store: Store, work: QuotedWork, on: date, labels: Mapping[str, str]) -> ReadWork:
    """Read a work of a quote as an estimate of it would be read, and store nothing.

    Parameters
    ----------
    on : the day on which it is quoted.
    labels : the page's words for columns.
    """
    with store.reading() as con:
        context = Context.of(con)
        code, stored, about, notes = _described(con, work, context, labels)
        head = {
            "phase": "",
            "technique": "",
            "object": code,
            "version": f"{next_version(con, code)}",
            "made_on": f"{on}",
        }
        rows = [
            head | {name: line[name] for name in (*LINE_COLUMNS, "unit") if line.get(name)}
            for line in work.filled.values()
        ]
        if not rows:
            return ReadWork(
                problems=[], notes=notes, about=about, object_row=stored, lines=_no_lines(), left_aside=0
            )
        checked = check_typed(con, ESTIMATES, rows, context, list(work.filled))
        # of an estimate each line says something; of a quote the record does, of what is named
        named = [number for number, line in work.filled.items() if line.get("phase") or line.get("technique")]
        told_by_record = (checked.faults["code"] == NEITHER_HOURS_NOR_QUANTITY) & checked.faults["line"].isin(
            named
        )
        own = own_faults(checked.faults[~told_by_record])
        own = own[own["code"] != VERSION_HAS_FAULT]
        lines = con.execute(_READ_LINES, [[int(line) for line in own["line"]]]).df()
    numbers = lines.pop("every").tolist()
    for name in ("mark", "wording"):  # of equal lines the first that says it
        lines[name] = pd.Series(
            [
                next((text for number in every if (text := work.lines[number - 1].get(name))), "")
                for every in numbers
            ],
            dtype=str,
        )
    # what an estimate says of equal lines it says only where it is stored, and a quote with a fault elsewhere
    # is not
    notes += fault_sentences(checked.doubts[checked.doubts["code"] != LINES_SUMMED], labels)
    for alike, name in zip(numbers, line_names(lines[["phase", "technique"]]), strict=True):
        if len(alike) > 1:
            notes.append(
                f"Lines {' and '.join(map(str, alike))}, {name}: are the same, and the hours are summed."
                " Give each its own part if they are different work."
            )
    left_aside = len(work.filled) - sum(map(len, numbers))
    return ReadWork(
        problems=fault_sentences(own, labels),
        notes=notes,
        about=about,
        object_row=stored,
        lines=lines,
        left_aside=left_aside,
    )


def _described(
    con: Connection, work: QuotedWork, context: Context, labels: Mapping[str, str]
) -> tuple[str, dict[str, Any], list[str], list[str]]:
    """The code by which the work is read, what is known of it, and what must be said of its description: of
    parts that are left out, and of parts that are not.

    A work that is not held yet gets a code that only `context` knows.
    """
    if work.object:
        return work.object, _read_row(con, "objects", work.object), [], []
    code = _NOBODYS_CODE
    while folded(code) in context.objects:
        code += "'"
    context.objects[folded(code)] = code
    rows = rows_typed(
        con,
        OBJECTS,
        [
            {
                "object": code,
                **{name: text for name, text in work.described.items() if name in DESCRIBED and text.strip()},
            }
        ],
    )
    read_cells(con, OBJECTS, rows, context)
    faults, doubts = read_remarks(con, "faults", OBJECTS, rows), read_remarks(con, "warnings", OBJECTS, rows)
    return (
        code,
        _read_row(con, "checked", code),
        fault_sentences(faults, labels, of_lines=False),
        fault_sentences(doubts, labels, of_lines=False),
    )


def _read_row(con: Connection, table: str, code: str) -> dict[str, Any]:
    """The columns of the objects form, of a work in a table of such; all None where it was taken away since
    the quote was begun.
    """
    columns = ", ".join(OBJECTS.names)
    frame = con.execute(
        f"""SELECT {columns.replace("area_dm2", "area_of(area_dm2, shape, height_cm, width_cm) AS area_dm2")}
        FROM {table}
        WHERE object = ?""",
        [code],
    ).df()
    if frame.empty:
        return dict.fromkeys(OBJECTS.names)
    return {str(name): None if pd.isna(value) else value for name, value in frame.iloc[0].items()}


def _no_lines() -> pd.DataFrame:
    words = ("phase", "technique", "part", "option", "person", "unit", "condition", "mark", "wording", "note")
    figures = ("quantity", "hours", "low_hours", "high_hours", "unattended_hours")
    return pd.DataFrame(
        {"number": pd.Series(dtype="int64")}
        | {name: pd.Series(dtype=str) for name in words}
        | {name: pd.Series(dtype=float) for name in figures}
    )


def lines_of_file(store: Store, path: Path) -> tuple[list[dict[str, str]], list[str]]:
    """The lines of a file (the estimates form without work, version and day), each at the place of its line
    in the file, and sentences on what of the file is none of that.
    """
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder, store.reading() as con:
        file = open_csv(path, Path(folder))
        names = [header_name(text) for text in file.header]
        not_misspelt(ESTIMATES, set(names))
        if not {"technique", "phase", "hours"}.intersection(names):
            raise FileError(
                f'{path.name} has none of the columns "technique", "phase" and "hours"',
                "A file of lines has one of them, and as far as known part, quantity, person, option.",
            )
        rows = rows_of_file(con, file, ESTIMATES)
        places = {name: place for place, name in enumerate(names) if name in _FILE_COLUMNS}
        cells_of = con.execute(
            f'SELECT {", ".join(f"trim(c{place})" for place in places.values())} FROM cells ORDER BY "row"'
        ).fetchall()
    lines: list[dict[str, str]] = [{} for _ in range(int(max(rows.lines, default=0)))]
    for line, cells in zip(rows.lines.tolist(), cells_of, strict=True):
        lines[line - 1] = {
            name: of_a_file(cell, rows.decimal_mark) if name in _NUMBERS else cell
            for name, cell in zip(places, cells, strict=True)
            if cell
        }
    texts = [
        f"{path.name}, line {fault.line}: {'. '.join(sentence(fault.code, fault.details))}"
        for fault in rows.faults
    ]
    unknown = [
        text for name, text in zip(names, file.header, strict=True) if name and name not in _FILE_COLUMNS
    ]
    return lines, [
        *texts,
        *([f"{path.name}: no columns of a line, and left out: {', '.join(unknown)}"] if unknown else []),
    ]
