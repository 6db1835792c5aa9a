"""Numbers as people write them: decimals with a point or a comma, shares, amounts of money.

Functions that read take the text of one value, known not to be blank, and return the value or raise
`NotationError` with the code of what is wrong. Files and forms both read through here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Literal

import numpy as np
from babel.numbers import list_currencies

from ingest.errors import BenchHoursError, NotationError

DecimalMark = Literal["", ".", ","]
# how a file writes decimals, as spreadsheets do; tabs tell nothing
MARK_OF_SEPARATOR: dict[str, DecimalMark] = {",": ".", ";": ","}
_CURRENCIES = frozenset(list_currencies())
_DECIMAL = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_MAY_BE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")


def is_decimal(text: str) -> bool:
    """A text is written as a number, whatever its value."""
    return _DECIMAL.fullmatch(text.replace("\u2212", "-")) is not None


def decimal(text: str) -> float:
    """A number with a decimal point or a decimal comma; no thousands marks, never negative zero.

    `1,450` and `1.450` may be a thousand or one and a half, and are refused; `0.450`, `1450`, `1.45` and
    `1.4500` are not in doubt.
    """
    cleaned = text.strip().replace("\u2212", "-").replace("\u00a0", "")
    if not _DECIMAL.fullmatch(cleaned):
        raise NotationError("not_a_number")
    _refuse_thousands(cleaned)
    value = unmarked(cleaned)
    if not math.isfinite(value):
        raise NotationError("number_too_large")
    return value


def unmarked(cleaned: str) -> float:
    """The value of a number that has no marks between thousands, and may have a decimal comma."""
    return float(cleaned.replace(",", ".")) + 0.0


def _refuse_thousands(cleaned: str) -> None:
    if _MAY_BE_THOUSANDS.fullmatch(cleaned):
        front, behind = re.split("[.,]", cleaned)
        fraction = unmarked(f"{front}.{behind}")
        raise NotationError(
            "thousands_or_decimals",
            thousands=f"{front}{behind}",
            fraction=fraction,
            written=written(fraction),
        )


def of_a_file(text: str, mark: DecimalMark) -> str:
    """A number of a file of which it is known how it writes decimals, so that they are in no doubt before
    three figures; the other mark is, as everywhere.
    """
    return (
        re.sub(rf"(?<![\d.,])([1-9]\d{{0,2}})[{mark}](\d{{3}})(?![\d.,])", r"\1.\g<2>0", text)
        if mark
        else text
    )


def whole(text: str) -> int:
    """A whole number."""
    value = decimal(text)
    if value != int(value):
        raise NotationError("not_a_whole_number")
    return int(value)


def per_cent(text: str) -> float:
    """Percentage, 0 to 100; `¼`, `½`, `¾`, `done` and a sign behind the number are understood."""
    cleaned = text.strip().casefold().removesuffix("%").strip()
    spoken = {"¼": 25.0, "½": 50.0, "¾": 75.0, "1/4": 25.0, "1/2": 50.0, "3/4": 75.0, "done": 100.0}
    value = spoken[cleaned] if cleaned in spoken else decimal(cleaned)
    if not 0 <= value <= 100:
        raise NotationError("not_per_cent")
    return value


def number_called(
    what: str, text: str, most: int, *, read: Callable[[str], float] = decimal, or_zero: bool = False
) -> float:
    """A number typed into a field of its own, above 0 (or from 0 on) and at most `most`; raises with what it
    is called in front.
    """
    try:
        value = read(text)
    except NotationError as error:
        raise BenchHoursError(f'{what} "{text}" {error.what}', error.mend) from error
    if not (value >= 0 if or_zero else value > 0) or value > most:
        raise BenchHoursError(
            f"{what} cannot be {text}",
            f"Write a number {'from 0 on' if or_zero else 'above 0'}, at most {most:,}.",
        )
    return value


def currency(text: str) -> str:
    """A currency by its three letters of ISO 4217, in capitals."""
    letters = text.strip().upper()
    if letters not in _CURRENCIES:
        raise NotationError("not_a_currency")
    return letters


def shortest(value: float) -> str:
    """A number to the last digit, without an exponent and without a zero at its end."""
    return np.format_float_positional(value, trim="-")


def written(value: float) -> str:
    """A number as `decimal` reads it back to the last digit: the shortest such (1.125 with a zero more, or it
    could be one of thousands).
    """
    text = shortest(value)
    return f"{text}0" if _MAY_BE_THOUSANDS.fullmatch(text) else text
