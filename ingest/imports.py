"""Files in, and an account of what became of every row.

One transaction a file. Files of one call may come in any order: they are stored in the order in which one
kind may name what another brings.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from ingest import entries, estimates, kept, keyed, rejects
from ingest.checked import read_cells
from ingest.csv_files import CsvFile, Fault, RawRows, open_csv, read_raw
from ingest.entries import HeldBackAs
from ingest.errors import FileError
from ingest.history import Change, utc_now
from ingest.notation import MARK_OF_SEPARATOR
from ingest.outcome import Fate, Outcome
from ingest.readings import Context
from ingest.records import ESTIMATES, FORMS, IN_ORDER, MILESTONES, OBJECTS, PHASES, REJECT_COLUMNS, TECHNIQUES, TIME_ENTRIES, Form, form_of, header_name
from ingest.rejects import Rejects
from ingest.settings import write_settings
from ingest.store import Store

Progress = Callable[[str], None]

REMARK_COLUMNS = ("line", "column", "value", "reason", "mend")


@dataclass(slots=True, kw_only=True)
class Report:
    """What became of one file.

    Attributes
    ----------
    kind : which form it was.
    rows : rows with anything in them, and lines that are no rows.
    outcome : how many of them were stored, corrected, held already, held back, rejected.
    problems, warnings : frames with `line`, `column`, `value`, `reason`, `mend`; a row may have several.
    unknown_columns : columns of the file that were not read.
    held_back : frame of rows held back: `line`, `what` (object, technique, person, day), `held_hours` of the entry it resembles, `hours`.
    rejected : the rejected rows, if there are any.
    rejects : where they were written, or None.
    """

    file: str
    kind: str
    rows: int
    outcome: Outcome
    problems: pd.DataFrame
    warnings: pd.DataFrame
    unknown_columns: list[str] = field(default_factory=list)
    new_people: list[str] = field(default_factory=list)
    rejected: Rejects | None = None
    rejects: Path | None = None
    held_back: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["line", "what", "held_hours", "hours"]))

    @property
    def complete(self) -> bool:
        """Nothing was rejected or held back."""
        return not (self.outcome.rejected or self.outcome.held_back)


@dataclass(frozen=True, slots=True)
class Told:
    """A file whose kind is told."""

    file: CsvFile
    form: Form


def import_files(
    store: Store,
    paths: Sequence[Path],
    *,
    held_back_as: HeldBackAs = "ask",
    by: str | None = None,
    now: datetime | None = None,
    write_rejects: bool = True,
    settings: Mapping[str, str] | None = None,
    progress: Progress = lambda _: None,
    done: Callable[[Report], None] = lambda _: None,
) -> list[Report]:
    """Store CSV files; raises `FileError` before anything is stored if a file is none of the forms.

    Parameters
    ----------
    store : where to.
    paths : the files, in any order.
    held_back_as : what to do with rows that may correct a held entry.
    by : who brings them in, for the history.
    now : the present instant in UTC; the machine's clock where not given.
    write_rejects : write `NAME.rejects.csv` beside each file that has rejected rows.
    settings : said with the files, and kept with the first of them.
    progress : called with a few words as the work goes on. done : called with what became of each file once it is stored, whatever comes of the next.
    """
    now = now or utc_now()
    reports: list[Report] = []
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        for told in look_over(paths, Path(folder)):
            with store.writing() as con:
                if settings and not reports:
                    write_settings(con, settings)
                report = bring_in_file(con, told, _fate(con, told, by, now), held_back_as, progress)
                if write_rejects and report.rejected:
                    report.rejects = rejects.write(report.rejected, told.file.path)
            reports.append(report)
            done(report)
    return reports


def check_files(
    store: Store, paths: Sequence[Path], *, settings: Mapping[str, str] | None = None, now: datetime | None = None, progress: Progress = lambda _: None
) -> list[Report]:
    """The same without storing; the files of one call see each other, and `settings` hold for this call only."""
    now = now or utc_now()
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        files = look_over(paths, Path(folder))
        with store.writing(keep=False) as con:
            if settings:
                write_settings(con, settings)
            return [bring_in_file(con, told, _fate(con, told, None, now), "ask", progress) for told in files]


def _fate(con: duckdb.DuckDBPyConnection, told: Told, by: str | None, now: datetime) -> Fate:
    name = told.file.path.name
    return Fate(con, file=name, change=Change(by=by, reason=f"brought in with {name}", at=now))


def look_over(paths: Iterable[Path], folder: Path) -> list[Told]:
    """Look all files over before any is stored, and put them into the order of `IN_ORDER`."""
    told = []
    for path in paths:
        file = open_csv(path, folder)
        names = [header_name(text) for text in file.header]
        repeated = next((name for name in names if name and names.count(name) > 1), None)
        if repeated:
            raise FileError(f'{path.name} has the column "{repeated}" more than once', "Keep one of them.")
        try:
            told.append(Told(file, form_of(name for name in names if name not in REJECT_COLUMNS)))
        except FileError as error:
            raise FileError(f"{path.name} {error.what}", error.mend) from error
    order = {form.kind: number for number, form in enumerate(IN_ORDER)}
    return sorted(told, key=lambda one: order[one.form.kind])


def bring_in_file(con: duckdb.DuckDBPyConnection, told: Told, fate: Fate, held_back_as: HeldBackAs, progress: Progress = lambda _: None) -> Report:
    """Check and store one file inside the caller's transaction."""
    file, form = told.file, told.form
    name = file.path.name
    progress(f"{name}: reading {form.kind}")
    raw = read_raw(con, file, typed=fate.typed)
    con.register("row_lines", pd.DataFrame({"row": np.arange(len(raw.lines)), "line": raw.lines}))
    progress(f"{name}: checking {len(raw.lines):,} rows")
    people: set[str] = set()
    if form in FORMS:
        context, people = Context.of(con, decimal_mark="" if fate.typed else MARK_OF_SEPARATOR.get(file.separator, "")), _people(con)
        read_cells(con, form, file.names, context, has_nul=file.has_nul)
        outcome = _bring_in(con, form, context, fate, held_back_as, raw)
    else:
        outcome = kept.bring_in(con, form, file.names, fate)
    outcome = replace(outcome, rejected=outcome.rejected + len(raw.faults))
    progress(f"{name}: done")
    report = Report(
        file=name,
        kind=form.kind,
        rows=outcome.rows,
        outcome=outcome,
        problems=_remarks(con, "problems", form, raw, raw.faults),
        warnings=_remarks(con, "warnings", form, raw, []),
        unknown_columns=[text for text, known in zip(file.header, file.names, strict=True) if known not in (*form.names, *REJECT_COLUMNS)],
        new_people=sorted(_people(con) - people) if form in FORMS else [],
    )
    if outcome.held_back:
        report.held_back = con.execute(_HELD_BACK).df()
    if not fate.typed:
        con.execute(
            "INSERT INTO imports SELECT coalesce(max(number), 0) + 1, ?, ?, ?, ?, ?, ?, ?, ? FROM imports",
            [fate.now, name, form.kind, outcome.stored, outcome.corrected, outcome.already_held, outcome.held_back, outcome.rejected],
        )
    if outcome.rejected and not fate.typed:
        report.rejected = rejects.rejects_of(con, raw, report.problems)
    return report


# Read after the rows are stored: an entry that another row of the file corrected is told with the hours that it has now.
_HELD_BACK = """
SELECT l.line, concat_ws(', ', r.object, r.technique, r.person, r.day::DATE::VARCHAR) AS what, e.hours AS held_hours, r.hours
FROM doubtful AS d JOIN resolved AS r USING ("row") JOIN row_lines AS l USING ("row") JOIN spells AS e ON e.entry = d.resembles
WHERE d."row" IN (SELECT "row" FROM fate WHERE verdict = 'held back') ORDER BY l.line
"""


def _people(con: duckdb.DuckDBPyConnection) -> set[str]:
    return {row[0] for row in con.execute("SELECT person FROM people").fetchall()}


def _bring_in(con: duckdb.DuckDBPyConnection, form: Form, context: Context, fate: Fate, held_back_as: HeldBackAs, raw: RawRows) -> Outcome:
    match form.kind:
        case PHASES.kind:
            return keyed.bring_in_phases(con, fate)
        case TECHNIQUES.kind:
            return keyed.bring_in_techniques(con, fate)
        case OBJECTS.kind:
            return keyed.bring_in_objects(con, fate)
        case ESTIMATES.kind:
            return estimates.bring_in(con, context, fate, raw)
        case MILESTONES.kind:
            return keyed.bring_in_milestones(con, fate)
        case TIME_ENTRIES.kind:
            return entries.bring_in(con, context, fate, held_back_as)
    raise AssertionError(form.kind)


def _remarks(con: duckdb.DuckDBPyConnection, table: str, form: Form, raw: RawRows, faults: list[Fault]) -> pd.DataFrame:
    """Problems or warnings in the order of the file, each with its line."""
    if not con.execute(f"SELECT EXISTS (FROM {table})").fetchall()[0][0]:
        return _of_faults(faults)
    shown = " ".join(f"WHEN '{name}' THEN raw.c{number}" for number, name in enumerate(raw.file.names) if name in form.names)
    found = con.execute(
        f"""SELECT l.line, t.column_name AS "column", CASE t.column_name {shown} END AS value, t.reason, t.mend
        FROM {table} AS t JOIN row_lines AS l USING ("row") JOIN raw USING ("row") ORDER BY l.line, list_position(?::VARCHAR[], t.column_name), t.reason""",
        [form.names],
    ).df()
    if faults:
        found = pd.concat([found, _of_faults(faults)])
    return found.sort_values("line", kind="stable", ignore_index=True)


def _of_faults(faults: list[Fault]) -> pd.DataFrame:
    """The lines that are no rows, as problems."""
    lines = [(fault.line, "", fault.text[:80], fault.reason, fault.mend) for fault in faults]
    return pd.DataFrame(lines, columns=list(REMARK_COLUMNS)).sort_values("line", kind="stable", ignore_index=True)
