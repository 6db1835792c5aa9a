"""`bench-hours`: the commands. Results on stdout, progress and complaints on stderr.

Exit 0: done. 1: done, but rows were rejected or held back. 2: could not, with one line why.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import sys
import time
from collections.abc import Callable, Hashable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from dashboard import (
    addresses,
    admitting,
    background,
    demo,
    forecast_command,
    keeping,
    options,
    plan_command,
    prices,
    quote_command,
    rating,
    reading,
    relay,
    serving,
    tables,
)
from dashboard.analysis.overruns import CAUSES, by_phase, compare, totals
from dashboard.giving import give, laid_out, records
from dashboard.sentences import ROUNDED, forgotten_parts, most_over, most_under, said_beside
from dashboard.serving import Place
from dashboard.voice import caller, complain, tell
from dashboard.words import amount, counted, day, hours, text
from ingest import notation
from ingest.check import Checked
from ingest.errors import BenchHoursError, StoreError, why
from ingest.imports import check_files, import_files
from ingest.settings import Settings, read_settings
from ingest.store import Store, demo_path

SHOWN_REMARKS = 12
_PATIENCE_S = 5  # for another command to end


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that cannot show a letter shows another, not a traceback
    arguments = sys.argv[1:] if arguments is None else arguments
    try:
        args = _parser().parse_args(arguments)
        return _attempt(args, lambda: _here_or_there(args, arguments))
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has left; nothing is left to say
        return 0


def _attempt(args: argparse.Namespace, action: Callable[[], int]) -> int:
    """Do it, and turn what fails into one line."""
    try:
        return action()
    except BenchHoursError as error:
        complain(f"bench-hours {args.command}: {error}")
    except duckdb.Error as error:
        complain(
            f"bench-hours {args.command}: the database failed ({why(error)}). What was not finished is undone; see that the disk has room and the file "
            "may be written, or restore a backup."
        )
    except ConnectionError:  # who called has left
        raise
    except OSError as error:
        complain(
            f"bench-hours {args.command}: {error.filename or 'a file'} cannot be read or written ({why(error)}). See that it may be, and that the disk has room."
        )
    except KeyboardInterrupt:
        complain("stopped; what was not finished is as it was before")
    return 2


def _here_or_there(args: argparse.Namespace, arguments: Sequence[str]) -> int:
    """Run a command in this process, or where its database is being served, there."""
    if args.opens == "nothing":
        return int(args.action(args))
    patience = time.monotonic() + _PATIENCE_S
    while True:
        server = relay.server_of(options.database(args))
        if server:
            return server.run(arguments)
        try:
            store = _open(args)
            with store or contextlib.nullcontext():
                if store:
                    keeping.settle_what_phones_sent(store)
                return int(args.action(args, store))
        except StoreError as error:
            if not error.held or time.monotonic() > patience:
                raise
            time.sleep(0.1)  # another command is at work, or a server is just opening


def run_for(store: Store) -> relay.Run:
    """What runs the commands of others on a store that this process holds."""

    def run(arguments: Sequence[str]) -> int:
        try:
            args = _parser().parse_args(arguments)
        except SystemExit as left:
            return left.code if isinstance(left.code, int) else 2
        return _attempt(args, lambda: int(args.action(args, store)))

    return run


def _open(args: argparse.Namespace) -> Store | None:
    """The store as a command needs it: made where it is missing, there already, in memory where nothing is stored; None for who opens files alone."""
    path = options.database(args)
    match args.opens:
        case "file":
            return None
        case "memory" if not path.exists():
            return Store(":memory:")
        case "there" if not path.exists():
            raise BenchHoursError(f"there is no database at {path} yet", "Bring in files with: bench-hours import FILE…, or look at: bench-hours demo")
    return Store(path)


@functools.cache  # the server reads the call of every command that comes to it
def _parser() -> argparse.ArgumentParser:
    commands = options.Commands()
    for add in (
        _add_pages, _add_files_in, _add_hours_out, rating.add_commands, quote_command.add_commands, forecast_command.add_commands,
        plan_command.add_commands, keeping.add_commands, admitting.add_commands,
    ):  # fmt: skip
        add(commands)
    return commands.parser


# --- files in


def _add_files_in(commands: options.Commands) -> None:
    brought, checked = commands.add("import", _import, "made"), commands.add("check", _check, "memory")
    for parser in (brought, checked):
        parser.add_argument("files", nargs="+", type=options.file, metavar="FILE", help="a CSV file, or a folder for all in it")
        parser.add_argument("--day-order", choices=("dmy", "mdy", "ymd"), help="how this studio writes dates in numbers; import remembers it")
        parser.add_argument("--zone", metavar="ZONE", help="time zone of the studio's clock, like Europe/Berlin; import remembers it")
    brought.add_argument("--held-back", choices=("ask", "new", "correction"), default="ask", help="what rows are that may correct a held entry")
    brought.add_argument("--by", metavar="PERSON", help="who brings them in, for the history of corrections")


def _import(args: argparse.Namespace, store: Store) -> int:
    """Bring in CSV files: phases, techniques, objects, estimates, time entries, milestones, or all of an export, in any order."""
    files = _files(args.files)
    reports = import_files(
        store,
        files,
        held_back_as=args.held_back,
        by=args.by or caller().who,
        settings=_settings(args),
        progress=_progress(files),
        done=functools.partial(_tell, stored=True),
    )
    return _exit_of(reports)


def _check(args: argparse.Namespace, store: Store) -> int:
    """Check CSV files as import does, and store nothing."""
    files = _files(args.files)
    reports = check_files(store, files, settings=_settings(args), progress=_progress(files))
    for report in reports:
        _tell(report, stored=False)
    return _exit_of(reports)


def _files(named: Sequence[Path]) -> list[Path]:
    """The files that are meant: a folder stands for the CSV files in it."""
    found = [file for path in named for file in (_csv_files(path) if path.is_dir() else [path])]
    if not found:
        raise BenchHoursError(f"there is no CSV file in {named[0]}", "Name files, or another folder.")
    return found


def _csv_files(folder: Path) -> list[Path]:
    """The CSV files in a folder, but for rejected rows of others."""
    return sorted(file for file in folder.iterdir() if file.suffix.casefold() == ".csv" and ".rejects" not in file.stem)


def _settings(args: argparse.Namespace) -> dict[str, str]:
    return {name: text for name, text in (("day_order", args.day_order), ("zone", args.zone)) if text}


def _progress(files: Sequence[Path]) -> Callable[[str], None]:
    """Words on stderr for long files only: a short one is done before they are read."""
    long = sum(path.stat().st_size for path in files if path.is_file()) > 5_000_000
    return complain if long else (lambda _: None)


def _exit_of(reports: list[Checked]) -> int:
    return 0 if all(report.complete for report in reports) else 1


def _tell(report: Checked, *, stored: bool) -> None:
    o = report.outcome
    parts = [
        f"{o.stored:,} {'stored' if stored else 'would be stored'}" if o.stored or not report.outcome.rows else "",
        f"{o.corrected:,} {'corrected, earlier version kept' if stored else 'would correct a held one'}" if o.corrected else "",
        f"{o.already_held:,} already held" if o.already_held else "",
        f"{o.held_back:,} held back: correction or new?" if o.held_back else "",
        f"{o.rejected:,} rejected" if o.rejected else "",
    ]
    tell(
        f"{report.file}: {report.kind}, {counted(report.outcome.rows, 'row')}: {', '.join(filter(None, parts))}"
        if report.outcome.rows
        else f"{report.file}: {report.kind}, a header and no rows"
    )
    _tell_remarks(report)


def _tell_remarks(report: Checked) -> None:
    for frame, word in ((report.problems, ""), (report.warnings, "note: ")):
        for line, column, value, reason, mend in frame.head(SHOWN_REMARKS).itertuples(index=False):
            cell = f', column "{column}"' if column else ""
            shown = f'"{value[:60]}" ' if isinstance(value, str) else ""
            complain(f"{report.file}, line {line}{cell}: {word}{shown}{reason}. {mend}")
        if len(frame) > SHOWN_REMARKS:
            where = "" if word or report.rejects else "; import writes every rejected row, with its reason and mend, beside the file"
            complain(f"{report.file}: and {len(frame) - SHOWN_REMARKS:,} more {'notes' if word else 'faults'}{where}")
    if report.faults["code"].eq(notation.EITHER_ORDER).any():
        complain(f"{report.file}: say the studio's order of dates once with --day-order dmy or mdy")
    if report.unknown_columns:
        complain(f"{report.file}: not read, as no such column is known: {', '.join(report.unknown_columns)}")
    if report.new_people:
        complain(f"{report.file}: new people: {', '.join(report.new_people)}; a name spelt otherwise is another person")
    if report.rejects:
        complain(f"{report.file}: the rejected rows, with what to mend, are in {report.rejects}; mend them there and import that file")
    for line, what, held, here in report.held_back.head(SHOWN_REMARKS).itertuples(index=False):
        complain(f"{report.file}, line {line}: held back: {what} is held with {hours(held)} h, here {hours(here)} h. Correction or new?")
    if report.outcome.held_back:
        complain(
            f"{report.file}: import it again with --held-back correction or --held-back new; where one row may correct several entries, "
            "name the entry meant in a column entry"
        )


# --- hours out


def _add_hours_out(commands: options.Commands) -> None:
    commands.add_reader("overruns", _overruns).add_argument("--object", metavar="OBJECT", help="the lines of this object")
    dated = commands.add_reader("statement", _statement)
    dated.add_argument("--object", metavar="OBJECT", required=True)
    dated.add_argument("--with-notes", action="store_true", help="give the notes of the entries too (CSV, JSON); read them first, a note may name somebody")


def _overruns(args: argparse.Namespace, store: Store) -> int:
    """Where the hours went over the estimate, and why: by phase, or by line of one object."""
    con = store.cursor()
    as_of = args.as_of or reading.today(con)
    known = reading.known(con, args.object) if args.object else None
    lines = reading.overruns(con, as_of, known)
    if args.json or args.csv:
        lines = lines.drop(columns="position")
        return give(
            lines
            if known is None
            else lines.assign(versions=pd.Series(_line_history(reading.line_history(con, as_of, known), lines), index=lines.index, dtype=object))
            if args.json
            else lines,
            args,
        )
    print_overruns(lines, as_of, known)
    if known is not None:
        _print_versions(reading.versions(con, known), as_of, read_settings(con))
    return 0


def _line_history(told: pd.DataFrame, lines: pd.DataFrame) -> list[list[dict[Hashable, Any]]]:
    """Of each line what every version said of it, the first first."""
    of = {key: records(inside.drop(columns=["phase", "technique", "part"])) for key, inside in told.groupby(["phase", "technique", "part"])}
    return [of.get((row["phase"], row["technique"], row["part"]), []) for row in lines.to_dict("records")]


def _print_versions(versions: pd.DataFrame, as_of: date, studio: Settings) -> None:
    """The history of its estimate: what each version said, and what became of it."""
    versions = versions[versions["made_on"] <= pd.Timestamp(as_of)]
    if versions.empty:
        return
    versions = versions.assign(
        outcome=versions["outcome"].where(versions["ended_on"] <= pd.Timestamp(as_of)),
        approved_on=versions["approved_on"].where(versions["approved_on"] <= pd.Timestamp(as_of)),
    )
    tell("Versions of its estimate")
    rows = []
    for row in versions.to_dict("records"):
        answer = (
            f"{row['outcome']} {day(row['ended_on'])}"
            if text(row["outcome"])
            else f"approved {day(row['approved_on'])}"
            if pd.notna(row["approved_on"])
            else "not approved"
        )
        rows.append(
            [
                f"{row['version']}",
                text(row["option"]),
                day(row["made_on"]),
                answer,
                tables.hours_of(row),
                prices.price_words(row, studio),
                f"quote {row['quote']:.0f}" if pd.notna(row["quote"]) else "quote" if row["quoted"] else "by hand",
                text(row["reason"]),
            ]
        )
    tell(laid_out(["version", "option", "made", "the owner", "hours", "price", "from", "reason"], rows, right={4, 5}))


def _statement(args: argparse.Namespace, store: Store) -> int:
    """The dated hours of one object, for its treatment report."""
    con = store.cursor()
    known = reading.known(con, args.object)
    as_of = args.as_of or reading.today(con)
    frame = reading.dated_hours(con, as_of, known)
    area = reading.area_dm2(con, known)
    if args.json or args.csv:
        return give(frame.assign(day=frame["day"].astype(str)).drop(columns=["position", *([] if args.with_notes else ["note"])]), args)
    tell(f"Dated hours of {known}{f' ({area:,.1f} dm²)' if area else ''}, to {day(as_of)}")
    rows = [
        [
            f"{row['day']:%Y-%m-%d}",
            row["phase"],
            row["technique"],
            row["part"],
            hours(row["hours"]),
            hours(row["unattended_hours"]) if row["unattended_hours"] else "",
            amount(row["quantity"], row["unit"]),
            "" if row["charge"] == "quoted" else row["charge"].replace("_", " "),
        ]
        for row in frame.to_dict("records")
    ]
    rows.append(["", "all (exact hours)", "", "", hours(frame["hours"].sum()), hours(frame["unattended_hours"].sum()), "", ""])
    tell(laid_out(["day", "phase", "technique", "part", "hours", "unattended, h elapsed", "quantity", "charge"], rows, right={4, 5, 6}))
    return 0


def print_overruns(lines: pd.DataFrame, as_of: date, known: str | None = None) -> None:
    """The readable table: by phase, or by line of one object."""
    comparison = compare(lines)
    if lines.empty:
        what = f"of {known}" if known else "in this studio"
        tell(f"Nothing {what} is estimated or logged yet: bring in estimates and time entries with bench-hours import FILE…")
        return
    heads = ["estimated h", "actual h", "difference h", *(f"{words} h" for words in CAUSES.values())]
    if known is None:
        phases = by_phase(comparison)
        tell(f"Where the hours went, as of {day(as_of)}: finished lines of {counted(comparison.works, 'work')}")
        if phases.empty:
            tell("No line that was estimated is finished yet.")
        else:
            rows = [[row["phase"], f"{row['works']}", *tables.sum_cells(row)] for _, row in phases.iterrows()]
            rows.append(["all phases", f"{comparison.works}", *tables.sum_cells(totals(phases))])
            tell(laid_out(["phase", "works", *heads], rows, right=set(range(1, 9))))
            tell(" ".join(filter(None, (most_over(phases), most_under(phases)))))
    else:
        tell(f"Where the hours of {known} went, as of {day(as_of)}")
        rows = [[row["phase"], row["technique"], row["part"], "finished" if row["finished"] else "open", *tables.sum_cells(row)] for _, row in lines.iterrows()]
        tell(laid_out(["phase", "technique", "part", "line", *heads], rows, right=set(range(4, 11))))
    if known is not None and comparison.unquoted_works:
        tell(f"{known} has no estimate: these are its hours, and there is nothing to hold them against.")
        return
    for sentence in [*said_beside(comparison), *(forgotten_parts(lines) if known else []), ROUNDED]:
        tell(sentence)


# --- pages


def _add_pages(commands: options.Commands) -> None:
    shown, served = commands.add("demo", _demo, "nothing"), commands.add("serve", _serve, "nothing")
    for parser in (shown, served):
        parser.add_argument("--port", type=options.port, default=8411, help="port to listen on (8411)")
    shown.add_argument("--no-serve", action="store_true", help="print only")
    served.add_argument("--phones", action="store_true", help="let paired phones and laptops of the local network in, over TLS")
    served.add_argument("--plain", action="store_true", help="with --phones: without TLS, so that whoever is in the network can read along")
    served.add_argument("--host", help="address to listen on (127.0.0.1, or with --phones every address of this machine)")
    served.add_argument("--tls-cert", type=options.file, metavar="FILE", help="with --phones: a certificate made elsewhere (PEM), in place of the studio's own")
    served.add_argument("--tls-key", type=options.file, metavar="FILE", help="its key (PEM)")


def _demo(args: argparse.Namespace) -> int:
    """Set up an invented studio in a database of its own, print its overruns, and serve its pages."""
    place = args.db or demo_path()
    _nobody_serves(place)
    with demo.fresh(place, progress=complain) as store:
        con = store.cursor()
        as_of = reading.today(con)
        print_overruns(reading.overruns(con, as_of), as_of)
        if not args.no_serve:
            sys.stdout.flush()
            with serving.until_stopped():
                _serve_store(store, Place(port=args.port))
    return 0


def _serve(args: argparse.Namespace) -> int:
    """Serve the pages of the studio to a browser on this machine, or to the phones of the network."""
    place = _place(args)
    _nobody_serves(options.database(args))
    with serving.until_stopped(), Store(options.database(args)) as store:
        keeping.tell_how_it_is(store)
        _serve_store(store, place)
    complain("stopped; the record is closed, and everything in it is kept")
    return 0


def _place(args: argparse.Namespace) -> Place:
    """Where to listen, and to whom; raises where what is said does not go together."""
    if not args.phones:
        for name in ("plain", "tls_cert", "tls_key"):
            if getattr(args, name):
                raise BenchHoursError(f"--{name.replace('_', '-')} is about phones", "Add --phones, or leave it out.")
        if args.host and not addresses.is_loopback(args.host):
            raise BenchHoursError(
                f"{args.host} is open to the network, and whoever came that way would be the principal", "Add --phones: then only paired devices come in."
            )
    if bool(args.tls_cert) != bool(args.tls_key):
        raise BenchHoursError("a certificate and its key go together", "Give both --tls-cert and --tls-key.")
    if args.plain and args.tls_cert:
        raise BenchHoursError("--plain is without TLS, and so without a certificate", "Leave one of the two out.")
    host = args.host or ("0.0.0.0" if args.phones else "127.0.0.1")
    return Place(host=host, port=args.port, phones=args.phones, plain=args.plain, certificate=args.tls_cert, key=args.tls_key)


def _serve_store(store: Store, place: Place) -> None:
    with relay.listening(Path(store.path), place.here, run_for(store)):
        try:
            serving.serve(store, place, say=complain)
        finally:
            background.stop()


def _nobody_serves(path: Path) -> None:
    if server := relay.server_of(path):
        raise BenchHoursError(f"the pages of {path} are open already, at {server.pages}", "Use them there, or stop that one first with Ctrl-C in its window.")


if __name__ == "__main__":
    raise SystemExit(main())
