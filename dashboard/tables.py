"""Small pieces of HTML that pages place: figures, ledgers, sentences beside."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import pandas as pd

from dashboard.analysis.overruns import CAUSES, totals
from dashboard.words import hours, signed_hours


def figures(items: Iterable[tuple[str, str, bool]]) -> str:
    """A few figures under their words; the third of each says that it is over."""
    cells = "".join(f"<div{' class=over' if over else ''}><dt>{escape(words)}</dt><dd>{escape(value)}</dd></div>" for words, value, over in items)
    return f'<dl class="figures">{cells}</dl>'


def beside(sentences: Iterable[str]) -> str:
    """Sentences beside the figures."""
    return "".join(f'<p class="beside">{escape(sentence)}</p>' for sentence in sentences)


def phase_table(phases: pd.DataFrame) -> str:
    """Hours by phase as a ledger, all phases at its foot."""
    heads = ["phase", "works", "estimated, h", "actual, h", "difference, h", *(f"{words}, h" for words in CAUSES.values())]
    rows = [[row["phase"], f"{row['works']}", *_cells(row)] for _, row in phases.iterrows()]
    rows.append(["all phases", "", *_cells(totals(phases))])
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    onward = '<p class="beside narrow-only">The four parts of the difference are further right in the table.</p>'
    return f'{onward}<div class="ledger-wrap" tabindex="0" role="region" aria-label="Hours by phase"><table class="ledger"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def _cells(row: pd.Series) -> list[str]:
    return [hours(row["estimated_hours"]), hours(row["actual_hours"]), *(signed_hours(row[name]) for name in ("difference_hours", *CAUSES))]
