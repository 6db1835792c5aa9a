"""Sizes of works as people write them, in centimetres and square decimetres; read as
`ingest.values.numbers` reads numbers.
"""

from __future__ import annotations

import re
import unicodedata

from ingest.errors import NotationError
from ingest.values.numbers import decimal

DM2_PER_SQUARE = {"mm2": 1e-4, "cm2": 0.01, "dm2": 1.0, "m2": 100.0}
CM_PER_INCH = 2.54
_FRACTION = re.compile(r"(?:(?P<whole>\d{1,5})(?:\s+|\s*-\s*))?(?P<above>\d{1,2})[/\u2044](?P<below>\d{1,2})")
_BETWEEN_SIDES = re.compile(r"\s*[×x*]\s*|\s+by\s+", re.I)
_UNIT_BEHIND = re.compile(r"\s*(?:[^\W\d_¼½¾]+|[\"″])$")


def centimetres(text: str) -> float:
    """A length in cm; `24 in`, `24"`, `24 1/2 in`, `24½"`, `600 mm`, `0.6 m` are converted (1 inch = 2.54 cm
    exactly).
    """
    cleaned = text.strip().casefold()
    factors = {
        "cm": 1.0,
        "mm": 0.1,
        "m": 100.0,
        "inches": CM_PER_INCH,
        "inch": CM_PER_INCH,
        "in": CM_PER_INCH,
        '"': CM_PER_INCH,
        "″": CM_PER_INCH,
    }
    for unit in sorted(factors, key=len, reverse=True):
        if cleaned.endswith(unit):
            amount = cleaned.removesuffix(unit)
            # 24.5 in are 62.23 cm: what binary fractions add behind is no part of the length
            return round(
                (_with_fraction(amount) if factors[unit] == CM_PER_INCH else decimal(amount)) * factors[unit],
                9,
            )
    return decimal(cleaned)


def two_sides(text: str) -> tuple[str, str]:
    """Height and width of `60 × 80`, `60x80 cm` or `24 × 36 in`, each as `centimetres` reads it; a unit that
    stands once, behind both, is of both.
    """
    sides = [side.strip() for side in _BETWEEN_SIDES.split(text.strip())]
    if len(sides) != 2 or not all(sides):
        raise NotationError("not_a_size")
    height, width = sides
    unit = _UNIT_BEHIND.search(width)
    if unit and not _UNIT_BEHIND.search(height):
        height = f"{height} {unit[0].strip()}"
    return height, width


def _with_fraction(text: str) -> float:
    """A number that may end in a fraction, as inches are written: `24.5`, `24 1/2`, `24-1/2`, `24½`."""
    spelled = re.sub("[¼½¾⅐-⅞]", lambda sign: f" {unicodedata.normalize('NFKC', sign[0])}", text).strip()
    if match := _FRACTION.fullmatch(spelled):
        above, below = int(match["above"]), int(match["below"])
        if 0 < above < below:
            return int(match["whole"] or 0) + above / below
    return decimal(text)


def square_decimetres(text: str) -> float:
    """An area in dm²; `cm2`, `mm2` and `m2` (or with ²) are converted."""
    cleaned = text.strip().casefold().replace("²", "2").replace("^2", "2").replace(" ", "")
    for unit in sorted(DM2_PER_SQUARE, key=len, reverse=True):
        if cleaned.endswith(unit):
            return round(decimal(cleaned.removesuffix(unit)) * DM2_PER_SQUARE[unit], 9)
    return decimal(cleaned)
