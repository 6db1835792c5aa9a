"""What was half said of a table is kept, and taken up again with its file alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.foreign.arrivals import look_over
from ingest.foreign.memory import keep_draft, signature
from ingest.foreign.preview import first_years
from ingest.foreign.reading_drafts import ReadingDraft
from ingest.foreign.sheets import read_book
from ingest.foreign.words import a_new_work, a_technique
from ingest.store import Store
from tests.conftest import NOW, Bring
from tests.ingest.foreign.example_tables import HEAD, diary, say

HALF_SAID = ReadingDraft(
    sheet="",
    row=0,
    reading=diary(),
    meanings={
        ("technique", "cleaned"): a_technique("facing"),
        ("object", "mill"): a_new_work("24-9", "Mill"),
    },
)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "diary.csv"
    path.write_text(HEAD + "5.2.2024;Mill;cleaned;1\n7.2.2023;Mill;cleaned;1\n5.2.2021;Weir;x;1\n")
    return path


def test_it_comes_back_as_it_was_said() -> None:
    assert ReadingDraft.from_draft(HALF_SAID.to_draft()) == HALF_SAID


@pytest.mark.parametrize(
    "draft", [None, [], "half", {}, {"sheet": "", "row": "x"}, {**HALF_SAID.to_draft(), "reading": "{}"}]
)
def test_a_draft_of_another_kind_is_none(draft: object) -> None:
    assert ReadingDraft.from_draft(draft) is None


def test_a_file_finds_what_was_half_said_of_its_heads(studio: Bring, store: Store, table: Path) -> None:
    nothing_said = look_over(store, table, NOW)
    assert nothing_said and (nothing_said.begun, nothing_said.known) == (None, None)
    book = nothing_said.book
    keep_draft(store, signature(book, book.sheets[0], 0), HALF_SAID.to_draft(), file=table.name, by="Ilse")
    begun = look_over(store, table, NOW)
    assert begun and begun.begun and begun.begun[0] == HALF_SAID and begun.begun[1].by == "Ilse"
    say(store, table, diary())
    known = look_over(store, table, NOW)
    assert known and known.known and known.begun is None


def test_our_own_form_is_no_table(studio: Bring, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("object,person,date,hours\n24-001,Ilse,2024-02-05,1\n")
    assert look_over(store, path, NOW) is None


def test_a_new_work_is_of_the_year_of_its_first_row(table: Path) -> None:
    sheet = read_book(table, NOW).sheets[0]
    for order in ("dmy", "unset"):  # the year stands there, whichever is the day
        years = first_years([(sheet, 0)], diary(day_order=order), "object")
        assert years == {"mill": 2023, "weir": 2021}
