"""The letter as one page of HTML that stands alone."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from dashboard import theme
from dashboard.documents.blocks import Block, Letter
from dashboard.text import templating

_STYLE = f"""body {{ font: 11pt {theme.SERIF}; color: {theme.INK}; background: #fff; max-width: 46rem;
  margin: 2rem auto; padding: 0 1rem; line-height: 1.45; }}
h1 {{ font-size: 15pt; font-weight: 500; }} h2 {{ font-size: 13pt; font-weight: 500; margin-top: 2rem; }}
h3 {{ font-size: 11pt; margin: 1.3rem 0 .4rem; }}
header p, footer, .soft {{ color: {theme.SOFT_INK}; }} .small {{ color: {theme.SOFT_INK}; font-size: 9pt; }}
dl {{ display: grid; grid-template-columns: minmax(7rem, 12rem) 1fr; gap: .25rem 1rem; }}
dt {{ color: {theme.SOFT_INK}; }} dd {{ margin: 0; overflow-wrap: anywhere; }}
.wrap {{ overflow-x: auto; }} table {{ border-collapse: collapse; width: 100%; }}
th, td {{ text-align: left; padding: .25rem .4rem; border-bottom: 1px solid {theme.THREAD};
  vertical-align: bottom; }}
th {{ color: {theme.SOFT_INK}; font-weight: 500; }} .foot td {{ font-weight: 600; }}
.n {{ text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }}
tr, svg {{ break-inside: avoid; }}
.sign {{ display: grid; grid-template-columns: 1fr 9rem 15rem; gap: 1rem; margin-top: 2.4rem; }}
.sign i {{ border-top: 1px solid {theme.INK}; font-size: 9pt; font-style: normal; align-self: end; }}
@media (max-width: 40rem) {{ .sign, dl {{ grid-template-columns: 1fr; }} dl {{ gap: 0 0; }}
  dd {{ margin-bottom: .4rem; }} }}"""
_SIDE = 14


@dataclass(frozen=True, slots=True)
class _Drawn:
    """The drawing of a block of dots, in units of SVG.

    Attributes
    ----------
    wide : width.
    high : height.
    radius : of a dot.
    dots : x and y of each, and whether it is within the promise.
    promise : x of its line.
    words : x of the words at it.
    """

    wide: int
    high: int
    radius: str
    dots: list[tuple[str, str, bool]]
    promise: str
    words: str


def as_page(letter: Letter) -> str:
    """One HTML document."""
    return templating.document("letter", letter=letter, style=Markup(_STYLE), look=theme, drawn=_drawn)


def _drawn(block: Block) -> _Drawn:
    wide, high = 34 * _SIDE, (max(level for _, level in block.dots) + 1) * _SIDE
    at = block.promise * wide
    dots = [
        (f"{place * wide:.1f}", f"{high + 20 - (level + 0.5) * _SIDE:.1f}", number < block.within)
        for number, (place, level) in enumerate(block.dots)
    ]
    return _Drawn(wide, high, f"{_SIDE / 2 - 1}", dots, f"{at:.1f}", f"{min(at, wide - 90):.1f}")
