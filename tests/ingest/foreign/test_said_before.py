"""A word that is said otherwise later: rows that came in by it do not come in a second time."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.editing.corrections import take_back
from ingest.foreign.any_table import any_table
from ingest.foreign.memory import read_earlier_meanings, read_meanings, read_tables
from ingest.foreign.words import Meaning, a_phase, a_technique
from ingest.importing.check import Checked
from ingest.importing.files import check_files, import_files
from ingest.importing.rows import SaidOtherwiseAs
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from tests.conftest import CHANGE, NOW, Bring, entries
from tests.ingest.foreign.told import WORDS, bring, diary, say
from tests.whole_studios import everything, imported

CLEANED = ("technique", "cleaned")
JANUARY = (
    "Date;Job;What;Time\n8.1.2024;Ferry;cleaned;1\n9.1.2024;Weir;retouched;2\n10.1.2024;Ferry;cleaned;3\n"
    "10.1.2024;Ferry;cleaned;3\n"
)


@pytest.fixture
def january(studio: Bring, store: Store, tmp_path: Path) -> Path:
    """A table that came in, of which a word was said otherwise since."""
    path = tmp_path / "january.csv"
    path.write_text(JANUARY)
    say(store, path, diary(), WORDS)
    assert bring(store, path)[0].outcome.stored == 4
    say(store, path, diary(), {CLEANED: a_technique("facing")})
    return path


def again(store: Store, path: Path, become: SaidOtherwiseAs = "ask") -> Checked:
    return import_files(store, [path], now=NOW, recognizer=any_table(store, NOW, become))[0]


def hours(store: Store) -> dict[str, float]:
    return {str(name): hours for name, hours in entries(store).groupby("technique")["hours"].sum().items()}


def test_they_are_held_back_and_the_rest_comes_in(store: Store, january: Path) -> None:
    january.write_text(JANUARY + "11.1.2024;Ferry;cleaned;5\n")
    before = everything(store)
    seen = check_files(store, [january], now=NOW, recognizer=any_table(store, NOW))[0]
    assert (seen.outcome.stored, seen.outcome.held_back) == (1, 3) and everything(store) == before
    report = again(store, january)
    outcome = report.outcome
    assert (outcome.stored, outcome.already_held, outcome.held_back) == (1, 1, 3)
    assert report.held_back["line"].tolist() == [2, 4, 5] and not report.complete
    assert hours(store) == {"surface cleaning aqueous": 7.0, "retouching": 2.0, "facing": 5.0}


def test_moved_they_are_corrected_and_the_earlier_version_is_kept(store: Store, january: Path) -> None:
    outcome = again(store, january, "correction").outcome
    assert (outcome.corrected, outcome.already_held, outcome.stored) == (3, 1, 0)
    assert hours(store) == {"facing": 7.0, "retouching": 2.0}
    kept = store.cursor().execute("SELECT earlier->>'technique' FROM history WHERE kind = 'time_entries'")
    assert kept.fetchall() == [("surface cleaning aqueous",)] * 3
    assert again(store, january).outcome.already_held == 4
    assert faults(store.cursor()) == []


def test_left_as_they_were_they_stay_so_for_good(store: Store, january: Path) -> None:
    assert again(store, january, "left out").outcome.already_held == 4
    assert again(store, january).outcome.already_held == 4
    assert hours(store) == {"surface cleaning aqueous": 7.0, "retouching": 2.0}
    decided = store.cursor().execute("SELECT DISTINCT decided FROM held_back").fetchall()
    assert decided == [("left out",)]


def test_rows_held_back_first_can_be_moved_or_left_later(store: Store, january: Path) -> None:
    again(store, january)
    assert again(store, january, "left out").outcome.already_held == 4
    open_ = store.cursor().execute("SELECT count(*) FROM held_back WHERE decided IS NULL").fetchall()
    assert open_ == [(0,)]


def test_that_rows_are_new_is_no_word_for_hours_that_would_count_twice(store: Store, january: Path) -> None:
    recognizer = any_table(store, NOW)
    report = import_files(store, [january], now=NOW, recognizer=recognizer, held_back_as="new")[0]
    assert (report.outcome.stored, report.outcome.held_back) == (0, 3)
    moved = import_files(store, [january], now=NOW, recognizer=recognizer, held_back_as="correction")[0]
    assert (moved.outcome.corrected, moved.complete) == (3, True)


def test_what_was_corrected_or_taken_back_by_hand_since_stands(store: Store, january: Path) -> None:
    entry = store.cursor().execute("SELECT entry FROM time_entries WHERE hours = 1").fetchall()[0][0]
    take_back(store, entry, CHANGE)
    outcome = again(store, january, "correction").outcome
    assert (outcome.corrected, outcome.already_held, outcome.stored) == (2, 2, 0)
    assert hours(store) == {"facing": 6.0, "retouching": 2.0}


def test_two_words_said_otherwise_one_after_the_other(store: Store, january: Path) -> None:
    """By the first of three meanings a row came in, by the second another: each is found by its own."""
    february = january.with_name("february.csv")
    february.write_text("Date;Job;What;Time\n5.2.2024;Weir;cleaned;4\n")
    assert bring(store, february)[0].outcome.stored == 1
    say(store, january, diary(), {CLEANED: a_phase("cleaning")})
    january.write_text(JANUARY + "5.2.2024;Weir;cleaned;4\n")
    assert again(store, january, "correction").outcome.corrected == 4
    assert hours(store) == {"": 11.0, "retouching": 2.0}


def test_a_word_of_the_studio_that_is_said_otherwise(store: Store, january: Path) -> None:
    path = january.with_name("march.csv")
    path.write_text("Date;Job;What;Time\n4.3.2024;Ferry;lining;2\n")
    assert bring(store, path)[0].outcome.stored == 1  # understood unsaid
    say(store, path, diary(), {("technique", "lining"): a_technique("facing")})
    assert again(store, path).outcome.held_back == 1


def test_the_same_in_another_spelling_is_no_change(store: Store, january: Path) -> None:
    say(store, january, diary(), {CLEANED: a_technique("surface cleaning aqueous")})
    assert again(store, january).outcome.already_held == 4


def test_what_words_meant_before_is_kept_and_leaves_with_an_export(
    store: Store, january: Path, tmp_path: Path
) -> None:
    heads = read_tables(store.cursor())[0].heads
    assert read_meanings(store.cursor(), heads)[CLEANED] == a_technique("facing")
    before: list[Meaning] = [words[CLEANED] for words in read_earlier_meanings(store.cursor(), heads)]
    assert before == [a_technique("surface cleaning")]
    export(store, tmp_path / "out", private=True)
    with imported(tmp_path / "out") as back:
        assert read_earlier_meanings(back.cursor(), heads) == read_earlier_meanings(store.cursor(), heads)
        assert again(back, january).outcome.held_back == 3
