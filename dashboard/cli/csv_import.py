"""The commands `import` and `check`: CSV files and other tables brought in, or only looked at."""

from __future__ import annotations

import argparse
import functools
from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd

from dashboard.cli import options
from dashboard.cli.caller import caller, write_err, write_out
from dashboard.formatting import counted, hours
from dashboard.text.foreign_tables import place_word
from dashboard.text.rejected_rows import faults_by_row, versions_kept_out
from ingest.errors import BenchHoursError
from ingest.foreign.any_table import ENDINGS, any_table
from ingest.importing.check import Checked
from ingest.importing.files import check_files, import_files
from ingest.store import Store
from ingest.values import calendar_days

SHOWN_REMARKS = 12


def add_commands(commands: options.Commands) -> None:
    brought, checked = commands.add("import", _import, "made"), commands.add("check", _check, "memory")
    for parser in (brought, checked):
        parser.add_argument(
            "files",
            nargs="+",
            type=options.file,
            metavar="FILE",
            help="a CSV file or another table, or a folder for all in it",
        )
        order = "how this studio writes dates in numbers; import remembers it"
        options.add_choice(parser, "--day-order", ("dmy", "mdy", "ymd"), order)
        parser.add_argument(
            "--zone", help="time zone of the studio's clock, like Europe/Berlin; import remembers it"
        )
    what = "what rows are that may correct a held entry"
    options.add_choice(brought, "--held-back", ("ask", "new", "correction"), what, "ask")
    brought.add_argument("--by", metavar="PERSON", help="who brings them in, for the history of corrections")


def _import(args: argparse.Namespace, store: Store) -> int:
    """Bring in CSV files: phases, techniques, objects, estimates, time entries, milestones, or all of an
    export, in any order; and any other table (CSV, XLSX, XLS, ODS, a calendar) of which was said under Bring
    in logs what its columns mean.
    """
    files = _files(args.files)
    reports = import_files(
        store,
        files,
        held_back_as=args.held_back,
        by=args.by or caller().user,
        settings=_settings(args),
        progress=_progress(files),
        done=functools.partial(_print_report, stored=True),
        recognizer=any_table(store),
    )
    return _exit_of(reports)


def _check(args: argparse.Namespace, store: Store) -> int:
    """Check CSV files and other tables as import does, and store nothing."""
    files = _files(args.files)
    reports = check_files(
        store, files, settings=_settings(args), progress=_progress(files), recognizer=any_table(store)
    )
    for report in reports:
        _print_report(report, stored=False)
    return _exit_of(reports)


def _files(paths: Sequence[Path]) -> list[Path]:
    """The files that are meant: a folder stands for the tables in it."""
    files = [file for path in paths for file in (_tables(path) if path.is_dir() else [path])]
    if not files:
        raise BenchHoursError(f"there is no table in {paths[0]}", "Name files, or another folder.")
    return files


def _tables(folder: Path) -> list[Path]:
    """The tables in a folder, but for rejected rows of others and what a program keeps beside an open one."""
    return sorted(
        file
        for file in folder.iterdir()
        if file.suffix.casefold() in ENDINGS
        and file.suffix.casefold() != ".txt"  # more often words about the tables
        and ".rejects" not in file.stem
        and not file.name.startswith((".", "~$"))
    )


def _settings(args: argparse.Namespace) -> dict[str, str]:
    return {name: text for name, text in (("day_order", args.day_order), ("zone", args.zone)) if text}


def _progress(files: Sequence[Path]) -> Callable[[str], None]:
    """Words on stderr for long files only: a short one is done before they are read."""
    long = sum(path.stat().st_size for path in files if path.is_file()) > 5_000_000
    return write_err if long else (lambda _: None)


def _exit_of(reports: list[Checked]) -> int:
    return 0 if all(report.complete for report in reports) else 1


def _print_report(report: Checked, *, stored: bool) -> None:
    outcome = report.outcome
    counts = (
        (outcome.stored, "stored" if stored else "would be stored"),
        (outcome.corrected, "corrected, earlier version kept" if stored else "would correct a held one"),
        (outcome.already_held, "already held"),
        (outcome.held_back, "held back: correction or new?"),
        (outcome.rejected, "rejected"),
    )
    parts = ", ".join(f"{count:,} {words}" for count, words in counts if count)
    rows = f"{counted(outcome.rows, 'row')}: {parts}" if outcome.rows else "a header and no rows"
    beside = f"; {counted(report.rows.left_out, 'row')} left out, by what was said of the table"
    write_out(f"{report.file}: {report.kind}, {rows}{beside if report.rows.left_out else ''}")
    _print_remarks(report)


def _print_remarks(report: Checked) -> None:
    place = place_word(report.file)
    for frame, word in (
        (faults_by_row(report), ""),
        (versions_kept_out(report), ""),
        (report.warnings, "note: "),
    ):
        for line, column, value, reason, mend in frame.head(SHOWN_REMARKS).itertuples(index=False):
            cell = f', column "{column}"' if column else ""
            shown = f'"{value[:60]}" ' if isinstance(value, str) else ""
            write_err(f"{report.file}, {place} {line}{cell}: {word}{shown}{reason}. {mend}")
        if len(frame) > SHOWN_REMARKS:
            where = (
                ""
                if word or report.rejects
                else "; import writes every rejected row, with its reason and mend, beside the file"
            )
            write_err(
                f"{report.file}: and {len(frame) - SHOWN_REMARKS:,} more"
                f" {'notes' if word else 'faults'}{where}"
            )
    if report.faults["code"].eq(calendar_days.EITHER_ORDER).any():
        write_err(f"{report.file}: say the studio's order of dates once with --day-order dmy or mdy")
    if report.unknown_columns:
        write_err(f"{report.file}: not read, as no such column is known: {', '.join(report.unknown_columns)}")
    if report.rows.sheets_not_read:
        write_err(
            f"{report.file}: sheets not read, as nobody has said what they hold:"
            f" {', '.join(report.rows.sheets_not_read)}"
        )
    if report.new_people:
        write_err(
            f"{report.file}: new people: {', '.join(report.new_people)}; a name spelt otherwise is another"
            " person"
        )
    if report.settled:
        rows = counted(report.settled, "row that waited", "rows that waited")
        write_err(f"{report.file}: {rows} to be mended came in with it: settled")
    if report.rejects:
        write_err(
            f"{report.file}: the rejected rows, with what to mend, are in {report.rejects}; mend them there"
            " and import that file"
        )
    for line, what, stored_hours, row_hours in report.held_back.head(SHOWN_REMARKS).itertuples(index=False):
        beside = (
            "came in before, said otherwise"
            if pd.isna(stored_hours)
            else f"is held with {hours(stored_hours)} h, here {hours(row_hours)} h. Correction or new?"
        )
        write_err(f"{report.file}, {place} {line}: held back: {what} {beside}")
    if report.held_by_other_words:
        write_err(
            f"{report.file}: {counted(report.held_by_other_words, 'row')} held back came in before, when the"
            " table was read otherwise or its words meant something else, and would count twice: import it"
            " again with --held-back correction to move the earlier entries, or take these back first"
        )
    if report.outcome.held_back:
        write_err(
            f"{report.file}: import it again with --held-back correction or --held-back new; where one row"
            " may correct several entries, name the entry meant in a column entry"
        )
