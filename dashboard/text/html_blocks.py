"""Small pieces of HTML that pages place: figures, ledgers, sentences beside."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import pandas as pd
from markupsafe import Markup

from dashboard.analysis.report.overruns import CAUSES
from dashboard.formatting import CONFIDENCES, counted, day, hours, signed_hours, text
from dashboard.queries import Row
from dashboard.text.rounding import as_shown
from dashboard.text.templating import body_of_table, link, piece


@dataclass(frozen=True, slots=True)
class Link:
    """A cell that leads to another page of ours."""

    text: str
    address: str

    def __html__(self) -> Markup:
        return link(self.address, self.text)


Cell = str | Link
SUM_HEADS = ("estimated, h", "actual, h", "difference, h", *(f"{words}, h" for words in CAUSES.values()))


def figures(items: Iterable[tuple[str, str, bool]]) -> Markup:
    """A few figures under their words; the third of each says that it is over."""
    return piece("figures", items)


def beside(sentences: Iterable[Cell]) -> Markup:
    """Sentences beside the figures."""
    return piece("beside", sentences)


def ledger(
    name: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[Cell] | str],
    *,
    words: Collection[int] = (0,),
    foot: bool = False,
) -> Markup:
    """A table in our look, in a frame of its own that scrolls sideways where the screen is narrow.

    Parameters
    ----------
    name : what the table is, for those who hear it.
    rows : the cells of each row; a text alone heads the rows that follow.
    words : which columns are words; the rest are numbers, set to the right.
    foot : the last row is the sum of all.
    """
    kinds = ["words" if number in words else "" for number in range(len(heads))]
    return piece("ledger", name, heads, kinds, body_of_table(rows, kinds), foot)


def versions(frame: pd.DataFrame, prices: Sequence[str] | None) -> Markup:
    """The versions of an estimate (see `dashboard.queries.versions`); with `prices` in words, also with the
    reasons that were written.
    """
    heads = ["version", "made", "approved", "lines", "hours", "low to high, h"]
    rows = [
        [
            f"{row['version']}{', option ' + row['option'] if text(row['option']) else ''}",
            day(row["made_on"]),
            _answer(row, because=prices is not None),
            f"{row['lines']}",
            hours_of(row),
            _range(row),
        ]
        for row in frame.to_dict("records")
    ]
    if prices is not None:
        heads = [*heads[:3], "reason", *heads[3:], "price"]
        rows = [
            [*cells[:3], text(row["reason"]), *cells[3:], price]
            for cells, row, price in zip(rows, frame.to_dict("records"), prices, strict=True)
        ]
    return ledger("Versions of the estimate", heads, rows, words=range(3 if prices is None else 4))


def _answer(row: Row, *, because: bool) -> str:
    """The owner’s answer to a version; `because`: with the reason."""
    if text(row["outcome"]):
        return f"{row['outcome']} {day(row['ended_on'])}" + (
            f": {why}" if because and (why := text(row["ended_because"])) else ""
        )
    return day(row["approved_on"]) if pd.notna(row["approved_on"]) else "not approved"


def _range(row: Row) -> str:
    if pd.notna(row["p10"]):
        return f"{hours(row['p10'])} to {hours(row['p90'])}"
    return (
        f"{hours(row['low_hours'])} to {hours(row['high_hours'])}"
        if row["low_hours"] < row["high_hours"]
        else ""
    )


def hours_of(row: Row, unit: str = "") -> str:
    """Hours of a version: of one that was saved from a quote those that it promised, with the chance; else
    the sum of its lines, and how many of them have none.
    """
    if pd.notna(row["promised_hours"]):
        if row["approved_stays"]:
            return f"{hours(row['promised_hours'])}{unit} (with what was found)"
        return f"{hours(row['promised_hours'])}{unit} ({CONFIDENCES.get(int(row['confidence']), '')})"
    return (
        hours(row["hours"])
        + unit
        + (f" and {counted(row['unpriced'], 'line')} without hours" if row["unpriced"] else "")
    )


def sum_cells(row: pd.Series | Row) -> list[str]:
    """The cells under `SUM_HEADS`; of a line of a work without an estimate its hours alone, as there is
    nothing to hold them against.
    """
    if row.get("yardstick") == "none":
        return ["–", hours(row["actual_hours"]), *["–"] * (1 + len(CAUSES))]
    shown = as_shown(row)
    return [
        hours(shown["estimated_hours"]),
        hours(shown["actual_hours"]),
        *(signed_hours(shown[name]) for name in ("difference_hours", *CAUSES)),
    ]
