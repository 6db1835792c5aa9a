"""What a line is called: its technique, its phase as a whole, or the work as a whole; and its part.

The macro `line_name` of the schema (`011_the_past_comes_in.sql`) says the same, without the part.
"""

from __future__ import annotations

import pandas as pd

AS_A_WHOLE = "as a whole"
THE_WORK = f"the work {AS_A_WHOLE}"
ALL_PHASES = "all phases"


def line_name(phase: str, technique: str, part: str = "") -> str:
    """The name of one line: `lining removal, frame`, `cleaning as a whole`, `the work as a whole`."""
    name = technique or (f"{phase} {AS_A_WHOLE}" if phase else THE_WORK)
    return f"{name}, {part}" if part else name


def line_names(lines: pd.DataFrame) -> pd.Series:
    """The same of each row.

    Parameters
    ----------
    lines : frame `phase`, `technique` and, if the names are to have it, `part`; texts, or null for empty.
    """
    phase, technique = lines["phase"].fillna(""), lines["technique"].fillna("")
    names = technique.where(technique != "", (phase + f" {AS_A_WHOLE}").where(phase != "", THE_WORK))
    if "part" not in lines.columns:
        return names
    part = lines["part"].fillna("")
    return names + (", " + part).where(part != "", "")


def phase_name(phase: str) -> str:
    """What lines of one phase are gathered under: its name, or for no phase the work as a whole."""
    return phase or THE_WORK


def phase_names(phases: pd.Series) -> pd.Series:
    """The same of each row."""
    return phases.where(phases.fillna("") != "", THE_WORK)


def line_cells(phase: str, technique: str, part: str) -> tuple[str, str, str]:
    """A line in three cells of a table, under phase, technique and part; only that of the part may be
    empty.
    """
    return phase or ALL_PHASES, line_name(phase, technique), part
