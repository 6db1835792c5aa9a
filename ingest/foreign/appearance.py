"""What heads are called and what cells look like: the grounds of a first guess.

The words are common practice of the trade and of offices, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import pandas as pd

from ingest.errors import NotationError
from ingest.foreign import notations
from ingest.foreign.words import Studio
from ingest.values.spelling import folded

_HEADS = {
    "date": "date day datum tag jour fecha data giorno dato dag on when wann",
    "started_at": "from start begin began started von beginn anfang de debut da inizio desde van",
    "ended_at": "to till until end ended bis ende a fin fine hasta tot stop",
    "hours": "hours hour time duration h hrs std stunden stunde zeit dauer heures duree ore durata horas"
    " tiempo uren minutes min minuten days tage quantity",
    "object": "object work job painting picture project commission order auftrag werk bild objekt gemalde"
    " projekt oeuvre tableau opera lavoro obra proyecto",
    "technique": "technique what task activity treatment tatigkeit arbeit aufgabe leistung massnahme tache"
    " activite attivita trabajo step",
    "phase": "phase stage",
    "person": "person who name by staff conservator wer mitarbeiter mitarbeiterin bearbeiter qui chi quien",
    "note": "note notes remark remarks comment comments bemerkung bemerkungen notiz notizen remarque",
    "title": "title picture painting titel titre titolo",
    "owner": "owner lender client customer besitzer eigentumer kunde proprietaire",
    "maker": "maker artist painter maler kunstler artiste",
    "height_cm": "height hohe hauteur altezza",
    "width_cm": "width breite largeur larghezza",
    "received_on": "received arrived came in eingang",
    "price": "price amount sum cost preis betrag summe prix",
    "made_on": "made promised quoted offered estimated sent date day datum",
    "approved_on": "approved agreed accepted ordered promised zugesagt",
}
_OF_PROMISES = (
    "promise promised promises quote quoted quotes quotation estimate estimated estimates offer offered"
    " offers approved agreed accepted angebot angeboten angebote devis preventivo offerte presupuesto"
)
PROMISES = frozenset(_OF_PROMISES.split())
"""Words in heads and names of sheets that speak of an estimate, folded."""
_SHORT = 40  # characters
MOST = 0.7
"""The share of the filled cells of a column that must be of a kind for the column to be."""
WORDS = {name: frozenset(words.split()) for name, words in _HEADS.items()}
TOTALS = ("total", "sum", "summe", "gesamt", "subtotal", "zwischensumme", "somme", "totale")
"""Words with which a row of sums begins, folded."""


def is_head_of(head: str, column: str) -> bool:
    """A head has a word that names one of our columns."""
    return bool(WORDS[column] & _words_in(head))


def is_of_a_promise(head: str) -> bool:
    """A head, or the name of a sheet, speaks of an estimate."""
    return bool(PROMISES & _words_in(head))


def _words_in(head: str) -> set[str]:
    return set(re.findall(r"[^\W\d_]+", folded(head)))


def reads(text: str, read: Callable[[str], object]) -> bool:
    """A reader raises no `NotationError`."""
    try:
        read(text)
    except NotationError:
        return False
    return True


def day_in_any_order(text: str) -> None:
    """Raise `NotationError` where a text is no day in any order; a bare number is none."""
    is_number = re.fullmatch(r"[\d.,]+", text) and text.count(".") != 2
    if is_number or not re.search(r"\d", text):
        raise NotationError("not_a_day")
    try:
        notations.day(text, "dmy", 2000, serial=False)
    except NotationError:
        notations.day(text, "mdy", 2000, serial=False)


def clock_time(text: str) -> None:
    """Raise where a text is no time of day; `9.30` may be one."""
    if not re.search(r"\d\s*[:.h]\s*\d|[ap]\.?m", text):
        raise NotationError("not_a_time")
    if not re.fullmatch(r"\d+\.\d+", text):
        notations.clock(text)


def length(text: str) -> None:
    """Raise where a text is no length of time."""
    notations.hours(text, "hours", 8.0, "")


class Contents:
    """What stands in the columns of a table, below its heads and without its sums.

    Attributes
    ----------
    cells : frame of texts by name of the column.
    """

    def __init__(self, cells: pd.DataFrame, studio: Studio) -> None:
        self.cells = cells
        self._studio = studio

    def filled(self, name: str) -> pd.Series[str]:
        cells = self.cells[name]
        return cells[cells != ""]

    def share(self, name: str, read: Callable[[str], object]) -> float:
        """The share of the filled cells that can be read so, each different text tried once."""
        counts = self.filled(name).value_counts()
        readable = sum(int(count) for text, count in counts.items() if reads(str(text), read))
        return readable / counts.sum() if len(counts) else 0.0

    def share_of_words(self, column: str) -> Callable[[str], float]:
        def share(name: str) -> float:
            counts = self.filled(name).value_counts()
            known = sum(
                int(count)
                for text, count in counts.items()
                if self._studio.known(column, str(text)) is not None
            )
            return known / counts.sum() if len(counts) else 0.0

        return share

    def share_of_serials(self, name: str) -> float:
        numbers = pd.to_numeric(self.filled(name), errors="coerce")
        return float(numbers.between(30_000, 60_000).mean()) if len(numbers) else 0.0

    def repeating(self, names: Sequence[str]) -> list[str]:
        """Those of these columns that have few different short texts, in the order of the table."""
        return [
            name
            for name in names
            if 0 < 2 * self.filled(name).nunique() <= len(self.filled(name))
            and self.filled(name).str.len().mean() < _SHORT
            and self.share(name, length) < MOST
        ]

    def are_codes(self, name: str) -> bool:
        cells = self.filled(name)
        return len(cells) > 0 and cells.is_unique and bool(cells.str.fullmatch(r"[\w./-]*\d[\w./-]*").all())

    def is_written_once(self, name: str) -> bool:
        """It stands where it begins and is left empty below."""
        others = self.cells.drop(columns=name)
        empty = (self.cells[name] == "") & (others != "").sum(axis=1).gt(1)
        return bool(empty.mean() > 0.2)
