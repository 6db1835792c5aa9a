"""SQL: the connection it runs on, statements in files beside the code that runs them, string literals."""

from __future__ import annotations

from functools import cache
from importlib import resources

import duckdb

Connection = duckdb.DuckDBPyConnection


def statement(package: str, name: str, **parts: object) -> str:
    """The text of `name`.sql in a package, with SQL in the place of each `{part}`."""
    text = _text(package, name)
    for part, sql in parts.items():
        text = text.replace(f"{{{part}}}", str(sql))
    return text


@cache
def _text(package: str, name: str) -> str:
    return resources.files(package).joinpath(f"{name}.sql").read_text(encoding="utf-8")


def quoted(text: object) -> str:
    """A value as an SQL string literal."""
    return "'" + str(text).replace("'", "''") + "'"
