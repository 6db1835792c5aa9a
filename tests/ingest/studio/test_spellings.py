"""Spellings that come with tables: kept with where they came from, and taken back."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard import queries
from ingest.errors import BenchHoursError
from ingest.importing.files import import_files
from ingest.safekeeping.export import export
from ingest.store import Store
from ingest.studio import people, spellings, vocabulary
from ingest.studio.spellings import Spelling
from tests.conftest import CHANGE, NOW, Bring, entries
from tests.whole_studios import imported

CLEANED = Spelling(kind="technique", name="retouching", written="Touched  in")
LINING = Spelling(kind="technique", name="retouching", written="lining")
INITIAL = Spelling(kind="person", name="Ilse", written="I.")
GONE = Spelling(kind="phase", name="no such phase", written="old words")


@pytest.fixture
def kept_from_diary(studio: Bring, store: Store) -> Store:
    with store.writing() as con:
        people.add(con, "Ilse", NOW)
        assert spellings.keep(con, [CLEANED, LINING, INITIAL, GONE], "diary.xlsx", CHANGE) == [
            CLEANED,
            INITIAL,
        ]
    return store


def test_a_text_that_means_something_already_stays_with_that(kept_from_diary: Store) -> None:
    words = vocabulary.read_vocabulary(kept_from_diary.cursor())
    assert words.technique("touched in") == "retouching" and words.technique("lining") != "retouching"
    assert queries.spelling_origins(kept_from_diary.cursor(), "technique").drop(
        columns="kept_at"
    ).to_numpy().tolist() == [["retouching", "Touched  in", "diary.xlsx"]]


def test_an_entry_under_a_kept_spelling_is_the_same_entry(kept_from_diary: Store, tmp_path: Path) -> None:
    for name, technique, person in (("own.csv", "retouching", "Ilse"), ("old.csv", "touched in", "I.")):
        path = tmp_path / name
        path.write_text(f"object,technique,person,date,hours\n24-001,{technique},{person},2024-01-09,1\n")
        report = import_files(kept_from_diary, [path], now=NOW)[0]
        assert report.complete and report.new_people == []
    assert report.outcome.already_held == 1 and len(entries(kept_from_diary)) == 1


def test_what_is_taken_back_is_understood_no_more(kept_from_diary: Store) -> None:
    with kept_from_diary.writing() as con:
        spellings.take_back(con, "technique", "touched in", CHANGE)
        spellings.take_back(con, "person", "I.", CHANGE)
    con = kept_from_diary.cursor()
    assert "touched in" not in vocabulary.read_vocabulary(con).technique_spellings
    assert people.read_spellings(con) == {"ilse": "Ilse"}
    assert con.execute("SELECT count(*) FROM spelling_origins").fetchall() == [(0,)]
    with pytest.raises(BenchHoursError) as caught, kept_from_diary.writing() as con:
        spellings.take_back(con, "person", "Ilse", CHANGE)
    assert str(caught.value) == (
        '"Ilse" is no spelling that came with a table. Load the page again to see what is kept.'
    )


def test_a_spelling_that_becomes_the_name_came_with_no_table(kept_from_diary: Store) -> None:
    with kept_from_diary.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "touched in", CHANGE)
        people.rename(con, "Ilse", "I.", CHANGE)
    con = kept_from_diary.cursor()
    assert con.execute("SELECT count(*) FROM spelling_origins").fetchall() == [(0,)]
    assert vocabulary.read_vocabulary(con).technique("retouching") == "touched in"


def test_one_that_is_left_out_of_the_spellings_of_a_technique_has_no_origin(kept_from_diary: Store) -> None:
    with kept_from_diary.writing() as con:
        vocabulary.set_spellings(con, "technique", "retouching", ["filling in"], CHANGE)
    origins = kept_from_diary.cursor().execute("SELECT kind, spelling FROM spelling_origins").fetchall()
    assert origins == [("person", "i.")]


def test_where_they_came_from_leaves_with_a_private_export_and_comes_back(
    kept_from_diary: Store, tmp_path: Path
) -> None:
    shown = "SELECT * FROM spelling_origins ORDER BY ALL"
    export(kept_from_diary, tmp_path / "whole", private=True)
    with imported(tmp_path / "whole") as back:
        assert back.cursor().execute(shown).fetchall() == kept_from_diary.cursor().execute(shown).fetchall()
    export(kept_from_diary, tmp_path / "shared")
    assert not (tmp_path / "shared" / "origins_of_spellings.csv").exists()
