"""What was said of a table and not to its end, as it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from ingest.errors import BenchHoursError
from ingest.foreign.reading import Reading
from ingest.foreign.words import Meaning


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingDraft:
    """A reading on its way.

    Attributes
    ----------
    sheet, row : where the heads stand; the row from 0.
    meanings : by our column and the text, folded.
    """

    sheet: str
    row: int
    reading: Reading
    meanings: Mapping[tuple[str, str], Meaning] = field(default_factory=dict)

    def to_draft(self) -> dict[str, Any]:
        return {
            "sheet": self.sheet,
            "row": self.row,
            "reading": self.reading.to_json(),
            "meanings": [
                [column, text, asdict(meaning)] for (column, text), meaning in self.meanings.items()
            ],
        }

    @classmethod
    def from_draft(cls, draft: object) -> ReadingDraft | None:
        """None where a draft is none of these, as one of another version may be."""
        if not isinstance(draft, dict):
            return None
        try:
            return cls(
                sheet=str(draft["sheet"]),
                row=int(draft["row"]),
                reading=Reading.from_json(draft["reading"]),
                meanings={(column, text): Meaning(**meaning) for column, text, meaning in draft["meanings"]},
            )
        except (KeyError, TypeError, ValueError, BenchHoursError):
            return None
