"""The look of every page and chart, set once: colours, faces, sizes."""

from __future__ import annotations

from typing import Any

PAPER = "#fbf9f4"
INK = "#26241f"
LINEN = "#f1ece1"
THREAD = "#d9d0bf"
SOFT_INK = "#6b6558"
ACCENT = "#1f5c57"
OVER = "#9c4a2f"
ESTIMATE = "#ddd3bf"
CAUSE_COLOURS = {
    "more to treat": "#c9a227",
    "harder going than quoted": OVER,
    "found on the way": "#4a6fa5",
    "quoted, not needed": "#8a9a7b",
}
SERIF = "Georgia, 'Liberation Serif', 'DejaVu Serif', serif"
SANS = "'Segoe UI', 'Helvetica Neue', Helvetica, Arial, 'Liberation Sans', sans-serif"
CHART_TEXT = 13
# Numbers on axes: as many decimals as the step between two of them needs, and no exponent (of "g", d3 makes
# one digit where steps are tens: 1e+1).
NUMBER, SIGNED_NUMBER = ",~f", "+,~f"


def theme_config() -> dict[str, Any]:
    """The same look as options of the page server."""
    return {
        "theme.base": "light",
        "theme.primaryColor": ACCENT,
        "theme.backgroundColor": PAPER,
        "theme.secondaryBackgroundColor": LINEN,
        "theme.textColor": INK,
        "theme.linkColor": ACCENT,
        "theme.borderColor": THREAD,
        "theme.font": SANS,
        "theme.headingFont": SERIF,
        "theme.baseRadius": "small",
        "theme.showWidgetBorder": True,
    }


# What the theme cannot say: the calm spacing of a report, tables as in a ledger, and words that break on a
# phone.
PAGE_STYLE = f"""
<style>
.block-container {{ max-width: 62rem; padding: 1.1rem 1.2rem 4rem; }}
[data-testid="stHeader"] {{ height: 0; min-height: 0; }}
.st-key-pages {{ border-bottom: 1px solid {THREAD}; padding-bottom: .3rem; row-gap: 0; }}
.st-key-pages a {{ padding: .2rem .5rem; }}
.st-key-pages a[aria-current="page"] {{ background: transparent; border-bottom: 2px solid {ACCENT};
  border-radius: 0; }}
a.to-the-form {{ color: {ACCENT}; text-decoration: underline; text-underline-offset: .15em; }}
.st-key-pages a.to-the-form {{ display: inline-flex; min-height: 1.5rem; align-items: center;
  white-space: nowrap; font-size: .875rem; }}
.st-key-pages > div:has(a.to-the-form) {{ width: auto !important; flex: 0 0 auto; }}
.st-key-about a {{ color: {ACCENT}; padding-left: 0; background: transparent !important;
  text-decoration: underline; text-underline-offset: .15em; }}
.st-key-about a span {{ color: {ACCENT}; font-weight: 400; }}
h1 {{ font-size: 1.9rem !important; font-weight: 500 !important; letter-spacing: -0.01em;
  padding-bottom: .8rem !important; }}
h2 {{ font-size: 1.35rem !important; font-weight: 500 !important; padding-top: 1.6rem !important; }}
h3 {{ font-size: 1.1rem !important; font-weight: 500 !important; }}
h3 a {{ color: {ACCENT} !important; }}
.figures {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(9.5rem, 1fr)); gap: .9rem 1.6rem;
  margin: .4rem 0 1.2rem !important; padding: 0 !important; }}
.figures div {{ border-top: 2px solid {THREAD}; padding-top: .45rem; margin: 0 !important; }}
.figures dt {{ color: {SOFT_INK}; font-size: .9rem; }}
.figures dd {{ margin: 0 !important; padding: 0; font-family: {SERIF}; font-size: 1.55rem;
  line-height: 1.25; }}
.figures .over dd {{ color: {OVER}; }}
.ledger-wrap {{ overflow-x: auto; }}
table.ledger {{ border-collapse: collapse; width: 100%; font-size: .92rem;
  font-variant-numeric: tabular-nums; }}
table.ledger th, table.ledger td {{ padding: .38rem .6rem; border: 0; border-bottom: 1px solid {THREAD};
  text-align: right; white-space: nowrap; vertical-align: top; }}
table.ledger .words {{ text-align: left; white-space: normal; min-width: 6.5rem; }}
table.ledger th:first-child, table.ledger td:first-child {{ padding-left: 0; }}
table.ledger th {{ color: {SOFT_INK}; font-weight: 500; vertical-align: bottom; white-space: normal;
  min-width: 4.4rem; }}
[aria-label="Works"] .words:first-child {{ white-space: nowrap; min-width: 0 !important; }}
[aria-label="Works"] td:nth-child(2), [aria-label="Phases"] td:last-child,
[aria-label="What becomes of the rows"] td:nth-child(3) {{ min-width: 15rem; }}
table.ledger tr.group th {{ text-align: left; padding: .8rem 0 .2rem; color: {INK}; font-family: {SERIF};
  font-size: 1rem; }}
table.ledger.footed tr:last-child td {{ border-bottom: 0; border-top: 1px solid {INK}; }}
table.ledger a, .beside a {{ color: {ACCENT}; text-decoration: underline; text-underline-offset: .15em; }}
.beside {{ color: {SOFT_INK}; font-size: .95rem; margin: 0 0 .4rem !important; }}
[data-testid="stLayoutWrapper"]:has(> .st-key-done) {{ position: sticky; top: .5rem; z-index: 20; }}
.st-key-done {{ background: {PAPER}; border-bottom: 1px solid {THREAD}; padding: .3rem 0; gap: .3rem; }}
.st-key-done a {{ background: transparent !important; text-decoration: underline;
  text-underline-offset: .15em; }}
[data-testid="stLayoutWrapper"]:has(> .st-key-counts) {{ position: sticky; bottom: 0; z-index: 15; }}
.st-key-counts {{ background: {PAPER}; border-top: 2px solid {THREAD}; padding: .3rem 0; max-height: 20vh;
  overflow: auto; }}
:has(> * .st-key-counts) {{ scroll-padding-bottom: 5rem; }}
.narrow-only {{ display: none; }}
@media (max-width: 40rem) {{
  .narrow-only {{ display: block; }}
  table.ledger {{ font-size: .86rem; }}
  table.ledger th, table.ledger td {{ padding: .34rem .35rem; }}
  .block-container {{ padding: .6rem .8rem 3rem; }}
  h1 {{ font-size: 1.5rem !important; }}
  .st-key-pages a {{ padding: .5rem; }}
  .st-key-choices > div {{ width: calc(50% - .5rem) !important; min-width: 0 !important; flex: 0 0 auto; }}
  .st-key-choices > div > div {{ width: 100% !important; }}
}}
</style>
"""


def chart_config() -> dict[str, Any]:
    """Vega-Lite configuration shared by all charts."""
    text = {
        "labelFont": SANS,
        "titleFont": SANS,
        "labelFontSize": CHART_TEXT,
        "titleFontSize": CHART_TEXT,
        "labelColor": INK,
        "titleColor": SOFT_INK,
        "titleFontWeight": 400,
    }
    return {
        "background": PAPER,
        "view": {"stroke": None},
        "axis": {**text, "domain": False, "ticks": False, "gridColor": LINEN, "labelPadding": 8},
        "legend": {**text, "symbolType": "square"},
        "text": {"font": SANS, "fontSize": CHART_TEXT, "color": INK},
    }
