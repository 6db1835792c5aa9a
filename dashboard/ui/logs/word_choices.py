"""Fields to say what the texts of a table mean: one for each text, for all its rows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import streamlit as st

from dashboard import queries
from dashboard.formatting import counted, label
from dashboard.text.foreign_tables import COLUMNS, stands_for
from dashboard.ui import fields, layout, page_data
from dashboard.ui.logs.likely_choices import likely_of, match_in_words
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign.new_codes import new_codes
from ingest.foreign.preview import first_years
from ingest.foreign.words import (
    LEFT_OUT,
    Match,
    Meaning,
    Word,
    a_new_work,
    a_person,
    a_phase,
    a_technique,
    a_work,
    studio_time,
)
from ingest.studio.vocabulary import Vocabulary
from ingest.values.line_names import line_name
from ingest.values.spelling import folded

AT_ONCE = 25
_WORDS = {
    "": "not said yet",
    "known": "as the studio spells it",
    "work": "another work …",
    "technique": "a technique …",
    "phase": "a phase as a whole …",
    "whole": "the work as a whole",
    "person": "another person …",
    "new work": "a new work …",
    "new person": "a new person, so written",
    "studio time": "studio time …",
    "out": "leave its rows out",
}
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "object": ("work", "new work", "studio time", "out"),
    "technique": ("technique", "phase", "whole", "studio time", "out"),
    "phase": ("phase", "whole", "out"),
    "person": ("person", "new person", "out"),
}


def meaning_of(table: WaitingTable, word: Word) -> Meaning | None:
    return table.meanings.get((word.column, folded(word.text)))


def is_spoken_of(table: WaitingTable, word: Word) -> bool:
    """Something was said of it, or is about to be: it is no longer only known."""
    key = (word.column, folded(word.text))
    return key in table.meanings or table.choices.get(key, "known") not in ("known", "")


def codes_of_new(table: WaitingTable, words: Sequence[Word]) -> list[str]:
    """A code for each of these texts of works as a new one, of the year of its first row."""
    years = table.once(
        "years",
        (table.sheet.name, table.row, table.reading.to_json(), len(table.files)),
        lambda: first_years(table.sheets(), table.reading, "object"),
    )
    taken = [item.values["object"] for item in table.meanings.values() if item.new_title]
    this_year = page_data.today().year
    return new_codes(
        page_data.store().cursor(), [years.get(folded(word.text), this_year) for word in words], taken
    )


class Chooser:
    """Fields to say what texts mean."""

    def __init__(self, table: WaitingTable) -> None:
        self._table = table
        self._words = page_data.vocabulary()
        self._titles = page_data.titles(page_data.works(page_data.today()))

    def show_some(self, words: Sequence[Word], name: str) -> None:
        """The first of these texts, and more at a press."""
        table = self._table
        shown = table.words_shown.setdefault(name, AT_ONCE)
        for word in words[:shown]:
            self.show(word)
        if len(words) > shown:
            layout.say(f"The first {shown} of {len(words):,} texts.")
            if st.button(f"Show {min(AT_ONCE, len(words) - shown)} more", key=table.key(f"more {name}")):
                table.words_shown[name] = shown + AT_ONCE
                st.rerun()

    def show(self, word: Word) -> None:
        """One text, with the choice for all its rows, and what must be said with it."""
        now, likely = meaning_of(self._table, word), likely_of(self._table, word)
        options = [
            *([] if word.either else ["known"] if word.known else [""]),
            *likely,
            *_CHOICES[word.column],
        ]
        shown = dict(_WORDS)
        if word.known:
            stands = stands_for(word.known, self._words, self._titles)
            shown["known"] = f"as the studio spells it: {stands}"
        for choice, match in likely.items():
            in_words = match_in_words(self._table, word, match, self._titles)
            shown[choice] = in_words if match.said_in or word.either else f"{in_words} – likely"
        place, key = (word.column, folded(word.text)), f"{word.column} {folded(word.text)}"
        before = _choice_of(word, now, likely)
        if now is None and self._table.choices.get(place) in options:
            before = self._table.choices[place]  # chosen, and not yet which word it is
        chosen = st.selectbox(
            label(f'{COLUMNS[word.column].capitalize()} "{word.text}", {counted(word.rows, "row")}'),
            options,
            index=options.index(before),
            format_func=shown.__getitem__,
            key=self._table.key(f"means {key}"),
        )
        self._table.choices[place] = chosen or ""
        chosen_meaning = self._chosen_meaning(word, chosen or "", now, key)
        if chosen_meaning is None:
            self._table.meanings.pop(place, None)
        else:
            self._table.meanings[place] = chosen_meaning

    def _chosen_meaning(self, word: Word, choice: str, now: Meaning | None, key: str) -> Meaning | None:
        if match := likely_of(self._table, word).get(choice):
            return match.meaning
        ways: dict[str, Callable[[], Meaning | None]] = {
            "work": lambda: self._work(word, now, key),
            "technique": lambda: self._technique(word, now, key),
            "phase": lambda: self._phase(word, now, key),
            "whole": lambda: a_phase(""),
            "person": lambda: self._person(word, now, key),
            "new person": lambda: a_person(_as_name(word.text)),
            "new work": lambda: self._new_work(word, now, key),
            "studio time": lambda: self._studio_time(word, now, key),
            "out": lambda: LEFT_OUT,
        }
        return ways[choice]() if choice in ways else None

    def _pick(
        self, question: str, options: Sequence[str], value: str, key: str, shown: Callable[[str], str] = str
    ) -> str:
        if value and value not in options:  # retired since, or renamed
            options = [*options, value]
        chosen = st.selectbox(
            label(question),
            options,
            index=options.index(value) if value in options else None,
            format_func=shown,
            key=self._table.key(f"which {key}"),
            placeholder="Choose",
        )
        return chosen or ""

    def _work(self, word: Word, now: Meaning | None, key: str) -> Meaning | None:
        new = {
            item.values["object"]: f"{item.new_title} (new)"
            for item in self._table.meanings.values()
            if item.new_title and item != now
        }
        titles = {**self._titles, **new}
        code = now.values.get("object", "") if now and not now.new_title else ""
        code = self._pick(
            f'Which work is "{word.text}"?',
            list(titles),
            code if code in titles else "",  # of a new work that is none any more it is asked again
            key,
            lambda item: f"{item}  {titles[item]}".strip(),
        )
        return _unless_said(a_work(code), now, "object") if code else None

    def _technique(self, word: Word, now: Meaning | None, key: str) -> Meaning | None:
        name = self._pick(
            f'Which technique is "{word.text}"?',
            fields.in_use(self._words),
            now.values.get("technique", "") if now else "",
            key,
        )
        return _unless_said(a_technique(name), now, "technique") if name else None

    def _phase(self, word: Word, now: Meaning | None, key: str) -> Meaning | None:
        name = self._pick(
            f'Which phase is "{word.text}"?',
            list(self._words.phases),
            now.values.get("phase", "") if now else "",
            key,
        )
        if not name:
            return None
        return a_phase(name) if word.column == "technique" else Meaning(values={"phase": name})

    def _person(self, word: Word, now: Meaning | None, key: str) -> Meaning | None:
        people = list(queries.people(page_data.store().cursor())["person"])
        name = self._pick(f'Who is "{word.text}"?', people, now.values.get("person", "") if now else "", key)
        return a_person(name) if name else None

    def _new_work(self, word: Word, now: Meaning | None, key: str) -> Meaning | None:
        title = now.new_title if now and now.new_title else word.text
        code = now.values["object"] if now and now.new_title else codes_of_new(self._table, [word])[0]
        with st.container(horizontal=True):
            title = st.text_input(
                label(f'Title of the new work "{word.text}"'), title, key=self._table.key(f"title {key}")
            ).strip()
            code = st.text_input("Its code", code, key=self._table.key(f"code {key}")).strip()
        return a_new_work(code, title) if code and title else None

    def _studio_time(self, word: Word, now: Meaning | None, key: str) -> Meaning | None:
        lines = _studio_lines(self._words)
        names = {line_name(*line): line for line in lines}
        values = now.values if now else {}
        line_before = (values.get("phase", ""), values.get("technique", ""))
        before = next(
            (text for text, line in names.items() if values.get("object") == "" and line == line_before), ""
        )
        name = self._pick(f'Which studio time is "{word.text}"?', list(names), before, key)
        return studio_time(*names[name]) if name else None


def _studio_lines(words: Vocabulary) -> list[tuple[str, str]]:
    """The phases of time on no work, each as a whole and by technique."""
    phases = [phase for phase, position in words.phases.items() if position == 0]
    return [
        *((phase, "") for phase in phases),
        *(
            (item.phase, name)
            for name, item in words.techniques.items()
            if item.phase in phases and item.retired_on is None
        ),
    ]


def _choice_of(word: Word, now: Meaning | None, likely: Mapping[str, Match]) -> str:
    """The choice that stands for a meaning."""
    meaning_now = now
    if now is None and word.either:  # unsaid it is the technique
        meaning_now = next(item.meaning for item in word.likely if item.meaning.values["technique"])
    alike = next((choice for choice, match in likely.items() if match.meaning == meaning_now), None)
    if alike is not None:
        return alike
    if now is None:
        return "known" if word.known else ""
    if now.left_out:
        return "out"
    if now.new_title:
        return "new work"
    if word.column == "person":
        return "new person" if now.values["person"] == _as_name(word.text) else "person"
    return _choice_of_values(word.column, now.values)


def _choice_of_values(column: str, values: Mapping[str, str]) -> str:
    if "object" in values:
        return "work" if values["object"] and column == "object" else "studio time"
    if values.get("technique"):
        return "technique"
    return "phase" if values.get("phase") else "whole"


def _unless_said(chosen: Meaning, now: Meaning | None, column: str) -> Meaning:
    """What is chosen, or what was said before where that names the same word, and perhaps a phase or part."""
    same = now and not now.new_title and now.values.get(column) == chosen.values[column]
    return now if now and same else chosen


def _as_name(text: str) -> str:
    return " ".join(text.split())
