"""The letter of a quote, in whichever form it asks for."""

from __future__ import annotations

from dashboard.documents import change_letter, quote_letter
from dashboard.documents.blocks import Letter
from dashboard.services.quote import Quoted
from dashboard.services.quote_continued import previous_version
from dashboard.services.quote_ready import Ready
from ingest.editing.quote_drafts import Quote
from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.studio.settings import Settings
from ingest.studio.vocabulary import Vocabulary


def letter_of(
    con: Connection,
    quoted: Quoted,
    quote: Quote,
    studio: Settings,
    words: Vocabulary,
    ready: Ready | None = None,
) -> Letter:
    """The letter of a quote in the form that it asks for: of a revision, the letter of change. `ready`: see
    `ready_of`; none: it says what it takes once it is begun.
    """
    works = [work for work in quoted.works if work.options]
    agreed = (
        previous_version(con, works[0].draft.object, quoted.as_of)
        if len(works) == 1 and works[0].draft.object
        else None
    )
    if quote.letter.get("form") == change_letter.FORM:
        if agreed is None:
            raise BenchHoursError(
                "there is nothing agreed, or no single work, to set a change beside",
                "Choose another form of the letter, or note first which option was taken.",
            )
        return change_letter.letter(quoted, quote, studio, words, agreed)
    return quote_letter.letter(quoted, quote, studio, words, ready)
