"""Codes of works: how a studio forms its own, and new ones in that manner."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping

from ingest.values.spelling import folded

FROM_MEMORY = "M"  # in front of the codes of works told from memory
_YEAR_AND_NUMBER = re.compile(r"\D{0,3}(?:\d{2}|\d{4})(?P<mark>\D)(?P<number>\d{1,6})")


def codes_from_memory(years: Mapping[int, int], used: Iterable[str]) -> dict[int, str]:
    """A new code for each work, by the year in which it was treated: `M24-01`, where the studio's own are
    like `24-014` `M24-001`.

    Parameters
    ----------
    years : by any key; the codes have the same keys.
    used : codes that are taken. They count in any spelling, and no number below the highest is used again.
    """
    taken = list(used)
    forms = Counter(
        (match["mark"], len(match["number"]))
        for code in taken
        if not code.startswith(FROM_MEMORY) and (match := _YEAR_AND_NUMBER.fullmatch(code))
    )
    mark, places = forms.most_common(1)[0][0] if forms else ("-", 2)
    # as codes are compared, whatever marks stand in them
    numbers: Counter[str] = Counter()
    for code in taken:
        head, _, number = re.sub(r"\W+", " ", folded(code)).rpartition(" ")
        if number.isdecimal():
            numbers[head] = max(numbers[head], int(number))
    codes = {}
    for key, year in years.items():
        head = f"{FROM_MEMORY}{year % 100:02d}"
        numbers[folded(head)] += 1
        codes[key] = f"{head}{mark}{numbers[folded(head)]:0{places}d}"
    return codes
