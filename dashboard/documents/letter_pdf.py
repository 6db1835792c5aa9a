"""The letter as PDF, A4."""

from __future__ import annotations

from dataclasses import asdict

from dashboard.documents.blocks import Block, Letter
from dashboard.documents.typesetting import typeset


def as_pdf(letter: Letter) -> bytes:
    """The letter as a PDF."""
    return typeset("dots", "letter", data=letter.as_dict(), kind="pdf", dots_per_inch=144)[0]


def as_pictures(letter: Letter, dots_per_inch: float = 110) -> list[bytes]:
    """The pages of the letter as PNG."""
    return typeset("dots", "letter", data=letter.as_dict(), kind="png", dots_per_inch=dots_per_inch)


def dots_as_picture(dots: Block, dots_per_inch: float = 220) -> bytes:
    """A block of dots as PNG, for formats that cannot draw them."""
    return typeset("dots", "dots_picture", data=asdict(dots), kind="png", dots_per_inch=dots_per_inch)[0]
