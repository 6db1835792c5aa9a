"""The caller of a command: the terminal that its output goes to, whichever process runs it."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Caller:
    """The caller of a command.

    Attributes
    ----------
    out : takes results, a text of one or more lines.
    err : takes progress and errors, as `out`.
    folder : current folder of the caller; relative names of files start there.
    user : user name, where the system knows it.
    """

    out: Callable[[str], None]
    err: Callable[[str], None]
    folder: Path = Path()
    user: str | None = None


def _user() -> str | None:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return None


_caller: ContextVar[Caller | None] = ContextVar("caller", default=None)


def caller() -> Caller:
    """The caller of the command that runs in this thread; by default this process."""
    return _caller.get() or Caller(print, lambda text: print(text, file=sys.stderr), _folder(), _user())


def _folder() -> Path:
    try:
        return Path.cwd()
    except OSError:  # it was deleted
        return Path()


@contextmanager
def as_caller(item: Caller) -> Iterator[None]:
    """Set the caller within a block."""
    token = _caller.set(item)
    try:
        yield
    finally:
        _caller.reset(token)


def write_out(text: str) -> None:
    """Write a result."""
    caller().out(text)


def write_err(text: str) -> None:
    """Write progress or an error, in one line."""
    caller().err(" ".join(text.splitlines()))
