"""Days on which nobody, or somebody, is at the bench: `2026-12-24 to 2027-01-06; Ilse; snow` a line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ingest.errors import BenchHoursError
from ingest.values.calendar_days import day

EXAMPLE = "2026-12-24 to 2027-01-06; Ilse; snow"
_LONGEST = timedelta(days=3 * 366)
_DAYS = re.compile(r"(?P<first>.+?)(?:\s+(?:to|until|–)\s+(?P<last>.+))?")


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Absence:
    """From a day to a day, both of them away; `person` empty: the whole studio."""

    first: date
    last: date
    person: str = ""
    note: str = ""

    @property
    def written(self) -> str:
        days = f"{self.first}" if self.first == self.last else f"{self.first} to {self.last}"
        return "; ".join(
            [days, *([self.person, *([self.note] if self.note else [])] if self.person or self.note else [])]
        )


def absence(first: date, last: date, person: str, note: str) -> Absence:
    """One that can be; raises where it cannot."""
    if last < first:
        raise BenchHoursError(f"{last} is before {first}", "The first day stands first.")
    if last - first > _LONGEST:
        raise BenchHoursError(
            "that is more than three years", "Who is gone for so long has left: say so under Studio, people."
        )
    return Absence(first=first, last=last, person=person, note=note)


def read_absences(text: str) -> list[Absence]:
    """The absences of a text, a line each, the first first; raises with the line that cannot be read."""
    return sorted({_read(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()})


def written_absences(those: Sequence[Absence]) -> str:
    """As they are stored."""
    return "\n".join(item.written for item in sorted(set(those)))


def _read(number: int, line: str) -> Absence:
    days, *more = (part.strip() for part in line.split(";", 2))
    match = _DAYS.fullmatch(days)
    try:
        if match is None:
            raise BenchHoursError("says no day", "Begin with the day.")
        first = day(match["first"], "unset")
        last = day(match["last"], "unset") if match["last"] else first
    except BenchHoursError as error:
        raise BenchHoursError(
            f'absences, line {number}: "{days}" {error.what}', f"Write it like {EXAMPLE}. {error.mend}"
        ) from error
    person, note = (*more, "", "")[:2]
    try:
        return absence(first, last, person, note)
    except BenchHoursError as error:
        raise BenchHoursError(f"absences, line {number}: {error.what}", error.mend) from error
