"""`bench-hours`: the commands. Results on stdout, progress and complaints on stderr.

Exit 0: done. 1: done, but rows were rejected or held back. 2: could not, with one line why.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import sys
import time
from collections.abc import Callable, Sequence

import duckdb

from dashboard.cli import backup as backup_command
from dashboard.cli import csv_import, options, overruns, remote, serve, statement
from dashboard.cli import devices as devices_command
from dashboard.cli import forecast as forecast_command
from dashboard.cli import plan as plan_command
from dashboard.cli import quote as quote_command
from dashboard.cli import rates as rates_command
from dashboard.cli import words as words_command
from dashboard.cli.caller import write_err
from ingest.errors import BenchHoursError, StoreError, why
from ingest.store import Store

_LOCK_WAIT_S = 5  # for another command to end


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # no traceback where a terminal lacks a letter
    arguments = sys.argv[1:] if arguments is None else arguments
    try:
        args = _parser().parse_args(arguments)
        return _exit_code(args, lambda: _run(args, arguments))
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has left; nothing is left to say
        return 0


def _exit_code(args: argparse.Namespace, action: Callable[[], int]) -> int:
    """Do it, and turn what fails into one line."""
    try:
        return action()
    except BenchHoursError as error:
        write_err(f"bench-hours {args.command}: {error}")
    except duckdb.Error as error:
        write_err(
            f"bench-hours {args.command}: the database failed ({why(error)}). What was not finished is"
            " undone; see that the disk has room and the file may be written, or restore a backup."
        )
    except ConnectionError:  # who called has left
        raise
    except OSError as error:
        write_err(
            f"bench-hours {args.command}: {error.filename or 'a file'} cannot be read or written"
            f" ({why(error)}). See that it may be, and that the disk has room."
        )
    except KeyboardInterrupt:
        write_err("stopped; what was not finished is as it was before")
    return 2


def _run(args: argparse.Namespace, arguments: Sequence[str]) -> int:
    """Run a command in this process, or where its database is being served, there."""
    if args.opens == "nothing":
        return int(args.action(args))
    patience = time.monotonic() + _LOCK_WAIT_S
    while True:
        server = remote.server_of(options.database(args))
        if server:
            return server.run(arguments)
        try:
            store = _open(args)
            with store or contextlib.nullcontext():
                if store:
                    backup_command.apply_phone_actions(store)
                return int(args.action(args, store))
        except StoreError as error:
            if not error.locked or time.monotonic() > patience:
                raise
            time.sleep(0.1)  # another command is at work, or a server is just opening


def run_for(store: Store) -> remote.Run:
    """A function that runs commands of other processes on a store that this process holds."""

    def run(arguments: Sequence[str]) -> int:
        try:
            args = _parser().parse_args(arguments)
        except SystemExit as left:
            return left.code if isinstance(left.code, int) else 2
        return _exit_code(args, lambda: int(args.action(args, store)))

    return run


def _open(args: argparse.Namespace) -> Store | None:
    """The store as a command needs it: made where it is missing, there already, in memory where nothing is
    stored; None for who opens files alone.
    """
    path = options.database(args)
    match args.opens:
        case "file":
            return None
        case "memory" if not path.exists():
            return Store(":memory:")
        case "there" if not path.exists():
            raise BenchHoursError(
                f"there is no database at {path} yet",
                "Bring in files with: bench-hours import FILE…, or look at: bench-hours demo",
            )
    return Store(path)


@functools.cache  # the server reads the call of every command that comes to it
def _parser() -> argparse.ArgumentParser:
    commands = options.Commands()
    commands.parser.set_defaults(run_for=run_for)
    for add in (
        serve.add_commands,
        csv_import.add_commands,
        overruns.add_commands,
        statement.add_commands,
        rates_command.add_commands,
        quote_command.add_commands,
        forecast_command.add_commands,
        plan_command.add_commands,
        backup_command.add_commands,
        devices_command.add_commands,
        words_command.add_commands,
    ):
        add(commands)
    return commands.parser


if __name__ == "__main__":
    raise SystemExit(main())
