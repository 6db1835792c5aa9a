"""Tables in Markdown, for the guide and for commands."""

from __future__ import annotations

from collections.abc import Sequence


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table that also reads well as plain text: all columns but the last are padded."""
    widths = [max(len(row[n]) for row in [heads, *rows]) for n in range(len(heads) - 1)]
    lines = [heads, ["-" * max(width, 3) for width in [*widths, 3]], *rows]
    return "\n".join(_line(line, widths) for line in lines)


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    padded = [cell.ljust(width) for cell, width in zip(cells, widths, strict=False)]
    return f"| {' | '.join([*padded, cells[-1]])} |"
