"""The letter as one page of HTML that stands alone."""

from __future__ import annotations

from html import escape

from dashboard import look
from dashboard.letter.blocks import Block, Letter

_STYLE = f"""body {{ font: 11pt {look.SERIF}; color: {look.INK}; background: #fff; max-width: 46rem; margin: 2rem auto; padding: 0 1rem; line-height: 1.45; }}
h1 {{ font-size: 15pt; font-weight: 500; }} h2 {{ font-size: 13pt; font-weight: 500; margin-top: 2rem; }} h3 {{ font-size: 11pt; margin: 1.3rem 0 .4rem; }}
header p, footer, .soft {{ color: {look.SOFT_INK}; }} .small {{ color: {look.SOFT_INK}; font-size: 9pt; }}
dl {{ display: grid; grid-template-columns: minmax(7rem, 12rem) 1fr; gap: .25rem 1rem; }} dt {{ color: {look.SOFT_INK}; }} dd {{ margin: 0; overflow-wrap: anywhere; }}
.wrap {{ overflow-x: auto; }} table {{ border-collapse: collapse; width: 100%; }} th, td {{ text-align: left; padding: .25rem .4rem; border-bottom: 1px solid {look.THREAD}; vertical-align: bottom; }}
th {{ color: {look.SOFT_INK}; font-weight: 500; }} .n {{ text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }} .foot td {{ font-weight: 600; }}
tr, svg {{ break-inside: avoid; }} .sign {{ display: grid; grid-template-columns: 1fr 9rem 15rem; gap: 1rem; margin-top: 2.4rem; }} .sign i {{ border-top: 1px solid {look.INK}; font-size: 9pt; font-style: normal; align-self: end; }}
@media (max-width: 40rem) {{ .sign {{ grid-template-columns: 1fr; }} dl {{ grid-template-columns: 1fr; gap: 0 0; }} dd {{ margin-bottom: .4rem; }} }}"""
_SIDE = 14


def as_page(letter: Letter) -> str:
    """One HTML document."""
    head = "".join(f"<br>{escape(line)}" for line in letter.letterhead)
    addressee = "<br>".join(escape(line) for line in letter.addressee)
    signs = "".join(f'<div class="sign"><span>{escape(what)}</span><i>date</i><i>name and signature of the owner</i></div>' for what in letter.approvals)
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>{escape(letter.subject)}</title><style>{_STYLE}</style>'
        f"<header><p><strong>{escape(letter.studio)}</strong>{head}</p></header><p>{addressee}</p><p>{escape(letter.day)}{f'<br><span class=soft>{escape(letter.number)}</span>' if letter.number else ''}</p><h1>{escape(letter.subject)}</h1>"
        f"{''.join(map(_block, letter.blocks))}{f'<h3>Approved</h3>{signs}' if letter.approvals else ''}</html>"
    )


def _block(one: Block) -> str:
    match one.kind:
        case "heading":
            return f"<h2>{escape(one.text)}</h2>"
        case "subheading":
            return f"<h3>{escape(one.text)}</h3>"
        case "facts":
            return f"<dl>{''.join(f'<dt>{escape(name)}</dt><dd>{escape(value)}</dd>' for name, value in one.rows)}</dl>"
        case "table":
            return _table(one)
        case "dots":
            return _dots(one)
    return f"<p{' class=small' if one.kind == 'small' else ''}>{escape(one.text)}</p>"


def _table(one: Block) -> str:
    side = [' class="n"' if n in one.right else "" for n in range(len(one.heads))]
    head = "".join(f'<th scope="col"{side[n]}>{escape(word)}</th>' for n, word in enumerate(one.heads))
    rows = "".join(
        f"<tr{' class=foot' if number >= len(one.rows) - one.foot else ''}>"
        + "".join(f"<td{side[n]}>{escape(cell)}</td>" for n, cell in enumerate(row))
        + "</tr>"
        for number, row in enumerate(one.rows)
    )
    return (
        f'<div class="wrap" role="region" tabindex="0" aria-label="{escape(one.text)}"><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _dots(one: Block) -> str:
    wide, high = 34 * _SIDE, (max(level for _, level in one.dots) + 1) * _SIDE
    drawn = "".join(
        f'<circle cx="{place * wide:.1f}" cy="{high + 20 - (level + 0.5) * _SIDE:.1f}" r="{_SIDE / 2 - 1}" fill="{look.ACCENT if number < one.within else look.OVER}"/>'
        for number, (place, level) in enumerate(one.dots)
    )
    at = one.promise * wide
    return (
        f'<svg viewBox="0 0 {wide} {high + 44}" style="width:100%;max-width:{wide}px" role="img" aria-label="{escape(one.text)}" font-size="12" fill="{look.INK}">{drawn}'
        f'<line x1="{at:.1f}" x2="{at:.1f}" y1="16" y2="{high + 22}" stroke="{look.INK}"/><text x="{min(at, wide - 90):.1f}" y="12">{escape(one.ends[2])}</text>'
        f'<text x="0" y="{high + 38}">{escape(one.ends[0])}</text><text x="{wide}" y="{high + 38}" text-anchor="end">{escape(one.ends[1])}</text></svg><p class="small">{escape(one.text)}</p>'
    )
