"""Codes for works that are not in the record yet, of the kind that the studio's codes are."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence

from ingest.sql import Connection
from ingest.values.spelling import folded

_FIRST_CODE = "{year:02}-{number:03}"


def new_codes(con: Connection, years: Sequence[int], taken: Iterable[str] = ()) -> list[str]:
    """Codes for new works, of the kind that the studio's codes are, as the latest of its works have them.

    Parameters
    ----------
    years : by work, the year in which it came or was first worked on.
    taken : codes that are spoken for and not in the record yet.
    """
    latest = [
        row[0]
        for row in con.execute(
            "SELECT object FROM objects ORDER BY received_on DESC NULLS LAST, object DESC LIMIT 30"
        ).fetchall()
    ]
    shape = _shape(latest)
    used = {
        folded(code)
        for code in [*taken, *(row[0] for row in con.execute("SELECT object FROM objects").fetchall())]
    }
    last = {year: max((_number(code, shape, year) for code in used), default=0) for year in set(years)}
    codes = []
    for year in years:
        number = last[year] + 1
        while folded(shape.format(year=year % 100, century_year=year, number=number)) in used:
            number += 1
        last[year] = number
        code = shape.format(year=year % 100, century_year=year, number=number)
        used.add(folded(code))
        codes.append(code)
    return codes


def _shape(codes: Sequence[str]) -> str:
    """The commonest shape of codes, as a format of `year` (two figures), `century_year` and `number`."""
    shapes: Counter[str] = Counter()
    for code in codes:
        match = re.fullmatch(r"(.*?)(\d+)(\D*)", code)
        if not match:
            continue
        front, figures, behind = (part.replace("{", "{{").replace("}", "}}") for part in match.groups())
        if year := re.fullmatch(r"(\D*)((?:19|20)\d{2}|\d{2})(\D+)", front):
            place = "{century_year:04}" if len(year[2]) == 4 else "{year:02}"
            front = f"{year[1]}{place}{year[3]}"
        elif re.search(r"\d", front):
            continue  # of a kind that cannot be counted on
        shapes[f"{front}{{number:0{len(figures)}}}{behind}"] += 1
    return shapes.most_common(1)[0][0] if shapes else _FIRST_CODE


def _number(code: str, shape: str, year: int) -> int:
    """The number of a code, folded, of this shape and year; 0 where it is of another."""
    front, _, behind = re.split(r"(\{number:0\d+\})", shape)
    before, after = (_folded_part(part, year) for part in (front, behind))
    match = re.fullmatch(rf"{re.escape(before)}(\d+){re.escape(after)}", code)
    return int(match[1]) if match else 0


def _folded_part(part: str, year: int) -> str:
    """A part of a shape as `folded` has it within a code."""
    text = part.format(year=year % 100, century_year=year)
    return re.sub(r"[-_/]", " ", text.casefold())
