"""SQL: statements kept as files beside the code that runs them, and texts as SQL writes them."""

from __future__ import annotations

from functools import cache
from importlib import resources


@cache
def statement(package: str, name: str) -> str:
    """The text of `name`.sql in a package of queries."""
    return resources.files(package).joinpath(f"{name}.sql").read_text(encoding="utf-8")


def quoted(text: object) -> str:
    """A text, or what can be said as one, as SQL writes it."""
    return "'" + str(text).replace("'", "''") + "'"
