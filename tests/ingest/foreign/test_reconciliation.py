"""A word that is said otherwise later: rows that came in by it do not come in a second time."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from ingest.editing.corrections import take_back
from ingest.foreign.any_table import any_table
from ingest.foreign.counted_twice import ReadOtherwise, WordSaidOtherwise, would_count_twice
from ingest.foreign.earlier import read_earlier
from ingest.foreign.memory import read_meanings, read_tables
from ingest.foreign.preview import by_folded
from ingest.foreign.reading import LeaveOut, Reading
from ingest.foreign.sheets import read_book
from ingest.foreign.staying_versions import StayingVersion, StayingVersions, staying_versions
from ingest.foreign.words import Meaning, a_phase, a_technique, a_work
from ingest.importing.check import Checked
from ingest.importing.files import check_files, import_files
from ingest.importing.rows import SaidOtherwiseAs
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from tests.conftest import CHANGE, NOW, Bring, entries
from tests.ingest.foreign.example_tables import HEAD, WORDS, bring, column, diary, fixed, offer, say
from tests.whole_studios import everything, imported

CLEANED = ("technique", "cleaned")
JANUARY = (
    HEAD + "8.1.2024;Ferry;cleaned;1\n9.1.2024;Weir;retouched;2\n10.1.2024;Ferry;cleaned;3\n"
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
    february.write_text(HEAD + "5.2.2024;Weir;cleaned;4\n")
    assert bring(store, february)[0].outcome.stored == 1
    say(store, january, diary(), {CLEANED: a_phase("cleaning")})
    january.write_text(JANUARY + "5.2.2024;Weir;cleaned;4\n")
    assert again(store, january, "correction").outcome.corrected == 4
    assert hours(store) == {"": 11.0, "retouching": 2.0}


def test_a_word_of_the_studio_that_is_said_otherwise(store: Store, january: Path) -> None:
    path = january.with_name("march.csv")
    path.write_text(HEAD + "4.3.2024;Ferry;lining;2\n")
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
    before: list[Meaning] = [item.meanings[CLEANED] for item in read_earlier(store.cursor(), heads)]
    assert before == [a_technique("surface cleaning")]
    export(store, tmp_path / "out", private=True)
    with imported(tmp_path / "out") as back:
        assert read_earlier(back.cursor(), heads) == read_earlier(store.cursor(), heads)
        assert again(back, january).outcome.held_back == 3


SWAPPED = (
    "Date;Job;What;Time;Break\n3.4.2024;Ferry;cleaned;2;1\n4.3.2024;Ferry;cleaned;2;1\n"
    "5.3.2024;Ferry;cleaned;3;2\n"
)


def days(store: Store) -> list[tuple[str, float]]:
    return [(f"{row['day']:%d.%m.}", row["hours"]) for row in entries(store).to_dict("records")]


def read_so(store: Store, path: Path, **otherwise: object) -> None:
    say(store, path, diary(**otherwise), WORDS)


@pytest.fixture
def swapped(studio: Bring, store: Store, tmp_path: Path) -> Path:
    """A table that came in by a reading, of days that another reading takes for each other."""
    path = tmp_path / "swapped.csv"
    path.write_text(SWAPPED)
    read_so(store, path)
    assert bring(store, path)[0].outcome.stored == 3
    return path


def test_days_in_another_order_move_the_entries_and_double_none(store: Store, swapped: Path) -> None:
    read_so(store, swapped, day_order="mdy")
    seen = again(store, swapped)
    # what two of the rows say is held as it is, by each other's entry
    assert (seen.outcome.already_held, seen.outcome.held_back, seen.outcome.stored) == (2, 1, 0)
    assert seen.held_by_other_words == 1
    assert again(store, swapped, "correction").outcome.corrected == 1
    assert sorted(days(store)) == [("03.04.", 2.0), ("03.05.", 3.0), ("04.03.", 2.0)]
    assert again(store, swapped).complete and len(days(store)) == 3


def test_an_entry_that_another_row_states_now_is_not_the_one_that_is_moved(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "chain.csv"
    path.write_text("Date;Job;What;Time;Break\n3.4.2024;Ferry;cleaned;2;1\n3.4.2024;Ferry;cleaned;1;0.5\n")
    read_so(store, path)
    assert bring(store, path)[0].outcome.stored == 2
    read_so(store, path, columns={**diary().columns, "hours": column("break")})
    # the first row says now what the second said: the entry of the first alone is told by no row
    outcome = again(store, path, "correction").outcome
    assert (outcome.already_held, outcome.corrected) == (1, 1)
    assert sorted(days(store)) == [("03.04.", 0.5), ("03.04.", 1.0)]
    assert again(store, path).outcome.already_held == 2


def test_another_column_or_unit_of_hours_moves_the_entries(store: Store, swapped: Path) -> None:
    columns = {**diary().columns, "hours": column("break")}
    read_so(store, swapped, columns=columns)
    assert again(store, swapped, "correction").outcome.corrected == 3
    assert [hours for _, hours in days(store)] == [1.0, 2.0, 1.0]
    read_so(store, swapped, columns=columns, hours_unit="days", hours_a_day=8.0)
    seen = again(store, swapped)
    assert (seen.outcome.stored, seen.outcome.held_back) == (0, 3)
    assert again(store, swapped, "correction").outcome.corrected == 3
    assert [hours for _, hours in days(store)] == [8.0, 16.0, 8.0]
    # and back again, though the history has it
    read_so(store, swapped)
    assert again(store, swapped).outcome.held_back == 3
    assert again(store, swapped, "correction").outcome.corrected == 3
    assert [hours for _, hours in days(store)] == [2.0, 3.0, 2.0]
    assert again(store, swapped).outcome.already_held == 3 and faults(store.cursor()) == []


def test_a_reading_that_says_only_which_rows_are_read_is_no_change(store: Store, swapped: Path) -> None:
    read_so(store, swapped, left_out=(LeaveOut(test="begins", text="total"),), not_read=("break",))
    heads = read_tables(store.cursor())[0].heads
    assert read_earlier(store.cursor(), heads) == []
    assert again(store, swapped).outcome.already_held == 3


def test_how_a_table_was_read_before_leaves_with_an_export(
    store: Store, swapped: Path, tmp_path: Path
) -> None:
    read_so(store, swapped, hours_unit="minutes")
    export(store, tmp_path / "out", private=True)
    with imported(tmp_path / "out") as back:
        assert again(back, swapped).outcome.held_back == 3


def test_what_would_count_twice_is_told_by_word_and_by_reading(store: Store, swapped: Path) -> None:
    book = read_book(swapped, NOW)
    heads = read_tables(store.cursor())[0].heads
    now = diary(hours_unit="minutes")
    (change,) = would_count_twice(store, heads, [(book, book.sheets[0], 0)], now, by_folded(WORDS), NOW)
    assert change == ReadOtherwise(then=diary(), now=now, rows=3)
    words = {**by_folded(WORDS), CLEANED: a_technique("facing")}
    (change,) = would_count_twice(store, heads, [(book, book.sheets[0], 0)], now, words, NOW)
    assert isinstance(change, WordSaidOtherwise) and (change.text, change.rows) == ("cleaned", 3)


@pytest.fixture
def offers(studio: Bring, store: Store, tmp_path: Path) -> Path:
    """Lines of two estimates that came in by their words."""
    path = tmp_path / "offers.csv"
    path.write_text("For;Step;Hours\nFerry;cleaned;12\nFerry;retouched;3\nWeir;retouched;5\n")
    say(store, path, offer(), WORDS)
    assert bring(store, path)[0].outcome.stored == 3
    return path


def lines(store: Store) -> list[tuple[str, str, float]]:
    found: list[tuple[str, str, float]] = (
        store.cursor().execute("SELECT object, technique, hours FROM estimate_lines ORDER BY ALL").fetchall()
    )
    return found


AS_IT_CAME = [
    ("24-001", "retouching", 3.0),
    ("24-001", "surface cleaning aqueous", 12.0),
    ("24-002", "retouching", 5.0),
]


def test_a_version_with_a_word_said_otherwise_is_held_back_until_it_is_moved_or_left(
    store: Store, offers: Path
) -> None:
    say(store, offers, offer(), {CLEANED: a_technique("facing")})
    seen = again(store, offers)
    assert (seen.outcome.held_back, seen.outcome.already_held) == (2, 1) and lines(store) == AS_IT_CAME
    assert seen.held_back["what"].tolist()[0].startswith("24-001, version 1, facing")
    assert seen.held_by_other_words == 1
    assert again(store, offers, "left out").complete and lines(store) == AS_IT_CAME
    assert again(store, offers, "correction").outcome.corrected == 2
    assert lines(store)[0] == ("24-001", "facing", 12.0)
    assert again(store, offers).outcome.already_held == 3
    # and back again, though the history has it
    say(store, offers, offer(), {CLEANED: a_technique("surface cleaning")})
    assert again(store, offers).outcome.held_back == 2
    assert again(store, offers, "correction").outcome.corrected == 2 and lines(store) == AS_IT_CAME


def test_a_version_that_is_of_another_work_now_is_moved_to_it(store: Store, offers: Path) -> None:
    offers.write_text("For;Step;Hours\nFerry;cleaned;12\nFerry;retouched;3\n")
    say(store, offers, offer(), {("object", "Ferry"): a_work("24-003")})
    import_files(store, [_works(offers)], now=NOW)
    assert again(store, offers).outcome.held_back == 2 and lines(store) == AS_IT_CAME
    assert again(store, offers, "correction").complete
    assert [line[0] for line in lines(store)] == ["24-002", "24-003", "24-003"]
    kept = store.cursor().execute("SELECT key FROM history WHERE kind = 'estimate_versions'").fetchall()
    assert kept == [("24-001 version 1",)] and faults(store.cursor()) == []
    assert again(store, offers).outcome.already_held == 2


def test_a_version_that_was_approved_is_not_moved(store: Store, offers: Path) -> None:
    say(store, offers, offer(approved_on=fixed("12 January 2024")), {})
    assert again(store, offers, "correction").complete
    say(store, offers, offer(), {("object", "Weir"): a_work("24-003")})
    import_files(store, [_works(offers)], now=NOW)
    report = again(store, offers, "correction")
    assert report.outcome.rejected == 1
    assert "came in before as version 1 of 24-002, which stands" in report.problems["reason"].tolist()[0]


def _works(beside: Path) -> Path:
    path = beside.with_name("works.csv")
    path.write_text("object,title\n24-003,Mill by night\n")
    return path


def test_a_row_of_a_work_whose_text_means_another_work_now_is_held_back(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    import_files(store, [_works(tmp_path / "x")], now=NOW)
    path = tmp_path / "pictures.csv"
    path.write_text("Picture;Came\nThe ferry;2024-01-04\nThe weir;2024-01-05\n")
    reading = Reading(rows="objects", columns={"object": column("picture"), "received_on": column("came")})
    ferry = ("object", "The ferry")
    say(store, path, reading, {ferry: a_work("24-001"), ("object", "The weir"): a_work("24-002")})
    assert bring(store, path)[0].complete
    say(store, path, reading, {ferry: a_work("24-003")})
    received = "SELECT object FROM objects WHERE received_on = '2024-01-04' ORDER BY object"
    seen = again(store, path)
    assert (seen.outcome.held_back, seen.outcome.already_held) == (1, 1)
    assert seen.held_back["what"].tolist() == ["24-003"]
    assert store.cursor().execute(received).fetchall() == [("24-001",)]
    assert again(store, path, "correction").outcome.corrected == 1
    assert store.cursor().execute(received).fetchall() == [("24-001",), ("24-003",)]


def test_of_equal_rows_that_are_said_otherwise_those_that_came_before_are_moved(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path, row = tmp_path / "january.csv", "8.1.2024;Ferry;cleaned;1\n"
    path.write_text(HEAD + row)
    say(store, path, diary(), WORDS)
    bring(store, path)
    say(store, path, diary(), {CLEANED: a_technique("facing")})
    path.write_text(HEAD + row + row)
    outcome = again(store, path).outcome
    assert (outcome.stored, outcome.held_back) == (1, 1)
    outcome = again(store, path, "correction").outcome
    assert (outcome.corrected, outcome.already_held) == (1, 1) and hours(store) == {"facing": 2.0}
    # and of those that were not moved none comes in a second time
    path.write_text(HEAD + row + row + row)
    say(store, path, diary(), {CLEANED: a_technique("retouching")})
    assert again(store, path).outcome.stored == 1
    say(store, path, diary(), WORDS)
    assert again(store, path, "correction").outcome.corrected == 3
    assert hours(store) == {"surface cleaning aqueous": 3.0}


def test_what_another_row_said_once_does_not_keep_a_row_from_being_moved(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path, retouched = tmp_path / "january.csv", ("technique", "retouched")
    path.write_text(HEAD + "8.1.2024;Ferry;retouched;1\n8.1.2024;Ferry;cleaned;1\n")
    at_first = {**WORDS, CLEANED: a_technique("facing")}
    say(store, path, diary(), at_first)
    bring(store, path)
    varnish = a_technique("varnish removal with solvent gel")
    say(store, path, diary(), {CLEANED: varnish, retouched: varnish})
    assert again(store, path, "correction").outcome.corrected == 2
    # what the first row said at first is said of the second, and not brought in
    say(store, path, diary(), {CLEANED: a_technique("retouching")})
    say(store, path, diary(), at_first)
    assert again(store, path, "correction").outcome.corrected == 2
    assert hours(store) == {"facing": 1.0, "retouching": 1.0}


def approve(store: Store, offers: Path) -> None:
    """The lines of the table again, of versions that are approved."""
    say(store, offers, offer(approved_on=fixed("12 January 2024")), {})
    assert again(store, offers, "correction").complete


def test_rows_of_another_version_than_came_in_are_new_and_nothing_is_to_be_moved(
    store: Store, offers: Path
) -> None:
    approve(store, offers)
    say(
        store,
        offers,
        offer(version=fixed("2"), made_on=fixed("1 February 2024")),
        {CLEANED: a_technique("facing")},
    )
    seen = again(store, offers)
    assert (seen.outcome.stored, seen.outcome.held_back, seen.held_by_other_words) == (3, 0, 0)
    of_ferry = "SELECT version, technique FROM estimate_lines WHERE hours = 12 ORDER BY version"
    assert store.cursor().execute(of_ferry).fetchall() == [(1, "surface cleaning aqueous"), (2, "facing")]
    assert again(store, offers).outcome.already_held == 3


def test_a_version_that_was_left_as_it_was_is_not_asked_about_again(
    store: Store, offers: Path, tmp_path: Path
) -> None:
    say(store, offers, offer(), {CLEANED: a_technique("facing")})
    assert again(store, offers).outcome.held_back == 2
    assert again(store, offers, "left out").outcome.already_held == 3
    assert again(store, offers).outcome.already_held == 3 and lines(store) == AS_IT_CAME
    # and in the studio as it comes back from an export
    export(store, tmp_path / "out", private=True)
    with imported(tmp_path / "out") as back:
        assert again(back, offers).outcome.already_held == 3 and faults(back.cursor()) == []
    # something else again is another question
    say(store, offers, offer(), {CLEANED: a_technique("lining")})
    assert again(store, offers).outcome.held_back == 2


def test_a_row_of_a_work_that_was_left_as_it_was_is_not_asked_about_again(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    import_files(store, [_works(tmp_path / "x")], now=NOW)
    path = tmp_path / "pictures.csv"
    path.write_text("Picture;Came\nThe ferry;2024-01-04\n")
    reading = Reading(rows="objects", columns={"object": column("picture"), "received_on": column("came")})
    ferry = ("object", "The ferry")
    say(store, path, reading, {ferry: a_work("24-001")})
    assert bring(store, path)[0].complete
    say(store, path, reading, {ferry: a_work("24-003")})
    assert again(store, path).outcome.held_back == 1
    assert again(store, path, "left out").outcome.already_held == 1
    assert again(store, path).outcome.already_held == 1
    received = "SELECT object FROM objects WHERE received_on = '2024-01-04'"
    assert store.cursor().execute(received).fetchall() == [("24-001",)]


def stays(store: Store, offers: Path) -> StayingVersions:
    """What of the versions would stay if a word of the table were said otherwise."""
    book, heads = read_book(offers, NOW), read_tables(store.cursor())[0].heads
    words = {**by_folded(WORDS), ("technique", "retouched"): a_technique("facing")}
    return staying_versions(store, heads, [(book, book.sheets[0], 0)], offer(), words, NOW)


def test_which_versions_stay_is_told_with_why_and_which_are_the_next(store: Store, offers: Path) -> None:
    outcome = stays(store, offers)
    assert (outcome.versions, outcome.can_move, outcome.next_versions) == ([], 3, {"24-001": 2, "24-002": 2})
    # one of the two is approved
    path = offers.with_name("approved.csv")
    path.write_text(
        "object,version,made_on,approved_on,technique,hours\n24-002,1,2024-01-10,2024-01-12,retouching,5\n"
    )
    assert import_files(store, [path], now=NOW)[0].complete
    outcome = stays(store, offers)
    approved = StayingVersion(object="24-002", version=1, why="approved", approved_on=date(2024, 1, 12))
    assert (outcome.versions, outcome.can_move) == ([approved], 2)


def test_a_version_that_a_later_one_follows_stays_with_its_work(store: Store, offers: Path) -> None:
    import_files(store, [_works(offers)], now=NOW)
    path = offers.with_name("second.csv")
    path.write_text("object,version,made_on,technique,hours\n24-002,2,2024-02-10,retouching,5\n")
    assert import_files(store, [path], now=NOW)[0].complete
    book, heads = read_book(offers, NOW), read_tables(store.cursor())[0].heads
    words = {**by_folded(WORDS), ("object", "weir"): a_work("24-003")}
    outcome = staying_versions(store, heads, [(book, book.sheets[0], 0)], offer(), words, NOW)
    assert outcome.versions == [StayingVersion(object="24-002", version=1, why="followed")]
    assert outcome.can_move == 0 and outcome.next_versions == {"24-001": 2, "24-003": 1}
