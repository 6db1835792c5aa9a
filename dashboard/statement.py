"""The dated hours of one work as a page to print, for its treatment report. No person and no owner is named."""

from __future__ import annotations

from datetime import date
from html import escape

import pandas as pd

from dashboard import look
from dashboard.words import amount, day, hours, text

_STYLE = f"""body {{ font: 11pt {look.SANS}; color: {look.INK}; max-width: 48rem; margin: 2rem auto; padding: 0 1rem; }}
h1 {{ font: 500 18pt {look.SERIF}; }} h2 {{ font: 500 13pt {look.SERIF}; margin-top: 1.6rem; }}
table {{ border-collapse: collapse; width: 100%; }} th, td {{ text-align: left; padding: .25rem .5rem; border-bottom: 1px solid {look.THREAD}; vertical-align: top; }}
.n {{ text-align: right; font-variant-numeric: tabular-nums; }} tr {{ break-inside: avoid; }}"""


def as_page(code: str, studio: str, as_of: date, area_dm2: float | None, frame: pd.DataFrame, *, with_notes: bool) -> str:
    """One HTML document that stands alone.

    Parameters
    ----------
    studio : its name; may be empty.
    frame : of `dashboard.reading.dated_hours`.
    with_notes : the notes of the entries too.
    """
    charges = {"extra": "extra", "own_cost": "own cost", "quoted": ""}
    heads = ["day", "phase", "technique", "part", "hours", "quantity", "charge", *(["note"] if with_notes else [])]
    worked = frame[frame["hours"] > 0]
    rows = [
        [day(row["day"]), row["phase"], row["technique"], row["part"], hours(row["hours"]), amount(row["quantity"], row["unit"]), charges[row["charge"]], *([text(row["note"])] if with_notes else [])]
        for row in worked.to_dict("records")
    ]  # fmt: skip
    waits = [
        [day(row["day"]), row["phase"], row["technique"], row["part"], hours(row["unattended_hours"])]
        for row in frame[frame["unattended_hours"] > 0].to_dict("records")
    ]
    sums = worked.groupby(["position", "phase"], dropna=False)[["hours"]].sum().reset_index()  # in the order of a treatment
    totals = [[row["phase"], hours(row["hours"])] for row in sums.to_dict("records")]
    totals.append(["all", hours(worked["hours"].sum())])
    size = f"{area_dm2:,.1f} dm²" if area_dm2 else ""
    waiting = (
        f"<h2>Waiting (pressing, drying): elapsed time, no hours of work</h2>{_table(['from', 'phase', 'technique', 'part', 'hours elapsed'], waits)}"
        if waits
        else ""
    )
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Hours of {escape(code)}</title><style>{_STYLE}</style>'
        f"<h1>Hours of treatment: {escape(code)}</h1><p>{escape(', '.join(filter(None, (studio, size))) or 'Dated hours')}, to {day(as_of)}. Decimal hours, to a tenth; sums are of the exact hours.</p>"
        f"<h2>By phase</h2>{_table(['phase', 'hours'], totals)}<h2>Day by day</h2>{_table(heads, rows)}{waiting}</html>"
    )


def _table(heads: list[str], rows: list[list[str]]) -> str:
    numbers = {n for n, head in enumerate(heads) if head in ("hours", "hours elapsed", "quantity")}
    side = [' class="n"' if n in numbers else "" for n in range(len(heads))]
    head = "".join(f"<th{side[n]}>{escape(words)}</th>" for n, words in enumerate(heads))
    body = "".join("<tr>" + "".join(f"<td{side[n]}>{escape(str(cell))}</td>" for n, cell in enumerate(row)) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
