"""The dated hours of one work as a page to print, for its treatment report; it names nobody."""

from __future__ import annotations

from datetime import date

import pandas as pd
from markupsafe import Markup

from dashboard import theme
from dashboard.formatting import amount, day, hours, text
from dashboard.text import templating
from ingest.values.line_names import line_cells, phase_name

_STYLE = f"""body {{ font: 11pt {theme.SANS}; color: {theme.INK}; max-width: 48rem; margin: 2rem auto;
  padding: 0 1rem; }}
h1 {{ font: 500 18pt {theme.SERIF}; }} h2 {{ font: 500 13pt {theme.SERIF}; margin-top: 1.6rem; }}
table {{ border-collapse: collapse; width: 100%; }} tr {{ break-inside: avoid; }}
th, td {{ text-align: left; padding: .25rem .5rem; border-bottom: 1px solid {theme.THREAD};
  vertical-align: top; }}
.n {{ text-align: right; font-variant-numeric: tabular-nums; }}"""


def as_page(
    code: str, studio: str, as_of: date, area_dm2: float | None, frame: pd.DataFrame, *, with_notes: bool
) -> str:
    """One HTML document that stands alone.

    Parameters
    ----------
    studio : its name; may be empty.
    frame : of `dashboard.queries.dated_hours`.
    with_notes : the notes of the entries too.
    """
    charges = {"extra": "extra", "own_cost": "own cost", "quoted": ""}
    heads = [
        "day",
        "phase",
        "technique",
        "part",
        "hours",
        "quantity",
        "charge",
        *(["note"] if with_notes else []),
    ]
    worked = frame[frame["hours"] > 0]
    rows = [
        [
            day(row["day"]),
            *line_cells(*(text(row[name]) for name in ("phase", "technique", "part"))),
            hours(row["hours"]),
            amount(row["quantity"], row["unit"]),
            charges[row["charge"]],
            *([text(row["note"])] if with_notes else []),
        ]
        for row in worked.to_dict("records")
    ]
    waits = [
        [
            day(row["day"]),
            *line_cells(*(text(row[name]) for name in ("phase", "technique", "part"))),
            hours(row["unattended_hours"]),
        ]
        for row in frame[frame["unattended_hours"] > 0].to_dict("records")
    ]
    # in the order of a treatment
    sums = worked.groupby(["position", "phase"], dropna=False)[["hours"]].sum().reset_index()
    totals = [[phase_name(text(row["phase"])), hours(row["hours"])] for row in sums.to_dict("records")]
    totals.append(["all", hours(worked["hours"].sum())])
    size = f"{area_dm2:,.1f} dm²" if area_dm2 else ""
    return templating.document(
        "statement",
        style=Markup(_STYLE),
        code=code,
        about=", ".join(filter(None, (studio, size))) or "Dated hours",
        as_of=day(as_of),
        totals=_table(["phase", "hours"], totals),
        worked=_table(heads, rows),
        waits=_table(["from", "phase", "technique", "part", "hours elapsed"], waits) if waits else None,
    )


def _table(heads: list[str], rows: list[list[str]]) -> tuple[list[str], list[str], Markup]:
    """The heads, the class of each column, and the rows."""
    kinds = ["n" if head in ("hours", "hours elapsed", "quantity") else "" for head in heads]
    return heads, kinds, templating.body_of_table(rows, kinds)
