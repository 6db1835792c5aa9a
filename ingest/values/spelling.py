"""Words as they are compared: spellings without case and accents, and the known word that one misspells."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA, Prefix

from ingest.errors import NotationError

_LOOK_ALIKE = str.maketrans("lio", "110")


@lru_cache(maxsize=8192)  # the words of a vocabulary are folded for every file
def folded(text: str) -> str:
    """The text as it is compared: no case, no accents, no hyphens, single spaces."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return " ".join(re.sub(r"[-_/]", " ", plain).split())


def nearest(text: str, words: Mapping[str, str]) -> str | None:
    """The known word most like the text, or None when nothing is near; `words` is folded spelling to word."""
    spelling = folded(text)
    matches = process.extract(spelling, words.keys(), scorer=fuzz.WRatio, score_cutoff=76, limit=None)
    # of words equally near, the one that begins alike
    return (
        words[max(matches, key=lambda item: (item[1], Prefix.similarity(spelling, item[0])))[0]]
        if matches
        else None
    )


def look_alike(code: str) -> str:
    """A code as it is compared for slips: what is easily taken for another sign (l and 1, O and 0) is the
    same.
    """
    return folded(code).translate(_LOOK_ALIKE)


def nearest_code(text: str, codes: Mapping[str, str]) -> str | None:
    """The code that a text misspells by one letter or figure (two where it is long), or None where none or
    several do: codes lie close together.

    `codes` has each as it is compared (`look_alike`) as key.
    """
    shape = look_alike(text)
    if shape in codes:
        return codes[shape]
    matches = process.extract(
        shape, codes.keys(), scorer=OSA.distance, score_cutoff=2 if len(shape) > 9 else 1, limit=None
    )
    least = min((distance for _, distance, _ in matches), default=0)
    near = [codes[code] for code, distance, _ in matches if distance == least]
    return near[0] if len(near) == 1 else None


def suggestion(text: str, words: Iterable[str], otherwise: str) -> str:
    """The mend for an unknown word: the nearest known one, or else what to do."""
    near = nearest(text, {folded(word): word for word in words})
    return f'Did you mean "{near}"?' if near else otherwise


def yes_or_no(text: str) -> bool:
    """`yes`, `no` and the ways spreadsheets write them."""
    word = text.strip().casefold()
    if word in ("yes", "y", "true", "1", "x", "ja", "oui"):
        return True
    if word in ("no", "n", "false", "0", "nein", "non"):
        return False
    raise NotationError("neither_yes_nor_no")
