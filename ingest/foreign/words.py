"""What the texts of a foreign table mean: each different text of a work, a phase, a technique or a person
once.

A text that is spelt as the studio spells a word, or is the title of exactly one work, is known. Everything
else means what somebody says, and nothing before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ingest.foreign.reading import Reading
from ingest.importing.cell_readers import Context
from ingest.sql import Connection
from ingest.values.spelling import folded


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What a text means.

    Attributes
    ----------
    values : what it puts into our columns; an empty text empties one. A technique in a phase fills both, a
        phase alone leaves the technique empty, studio time empties the work.
    new_title : the text means a work that is not in the record yet: its title. `values` has its code.
    left_out : rows that have the text are none.
    """

    values: Mapping[str, str] = field(default_factory=dict)
    new_title: str = ""
    left_out: bool = False


def a_technique(technique: str, phase: str = "", part: str = "") -> Meaning:
    """A technique, in its usual phase or in another."""
    values = {
        "technique": technique,
        **({"phase": phase} if phase else {}),
        **({"part": part} if part else {}),
    }
    return Meaning(values=values)


def a_phase(phase: str) -> Meaning:
    """A whole phase, whatever was done in it."""
    return Meaning(values={"phase": phase, "technique": ""})


def studio_time(phase: str, technique: str = "") -> Meaning:
    """Time on no work; `phase` is one of studio time."""
    return Meaning(values={"object": "", "phase": phase, "technique": technique})


def a_work(code: str) -> Meaning:
    return Meaning(values={"object": code})


def a_new_work(code: str, title: str) -> Meaning:
    return Meaning(values={"object": code}, new_title=title)


def a_person(name: str) -> Meaning:
    return Meaning(values={"person": name})


LEFT_OUT = Meaning(left_out=True)

Meanings = Mapping[tuple[str, str], Meaning]
"""By our column and the text, folded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A word of the studio that a text may mean.

    Attributes
    ----------
    shown : as people read it: a name, or a code with its title.
    likeness : 0 to 100.
    said_in : the other table, or sheet, in which the same text was said to mean it; empty where none was.
    """

    meaning: Meaning
    shown: str
    likeness: float
    said_in: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One different text of a word column.

    Attributes
    ----------
    column : ours. text : as it is first written.
    rows : how many rows have it.
    meaning : what was said of it; None where nothing was.
    known : what it means unsaid, as the studio spells it so; None where it does not.
    likely : the likeliest matches, best first; offered, never applied.
    either : of a technique: it is the name of a phase too, and `likely` has both, what is likelier in this
        column first.
    """

    column: str
    text: str
    rows: int
    meaning: Meaning | None
    known: Meaning | None
    likely: tuple[Match, ...]
    either: bool = False

    @property
    def open(self) -> bool:
        """Its rows are rejected until somebody says what it means."""
        return self.meaning is None and self.known is None


@dataclass(frozen=True, slots=True)
class Studio:
    """The words of a studio: what a text means unsaid.

    Attributes
    ----------
    context : vocabulary, works by their code, people.
    titles : folded title to the code of the work, where one work alone has it; and all titles by code.
    people : folded spelling to the person's name.
    """

    context: Context
    titles: Mapping[str, str]
    titles_by_code: Mapping[str, str]
    people: Mapping[str, str]

    @classmethod
    def of(cls, con: Connection, context: Context | None = None) -> Studio:
        rows: list[tuple[str, str | None]] = con.execute(
            "SELECT object, title FROM objects ORDER BY object"
        ).fetchall()
        by_code = {code: title or "" for code, title in rows}
        times = Counter(folded(title) for title in by_code.values() if title)
        return cls(
            context or Context.of(con),
            {folded(title): code for code, title in by_code.items() if title and times[folded(title)] == 1},
            by_code,
            dict(con.execute("SELECT spelling, person FROM person_spellings").fetchall()),
        )

    def known(self, column: str, text: str, *, as_code: bool = False) -> Meaning | None:
        """What a text means unsaid, or None.

        Parameters
        ----------
        as_code : the column has the codes of new works, so that any text may be one.
        """
        key, vocabulary = folded(text), self.context.vocabulary
        match column:
            case "object":
                if as_code or key in self.context.objects:
                    return a_work(self.context.objects.get(key, text))
                return a_work(self.titles[key]) if key in self.titles else None
            case "technique":
                return Meaning(values={"technique": text}) if key in vocabulary.technique_spellings else None
            case "phase":
                return Meaning(values={"phase": text}) if key in vocabulary.phase_spellings else None
            case "person":
                return a_person(text) if key in self.context.people else None
        return None

    def in_own_words(self, meaning: Meaning) -> Meaning:
        """The same with the words as the studio has them now, whatever spelling they were said in."""
        vocabulary = self.context.vocabulary
        spellings: Mapping[str, Mapping[str, str]] = {
            "technique": vocabulary.technique_spellings,
            "phase": vocabulary.phase_spellings,
            "person": self.people,
            "object": self.context.objects,
        }
        values = {
            name: spellings.get(name, {}).get(folded(value), value) for name, value in meaning.values.items()
        }
        return replace(meaning, values=values)


def codes_are_new(reading: Reading) -> bool:
    """The rows are works with a column for their codes: a code that nobody has is a new one, no riddle."""
    return reading.rows == "objects" and reading.columns.get("object") != reading.columns.get("title")
