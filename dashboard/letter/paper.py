"""The letter on paper: A4, by typst."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any, Literal

import typst

from dashboard.letter.blocks import Block, Letter

# Every text comes in as data and is never read as markup.
_DRAWN = """
#let said = json(bytes(sys.inputs.said))
#let drawn(one) = {
  let side = 3.2mm
  let wide = 120mm
  let high = calc.max(..one.dots.map(dot => dot.at(1))) + 1
  box(width: wide, height: high * side + 11mm, {
    for (number, dot) in one.dots.enumerate() {
      let filled = number < one.within
      place(left + bottom, dx: dot.at(0) * (wide - side), dy: -(dot.at(1) * side) - 5mm, circle(radius: side / 2 - 0.25mm, fill: if filled { rgb("#1f5c57") } else { rgb("#9c4a2f") }))
    }
    place(left + bottom, dx: one.promise * (wide - side) + side / 2, dy: -4.4mm, line(angle: -90deg, length: high * side + 3mm, stroke: 0.8pt))
    place(left + top, dx: calc.max(calc.min(one.promise * (wide - side) - 8mm, wide - 32mm), 0mm), text(size: 8.5pt, one.ends.at(2)))
    place(left + bottom, text(size: 8.5pt, one.ends.at(0)))
    place(right + bottom, text(size: 8.5pt, one.ends.at(1)))
  })
}
"""
_PICTURE = """
#set text(font: ("Libertinus Serif", "New Computer Modern"), fill: rgb("#26241f"), lang: "en")
#set page(width: auto, height: auto, margin: 1mm)
#drawn(said)
"""
_SHEET = """
#set document(title: said.subject, date: none)
#set text(font: ("Libertinus Serif", "New Computer Modern"), size: 10.5pt, fill: rgb("#26241f"), lang: "en", hyphenate: auto)
#set page(paper: "a4", margin: (x: 24mm, top: 24mm, bottom: 22mm), footer: context [
  #set text(size: 8.5pt, fill: rgb("#6b665a"))
  #said.studio #h(1fr) #counter(page).display("1 of 1", both: true)
])
#set par(leading: 0.62em, spacing: 0.85em)
#let thread = 0.4pt + rgb("#cfc8b8")
#if said.studio != "" { text(size: 15pt, said.studio); parbreak() }
#for line in said.letterhead { text(size: 9pt, fill: rgb("#6b665a"), line); linebreak() }
#v(7mm)
#grid(columns: (1fr, auto), for line in said.addressee { line; linebreak() }, align(right)[#said.day #linebreak() #text(size: 9pt, fill: rgb("#6b665a"), said.number)])
#v(6mm)
#block(below: 5mm, text(size: 13pt, said.subject))
#let facts(rows) = grid(columns: (if rows.any(row => row.at(0).len() > 24) { 70mm } else { 38mm }, 1fr), row-gutter: 0.55em, column-gutter: 4mm, ..rows.map(row => (text(fill: rgb("#6b665a"), row.at(0)), row.at(1))).flatten())
#let ledger(one) = {
  let wide = one.heads.len()
  let first = if wide > 4 { (auto, 1fr) } else { (1fr,) }
  let size = if wide > 4 { 9pt } else { 10pt }
  set text(size: size)
  set par(leading: 0.5em)
  table(
    columns: first + range(wide - first.len()).map(_ => auto), stroke: (x, y) => (bottom: thread), inset: (x: 3pt, y: 3.5pt),
    align: (x, y) => if x in one.right { right + bottom } else { left + bottom },
    table.header(..one.heads.map(word => text(fill: rgb("#6b665a"), word))),
    ..one.rows.enumerate().map(((number, row)) => row.map(cell => if number >= one.rows.len() - one.foot { strong(cell) } else { cell })).flatten(),
  )
}
#let dotted(one) = block(breakable: false, {
  drawn(one)
  v(0mm)
  text(size: 9pt, fill: rgb("#6b665a"), one.text)
})
#for one in said.blocks {
  if one.kind == "heading" { block(above: 9mm, below: 3mm, sticky: true, text(size: 13pt, one.text)) }
  else if one.kind == "subheading" { block(above: 5.5mm, below: 2.5mm, sticky: true, strong(one.text)) }
  else if one.kind == "text" { par(one.text) }
  else if one.kind == "small" { block(above: 6mm, text(size: 8.5pt, fill: rgb("#6b665a"), one.text)) }
  else if one.kind == "facts" { facts(one.rows) }
  else if one.kind == "table" { ledger(one) }
  else if one.kind == "dots" { dotted(one) }
}
#if said.approvals.len() > 0 { block(breakable: false, above: 9mm, {
  strong("Approved")
  for what in said.approvals {
    v(9mm)
    grid(columns: (1fr, 34mm, 62mm), column-gutter: 5mm, align: bottom, what, line(length: 100%, stroke: 0.5pt), line(length: 100%, stroke: 0.5pt))
    v(-2mm)
    grid(columns: (1fr, 34mm, 62mm), column-gutter: 5mm, [], text(size: 8.5pt, "date"), text(size: 8.5pt, "name and signature of the owner"))
  }
}) }
"""


def as_pdf(letter: Letter) -> bytes:
    """The letter as a PDF."""
    return _compiled(_SHEET, letter.said(), "pdf")[0]


def as_pictures(letter: Letter, dots_per_inch: float = 110) -> list[bytes]:
    """Its pages as PNG, to be looked at."""
    return _compiled(_SHEET, letter.said(), "png", dots_per_inch)


def dots_as_picture(dots: Block, dots_per_inch: float = 220) -> bytes:
    """The dots of a letter by themselves as PNG, for a setter that cannot draw them."""
    return _compiled(_PICTURE, asdict(dots), "png", dots_per_inch)[0]


def _compiled(template: str, said: dict[str, Any], kind: Literal["pdf", "png"], dots_per_inch: float = 144) -> list[bytes]:
    pages: bytes | list[bytes] = typst.compile((_DRAWN + template).encode(), format=kind, sys_inputs={"said": json.dumps(said)}, ppi=dots_per_inch)
    return pages if isinstance(pages, list) else [pages]
