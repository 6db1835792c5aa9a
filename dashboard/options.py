"""What commands are made of: their names, what they need, and how their options are read."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Literal, NoReturn

from dashboard.voice import caller, complain, tell
from ingest import notation
from ingest.errors import BenchHoursError, NotationError, why
from ingest.store import default_path

# The database as a command needs it: not opened for it; only where it is served, as the command puts its file in place itself; in memory
# where there is none; there already; made where it is missing.
Opens = Literal["nothing", "file", "memory", "there", "made"]


class Parser(argparse.ArgumentParser):
    """Says help, and in one line what is wrong with a call, to whoever called: it may run in the server, for a terminal elsewhere."""

    def print_help(self, file: object = None) -> None:
        tell(self.format_help().rstrip())

    def error(self, message: str) -> NoReturn:
        complain(f"{self.prog}: {message}; see {self.prog} --help")
        raise SystemExit(2)


class Commands:
    """The parser of `bench-hours`; every module adds its commands to it in its own `add_commands`."""

    def __init__(self) -> None:
        self.parser = Parser(prog="bench-hours", description="Hours of a conservation studio: logged, held against the estimate, phase by phase.")
        self._commands = self.parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def add(self, name: str, action: Callable[..., int], opens: Opens) -> argparse.ArgumentParser:
        """Add a command, whose help is the docstring of what it does."""
        parser = self._commands.add_parser(name, help=action.__doc__, description=action.__doc__)
        parser.set_defaults(action=action, opens=opens)
        parser.add_argument("--db", type=file, metavar="PATH", help="the database (else BENCH_HOURS_DB, else the studio's own place)")
        return parser

    def add_reader(self, name: str, action: Callable[..., int]) -> argparse.ArgumentParser:
        """Add a command that reads as of a day and gives its results as data too."""
        parser = self.add(name, action, "there")
        parser.add_argument("--as-of", type=_day, metavar="DATE", help="as things stood on this day (else today)")
        parser.add_argument("--json", action="store_true", help="print JSON, hours unrounded")
        parser.add_argument("--csv", type=file, metavar="FILE", help="write CSV, hours unrounded")
        return parser


def database(args: argparse.Namespace) -> Path:
    """The database that a call is about."""
    return Path(args.db or default_path())


# --- what reads the words of a call


def file(text: str) -> Path:
    """A file by its name; it counts from the folder of whoever called, whichever process does the work."""
    try:
        return caller().here / Path(text).expanduser()
    except (RuntimeError, OSError) as error:  # nobody's home, or a working folder that is gone
        raise argparse.ArgumentTypeError(f'"{text}" leads nowhere from here ({why(error)})') from error


def _day(text: str) -> date:
    try:
        return notation.day(text, "unset")
    except BenchHoursError as error:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day written as year-month-day') from error


def port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= 65_535):
        raise argparse.ArgumentTypeError(f'"{text}" is not a port: write a whole number from 1 to 65535, or 0 for any that is free')
    return int(text)


def number(read: Callable[[str], float]) -> Callable[[str], float]:
    """The type of an option that a reader of `ingest.notation` reads, so that a number typed there meets the reader of all numbers."""

    def read_option(text: str) -> float:
        try:
            return read(text.strip())
        except NotationError as error:
            raise argparse.ArgumentTypeError(f'"{text}" {error}'.rstrip(".")) from error

    return read_option
