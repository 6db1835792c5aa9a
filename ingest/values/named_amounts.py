"""Names with an amount each, as they are written in one line: `Ilse 70; Bram 55.50`, `on approval 30; at
handover 40`.
"""

from __future__ import annotations

import re
from decimal import Decimal

from ingest.errors import BenchHoursError, NotationError
from ingest.values.numbers import decimal, shortest

_ENDS_IN_NUMBER = re.compile(r"(?P<name>.*?\S)\s*:?\s+(?P<amount>[\d.,]+)\s*%?")


def read_named(text: str, what: str, example: str) -> list[tuple[str, Decimal]]:
    """The names and their amounts, in the order in which they stand; raises where a part is no name with an
    amount above 0.
    """
    amounts: list[tuple[str, Decimal]] = []
    for part in filter(None, (part.strip() for part in text.split(";"))):
        match = _ENDS_IN_NUMBER.fullmatch(part)
        try:
            amount = decimal_of(match["amount"]) if match else None
        except NotationError as error:
            raise BenchHoursError(f'{what}: "{part}" {error.what}', error.mend) from error
        if match is None or amount is None or amount <= 0:
            raise BenchHoursError(
                f'{what}: "{part}" is no name with a number above 0 behind it', f"Write it like {example}."
            )
        amounts.append((match["name"].rstrip(":").strip(), amount))
    return amounts


def decimal_of(text: str) -> Decimal:
    """An amount of money, decimal to the last digit."""
    return exact(decimal(text))


def exact(value: float) -> Decimal:
    """A number as it was written, decimal."""
    return Decimal(shortest(value))
