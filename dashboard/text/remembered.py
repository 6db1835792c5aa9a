"""Works told from memory, in words: one wording wherever they count."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from dashboard.formatting import counted, money
from dashboard.services.prices import without_tax
from ingest.editing.remembered_sheet import QUOTED, TAKEN
from ingest.editing.remembered_works import CellFault
from ingest.studio.settings import Settings

HEADS = {
    "title": "title",
    "kind": "kind",
    "size": "size, cm",
    "structure_condition": "structure",
    "paint_condition": "paint",
    "surface_condition": "surface",
    "when": "year or month",
    "quoted": "hours quoted",
    "taken": "hours taken",
    "price": "price",
}
"""Heads of the columns of the sheet."""

OF_ONE_WORK = "Told from memory: its hours were not logged, and nothing of it counts as a promise."


def head_of(column: str) -> str:
    """Head of any column of the sheet, those of a phase too."""
    for prefix, words in ((QUOTED, "quoted"), (TAKEN, "taken")):
        if column.startswith(prefix):
            return f"{column.removeprefix(prefix)}, {words}"
    return HEADS.get(column, column)


def fault_sentences(faults: Iterable[CellFault], rows: Sequence[Mapping[str, str]]) -> list[str]:
    """Each fault by its row of the sheet, with its title, and its column; what is of the sheet and not of a
    row is said once.
    """
    return list(dict.fromkeys(_sentence(fault, rows[fault.row - 1].get("title", "")) for fault in faults))


def _sentence(fault: CellFault, title: str) -> str:
    if fault.column == "person":
        return "Whose hours these are is not said yet. Write it above the sheet."
    row = f"Row {fault.row} ({title})" if title else f"Row {fault.row}"
    value = f' "{fault.value}"' if fault.value else ""
    return f"{row}, {head_of(fault.column)}{value}: {fault.reason}. {fault.mend}"


def works_behind(works: int, remembered: int, word: str = "") -> str:
    """How many works something rests on, and how many of them were remembered: `14, 9 from memory`, or with
    their word `14 finished works, 9 from memory`; where none was, as any count.
    """
    number = counted(works, word) if word else f"{works:,}"
    return f"{number}, {remembered:,} from memory" if remembered else number


def among(works: int, remembered: int) -> str:
    """`Of these 66 works 9 are from memory.`, or nothing where none is."""
    if not remembered:
        return ""
    verb = "is" if remembered == 1 else "are"
    return (
        f"Of {'this' if works == 1 else 'these'} {counted(works, 'work')} {remembered:,} {verb} from memory."
    )


def earned(works: pd.DataFrame, an_hour: pd.Series, studio: Settings) -> str:
    """What an hour of works from memory earned, all together; nothing where no price is known. `an_hour` of
    `dashboard.services.prices.earned`, of `works`.
    """
    hours = works["hours"].where(an_hour.notna(), 0.0)
    priced = int(an_hour.notna().sum())
    if not priced:
        return ""
    together = float((an_hour * works["hours"]).sum() / hours.sum())
    return (
        f"An hour of them earned {money(together, studio.currency)}{without_tax(studio)}, over"
        f" {counted(priced, 'work')} with a price."
    )


def left_out(remembered: int) -> str:
    """Said where works from memory are no part of a figure, as nothing of them was promised."""
    if not remembered:
        return ""
    verb = "is" if remembered == 1 else "are"
    return (
        f"{counted(remembered, 'work')} told from memory {verb} left out: what is told once it is over was no"
        " promise."
    )
