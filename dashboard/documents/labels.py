"""Labels for works: a QR code that opens the form to log hours on the work, and the code of the work. No
title, no owner.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Literal
from urllib.parse import quote, urlsplit

import segno

from dashboard.documents.typesetting import typeset
from ingest.errors import BenchHoursError

SIZES: dict[str, tuple[float, float] | None] = {
    "A4": None,
    "62x29": (62, 29),
    "54x25": (54, 25),
    "38x90": (90, 38),
    "40x40": (40, 40),
}
"""Width and height of a label in mm, alone on its page; A4: a sheet of 3 × 8 labels of 70 × 37 mm, without
margins (common practice, no source)."""
_LONGEST_ADDRESS = 1_000


def sheet(codes: Sequence[str], address: str, size: str = "A4") -> bytes:
    """A PDF of labels.

    Parameters
    ----------
    codes : of the works.
    address : of the studio for phones, like https://192.168.1.20:8411.
    size : of `SIZES`.
    """
    return compiled(codes, address, size, "pdf")


def compiled(codes: Sequence[str], address: str, size: str, kind: Literal["pdf", "png"]) -> bytes:
    """The same as a PDF, or its first page as a picture."""
    width, height = SIZES[size] or (None, None)
    labels = [{"code": code, "qr_code": qr_svg(form_address(address, code))} for code in codes]
    data = {"width": width, "height": height, "labels": labels}
    return typeset("labels", data=data, kind=kind, dots_per_inch=300)[0]


def form_address(address: str, code: str) -> str:
    """The address that opens the form on a work; browsers never send what stands behind the #."""
    return f"{address}/log#work={quote(code, safe='')}"


def qr_svg(text: str) -> str:
    """A QR code as SVG."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", border=2, dark="#000", light="#fff", xmldecl=False
    )
    return out.getvalue().decode()


def checked_address(text: str) -> str:
    """An address of the studio as it is written; raises where it is none."""
    parts = urlsplit(text.strip().rstrip("/"))
    if (
        parts.scheme not in ("http", "https")
        or not parts.hostname
        or parts.path
        or parts.query
        or parts.fragment
        or len(text) > _LONGEST_ADDRESS
    ):
        raise BenchHoursError(
            f'"{text}" is no address of the studio', "Write it like https://192.168.1.20:8411."
        )
    return f"{parts.scheme}://{parts.netloc}"
