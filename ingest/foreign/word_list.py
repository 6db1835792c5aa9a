"""The different texts of the word columns of a table, each once, with what it may mean."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import pandas as pd
from rapidfuzz import fuzz, process

from ingest.foreign.appearance import is_head_of
from ingest.foreign.reading import WORD_COLUMNS, Reading
from ingest.foreign.words import (
    Match,
    Meaning,
    Meanings,
    Studio,
    Word,
    a_person,
    a_phase,
    a_technique,
    a_work,
    codes_are_new,
)
from ingest.values.spelling import folded

_EVERYWHERE = (
    "a again all an and at by for from in into its new of off old on onto out over some the to up with work"
    " aus das der die ein eine im in mit und von le la les de des du et avec"
)
_STOP_WORDS = frozenset(_EVERYWHERE.split())
"""That tell no work or technique from another."""
NEAR = 70.0
"""Least likeness (0 to 100) of a match that is worth showing."""
_LEAST_STEM = 4  # letters

SaidElsewhere = Mapping[tuple[str, str], tuple[Meaning, str]]
"""By our column and the text, folded: what it means in another table, and which that is."""


def words_of(
    texts: Mapping[str, pd.Series[str]],
    meanings: Meanings,
    studio: Studio,
    reading: Reading,
    likely: int = 3,
    said_elsewhere: SaidElsewhere | None = None,
) -> list[Word]:
    """The different texts of the word columns, those that nobody knows first, then by how often they stand.

    Parameters
    ----------
    texts : by our column, the text of each row.
    likely : how many matches are looked for.
    said_elsewhere : what was said of the same texts in other tables.
    """
    words = []
    for column in WORD_COLUMNS:
        if column not in texts:
            continue
        counts = texts[column][texts[column] != ""].value_counts()
        spellings: dict[str, list[str]] = {}
        rows: Counter[str] = Counter()
        for text, count in counts.items():
            spellings.setdefault(folded(str(text)), []).append(str(text))
            rows[folded(str(text))] += int(count)
        matches = _Matches(column, studio, said_elsewhere or {})
        phases_first = column == "technique" and _are_phases(list(spellings), studio, reading)
        for key, written in spellings.items():
            known = studio.known(column, written[0], as_code=codes_are_new(reading))
            both = _phase_and_technique(key, studio, phases_first) if column == "technique" else ()
            words.append(
                Word(
                    column=column,
                    text=written[0],
                    rows=rows[key],
                    meaning=meanings.get((column, key)),
                    known=known,
                    likely=both or (() if known else matches.likeliest(key, likely)),
                    either=bool(both),
                )
            )
    return sorted(
        words, key=lambda word: (not word.open, WORD_COLUMNS.index(word.column), -word.rows, word.text)
    )


def _are_phases(keys: Sequence[str], studio: Studio, reading: Reading) -> bool:
    """A column of techniques is called phase, or has more names of phases than of techniques."""
    source = reading.columns.get("technique")
    if source and source.origin == "column" and is_head_of(source.text, "phase"):
        return True
    vocabulary = studio.context.vocabulary
    phases = sum(
        key in vocabulary.phase_spellings and key not in vocabulary.technique_spellings for key in keys
    )
    techniques = sum(
        key in vocabulary.technique_spellings and key not in vocabulary.phase_spellings for key in keys
    )
    return phases > techniques


def _phase_and_technique(key: str, studio: Studio, phases_first: bool) -> tuple[Match, ...]:
    """What a text may mean that is the name both of a phase and of a technique, the likelier first."""
    vocabulary = studio.context.vocabulary
    phase, technique = vocabulary.phase_spellings.get(key), vocabulary.technique_spellings.get(key)
    if phase is None or technique is None:
        return ()
    both = (
        Match(meaning=a_phase(phase), shown=phase, likeness=100.0),
        Match(meaning=a_technique(technique), shown=technique, likeness=100.0),
    )
    return both if phases_first else both[::-1]


class _Matches:
    """Matches for the texts of one column."""

    def __init__(self, column: str, studio: Studio, said_elsewhere: SaidElsewhere) -> None:
        self._column, self._studio, self._said_elsewhere = column, studio, said_elsewhere
        self._choices = _choices(column, studio)
        self._in_order = sorted(self._choices)
        self._words: dict[str, set[str]] = {}
        for spelling, (_, shown) in self._choices.items():
            self._words.setdefault(shown, set()).update(_telling_words(spelling))

    def likeliest(self, key: str, most: int) -> tuple[Match, ...]:
        """What was said of the same text elsewhere; then what the text begins; then matches by rapidfuzz's
        weighted ratio, those alone that share a telling word with the text, by any spelling, or are near to
        it by letters as a whole. Each meaning once.
        """
        own = _telling_words(key)
        best: dict[str, Match] = {}
        for spelling in self._begun_by(key) if own else ():
            meaning, shown = self._choices[spelling]
            best.setdefault(shown, Match(meaning=meaning, shown=shown, likeness=100.0))
        near: dict[str, Match] = {}
        for spelling, likeness, _ in process.extract(
            key, self._choices.keys(), scorer=fuzz.WRatio, score_cutoff=NEAR, limit=None
        ):
            meaning, shown = self._choices[spelling]
            if shown not in best | near and (own & self._words[shown] or fuzz.ratio(key, spelling) >= NEAR):
                near[shown] = Match(meaning=meaning, shown=shown, likeness=float(likeness))
        matches = [
            *self._elsewhere(key),
            *best.values(),
            *sorted(near.values(), key=lambda match: -match.likeness),
        ]
        different: list[Match] = []
        for match in matches:
            if match.meaning not in [other.meaning for other in different]:
                different.append(match)
        return tuple(different[:most])

    def _begun_by(self, key: str) -> Iterator[str]:
        """The names of which a text is the stem, as varnish is of varnishing, or titles that it begins."""
        for place in range(bisect_left(self._in_order, key), len(self._in_order)):
            spelling = self._in_order[place]
            if not spelling.startswith(key):
                return
            rest = spelling[len(key) :]
            if self._column == "object":
                is_begun = bool(rest) and not rest[0].isalnum()
            else:
                is_begun = len(key) >= _LEAST_STEM and rest.split(" ")[0].isalpha()
            if is_begun:
                yield spelling

    def _elsewhere(self, key: str) -> list[Match]:
        """What was said of the same text of the same column in another table, where it still has that."""
        if (self._column, key) not in self._said_elsewhere:
            return []
        there, where = self._said_elsewhere[self._column, key]
        meaning = self._studio.in_own_words(there)
        vocabulary, context = self._studio.context.vocabulary, self._studio.context
        values = meaning.values
        if (code := values.get("object")) and folded(code) in context.objects:
            meaning = a_work(context.objects[folded(code)])
        elif code and not meaning.new_title:
            return []
        if values.get("technique") and values["technique"] not in vocabulary.techniques:
            return []
        if values.get("phase") and values["phase"] not in vocabulary.phases:
            return []
        return [Match(meaning=meaning, shown=key, likeness=100.0, said_in=where)]


def _choices(column: str, studio: Studio) -> dict[str, tuple[Meaning, str]]:
    """By folded spelling, what it means and how that is shown."""
    context = studio.context
    vocabulary = context.vocabulary
    phases = {key: (a_phase(name), name) for key, name in vocabulary.phase_spellings.items()}
    match column:
        case "object":
            choices = {
                folded(title): (a_work(code), f"{code} {title}")
                for code, title in studio.titles_by_code.items()
                if title
            }
            return {key: (a_work(code), code) for key, code in context.objects.items()} | choices
        case "phase":
            return {key: (Meaning(values={"phase": name}), name) for key, (_, name) in phases.items()}
        case "technique":
            # a word that is a technique and a phase is more often the narrower
            return phases | {
                key: (a_technique(name), name) for key, name in vocabulary.technique_spellings.items()
            }
        case _:
            return {key: (a_person(name), name) for key, name in context.people.items()}


def _telling_words(text: str) -> set[str]:
    """The words of a text that are neither numbers nor such as stand everywhere."""
    return {word for word in re.findall(r"[^\W_]+", text) if not word.isdigit()} - _STOP_WORDS
