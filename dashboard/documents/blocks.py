"""Blocks of a letter, the same for every format."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One piece of a letter.

    Attributes
    ----------
    kind : "heading", "subheading", "text", "small" (text in a small face), "facts" (rows of two), "table" or
        "dots".
    text : of a heading or a text; what a table or dots are, for those who hear it.
    heads, rows : of a table;
    right : which of its columns are numbers;
    foot : how many rows at the end are sums.
    dots : place (0 to 1) and height of each dot, rising;
    within : how many of them are within the promise;
    promise : its place;
    ends : words at the left and the right end and at the promise.
    """

    kind: str
    text: str = ""
    heads: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()
    right: Sequence[int] = ()
    foot: int = 0
    dots: Sequence[tuple[float, int]] = ()
    within: int = 0
    promise: float = 0.0
    ends: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """A letter.

    Attributes
    ----------
    studio : name at its head;
    letterhead : lines below.
    addressee : lines.
    day : its date in words.
    subject : one line.
    number : by which it is asked about; may be empty.
    blocks : what it says.
    approvals : what the owner may approve, a line to sign each.
    """

    studio: str
    letterhead: Sequence[str]
    addressee: Sequence[str]
    day: str
    subject: str
    number: str
    blocks: Sequence[Block] = field(default_factory=list)
    approvals: Sequence[str] = ()

    def as_dict(self) -> dict[str, Any]:
        """The letter as JSON values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Letter:
        """From what `data` gave."""
        return cls(**{**data, "blocks": [Block(**item) for item in data["blocks"]]})


def heading(words: str) -> Block:
    return Block(kind="heading", text=words)


def subheading(words: str) -> Block:
    return Block(kind="subheading", text=words)


def paragraph(words: str) -> Block:
    return Block(kind="text", text=words)


def small(words: str) -> Block:
    return Block(kind="small", text=words)


def facts(rows: Sequence[tuple[str, str]]) -> Block:
    return Block(kind="facts", rows=[row for row in rows if row[1]])


def table(
    name: str, heads: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int], foot: int = 0
) -> Block:
    return Block(kind="table", text=name, heads=heads, rows=rows, right=right, foot=foot)
