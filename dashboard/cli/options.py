"""What commands are made of: their names, what they need, and how their options are read.

By argparse and not click, which comes with the server: 96 options take as many lines and as long to start,
and where a caller hangs up click replaces the server's own stream and raises `SystemExit`.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from typing import Literal, NoReturn

from dashboard import queries
from dashboard.cli.caller import caller, write_err, write_out
from dashboard.formatting import day
from ingest.errors import BenchHoursError, NotationError, why
from ingest.sql import Connection
from ingest.store import Store, default_path
from ingest.values import calendar_days

# The database as a command needs it: not opened for it; only where it is served, as the command puts its file
# in place itself; in memory where there is none; there already; made where it is missing.
Opens = Literal["nothing", "file", "memory", "there", "made"]


class Parser(argparse.ArgumentParser):
    """Argument parser that writes help and errors to the caller, as it may run in the server."""

    def print_help(self, file: object = None) -> None:
        write_out(self.format_help().rstrip())

    def error(self, message: str) -> NoReturn:
        write_err(f"{self.prog}: {message}; see {self.prog} --help")
        raise SystemExit(2)


class Commands:
    """The parser of `bench-hours`; every module adds its commands to it in its own `add_commands`."""

    def __init__(self) -> None:
        self.parser = Parser(
            prog="bench-hours",
            description="Hours of a conservation studio: logged, held against the estimate, phase by phase.",
        )
        self._commands = self.parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def add(self, name: str, action: Callable[..., int], opens: Opens) -> argparse.ArgumentParser:
        """Add a command, whose help is the docstring of what it does."""
        parser = self._commands.add_parser(name, help=action.__doc__, description=action.__doc__)
        parser.set_defaults(action=action, opens=opens)
        where = "the database (else BENCH_HOURS_DB, else the studio's own place)"
        parser.add_argument("--db", type=file, metavar="PATH", help=where)
        return parser

    def add_reader(self, name: str, action: Callable[..., int]) -> argparse.ArgumentParser:
        """Add a command that reads as of a day and gives its results as data too."""
        parser = self.add(name, action, "there")
        parser.add_argument(
            "--as-of", type=_day, metavar="DATE", help="as things stood on this day (else today)"
        )
        add_flags(parser, json="print JSON, hours unrounded")
        add_files(parser, csv="write CSV, hours unrounded")
        return parser


def add_flags(parser: argparse.ArgumentParser, **helps: str) -> None:
    """Options that are said or not, with the help of each."""
    for name, text in helps.items():
        parser.add_argument(f"--{name.replace('_', '-')}", action="store_true", help=text)


def add_files(parser: argparse.ArgumentParser, **helps: str) -> None:
    """Options that name a file, with the help of each."""
    for name, text in helps.items():
        parser.add_argument(f"--{name.replace('_', '-')}", type=file, metavar="FILE", help=text)


def add_choice(
    parser: argparse.ArgumentParser, name: str, choices: Iterable[str], text: str, default: str | None = None
) -> None:
    """An option that is one of a few words, with its help."""
    parser.add_argument(name, choices=tuple(choices), default=default, help=text)


def read_as_of(args: argparse.Namespace, store: Store, foretelling: str = "") -> tuple[Connection, date]:
    """A cursor, and the day as of which a command reads; what foretells says so, and is asked of no day to
    come.
    """
    con = store.cursor()
    today = queries.today(con)
    as_of = args.as_of or today
    if foretelling and as_of > today:
        raise BenchHoursError(
            f"{day(as_of)} lies in the future", f"{foretelling}: name today, or an earlier day."
        )
    return con, as_of


def database(args: argparse.Namespace) -> Path:
    """The database of a call."""
    return Path(args.db or default_path())


# --- types of options


def file(text: str) -> Path:
    """A file by its name, relative to the folder of the caller."""
    try:
        return caller().folder / Path(text).expanduser()
    except (RuntimeError, OSError) as error:  # no such user, or a deleted folder
        raise argparse.ArgumentTypeError(f'"{text}" leads nowhere from here ({why(error)})') from error


def _day(text: str) -> date:
    try:
        return calendar_days.day(text, "unset")
    except BenchHoursError as error:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day written as year-month-day') from error


def port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= 65_535):
        raise argparse.ArgumentTypeError(
            f'"{text}" is not a port: write a whole number from 1 to 65535, or 0 for any that is free'
        )
    return int(text)


def number(read: Callable[[str], float]) -> Callable[[str], float]:
    """The type of an option that a reader of `ingest.values` reads."""

    def read_option(text: str) -> float:
        try:
            return read(text.strip())
        except NotationError as error:
            raise argparse.ArgumentTypeError(f'"{text}" {error}'.rstrip(".")) from error

    return read_option
