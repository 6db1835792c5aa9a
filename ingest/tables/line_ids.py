"""Line ids: a line is one phase, technique and part of an object; spells and estimates refer to its id."""

from __future__ import annotations

from ingest.sql import Connection


def same_line(row: str, line: str = "l") -> str:
    """SQL condition: the row says the same object (or none), phase, technique and part as the line."""
    return (
        f"{line}.technique = {row}.technique AND {line}.phase = {row}.phase AND {line}.part = {row}.part AND"
        f" coalesce({line}.object, '') = coalesce({row}.object, '')"
    )


def add_lines(con: Connection, source: str) -> None:
    """Give a number to every line of a query or table that has none yet."""
    con.execute(f"""INSERT INTO lines (line, object, phase, technique, part)
        SELECT (SELECT coalesce(max(line), 0) FROM lines) + row_number() OVER (), n.*
        FROM (SELECT DISTINCT object, phase, technique, part FROM {source}) AS n
        WHERE NOT EXISTS (SELECT 1 FROM lines AS l WHERE {same_line("n")})""")
