"""What a text of a table may mean, as it is offered: never applied unasked."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.text.foreign_tables import meaning, stands_for
from dashboard.ui import page_data
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign.words import Match, Word, a_work
from ingest.values.spelling import folded


def likely_of(table: WaitingTable, word: Word) -> dict[str, Match]:
    """By choice, what a text may mean, the likeliest first: of a work's text also the new works of this table
    whose title it begins.
    """
    begun: dict[str, Match] = {}
    if word.column == "object" and not word.known:
        for (column, text), item in table.meanings.items():
            code = item.values.get("object", "")
            is_itself = (column, text) == ("object", folded(word.text))
            if item.new_title and not is_itself and begins(word.text, item.new_title):
                shown = f"{code} {item.new_title} (new)"
                begun[f"begun {code}"] = Match(meaning=a_work(code), shown=shown, likeness=100.0)
    return begun | {f"likely {place}": match for place, match in enumerate(word.likely)}


def begins(text: str, title: str) -> bool:
    """A text is the first words of a longer title."""
    key, whole = folded(text), folded(title)
    return (
        bool(key) and whole.startswith(key) and not whole[len(key) : len(key) + 1].isalnum() and whole != key
    )


def match_in_words(table: WaitingTable, word: Word, match: Match, titles: Mapping[str, str]) -> str:
    """A likely match, and where it was said of the same text before."""
    if word.either:
        return stands_for(match.meaning, page_data.vocabulary(), titles)
    if match.said_in:
        where = match.said_in.removeprefix(f"{table.files[0].name}, sheet ")
        return f"{meaning(match.meaning, titles)} – as in {where}"
    return match.shown
