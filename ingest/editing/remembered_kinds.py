"""Kinds of works on the sheet of works from memory, by their first letters."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ingest.sql import Connection
from ingest.values.spelling import folded

_FEW_LETTERS = 3  # a longer text is a word of its own


@dataclass(frozen=True, slots=True)
class KindRead:
    """First letters on row `row`, which stand for one kind, or for any of several."""

    row: int
    letters: str
    kinds: tuple[str, ...]


def kinds_held(con: Connection) -> list[str]:
    """Kinds of the works that are held."""
    rows = con.execute("SELECT DISTINCT kind FROM objects WHERE kind <> '' ORDER BY kind").fetchall()
    return [kind for (kind,) in rows]


def in_full(
    kinds_before: Iterable[str], works: Iterable[Mapping[str, str]]
) -> tuple[list[dict[str, str]], list[KindRead]]:
    """Rows of the sheet with their kinds in full, and what the first letters on them stand for.

    Up to three letters with which a kind begins, of those held and those written in full on the sheet, are
    that kind; where several begin so, the row keeps its letters.
    """
    rows = [dict(cells) for cells in works]
    written = [row["kind"] for row in rows if len(row.get("kind", "")) > _FEW_LETTERS]
    known = {folded(kind): kind for kind in [*written, *kinds_before]}  # as it is held, if it is
    reads = []
    for number, row in enumerate(rows, 1):
        letters = folded(row.get("kind", ""))
        if not letters or letters in known or len(letters) > _FEW_LETTERS:
            continue
        meant = tuple(kind for name, kind in sorted(known.items()) if name.startswith(letters))
        if meant:
            reads.append(KindRead(number, row["kind"], meant))
        if len(meant) == 1:
            row["kind"] = meant[0]
    return rows, reads
