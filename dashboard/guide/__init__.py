"""The guide: its chapters as Markdown, and the chapter of each page."""

from __future__ import annotations

import re
from functools import cache
from importlib import resources

from dashboard import queries
from dashboard.text import csv_forms, vocabulary
from ingest.schema.csv_columns import FORMS
from ingest.sql import Connection

CHAPTERS = {
    "works": "Works and the studio",
    "log": "Log hours",
    "bench": "On the bench",
    "plan": "The bench plan",
    "hours": "Where the hours went",
    "rates": "Rates",
    "quotes": "Quotes",
    "record": "Promised and kept, and the year",
    "pauses": "Hours worth a pause",
    "phones": "Phones and devices",
    "safe-keeping": "Safe keeping",
    "words": "Words",
    "forms": "CSV files",
    "commands": "Commands",
}
"""Chapters in their order: the name of each file and in addresses, and its title."""

CHAPTER_OF = {
    "On the bench": "bench",
    "Bench plan": "plan",
    "Where the hours went": "hours",
    "One work": "hours",
    "Our rates": "rates",
    "Quote a work": "quotes",
    "Promised and kept": "record",
    "The year": "record",
    "Hours worth a pause": "pauses",
    "Works": "works",
    "Estimate": "record",
    "Bring in logs": "forms",
    "Studio": "works",
    "Safe keeping": "safe-keeping",
    "Who may come in": "phones",
}
"""Title of each page to the chapter about it."""


_COLUMNS = "*The columns of {} are printed by `bench-hours forms`.*"
_WORDS = "*The words of a studio are printed by `bench-hours words`.*"


@cache
def source(chapter: str) -> str:
    """The Markdown of a chapter as it is shipped, with sentences where tables will stand."""
    return resources.files(__name__).joinpath(f"{chapter}.md").read_text(encoding="utf-8")


def chapter(name: str, con: Connection) -> str:
    """The Markdown of a chapter for a page, whose title stands above: with the columns and the studio's own
    words filled in, and all headings a level down.
    """
    text = source(name)
    for form in FORMS:
        text = text.replace(_COLUMNS.format(form.kind), csv_forms.table(form))
    if _WORDS in text:
        words = vocabulary.tables(queries.phases(con), queries.vocabulary_use(con))
        text = text.replace(_WORDS, words)
    return re.sub(r"^(#+ )", r"#\1", text, flags=re.MULTILINE)
