"""What options of commands are read by, so that a number typed there meets the reader of all numbers."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from ingest.errors import NotationError


def number(read: Callable[[str], float]) -> Callable[[str], float]:
    """The type of an option that a reader of `ingest.notation` reads."""

    def read_option(text: str) -> float:
        try:
            return read(text.strip())
        except NotationError as error:
            raise argparse.ArgumentTypeError(f'"{text}" {error}'.rstrip(".")) from error

    return read_option
