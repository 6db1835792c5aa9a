"""`bench-hours`: the commands. Results on stdout, progress and complaints on stderr.

Exit 0: done. 1: done, but rows were rejected or held back. 2: could not, with one line why.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections.abc import Callable, Hashable, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, Literal, NoReturn

import duckdb
import pandas as pd

from dashboard import (
    addresses,
    admitting,
    background,
    demo,
    forecast_command,
    keeping,
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
from dashboard.labels import SIZES
from dashboard.sentences import ROUNDED, forgotten_parts, most_over, most_under, said_beside
from dashboard.serving import Place
from dashboard.voice import caller, complain, tell
from dashboard.words import amount, counted, day, hours, text
from ingest import notation
from ingest.devices import ROLES
from ingest.errors import BenchHoursError, StoreError, why
from ingest.imports import Report, check_files, import_files
from ingest.settings import Settings, read_settings
from ingest.store import Store, default_path, demo_path

SHOWN_REMARKS = 12
_PATIENCE_S = 5  # for another command to end
Opens = Literal["nothing", "file", "memory", "there", "made"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that cannot show a letter shows another, not a traceback
    arguments = sys.argv[1:] if arguments is None else arguments
    said = _parser().parse_args(arguments)
    try:
        return _attempt(said, lambda: _here_or_there(said, arguments))
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has left; nothing is left to say
        return 0


def _attempt(said: argparse.Namespace, action: Callable[[], int]) -> int:
    """Do it, and turn what fails into one line."""
    try:
        return action()
    except BenchHoursError as error:
        complain(f"bench-hours {said.command}: {error}")
    except duckdb.Error as error:
        complain(
            f"bench-hours {said.command}: the database failed ({why(error)}). What was not finished is undone; see that the disk has room and the file "
            "may be written, or restore a backup."
        )
    except ConnectionError:  # who called has left
        raise
    except OSError as error:
        complain(
            f"bench-hours {said.command}: {error.filename or 'a file'} cannot be read or written ({why(error)}). See that it may be, and that the disk has room."
        )
    except KeyboardInterrupt:
        complain("stopped; what was not finished is as it was before")
    return 2


def _here_or_there(said: argparse.Namespace, arguments: Sequence[str]) -> int:
    """Run a command in this process, or where its database is being served, there."""
    if said.opens == "nothing":
        action: Callable[[argparse.Namespace], int] = said.action
        return action(said)
    patience = time.monotonic() + _PATIENCE_S
    while True:
        server = relay.server_of(_path(said))
        if server:
            return server.run(arguments)
        try:
            store = _open(said)
            with store or contextlib.nullcontext():
                if store:
                    keeping.settle_what_phones_sent(store)
                return _run(said, store)
        except StoreError as error:
            if not error.held or time.monotonic() > patience:
                raise
            time.sleep(0.1)  # another command is at work, or a server is just opening


def run_for(store: Store) -> relay.Run:
    """What runs the commands of others on a store that this process holds."""

    def run(arguments: Sequence[str]) -> int:
        try:
            said = _parser().parse_args(arguments)
        except SystemExit as left:
            return left.code if isinstance(left.code, int) else 2
        return _attempt(said, lambda: _run(said, store))

    return run


def _run(said: argparse.Namespace, store: Store | None) -> int:
    action: Callable[[argparse.Namespace, Store | None], int] = said.action
    return action(said, store)


def _open(said: argparse.Namespace) -> Store | None:
    """The store as a command needs it: made where it is missing, there already, in memory where nothing is stored; None for who opens files alone."""
    path = _path(said)
    match said.opens:
        case "file":
            return None
        case "memory" if not path.exists():
            return Store(":memory:")
        case "there" if not path.exists():
            raise BenchHoursError(f"there is no database at {path} yet", "Bring in files with: bench-hours import FILE…, or look at: bench-hours demo")
    return Store(path)


class _Parser(argparse.ArgumentParser):
    """Says a wrong call in one line."""

    def error(self, message: str) -> NoReturn:
        complain(f"{self.prog}: {message}; see {self.prog} --help")
        raise SystemExit(2)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="bench-hours", description="Hours of a conservation studio: logged, held against the estimate, phase by phase.")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=_Parser)

    def command(name: str, action: Callable[..., int], help_text: str, opens: Opens) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=help_text, description=help_text)
        sub.add_argument("--db", type=_file, metavar="PATH", help="the database (else BENCH_HOURS_DB, else the studio's own place)")
        sub.set_defaults(action=action, opens=opens)
        return sub

    def reader(name: str, action: Callable[..., int], help_text: str) -> argparse.ArgumentParser:
        sub = command(name, action, help_text, "there")
        sub.add_argument("--as-of", type=_day, metavar="DATE", help="as things stood on this day (else today)")
        sub.add_argument("--json", action="store_true", help="print JSON, hours unrounded")
        sub.add_argument("--csv", type=_file, metavar="FILE", help="write CSV, hours unrounded")
        return sub

    one = command("demo", _demo, "Set up an invented studio in a database of its own, print its overruns, and serve its pages.", "nothing")
    one.add_argument("--no-serve", action="store_true", help="print only")
    _add_port(one)
    _add_serving(command("serve", _serve, "Serve the pages of the studio to a browser on this machine, or to the phones of the network.", "nothing"))
    into: tuple[tuple[str, Callable[..., int], str, Opens], ...] = (
        ("import", _import, "Bring in CSV files: phases, techniques, objects, estimates, time entries, milestones, or all of an export, in any order.", "made"),
        ("check", _check, "Check CSV files as import does, and store nothing.", "memory"),
    )
    for name, action, what, opens in into:
        files = command(name, action, what, opens)
        files.add_argument("files", nargs="+", type=_file, metavar="FILE", help="a CSV file, or a folder for all in it")
        files.add_argument("--day-order", choices=("dmy", "mdy", "ymd"), help="how this studio writes dates in numbers; import remembers it")
        files.add_argument("--zone", metavar="ZONE", help="time zone of the studio's clock, like Europe/Berlin; import remembers it")
        if name == "import":
            files.add_argument("--held-back", choices=("ask", "new", "correction"), default="ask", help="what rows are that may correct a held entry")
            files.add_argument("--by", metavar="PERSON", default=None, help="who brings them in, for the history of corrections")
    overrun = reader("overruns", _overruns, "Where the hours went over the estimate, and why: by phase, or by line of one object.")
    overrun.add_argument("--object", metavar="OBJECT", help="the lines of this object")
    rated = reader("rates", rating.rates, "What each technique really takes in this studio, and how sure that is, from the finished works.")
    rated.add_argument("--technique", metavar="TECHNIQUE", help="of this technique only")
    tried = reader("backtest", rating.backtest, "Past promises tried again: each finished line foretold from what was finished before its estimate was made.")
    tried.add_argument("--predictions", type=_file, metavar="FILE", help="write what was foretold of each line as CSV, in hours")
    asked = reader("quote", quote_command.quote, "What a work will take and cost, from the studio's own finished works, and its letter.")
    quote_command.add_options(asked, _file)
    ahead = reader("forecast", forecast_command.forecast, "Where each work on the bench will end, and which owner to write to.")
    ahead.add_argument("--object", metavar="OBJECT", help="this work only, with its lines")
    plan_command.add_options(reader("plan", plan_command.plan, "When each work on the bench is ready, and what a new one would be promised for."), _file)
    dated = reader("statement", _statement, "The dated hours of one object, for its treatment report.")
    dated.add_argument("--object", metavar="OBJECT", required=True)
    dated.add_argument("--with-notes", action="store_true", help="give the notes of the entries too (CSV, JSON); read them first, a note may name somebody")
    out = command("export", keeping.export, "Write everything held into a folder as CSV; brought into a new database it is the same again.", "there")
    out.add_argument("folder", type=_file, metavar="DIR")
    out.add_argument(
        "--private", action="store_true", help="titles, owners and addresses too, and what is half written: for your own keeping, not to be shared"
    )
    kept = command("backup", keeping.back_up, "Write a copy of the whole database, look at it, and see whether the record holds together.", "there")
    kept.add_argument("file", nargs="?", type=_file, metavar="FILE", help="where to; a folder, or nothing (beside the database), for a name with day and form")
    back = command("restore", keeping.restore, "Put a backup in the place of the database.", "file")
    back.add_argument("file", type=_file, metavar="FILE")
    back.add_argument("--force", action="store_true", help="also where there is a database already, which is kept beside it")
    _add_admitting(command)
    return parser


def _add_admitting(command: Callable[..., argparse.ArgumentParser]) -> None:
    """The commands of who may come in."""
    new = command("pair", admitting.pair, "Make a code that pairs a phone or a laptop, good once and for ten minutes.", "made")
    new.add_argument("--role", choices=ROLES, default="principal", help="what it may do: logs (the form only), reviews (where the hours went), principal (all)")
    new.add_argument("--person", metavar="PERSON", help="whose it is (else several share it)")
    new.add_argument("--name", default="", metavar="NAME", help="what to call it")
    those = command("devices", admitting.devices, "The devices that are paired, and what happened at the door.", "there")
    those.add_argument("--revoke", metavar="NAME", help="send this device away, at once and for good")
    sheet = command(
        "labels",
        admitting.labels,
        "Labels for works, to print: a QR code that opens the form on the work, and the code of the work. No title, no owner.",
        "there",
    )
    sheet.add_argument("file", type=_file, metavar="FILE", help="the PDF to write")
    sheet.add_argument("--object", action="append", metavar="OBJECT", help="of this work only; may be said again (else of all on the bench)")
    sheet.add_argument("--size", choices=sorted(SIZES), default="A4", help="a sheet of A4 with 24 labels, or a label of this many mm on a page of its own")
    sheet.add_argument("--address", metavar="ADDRESS", help="of the studio for phones, like https://192.168.1.20:8411 (else that of the running server)")


def _add_serving(one: argparse.ArgumentParser) -> None:
    _add_port(one)
    one.add_argument("--phones", action="store_true", help="let paired phones and laptops of the local network in, over TLS")
    one.add_argument("--plain", action="store_true", help="with --phones: without TLS, so that whoever is in the network can read along")
    one.add_argument("--host", help="address to listen on (127.0.0.1, or with --phones every address of this machine)")
    one.add_argument("--tls-cert", type=_file, metavar="FILE", help="with --phones: a certificate made elsewhere (PEM), in place of the studio's own")
    one.add_argument("--tls-key", type=_file, metavar="FILE", help="its key (PEM)")


def _add_port(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=8411, help="port to listen on (8411)")


def _day(text: str) -> date:
    try:
        return notation.day(text, "unset")
    except BenchHoursError as error:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day written as year-month-day') from error


def _file(text: str) -> Path:
    """A file by its name; it counts from the folder of whoever called, whichever process does the work."""
    try:
        return caller().here / Path(text).expanduser()
    except (RuntimeError, OSError) as error:  # nobody's home, or a working folder that is gone
        raise argparse.ArgumentTypeError(f'"{text}" leads nowhere from here ({why(error)})') from error


def _path(said: argparse.Namespace) -> Path:
    path: Path = said.db or default_path()
    return path


# --- files in


def _import(said: argparse.Namespace, store: Store) -> int:
    files = _files(said.files)
    reports = import_files(
        store,
        files,
        held_back_as=said.held_back,
        by=said.by or caller().who,
        settings=_said_settings(said),
        progress=_progress(files),
        done=partial(_tell, stored=True),
    )
    return _exit_of(reports)


def _check(said: argparse.Namespace, store: Store) -> int:
    """Against the studio's own words and objects where it has a database; nothing is made where it has none."""
    files = _files(said.files)
    reports = check_files(store, files, settings=_said_settings(said), progress=_progress(files))
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


def _said_settings(said: argparse.Namespace) -> dict[str, str]:
    return {name: text for name, text in (("day_order", said.day_order), ("zone", said.zone)) if text}


def _progress(files: Sequence[Path]) -> Callable[[str], None]:
    """Words on stderr for long files only: a short one is done before they are read."""
    long = sum(path.stat().st_size for path in files if path.is_file()) > 5_000_000
    return complain if long else (lambda _: None)


def _exit_of(reports: list[Report]) -> int:
    return 0 if all(report.complete for report in reports) else 1


def _tell(report: Report, *, stored: bool) -> None:
    o = report.outcome
    parts = [
        f"{o.stored:,} {'stored' if stored else 'would be stored'}" if o.stored or not report.rows else "",
        f"{o.corrected:,} {'corrected, earlier version kept' if stored else 'would correct a held one'}" if o.corrected else "",
        f"{o.already_held:,} already held" if o.already_held else "",
        f"{o.held_back:,} held back: correction or new?" if o.held_back else "",
        f"{o.rejected:,} rejected" if o.rejected else "",
    ]
    tell(
        f"{report.file}: {report.kind}, {counted(report.rows, 'row')}: {', '.join(filter(None, parts))}"
        if report.rows
        else f"{report.file}: {report.kind}, a header and no rows"
    )
    _tell_remarks(report)


def _tell_remarks(report: Report) -> None:
    for frame, word in ((report.problems, ""), (report.warnings, "note: ")):
        for line, column, value, reason, mend in frame.head(SHOWN_REMARKS).itertuples(index=False):
            cell = f', column "{column}"' if column else ""
            shown = f'"{value[:60]}" ' if isinstance(value, str) else ""
            complain(f"{report.file}, line {line}{cell}: {word}{shown}{reason}. {mend}")
        if len(frame) > SHOWN_REMARKS:
            where = "" if word or report.rejects else "; import writes every rejected row, with its reason and mend, beside the file"
            complain(f"{report.file}: and {len(frame) - SHOWN_REMARKS:,} more {'notes' if word else 'faults'}{where}")
    if report.problems["reason"].eq(notation.EITHER_ORDER).any():
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


def _overruns(said: argparse.Namespace, store: Store) -> int:
    con = store.cursor()
    as_of = said.as_of or reading.today(con)
    known = reading.known(con, said.object) if said.object else None
    lines = reading.overruns(con, as_of, known)
    if said.json or said.csv:
        lines = lines.drop(columns="position")
        return give(
            lines
            if known is None
            else lines.assign(versions=pd.Series(_line_history(reading.line_history(con, as_of, known), lines), index=lines.index, dtype=object))
            if said.json
            else lines,
            said,
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


def _statement(said: argparse.Namespace, store: Store) -> int:
    con = store.cursor()
    known = reading.known(con, said.object)
    as_of = said.as_of or reading.today(con)
    frame = reading.dated_hours(con, as_of, known)
    area = reading.area_dm2(con, known)
    if said.json or said.csv:
        return give(frame.assign(day=frame["day"].astype(str)).drop(columns=["position", *([] if said.with_notes else ["note"])]), said)
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


def _demo(said: argparse.Namespace) -> int:
    place = said.db or demo_path()
    _nobody_serves(place)
    with demo.fresh(place, progress=complain) as store:
        con = store.cursor()
        as_of = reading.today(con)
        print_overruns(reading.overruns(con, as_of), as_of)
        if not said.no_serve:
            sys.stdout.flush()
            with serving.until_stopped():
                _serve_store(store, Place(port=said.port))
    return 0


def _serve(said: argparse.Namespace) -> int:
    place = _place(said)
    _nobody_serves(_path(said))
    with serving.until_stopped(), Store(_path(said)) as store:
        keeping.settle_what_phones_sent(store)
        keeping.tell_how_it_is(store)
        _serve_store(store, place)
    complain("stopped; the record is closed, and everything in it is kept")
    return 0


def _place(said: argparse.Namespace) -> Place:
    """Where to listen, and to whom; raises where what is said does not go together."""
    if not said.phones:
        for name in ("plain", "tls_cert", "tls_key"):
            if getattr(said, name):
                raise BenchHoursError(f"--{name.replace('_', '-')} is about phones", "Add --phones, or leave it out.")
        if said.host and not addresses.is_loopback(said.host):
            raise BenchHoursError(
                f"{said.host} is open to the network, and whoever came that way would be the principal", "Add --phones: then only paired devices come in."
            )
    if bool(said.tls_cert) != bool(said.tls_key):
        raise BenchHoursError("a certificate and its key go together", "Give both --tls-cert and --tls-key.")
    if said.plain and said.tls_cert:
        raise BenchHoursError("--plain is without TLS, and so without a certificate", "Leave one of the two out.")
    host = said.host or ("0.0.0.0" if said.phones else "127.0.0.1")
    return Place(host=host, port=said.port, phones=said.phones, plain=said.plain, certificate=said.tls_cert, key=said.tls_key)


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
