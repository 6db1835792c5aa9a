"""Where a command's words go, and for whom it runs: the terminal it was called in, whichever process does the work."""

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
    """Whoever called a command.

    Attributes
    ----------
    tell, complain : take results, and progress and complaints, each a text of one or more lines.
    here : the folder in which it was called; names of files count from there.
    who : the user's name, where the system knows it.
    """

    tell: Callable[[str], None]
    complain: Callable[[str], None]
    here: Path = Path()
    who: str | None = None


def _who() -> str | None:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return None


_caller: ContextVar[Caller | None] = ContextVar("caller", default=None)


def caller() -> Caller:
    """The caller of the command that runs in this thread; the terminal where nobody else was named."""
    return _caller.get() or Caller(print, lambda text: print(text, file=sys.stderr), _here(), _who())


def _here() -> Path:
    try:
        return Path.cwd()
    except OSError:  # the folder is gone
        return Path()


@contextmanager
def called_by(one: Caller) -> Iterator[None]:
    """Let somebody else be the caller for a while."""
    token = _caller.set(one)
    try:
        yield
    finally:
        _caller.reset(token)


def tell(text: str) -> None:
    """Say a result."""
    caller().tell(text)


def complain(text: str) -> None:
    """Say progress, or what is wrong, in one line."""
    caller().complain(" ".join(text.splitlines()))
