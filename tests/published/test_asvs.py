"""The list of security controls in asvs.toml against the standard: OWASP Application Security Verification
Standard 5.0.0 (OWASP/ASVS, 5.0/docs_en, CSV of the requirements).
"""

from __future__ import annotations

import re
import tomllib

from tests import ROOT

# Of each section how its requirements of levels 1 and 2 are numbered: they stand before those of level 3.
UP_TO = {
    "1.1": 2,
    "1.2": 9,
    "1.3": 11,
    "1.4": 3,
    "1.5": 2,
    "2.1": 3,
    "2.2": 3,
    "2.3": 4,
    "2.4": 1,
    "3.2": 2,
    "3.3": 4,
    "3.4": 6,
    "3.5": 5,
    "3.7": 2,
    "4.1": 3,
    "4.2": 1,
    "4.3": 2,
    "4.4": 4,
    "5.1": 1,
    "5.2": 3,
    "5.3": 2,
    "5.4": 3,
    "6.1": 3,
    "6.2": 12,
    "6.3": 4,
    "6.4": 4,
    "6.5": 5,
    "6.6": 3,
    "6.8": 4,
    "7.1": 3,
    "7.2": 4,
    "7.3": 2,
    "7.4": 5,
    "7.5": 2,
    "7.6": 2,
    "8.1": 2,
    "8.2": 3,
    "8.3": 1,
    "8.4": 1,
    "9.1": 3,
    "9.2": 4,
    "10.1": 2,
    "10.2": 2,
    "10.3": 4,
    "10.4": 11,
    "10.5": 5,
    "10.6": 2,
    "10.7": 3,
    "11.1": 2,
    "11.2": 3,
    "11.3": 3,
    "11.4": 4,
    "11.5": 1,
    "11.6": 1,
    "12.1": 3,
    "12.2": 2,
    "12.3": 4,
    "13.1": 1,
    "13.2": 5,
    "13.3": 2,
    "13.4": 5,
    "14.1": 2,
    "14.2": 4,
    "14.3": 3,
    "15.1": 3,
    "15.2": 3,
    "15.3": 7,
    "16.1": 1,
    "16.2": 5,
    "16.3": 4,
    "16.4": 3,
    "16.5": 3,
    "17.1": 1,
    "17.2": 4,
    "17.3": 2,
}
CONTROLS = {f"{section}.{number}" for section, last in UP_TO.items() for number in range(1, last + 1)}


LISTED = tomllib.loads((ROOT / "tests" / "published" / "asvs.toml").read_text(encoding="utf-8"))
"""`met`: rows of `controls`, `how`, and `tests` or, in words, `shown_by`; `not_met`: `controls`, `why`."""


def test_the_standard_has_253_controls_of_its_first_two_levels() -> None:
    """70 of level 1 and 183 of level 2 (the standard's own count)."""
    assert len(CONTROLS) == 70 + 183


def test_every_control_of_levels_1_and_2_is_said_to_be_met_or_why_not_and_none_twice() -> None:
    rows = [*LISTED["met"], *LISTED["not_met"]]
    named = [control for row in rows for control in row["controls"]]
    assert len(named) == len(set(named)) and set(named) == CONTROLS
    assert all(row["how"] and (row.get("tests") or row["shown_by"]) for row in LISTED["met"])
    assert all(row["why"] for row in LISTED["not_met"])


def test_every_test_that_a_control_is_shown_by_exists() -> None:
    there = {
        name
        for file in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"def (test_\w+)", file.read_text(encoding="utf-8"))
    }
    shown = {name for row in LISTED["met"] for name in row.get("tests", [])}
    assert len(shown) > 40 and shown - there == set()
