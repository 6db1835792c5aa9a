"""What is wrong with rejected rows is told once: each fault, then which versions stay out with it."""

from __future__ import annotations

from dashboard.text.rejected_rows import faults_by_row, versions_kept_out
from tests.conftest import Bring

HEAD = "object,version,made_on,technique,hours\n"


def test_that_the_rest_of_a_version_stays_out_is_told_once_with_the_mend(studio: Bring) -> None:
    rows = [
        *(f"24-001,1,2024-01-03,{technique},2" for technique in ("facing", "packing", "lining")),
        "24-001,1,2024-01-03,retouching,long",
        "24-002,1,2024-01-03,fasing,2",
        "24-002,1,2024-01-03,packing,2",
    ]
    report = studio("estimates.csv", HEAD + "\n".join(rows) + "\n")
    assert report.outcome.rejected == 6
    assert faults_by_row(report)[["line", "column"]].values.tolist() == [[5, "hours"], [6, "technique"]]
    mend = "Mend that row; a version comes in whole, so bring in all its rows again."
    assert versions_kept_out(report).values.tolist() == [
        [5, "version", None, "of this version 3 other rows stay out with line 5", mend],
        [6, "version", None, "of this version 1 other row stays out with line 6", mend],
    ]


def test_without_a_faulty_version_nothing_is_told_besides(studio: Bring) -> None:
    report = studio("objects.csv", "object,height_cm\n24-009,tall\n")
    assert len(faults_by_row(report)) == 1 and versions_kept_out(report).empty
