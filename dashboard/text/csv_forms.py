"""The columns of the CSV forms, as Markdown and as data."""

from __future__ import annotations

from typing import Any

from dashboard.text import markdown
from ingest.schema.csv_columns import (
    CAUTIONS,
    CHARGES,
    CONDITIONS,
    LARGEST_SIDE_CM,
    MODES,
    SHAPES,
    TOTALS,
    UNITS,
    Column,
    Form,
)


def _one_of(words: tuple[str, ...]) -> str:
    return f"{', '.join(f'`{word}`' for word in words[:-1])} or `{words[-1]}`"


CELLS = {
    "text": "any text",
    "words": "words or spellings, with a vertical bar between them",
    "object": "the code of a work that is here, or in another file of the same import",
    "new_object": "the code of a work, as the studio writes it",
    "person": "a name; one not known yet is a new person",
    "phase": "a phase, by its name or another spelling",
    "technique": "a technique, by its name or another spelling",
    "new_phase": "the name of a phase, known or new",
    "new_technique": "the name of a technique, known or new",
    "position": "a whole number: where it stands among the others",
    "version": "a whole number from 1",
    "grade": "0, 1, 2 or 3",
    "unit": _one_of(UNITS),
    "unit_or_none": _one_of((*UNITS, "none")),
    "mode": _one_of(MODES),
    "charge": _one_of(CHARGES),
    "shape": _one_of(SHAPES),
    "condition": _one_of(CONDITIONS),
    "cautions": f"of {', '.join(f'`{word}`' for word in CAUTIONS)}, with a vertical bar between them",
    "currency": "three letters, like `EUR`",
    "day": "a day, like `2026-03-02`",
    "day_or_period": "a day, like `2026-03-02`; of a total a month, like `2026-03`, or a year",
    "total": f"`yes` for the hours of several days, `no`, or how well their date is known: {_one_of(TOTALS)}",
    "instant": "a day and time, like `2026-03-02 09:15`",
    "hours": "hours above 0, like `1.5`, `1:30` or `90 min`",
    "estimate_hours": "hours, 0 or more",
    "quantity": "a number, 0 or more",
    "amount": "an amount of money, without its currency",
    "per_cent": "0 to 100",
    "side": f"cm above 0, to {LARGEST_SIDE_CM:,.0f}, or with its unit, like `24 in`",
    "area": "dm² above 0",
    "yes_or_no": "`yes` or `no`",
}
"""What a cell may be, by the name of its reader (`ingest.importing.cell_readers.READERS`)."""


def table(form: Form) -> str:
    """The columns of a form in Markdown: those that mark its kind have a star."""
    return markdown.table(
        ("column", "a cell"),
        [(f"`{column.name}`{'*' if column.star else ''}", _cell(column)) for column in form.columns],
    )


def as_data(form: Form) -> dict[str, Any]:
    """A form for JSON."""
    return {
        "kind": form.kind,
        "columns": [
            {
                "column": column.name,
                "marks_kind": column.star,
                "never_empty": column.filled,
                "private": column.private,
                "cell": CELLS[column.reading].replace("`", ""),
            }
            for column in form.columns
        ],
    }


def _cell(column: Column) -> str:
    notes = ("never empty" if column.filled else "", "private" if column.private else "")
    return "; ".join(filter(None, (CELLS[column.reading], *notes)))
