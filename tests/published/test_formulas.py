"""OWASP Application Security Verification Standard 5.0, requirement 1.2.10 (CSV and formula injection): the
signs = + - @ and tab, when they are the first of a field, are escaped with a single quote (read at
asvs.emil.hemdal.se/1.2.10). That a true number is left alone is advice of the same kind, from advisory
CVE-2021-41270.
"""

import pytest

from ingest.values.csv_injection import defused


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t"])
def test_the_signs_of_the_standard_are_escaped_with_a_single_quote(sign: str) -> None:
    assert defused(f"{sign}SUM(A1)") == f"'{sign}SUM(A1)"
    assert defused(f"dry {sign}") == f"dry {sign}"


@pytest.mark.parametrize("number", ["-3", "+1.5", "-0,25", "12"])
def test_a_number_stays_a_number(number: str) -> None:
    assert defused(number) == number
