"""SQL statements kept as files beside the code that runs them."""

from __future__ import annotations

from functools import cache
from importlib import resources


@cache
def statement(package: str, name: str) -> str:
    """The text of `name`.sql in a package of queries."""
    return resources.files(package).joinpath(f"{name}.sql").read_text(encoding="utf-8")
