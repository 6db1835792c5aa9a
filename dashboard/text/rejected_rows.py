"""What is wrong with rejected rows, in words: each fault by itself, and once for each version of an estimate
that its other rows stay out with it.
"""

from __future__ import annotations

import json

import pandas as pd

from dashboard.formatting import counted
from dashboard.text.foreign_tables import place_word
from ingest.importing.check import REMARK_COLUMNS, Checked
from ingest.importing.estimates import VERSION_HAS_FAULT


def faults_by_row(report: Checked) -> pd.DataFrame:
    """The single faults: frame as `Checked.problems`."""
    return report.problems[(report.faults["code"] != VERSION_HAS_FAULT).to_numpy(dtype=bool)]


def versions_kept_out(report: Checked) -> pd.DataFrame:
    """Of each version that stays out for a fault in one of its rows, what becomes of the others: frame as
    `Checked.problems`, each with the line of that row.
    """
    of_others = (report.faults["code"] == VERSION_HAS_FAULT).to_numpy(dtype=bool)
    problems = report.problems[of_others].assign(details=report.faults["details"][of_others])
    place = place_word(report.file)
    versions = [
        (int(json.loads(str(details))["line"]), rows["mend"].iloc[0], len(rows))
        for details, rows in problems.groupby("details", sort=False)
    ]
    return pd.DataFrame(
        [
            (line, "version", None, _others_stay_out(others, f"{place} {line}"), mend)
            for line, mend, others in sorted(versions)
        ],
        columns=REMARK_COLUMNS,
    )


def _others_stay_out(others: int, place: str) -> str:
    stay = "stays" if others == 1 else "stay"
    return f"of this version {counted(others, 'other row')} {stay} out with {place}"
