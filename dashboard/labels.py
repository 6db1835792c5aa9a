"""Labels for works: a QR code that opens the form to log hours on the work, and the code of the work. No title, no owner."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from typing import Literal
from urllib.parse import quote, urlsplit

import segno
import typst

from ingest.errors import BenchHoursError

SIZES: dict[str, tuple[float, float] | None] = {"A4": None, "62x29": (62, 29), "54x25": (54, 25), "38x90": (90, 38), "40x40": (40, 40)}
"""Width and height of a label in mm, alone on its page; A4: a sheet of 3 × 8 labels of 70 × 37 mm, without margins (common practice, no source)."""
_LONGEST_ADDRESS = 1_000

# Each label: the QR code in a square as high as the label, beside it the code of the work in as large a face as fits.
_SHEET = """
#let said = json(bytes(sys.inputs.said))
#set document(title: "Labels", date: none)
#set text(font: ("Libertinus Serif", "New Computer Modern"), fill: black, hyphenate: false)
#let fitting(words, width, height) = context {
  let sizes = (22pt, 18pt, 15pt, 12pt, 10pt, 8pt, 7pt, 6pt, 5pt, 4pt)
  let broken = words.clusters().join(sym.zws)
  let fits(size) = {
    let whole = measure(text(size: size, words))
    let body = if whole.width <= width { words } else { broken }
    let found = measure(block(width: width, text(size: size, body)))
    (found.width <= width and found.height <= height, body)
  }
  let size = sizes.find(size => fits(size).at(0))
  if size == none { size = 4pt }
  block(width: width, height: height, clip: true, align(horizon, text(size: size, fits(size).at(1))))
}
#let label(one, width, height) = {
  let pad = 2mm
  if width < 1.4 * height {  // beside the QR code there would be no room for a line
    let side = calc.min(width, height - 9mm) - 2 * pad
    return block(width: width, height: height, inset: pad, breakable: false, align(center, stack(
      spacing: 1mm, image(bytes(one.drawn), format: "svg", width: side, height: side, alt: one.code),
      fitting(one.code, width - 2 * pad, 8mm),
    )))
  }
  let side = calc.min(height - 2 * pad, width * 0.6)
  block(width: width, height: height, inset: pad, breakable: false, grid(
    columns: (side, 1fr), gutter: 2mm, align: horizon,
    image(bytes(one.drawn), format: "svg", width: side, height: side, alt: one.code),
    fitting(one.code, width - side - 2 * pad - 2mm, height - 2 * pad),
  ))
}
#if said.width == none {
  set page(paper: "a4", margin: 0mm)
  grid(columns: (70mm, 70mm, 70mm), rows: 37mm, ..said.labels.map(one => label(one, 70mm, 37mm)))
} else {
  set page(width: said.width * 1mm, height: said.height * 1mm, margin: 0mm)
  for (number, one) in said.labels.enumerate() {
    if number > 0 { pagebreak() }
    label(one, said.width * 1mm, said.height * 1mm)
  }
}
"""


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
    one = SIZES[size]
    said = {
        "width": one and one[0], "height": one and one[1], "labels": [{"code": code, "drawn": drawn(way_to(address, code))} for code in codes],
    }  # fmt: skip
    return typst.compile(_SHEET.encode(), format=kind, sys_inputs={"said": json.dumps(said)}, ppi=300)


def way_to(address: str, code: str) -> str:
    """The address that opens the form on a work; browsers never send what stands behind the #."""
    return f"{address}/log#work={quote(code, safe='')}"


def drawn(text: str) -> str:
    """A QR code as SVG."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=2, dark="#000", light="#fff", xmldecl=False)
    return out.getvalue().decode()


def checked_address(text: str) -> str:
    """An address of the studio as it is written; raises where it is none."""
    found = urlsplit(text.strip().rstrip("/"))
    if found.scheme not in ("http", "https") or not found.hostname or found.path or found.query or found.fragment or len(text) > _LONGEST_ADDRESS:
        raise BenchHoursError(f'"{text}" is no address of the studio', "Write it like https://192.168.1.20:8411.")
    return f"{found.scheme}://{found.netloc}"
